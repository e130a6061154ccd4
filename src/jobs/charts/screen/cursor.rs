//! Where the cursor of the chart desk stands, and what stands there.

use crate::jobs::charts::ask::{By, Drawn};
use crate::jobs::charts::screen::{ChartDesk, ChartPage};
use crate::show::working::Working;
use crate::ui::kit::*;

impl ChartDesk {
    /// How many there are to stand on.
    pub(crate) fn count(&self) -> usize {
        match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) => c.points.len(),
            (ChartPage::Points, Some(Drawn::Against(a))) => a.points.len(),
            (ChartPage::Parts, Some(Drawn::Against(a))) => a.parts.len(),
            (ChartPage::Positions, Some(Drawn::Positions(r))) => r.columns.len(),
            (ChartPage::Zones, Some(Drawn::Zones(r))) => r.lines.len(),
            _ => 0,
        }
    }

    /// Puts the cursor where a person looks first.
    pub(crate) fn stand(&mut self) {
        let worst = |lines: &[crate::jobs::charts::show_places::RateLine]| {
            let rate = |l: &crate::jobs::charts::show_places::RateLine| l.rate.unwrap_or(-1.0);
            let best =
                (0..lines.len()).max_by(|&a, &b| rate(&lines[a]).total_cmp(&rate(&lines[b])).then(b.cmp(&a)));
            best.unwrap_or(0)
        };
        (self.at, self.row) = match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) => {
                (c.signals.first().map_or(c.points.len().saturating_sub(1), |s| s.index - 1), 0)
            }
            (ChartPage::Points, Some(Drawn::Against(a))) => {
                let strongest = a.strongest().map(|p| p.label.clone());
                (a.points.iter().position(|p| Some(&p.label) == strongest.as_ref()).unwrap_or(0), 0)
            }
            (ChartPage::Positions, Some(Drawn::Positions(r))) => {
                let row = worst(&r.lines);
                let first = r.lines.get(row).and_then(|l| l.cells.chars().position(|c| c == 'x'));
                (first.unwrap_or(r.columns.len().saturating_sub(1)), row)
            }
            (ChartPage::Zones, Some(Drawn::Zones(r))) => (worst(&r.lines), 0),
            _ => (0, 0),
        };
    }

    pub(crate) fn to(&mut self, place: usize) -> Vec<Effect> {
        self.at = place;
        Vec::new()
    }

    pub(crate) fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.count());
        Vec::new()
    }

    pub(crate) fn step_row(&mut self, by: isize) -> Vec<Effect> {
        match (self.page, &self.shown) {
            (ChartPage::Positions, Some(Drawn::Positions(r))) => self.row = step(self.row, by, r.lines.len()),
            (ChartPage::Parts | ChartPage::Zones, _) => return self.step(by),
            _ => {}
        }
        Vec::new()
    }

    pub(crate) fn next_signal(&self) -> Option<usize> {
        let (ChartPage::Time, Some(Drawn::Chart(c))) = (self.page, &self.shown) else { return None };
        let later = c.signals.iter().map(|s| s.index - 1).find(|i| *i > self.at);
        later.or_else(|| c.signals.first().map(|s| s.index - 1))
    }

    /// What stands at the cursor, where it can be traced.
    pub(crate) fn tag(&self) -> Option<String> {
        match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) => {
                let p = c.points.get(self.at)?;
                let tag = match c.by {
                    By::Mould | By::Heat => &p.label,
                    By::Reading => p.records.first()?,
                    _ => return None,
                };
                // A reading of no tagged record goes by its time.
                Some(tag.clone()).filter(|t| !t.is_empty() && records::Stamp::parse(t).is_err())
            }
            (ChartPage::Points, Some(Drawn::Against(a))) => a.points.get(self.at).map(|p| p.label.clone()),
            (ChartPage::Positions, Some(Drawn::Positions(r))) => r.columns.get(self.at).cloned(),
            _ => None,
        }
    }

    pub(crate) fn workings(&self) -> Vec<Working> {
        match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) => c.workings(self.at),
            (ChartPage::Points, Some(Drawn::Against(a))) => a.workings(Some(self.at), None),
            (ChartPage::Parts, Some(Drawn::Against(a))) => a.workings(None, Some(self.at)),
            (ChartPage::Positions, Some(Drawn::Positions(r))) => r.workings(self.row),
            (ChartPage::Zones, Some(Drawn::Zones(r))) => r.workings(self.at),
            _ => Vec::new(),
        }
    }
}
