//! From cut-off to the customer: treatments, inspections, findings, dispositions, lots, shipments.

use std::io;

use crate::demo::maker::definitions::{DEFECTS, INSPECTORS, PARTS, QUALITY, ZONES};
use crate::demo::maker::{DAY, Heat, POSITIONS, Shop, UNFINISHED};

/// Blades of a lot.
const LOT: u32 = 400;
/// The inspections of every blade, with the defects that each finds and its instrument.
const ROUTE: [(&str, &[usize], &str); 5] = [
    ("visual", &[2, 4], ""),
    ("penetrant", &[0, 3], ""),
    ("radiograph", &[1, 7], "FV-1"),
    ("dimensional", &[5], "GA-1"),
    ("grain", &[6], ""),
];

/// Final inspection as it stands.
#[derive(Default)]
pub struct Release {
    /// Lot in use for each part, and the blades it still takes.
    lots: [(u32, u32); 4],
    opened: u32,
    /// Heat of the last treatment that was begun.
    treated: u32,
}

impl Shop {
    /// Writes what happened to the blades of a poured mould.
    pub fn blades(&mut self, heat: Heat, mould: u32) -> io::Result<()> {
        // At the end of the history the last blades are on their way.
        let left = self.heats - heat.number;
        if PARTS[heat.part].2 {
            self.treat(heat, mould)?;
        }
        if left < 2 && self.heats > 8 {
            return Ok(());
        }
        // A mould is the unit: what is wrong with it shows in several of its blades.
        let bad = self.dice.yes(40_000);
        for position in 1..=POSITIONS {
            let rejected = self.inspect(heat, mould, position, bad)?;
            if left >= UNFINISHED || self.heats <= 8 {
                self.decide(heat, mould, position, rejected)?;
            }
        }
        Ok(())
    }

    fn treat(&mut self, heat: Heat, mould: u32) -> io::Result<()> {
        if self.release.treated != heat.number {
            self.release.treated = heat.number;
            let sheet = self.book.treatments.tag("TR", heat.number).t("hip").t("HS-1").t("HP1").t("TC-1");
            sheet.at(heat.at + 3 * DAY).i(1_190).i(4).i(self.dice.bell(100, 110)).end()?;
        }
        for position in 1..=POSITIONS {
            self.book.treatment_loads.tag("TR", heat.number).sub("M", mould, position).end()?;
        }
        Ok(())
    }

    /// Gives the defect for which the blade was rejected.
    fn inspect(&mut self, heat: Heat, mould: u32, position: u32, bad: bool) -> io::Result<Option<usize>> {
        let mut rejected = None;
        let (dice, book) = (&mut self.dice, &mut self.book);
        for (i, (method, defects, instrument)) in ROUTE.into_iter().enumerate() {
            let number = i as u32 + 1;
            let at = heat.at + (4 + i as i64) * DAY + i64::from(position) * 7;
            let defect = defects[dice.below(defects.len() as u64) as usize];
            // What raises the chance: a poor prime pot, a hot pour, a bad mould.
            let mut chance = 14_000;
            if defect == 0 && self.shell.poor() {
                chance += 60_000;
            }
            if defect == 1 && heat.hot > 200 {
                chance += 50_000;
            }
            if bad {
                chance *= 6;
            }
            let found = dice.yes(chance);
            let severity = if found { dice.from(1, 5) } else { 0 };
            let reject = severity >= 3;
            let sheet = book.inspections.third("I", mould, position, number).sub("M", mould, position);
            sheet.t(method).i(1).at(at).t(dice.one(&INSPECTORS)).t(instrument);
            sheet.t(if reject { "reject" } else { "accept" }).end()?;
            self.made.inspections += 1;
            if found {
                let sheet = book.findings.third("I", mould, position, number).t(DEFECTS[defect].0).i(1);
                sheet.t(dice.one(&ZONES)).d(dice.bell(3, 30), 1).i(severity).end()?;
                self.made.findings += 1;
            }
            if reject && rejected.is_none() {
                rejected = Some(defect);
            }
            // The first blade of a mould is measured.
            if method == "dimensional" && position == 1 {
                for (name, middle) in [("chord", 42_000), ("thickness", 6_200)] {
                    let sheet = book.measurements.third("I", mould, position, number).t(name);
                    sheet.d(dice.bell(middle - 200, middle + 200), 3).t("mm");
                    sheet.d(middle - 250, 3).d(middle + 250, 3).end()?;
                }
            }
        }
        Ok(rejected)
    }

    fn decide(&mut self, heat: Heat, mould: u32, position: u32, rejected: Option<usize>) -> io::Result<()> {
        let lot = self.lot(heat)?;
        let (dice, book) = (&mut self.dice, &mut self.book);
        let at = heat.at + 11 * DAY + i64::from(position);
        book.lot_blades.tag("LT", lot).sub("M", mould, position).end()?;
        let mut decision = if rejected.is_some() { "scrap" } else { "accept" };
        if rejected.is_some() && dice.yes(250_000) {
            // Blended or welded, looked at again, and taken.
            let sheet = book.dispositions.sub("M", mould, position).at(at - DAY).t("rework");
            sheet.t(dice.one(&QUALITY)).t("blend").end()?;
            let sheet = book.inspections.third("I", mould, position, 6).sub("M", mould, position);
            sheet.t("penetrant").i(2).at(at - 60).t(dice.one(&INSPECTORS)).blank().t("accept").end()?;
            self.made.inspections += 1;
            decision = "accept";
        }
        let sheet = book.dispositions.sub("M", mould, position).at(at).t(decision).t(dice.one(&QUALITY));
        sheet.t(rejected.map_or("", |d| DEFECTS[d].0)).end()?;
        if decision == "accept" && dice.yes(960_000) {
            let out = heat.at + 20 * DAY;
            let sheet = book.shipments.sub("M", mould, position).at(out).t(dice.one(&["store A", "store B"]));
            sheet.tag("LT", lot);
            if dice.yes(500) {
                sheet.at(out + 30 * DAY).t("handling mark").end()?;
            } else {
                sheet.blank().blank().end()?;
            }
        }
        Ok(())
    }

    fn lot(&mut self, heat: Heat) -> io::Result<u32> {
        let (lot, left) = self.release.lots[heat.part];
        if left > 0 {
            self.release.lots[heat.part].1 -= 1;
            return Ok(lot);
        }
        self.release.opened += 1;
        let lot = self.release.opened;
        self.release.lots[heat.part] = (lot, LOT - 1);
        let sheet = self.book.lots.tag("LT", lot).t(PARTS[heat.part].0).t("purchaser 1").tag("PO", lot);
        sheet.i(u64::from(LOT) * 9 / 10).t("3.1").at(heat.at - 30 * DAY).end()?;
        Ok(lot)
    }

    /// One open hold, on the prime pot in use.
    pub fn holds(&mut self) -> io::Result<()> {
        let last = self.shell.prime();
        if last == 0 || self.plan.moulds < 100 {
            return Ok(());
        }
        let at = crate::demo::maker::pour_time(self.heats) + DAY;
        let sheet = self.book.holds.tag("HO", 1).tag("SB", last).at(at).t("qa01").t("grit seen in the pot");
        sheet.blank().blank().blank().end()
    }
}
