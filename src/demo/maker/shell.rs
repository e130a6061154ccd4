//! Wax, trees, pots, coats, ovens.

use std::io;

use crate::demo::maker::definitions::{OPERATORS, PARTS};
use crate::demo::maker::{DAY, Heat, POSITIONS, Shop};

/// Something in use: its number, and the moulds that it is still good for.
#[derive(Clone, Copy, Default)]
struct Use {
    number: u32,
    left: u32,
}

/// The shell shop as it stands.
#[derive(Default)]
pub struct Shell {
    wax: Use,
    filter: Use,
    core: Use,
    prime: Use,
    backup: Use,
    fine: Use,
    coarse: Use,
    batch: Use,
    dewax: Use,
    /// Pattern run in use for each part.
    runs: [Use; 4],
    wax_lots: u32,
    slurries: u32,
    stuccos: u32,
    pattern_runs: u32,
    ovens: u32,
    /// Day of the last check of the prime and of the backup pot.
    checked: [i64; 2],
    /// The prime pot in use is a poor one.
    poor: bool,
}

/// Takes one of what is in use; true when a new one must be opened.
fn take(one: &mut Use, life: u32, counter: Option<&mut u32>) -> bool {
    if one.left > 0 {
        one.left -= 1;
        return false;
    }
    match counter {
        Some(counter) => {
            *counter += 1;
            one.number = *counter;
        }
        None => one.number += 1,
    }
    one.left = life - 1;
    true
}

impl Shell {
    /// The prime pot in use gives inclusions.
    pub fn poor(&self) -> bool {
        self.poor
    }

    /// Number of the prime pot in use.
    pub fn prime(&self) -> u32 {
        self.prime.number
    }

    /// The core lot in use.
    pub fn core(&self) -> u32 {
        self.core.number
    }

    /// The pattern run in use for a part.
    pub fn run(&self, part: usize) -> u32 {
        self.runs[part].number
    }
}

impl Shop {
    /// Writes the moulds of a heat up to their preheat.
    pub fn shell_batches(&mut self, heat: Heat, first: u32, last: u32) -> io::Result<()> {
        self.shell.ovens += 2;
        let (fire, preheat) = (self.shell.ovens - 1, self.shell.ovens);
        self.oven(fire, "fire", "K1", heat.at - DAY, (1_000, 120))?;
        self.oven(preheat, "preheat", "P1", heat.at - 300, (1_050, 240))?;
        for mould in first..=last {
            self.lots(heat)?;
            self.mould(heat, mould)?;
            let place = ["front", "middle", "back"][(mould - first) as usize % 3];
            if take(&mut self.shell.dewax, 6, Some(&mut self.shell.ovens)) {
                self.oven(self.shell.dewax.number, "dewax", "D1", heat.at - 3 * DAY, (180, 15))?;
            }
            let crack = if self.dice.yes(15_000) { "patched" } else { "none" };
            let sheet = self.book.oven_loads.tag("OV", self.shell.dewax.number).tag("M", mould).t(place);
            sheet.at(heat.at - 3 * DAY + 20).t(crack).end()?;
            let sheet = self.book.oven_loads.tag("OV", fire).tag("M", mould).t(place);
            sheet.at(heat.at - DAY + 150).t("none").end()?;
            let out = heat.at + 4 * i64::from(mould - first) - 1;
            self.book.oven_loads.tag("OV", preheat).tag("M", mould).t(place).at(out).blank().end()?;
        }
        Ok(())
    }

    fn oven(&mut self, n: u32, purpose: &str, oven: &str, at: i64, set: (u64, u64)) -> io::Result<()> {
        let sheet = self.book.oven_runs.tag("OV", n).t(purpose).t(oven).at(at).t("TC-1").i(set.0).i(set.1);
        if purpose == "dewax" {
            sheet.d(self.dice.bell(70, 85), 1).d(self.dice.bell(30, 60), 1).end()
        } else {
            sheet.blank().blank().end()
        }
    }

    /// Opens new lots, pots and batches where the old ones are used up.
    fn lots(&mut self, heat: Heat) -> io::Result<()> {
        let at = heat.at - 14 * DAY;
        let (shell, dice, book) = (&mut self.shell, &mut self.dice, &mut self.book);
        if take(&mut shell.wax, 400, Some(&mut shell.wax_lots)) {
            let n = shell.wax.number;
            let sheet = book.wax_lots.tag("WX", n).t("green filled").at(at - 10 * DAY).day(at + 700 * DAY);
            sheet.d(dice.bell(5, 20), 3).i(dice.bell(62, 68)).i(dice.bell(28, 34));
            // Every fourth lot is what was left of the one before.
            if n > 1 && n % 4 == 0 { sheet.tag("WX", n - 1).end()? } else { sheet.blank().end()? }
        }
        if take(&mut shell.filter, 500, None) {
            let sheet = book.filter_lots.tag("FL", shell.filter.number).t("alumina").i(dice.from(1, 2) * 10);
            sheet.at(at - 20 * DAY).i(550).i(dice.from(2, 30)).end()?;
        }
        if PARTS[heat.part].1 && take(&mut shell.core, 500, None) {
            book.core_lots.tag("CL", shell.core.number).t("silica").at(at - 15 * DAY).end()?;
        }
        if take(&mut shell.prime, 600, Some(&mut shell.slurries)) {
            shell.poor = dice.yes(80_000);
            let sheet = book.slurry_batches.tag("SB", shell.prime.number).t("prime");
            sheet.t("colloidal silica").t("zircon").at(at).end()?;
        }
        if take(&mut shell.backup, 6_000, Some(&mut shell.slurries)) {
            let sheet = book.slurry_batches.tag("SB", shell.backup.number).t("backup");
            sheet.t("colloidal silica").t("fused silica").at(at).end()?;
        }
        for (one, life, material, mesh) in
            [(&mut shell.fine, 1_500, "zircon sand", "80"), (&mut shell.coarse, 3_000, "mullite", "30-60")]
        {
            if take(one, life, Some(&mut shell.stuccos)) {
                book.stucco_lots.tag("ST", one.number).t(material).t(mesh).at(at - 5 * DAY).end()?;
            }
        }
        if take(&mut shell.batch, 10, None) {
            let sheet = book.shell_batches.tag("BT", shell.batch.number).t("SR-8").at(at + 2 * DAY);
            sheet.t(if shell.batch.number % 2 == 0 { "R2" } else { "R1" }).end()?;
        }
        if take(&mut shell.runs[heat.part], 25, Some(&mut shell.pattern_runs)) {
            let sheet = book.pattern_runs.tag("PR", shell.runs[heat.part].number).tag("WX", shell.wax.number);
            sheet.t(PARTS[heat.part].0).t(dice.one(&["D1", "D2"])).at(at - 2 * DAY);
            sheet.d(dice.bell(620, 660), 1).i(dice.bell(20, 32)).i(dice.bell(30, 60)).i(208);
            sheet.i(dice.from(0, 8)).t(dice.one(&OPERATORS)).end()?;
        }
        // Each pot is read twice a day on the days on which it is used.
        let today = at.div_euclid(DAY);
        for (i, pot) in [shell.prime, shell.backup].into_iter().enumerate() {
            if shell.checked[i] == today {
                continue;
            }
            shell.checked[i] = today;
            let ph = if i == 0 && shell.poor { dice.bell(900, 940) } else { dice.bell(940, 1_010) };
            for shift in 0..2 {
                let sheet = book.slurry_checks.tag("SB", pot.number).at(today * DAY + 370 + 480 * shift);
                sheet.t(dice.one(&OPERATORS)).t("VC-1").d(dice.bell(205, 225), 1);
                sheet.d(if i == 0 { dice.bell(380, 460) } else { dice.bell(120, 180) }, 1);
                sheet.i(if i == 0 { 5 } else { 4 });
                sheet.d(if i == 0 { dice.bell(270, 290) } else { dice.bell(160, 176) }, 2);
                sheet.d(ph, 2).d(dice.bell(230, 290), 1).d(dice.bell(30, 80), 1).t("pass").end()?;
            }
        }
        Ok(())
    }

    fn mould(&mut self, heat: Heat, mould: u32) -> io::Result<()> {
        let (shell, dice, book) = (&self.shell, &mut self.dice, &mut self.book);
        let start = heat.at - 12 * DAY;
        let sheet = book.moulds.tag("M", mould).t(PARTS[heat.part].0);
        sheet.t(if heat.part < 2 { "RS-B8" } else { "RS-T8" }).tag("BT", shell.batch.number);
        sheet.tag("FL", shell.filter.number).at(start - DAY).t(dice.one(&OPERATORS)).t("cement").end()?;
        for coat in 0..8_u64 {
            let (pot, stucco) =
                if coat < 2 { (shell.prime, shell.fine) } else { (shell.backup, shell.coarse) };
            let at = start + coat as i64 * DAY;
            let sheet = book.coats.tag("M", mould).i(coat + 1).tag("SB", pot.number).tag("ST", stucco.number);
            sheet.at(at).at(at + dice.bell(360, 900) as i64).d(dice.bell(210, 240), 1);
            sheet.i(dice.bell(42, 62)).t(dice.one(&OPERATORS)).end()?;
        }
        let core = PARTS[heat.part].1.then(|| shell.core());
        for position in 1..=POSITIONS {
            let sheet = book.blades.sub("M", mould, position).tag("M", mould).i(u64::from(position));
            sheet.tag("PR", shell.run(heat.part)).t(["1", "2", "3", "4"][position as usize % 4]);
            match core {
                Some(core) => sheet.tag("CL", core),
                None => sheet.blank(),
            };
            sheet.at(heat.at + DAY).t("yes").end()?;
        }
        Ok(())
    }
}
