//! Rates by place: position on the tree, zone of the blade.

use serde::Serialize;

use crate::jobs::charts::show::{ASSOCIATION, list};
use crate::show::picture::{Map, Picture, State, ZoneRate, Zones};
use crate::show::{columns, percent};
use records::value::tag::shown;

/// One line of a table of rates.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RateLine {
    /// The position, or the code of the zone.
    pub label: String,
    pub with: usize,
    pub inspected: usize,
    pub made: usize,
    /// The share of the inspected with the defect.
    pub rate: Option<f64>,
    /// 95 % limits, blades taken as independent (Wilson).
    pub interval: Option<[f64; 2]>,
    /// Moulds with at least one such blade, of those inspected.
    pub moulds_with: usize,
    pub moulds: usize,
    /// The name of the zone.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub name: String,
    /// What each mould of the table has there, one letter each: `x` with it, `.` inspected without it, `?`
    /// made and not inspected, a blank where no blade is.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub cells: String,
}

impl RateLine {
    /// How many of how many, and the share.
    pub fn count(&self) -> String {
        match self.rate {
            Some(rate) => format!("{} of {}, {}", self.with, self.inspected, percent(rate)),
            None => "none inspected".into(),
        }
    }
}

/// What a line of a table of rates is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum RatesBy {
    /// On the tree.
    Position,
    /// Of the blade.
    Zone,
}

impl RatesBy {
    fn word(self) -> &'static str {
        match self {
            Self::Position => "position",
            Self::Zone => "zone",
        }
    }
}

/// A table of rates.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Rates {
    pub of: String,
    /// What a line is.
    pub by: RatesBy,
    pub lines: Vec<RateLine>,
    /// The moulds of `cells`, in pour order.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<String>,
    /// Heats behind the inspected blades.
    pub heats: usize,
    /// What must be known, as sentences.
    pub notes: Vec<String>,
}

/// Moulds side by side in a picture of positions at most: the newest.
const WIDEST: usize = 300;

impl Rates {
    pub fn text(&self) -> String {
        let mut rows = vec![
            [self.by.word(), "with", "inspected", "made", "rate (95 %)", "moulds with", ""]
                .map(String::from)
                .to_vec(),
        ];
        let most = self.lines.iter().filter_map(|l| l.rate).fold(0.0, f64::max);
        for l in &self.lines {
            let rate = match (l.rate, l.interval) {
                (Some(r), Some([a, b])) => format!("{} ({} to {})", percent(r), percent(a), percent(b)),
                _ => "-".into(),
            };
            let bar = l.rate.map_or(0, |r| if most > 0.0 { (r / most * 20.0).round() as usize } else { 0 });
            rows.push(vec![
                shown(&l.label).into_owned(),
                l.with.to_string(),
                l.inspected.to_string(),
                l.made.to_string(),
                rate,
                format!("{} of {}", l.moulds_with, l.moulds),
                "█".repeat(bar),
            ]);
        }
        let mut out = format!("{}\n\n{}", shown(&self.of), columns(&rows));
        list(&mut out, "Keep in mind", &self.notes);
        out
    }

    /// As a picture: the drawn blade where zones are told, positions against moulds else.
    pub fn picture(&self) -> Picture {
        match self.by {
            RatesBy::Zone => self.zones(None),
            RatesBy::Position => {
                let from = self.columns.len().saturating_sub(WIDEST);
                self.map((0, self.lines.len()), (from, WIDEST), None)
            }
        }
    }

    /// The zones on the drawn blade, one of them chosen.
    pub fn zones(&self, chosen: Option<usize>) -> Picture {
        let zones = self.lines.iter().map(|l| ZoneRate {
            zone: l.label.clone(),
            name: l.name.clone(),
            with: l.with as u64,
            inspected: l.inspected as u64,
        });
        Picture::Zones(Zones {
            title: self.of.clone(),
            zones: zones.collect(),
            chosen,
            caution: ASSOCIATION.into(),
        })
    }

    /// Positions against moulds, so many of both from one on, a row and a column chosen.
    pub fn map(
        &self,
        (first, rows): (usize, usize),
        (from, most): (usize, usize),
        chosen: Option<(usize, usize)>,
    ) -> Picture {
        let lines = || self.lines.iter().skip(first).take(rows);
        let to = (from + most).min(self.columns.len());
        let from = from.min(to);
        let cells = |l: &RateLine| {
            let state = |c: char| match c {
                'x' => State::With,
                '.' => State::Clean,
                '?' => State::NotInspected,
                _ => State::Nothing,
            };
            l.cells.chars().map(state).skip(from).take(to - from).collect()
        };
        let part = match to - from < self.columns.len() {
            true => format!(" (moulds {} to {to} of {})", from + 1, self.columns.len()),
            false => String::new(),
        };
        Picture::Map(Map {
            title: format!("{}{part}", self.of),
            rows: lines().map(|l| (l.label.clone(), l.count())).collect(),
            columns: self.columns[from..to].to_vec(),
            cells: lines().map(cells).collect(),
            chosen: chosen.map(|(r, c)| (r.saturating_sub(first), c.saturating_sub(from))),
            caution: ASSOCIATION.into(),
        })
    }
}
