//! Metal: ingots with their analyses, heats with their charges, revert that goes round.

use std::io;

use crate::demo::maker::definitions::{ALLOYS, ELEMENTS, OPERATORS};
use crate::demo::maker::{DAY, Heat, Shop};

/// Heats from which one revert lot is made.
const BLOCK: u32 = 4;
/// Blocks that use revert of the block before, the first of them none: then the revert is sold, and
/// new metal is begun with. So a heat has at most three generations behind it.
const CAMPAIGN: u32 = 4 * BLOCK;
/// Heats of one ingot lot.
const INGOT_HEATS: u32 = 40;

/// The melt shop as it stands.
#[derive(Default)]
pub struct Melt {
    /// Number of the ingot lot in use, and heats that it is still good for, for each alloy.
    ingots: [(u32, u32); 2],
    ingot_lots: u32,
    revert_lots: u32,
    /// What is left of the last revert lot, in tenths of a kilogram.
    revert_left: u64,
    crucible: u32,
    life: u64,
    analyses: u32,
}

impl Melt {
    /// Alloy of a heat: campaign by campaign.
    pub fn alloy_of(&self, number: u32) -> usize {
        ((number - 1) / CAMPAIGN % 2) as usize
    }
}

impl Shop {
    /// Writes a heat with all that goes into it.
    pub fn heat(&mut self, heat: Heat, moulds: u32) -> io::Result<()> {
        let in_campaign = (heat.number - 1) % CAMPAIGN;
        if in_campaign > 0 && in_campaign.is_multiple_of(BLOCK) {
            self.revert(heat)?;
        }
        let ingot = self.ingot(heat)?;
        let melt = &mut self.melt;
        if melt.life >= 40 || melt.crucible == 0 {
            melt.crucible += 1;
            melt.life = 0;
        }
        melt.life += 1;
        let dice = &mut self.dice;
        let sheet = self.book.heats.tag("H", heat.number).t(ALLOYS[heat.alloy]);
        sheet
            .t(if heat.number.is_multiple_of(3) { "F2" } else { "F1" })
            .tag("CR", melt.crucible)
            .i(melt.life);
        sheet.at(heat.at - 70).at(heat.at - 25).i(dice.bell(110, 170)).d(dice.bell(20, 90), 4);
        sheet.d(dice.bell(5, 60), 3).d(dice.bell(20, 120), 1).t(dice.one(&OPERATORS)).end()?;
        // Twelve kilograms a mould, of which revert gives up to half, as long as there is some.
        let mass = 120 * u64::from(moulds.max(1)) + dice.from(0, 20);
        let part = if in_campaign >= BLOCK { dice.from(30, 50) } else { 0 };
        let old = (mass * part / 100).min(melt.revert_left);
        let new = mass - old;
        melt.revert_left -= old;
        self.book.charges.tag("H", heat.number).tag("IL", ingot).i(1).d(new, 1).end()?;
        if old > 0 {
            self.book.charges.tag("H", heat.number).tag("RL", melt.revert_lots).i(1).d(old, 1).end()?;
        }
        self.analysis("H", heat.number, "check", heat.at + 300)?;
        let dice = &mut self.dice;
        let sheet = self.book.test_bars.tag("TB", heat.number).tag("H", heat.number).t("TM-1");
        sheet.i(dice.bell(850, 1_050)).i(dice.bell(720, 880)).d(dice.bell(30, 90), 1);
        sheet.d(dice.bell(300, 700), 1).d(dice.bell(350, 430), 1).end()
    }

    /// Collects the revert of the block before.
    fn revert(&mut self, heat: Heat) -> io::Result<()> {
        self.melt.revert_lots += 1;
        let lot = self.melt.revert_lots;
        let form = self.dice.one(&["runners", "sprues", "mixed"]);
        let sheet = self.book.revert_lots.tag("RL", lot).t(ALLOYS[heat.alloy]).at(heat.at - 120);
        sheet.t(form).t(if self.dice.yes(900_000) { "clean" } else { "mixed" }).end()?;
        self.melt.revert_left = 0;
        for source in heat.number - BLOCK..heat.number {
            let mass = self.dice.from(200, 400);
            self.melt.revert_left += mass;
            self.book.revert_sources.tag("RL", lot).tag("H", source).d(mass, 1).end()?;
        }
        self.analysis("RL", lot, "check", heat.at - 100)
    }

    fn ingot(&mut self, heat: Heat) -> io::Result<u32> {
        let (lot, left) = self.melt.ingots[heat.alloy];
        if left > 0 {
            self.melt.ingots[heat.alloy].1 -= 1;
            return Ok(lot);
        }
        self.melt.ingot_lots += 1;
        let lot = self.melt.ingot_lots;
        self.melt.ingots[heat.alloy] = (lot, INGOT_HEATS - 1);
        let received = heat.at - 21 * DAY;
        let sheet = self.book.ingot_lots.tag("IL", lot).t(ALLOYS[heat.alloy]).tag("MH", lot).at(received);
        sheet.i(5_200).tag("CE", lot).t("3.1").end()?;
        self.analysis("IL", lot, "maker", received - DAY)?;
        self.analysis("IL", lot, "check", received + DAY)?;
        Ok(lot)
    }

    fn analysis(&mut self, prefix: &str, n: u32, purpose: &str, at: i64) -> io::Result<()> {
        self.melt.analyses += 1;
        let number = self.melt.analyses;
        let sheet = self.book.analyses.tag("AN", number).tag(prefix, n).t(purpose).at(at);
        sheet.t("OES").t(if purpose == "check" { "SP-1" } else { "" }).end()?;
        for (element, unit, low, high, decimals) in ELEMENTS {
            let value = self.dice.bell(low, high);
            let sheet = self.book.analysis_values.tag("AN", number).t(element).d(value, decimals).t(unit);
            sheet.d((high - low) / 20 + 1, decimals).end()?;
        }
        Ok(())
    }

    /// Writes the pours of a heat, one mould after the other.
    pub fn pours(&mut self, heat: Heat, first: u32, last: u32) -> io::Result<()> {
        let dice = &mut self.dice;
        for mould in first..=last {
            let order = u64::from(mould - first + 1);
            let at = heat.at + 4 * (order as i64 - 1);
            let furnace = if heat.number.is_multiple_of(3) { "F2" } else { "F1" };
            let sheet = self.book.pour_plans.tag("M", mould).day(heat.at - DAY).t(furnace);
            sheet.i(order).i(1_470).end()?;
            let run_out = dice.yes(4_000);
            let sheet = self.book.pours.tag("M", mould).tag("H", heat.number).i(order).at(at);
            sheet.d(14_550 + heat.hot + dice.bell(0, 80), 1).t(heat.pyrometer).i(dice.bell(960, 1_080));
            sheet.i(dice.bell(40, 110)).d(dice.bell(20, 46), 1).d(dice.bell(82, 98), 1);
            sheet.t(if run_out {
                "leak"
            } else if dice.yes(30_000) {
                "weep"
            } else {
                "tight"
            });
            sheet.t(if run_out { "yes" } else { "no" }).t(dice.one(&OPERATORS)).end()?;
        }
        Ok(())
    }
}
