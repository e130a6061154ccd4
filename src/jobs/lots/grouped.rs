//! The reasons of a lot as a table: those of one station and wording together, their blades as ranges, since when, and
//! where what would lift them is.

use std::borrow::Cow;

use serde::ser::SerializeStruct;

use crate::jobs::lots::reasons::lifting;
use crate::jobs::lots::summary::Block;
use crate::show;
use crate::ui::view::wrap;
use records::value::tag::{in_order, shown};
use records::value::words::counted;

/// A reason with everything it touches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    pub station: String,
    pub reason: String,
    pub code: &'static str,
    /// The heat, mould or other record it lies in.
    pub record: Option<String>,
    /// Blades of the lot that it touches; none: the lot as a whole.
    pub blades: Vec<String>,
    /// Since when, where a record says it: the analysis, the inspection, the hold.
    pub since: Option<String>,
    /// The record, the reading or the person where what would lift it is found.
    pub leads_to: Option<String>,
}

impl Reason {
    /// How many blades it touches, in a word.
    pub fn touched(&self) -> String {
        match self.blades.len() {
            0 => "the lot".into(),
            n => counted(n, "blade"),
        }
    }

    /// The same as a number in a column.
    pub fn number(&self) -> String {
        match self.blades.len() {
            0 => "all".into(),
            n => n.to_string(),
        }
    }

    /// The day since which it stands; blank where no record says it.
    pub fn day(&self) -> &str {
        self.since.as_deref().and_then(|s| s.get(..10)).unwrap_or("")
    }

    /// Its blades, `M31-049-1 to 8`.
    pub fn ranges(&self) -> Vec<String> {
        ranges(&self.blades)
    }

    pub fn lifted_by(&self) -> &'static str {
        lifting::by(self.code)
    }
}

impl serde::Serialize for Reason {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut out = to.serialize_struct("Reason", 9)?;
        out.serialize_field("station", &self.station)?;
        out.serialize_field("what", &self.reason)?;
        out.serialize_field("code", self.code)?;
        out.serialize_field("blades", &self.blades.len())?;
        out.serialize_field("ranges", &self.ranges())?;
        out.serialize_field("since", &self.since)?;
        out.serialize_field("record", &self.record)?;
        out.serialize_field("leads_to", &self.leads_to)?;
        out.serialize_field("lifted_by", self.lifted_by())?;
        out.end()
    }
}

/// Reasons of one station and wording together.
pub fn of(blocks: &[Block]) -> Vec<Reason> {
    let mut out: Vec<Reason> = Vec::new();
    for b in blocks {
        let touched: Vec<String> = match &b.blade {
            Some(blade) => vec![blade.clone()],
            None => b.blades.clone(),
        };
        match out.iter_mut().find(|r| r.station == b.station && r.reason == b.reason) {
            Some(r) => {
                r.blades.extend(touched);
                r.since = r.since.iter().chain(&b.since).min().cloned();
            }
            None => out.push(Reason {
                station: b.station.clone(),
                reason: b.reason.clone(),
                code: b.code,
                record: b.record.clone(),
                since: b.since.clone(),
                leads_to: b
                    .leads_to
                    .clone()
                    .or_else(|| b.record.clone())
                    .or_else(|| touched.first().cloned()),
                blades: touched,
            }),
        }
    }
    out
}

/// Tags in their order, those that follow each other together: `M31-049-1 to 8`.
pub fn ranges(tags: &[String]) -> Vec<String> {
    let mut sorted: Vec<Cow<str>> = tags.iter().map(|t| shown(t)).collect();
    sorted.sort_by_cached_key(|t| in_order(t));
    sorted.dedup();
    show::ranges::ranges(&sorted)
}

/// So many ranges of a reason stand in the text of a summary.
const MOST: usize = 6;

/// Station, how many blades, since when, what: of one reason, or the head of the table.
pub fn row(station: &str, blades: &str, since: &str, what: &str) -> String {
    format!("{station:15}  {blades:>6}  {since:10}  {what}")
}

/// The head of the table.
pub fn head() -> String {
    row("station", "blades", "since", "what")
}

/// What stands in the last column fits into so much, that all of it fits on a screen of 80 columns.
const WIDE: usize = 38;

/// The table for a terminal of 80 columns.
pub fn table(reasons: &[Reason]) -> String {
    let mut out = format!("  {}\n", head());
    for r in reasons {
        let mut what = wrap(&shown(&r.reason), WIDE);
        let ranges = r.ranges();
        if !ranges.is_empty() {
            let mut said = ranges[..ranges.len().min(MOST)].join("; ");
            if ranges.len() > MOST {
                said.push_str(&format!(" … {} in all", r.blades.len()));
            }
            what.extend(wrap(&said, WIDE));
        }
        for (i, line) in what.iter().enumerate() {
            let line = match i {
                0 => row(&shown(&r.station), &r.number(), r.day(), line),
                _ => row("", "", "", line),
            };
            out.push_str(&format!("  {}\n", line.trim_end()));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blades_that_follow_each_other_stand_as_a_range() {
        let of = |tags: &str| ranges(&tags.split(' ').map(String::from).collect::<Vec<_>>()).join(", ");
        assert_eq!(
            of("M31-049-2 M31-049-1 M31-049-3 M31-049-10 M31-049-9 M31-050-1"),
            "M31-049-1 to 3, 9, 10, M31-050-1"
        );
        // Another mould, a letter: no range.
        assert_eq!(of("M31-049-8 M31-050-9 B-A B-B 7 8"), "7, 8, B-A, B-B, M31-049-8, M31-050-9");
        assert_eq!(of("M-1 M-1 M-2"), "M-1, 2");
    }
}
