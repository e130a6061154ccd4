//! Control charts of the foundry's own records, with what changed meanwhile.

use serde::Serialize;

use crate::jobs::charts::kinds;
use crate::jobs::charts::kinds::{By, ChartKind};
use crate::jobs::charts::show_against::Against;
use crate::show::picture::{Control, ControlPoint, Event, Picture};
use crate::show::{columns, percent};
use records::value::tag::shown;

/// One point of a chart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    /// The mould, heat, week or record.
    pub label: String,
    /// When it began, in RFC 3339.
    pub at: String,
    pub value: f64,
    /// Inspected blades, or readings, behind it.
    pub n: usize,
    /// Blades with the defect, where a rate is drawn.
    pub with: Option<usize>,
    /// Moulds behind it, where blades are counted.
    pub moulds: Option<usize>,
    /// The first of the records behind it: moulds, or what was read.
    #[serde(skip)]
    pub records: Vec<String>,
}

/// The rule that a point outside the limits breaks.
pub const BEYOND_LIMITS: &str = "beyond_limits";

/// A point that breaks a rule.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Signal {
    /// Which point, from 1.
    pub index: usize,
    pub label: String,
    pub rule: &'static str,
    pub words: &'static str,
}

/// Something that changed while the points were made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Change {
    /// When, in RFC 3339.
    pub at: String,
    /// The last point that had begun then, from 1; 0 before the first.
    pub point: usize,
    /// It stands exactly at the beginning of that point.
    #[serde(skip)]
    pub exact: bool,
    /// What sort of change: one of [`LANES`].
    pub lane: &'static str,
    pub what: String,
}

/// The sorts of changes, the telling ones first.
pub const LANES: [&str; 7] = ["checks", "revisions", "tools", "lots", "people", "holds", "entries"];

/// A second list of values beside the points.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Beside {
    pub name: String,
    /// For each point the mean of its values; none where nothing was recorded.
    pub values: Vec<Option<f64>>,
}

/// A control chart.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Chart {
    pub of: String,
    /// The kind of chart; none where there are too few points for limits.
    #[serde(rename = "type", serialize_with = "kinds::written")]
    pub kind: Option<&'static ChartKind>,
    pub why: String,
    /// What a point is.
    pub by: By,
    pub points: Vec<Point>,
    pub centre: Vec<f64>,
    pub lower: Vec<f64>,
    pub upper: Vec<f64>,
    /// How many times as much the points vary as independent blades would; for rates.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sigma_z: Option<f64>,
    pub signals: Vec<Signal>,
    /// Where centre and limits come from.
    pub limits_from: String,
    /// What changed meanwhile, in time order.
    pub changes: Vec<Change>,
    /// Another reading over the same points.
    pub beside: Option<Beside>,
    /// The rate held against that reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub relation: Option<Box<Against>>,
    /// A share is drawn.
    pub share: bool,
    /// What must be known, as sentences.
    pub notes: Vec<String>,
}

/// Lines of the drawing.
const HEIGHT: usize = 11;
/// Points side by side at most.
const WIDTH: usize = 64;
/// Changes so many points from a signal are printed.
const NEAR: usize = 3;
/// Changes that are printed.
const CHANGES: usize = 40;

impl Chart {
    /// As text of at most 80 columns.
    pub fn text(&self) -> String {
        let mut out = format!(
            "{}: {} chart by {}, {} points.\n",
            shown(&self.of),
            kinds::word(self.kind),
            self.by,
            self.points.len()
        );
        out.push_str(&format!("{}\n{}\n", self.why, self.limits_from));
        if self.points.is_empty() {
            list(&mut out, "Keep in mind", &self.notes);
            return out;
        }
        let from = self.points.len().saturating_sub(WIDTH);
        if from > 0 {
            out.push_str(&format!("Drawn: the last {WIDTH} points; --json has all.\n"));
        }
        out.push('\n');
        out.push_str(&self.drawing(from));
        if let Some(beside) = &self.beside {
            out.push_str(&format!("\n{}\n{}", shown(&beside.name), self.strip(beside, from)));
        }
        let label = |i: usize| self.points.get(i).map_or("", |p| p.label.as_str());
        out.push_str(&format!("\nfrom {} to {}\n", shown(label(from)), shown(label(self.points.len() - 1))));
        if self.signals.is_empty() {
            out.push_str("\nNo point breaks a rule: nothing beyond chance.\n");
        } else {
            let rows: Vec<Vec<String>> = self.signals.iter().map(|s| self.signal_row(s)).collect();
            out.push_str(&format!("\nPoints that break a rule:\n{}", columns(&rows)));
        }
        if !self.changes.is_empty() {
            out.push_str("\nWhat changed meanwhile (beside it, not because of it):\n");
            let near = |c: &&Change| self.signals.iter().any(|s| s.index.abs_diff(c.point) <= NEAR);
            let (listed, what): (Vec<&Change>, _) = if self.signals.is_empty() {
                (self.changes.iter().rev().take(CHANGES).rev().collect(), "the newest")
            } else {
                (self.changes.iter().filter(near).take(CHANGES).collect(), "within three points of a signal")
            };
            for change in &listed {
                let day = change.at.get(..16).unwrap_or(&change.at).replace('T', " ");
                out.push_str(&format!("  {day}  at {:>3}  {}\n", change.point, shown(&change.what)));
            }
            let all = self.changes.len();
            if all > listed.len() {
                out.push_str(&format!("  {} of {all}, {what}; --json has all\n", listed.len()));
            }
        }
        if let Some(relation) = &self.relation {
            out.push_str(&format!("\n{}", relation.text()));
        }
        list(&mut out, "Keep in mind", &self.notes);
        out
    }

    pub fn figure(&self, v: f64) -> String {
        if self.share { percent(v) } else { short(v) }
    }

    fn signal_row(&self, s: &Signal) -> Vec<String> {
        let point = &self.points[s.index - 1];
        let of = match point.with {
            Some(with) => format!("{} ({with} of {})", self.figure(point.value), point.n),
            None => self.figure(point.value),
        };
        vec![s.index.to_string(), shown(&s.label).into_owned(), of, s.words.to_string()]
    }

    /// Points as `o`, those outside the limits as `X`, limits as `-`, the centre as `·`.
    fn drawing(&self, from: usize) -> String {
        let all = || {
            self.points
                .iter()
                .map(|p| p.value)
                .chain(self.lower.iter().copied())
                .chain(self.upper.iter().copied())
        };
        let low = all().filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min);
        let high = all().filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max);
        let span = if high > low { high - low } else { 1.0 };
        let row = |v: f64| (((high - v) / span) * (HEIGHT - 1) as f64).round() as usize;
        let count = self.points.len() - from;
        let mut grid = vec![vec![' '; count]; HEIGHT];
        let broken: Vec<usize> = self.signals.iter().map(|s| s.index - 1).collect();
        for (c, i) in (from..self.points.len()).enumerate() {
            for (line, mark) in [(&self.lower, '-'), (&self.upper, '-'), (&self.centre, '·')] {
                if let Some(v) = line.get(i).filter(|v| v.is_finite()) {
                    grid[row(*v).min(HEIGHT - 1)][c] = mark;
                }
            }
            let mark = if broken.contains(&i) { 'X' } else { 'o' };
            grid[row(self.points[i].value).min(HEIGHT - 1)][c] = mark;
        }
        let mut out = String::new();
        for (r, line) in grid.iter().enumerate() {
            let axis = match r {
                0 => self.figure(high),
                r if r == HEIGHT - 1 => self.figure(low),
                r if r == HEIGHT / 2 => self.figure((low + high) / 2.0),
                _ => String::new(),
            };
            out.push_str(format!("{axis:>10} │{}", line.iter().collect::<String>()).trim_end());
            out.push('\n');
        }
        out
    }

    /// Values beside the points, as digits from 0 (least) to 9 (most).
    fn strip(&self, beside: &Beside, from: usize) -> String {
        let known = || beside.values.iter().flatten().copied();
        let low = known().fold(f64::INFINITY, f64::min);
        let high = known().fold(f64::NEG_INFINITY, f64::max);
        let digit = |v: &Option<f64>| match v {
            Some(v) if high > low => char::from(b'0' + ((v - low) / (high - low) * 9.0).round() as u8),
            Some(_) => '0',
            None => ' ',
        };
        let line: String = beside.values.iter().skip(from).map(digit).collect();
        if low.is_finite() {
            format!("{:>10} │{line}\n", format!("0={}", short(low)))
                + &format!("{:>10} │\n", format!("9={}", short(high)))
        } else {
            "nothing recorded\n".into()
        }
    }
}

pub(crate) fn list(out: &mut String, title: &str, sentences: &[String]) {
    if !sentences.is_empty() {
        out.push_str(&format!("\n{title}:\n"));
        sentences.iter().for_each(|s| out.push_str(&format!("- {}\n", shown(s))));
    }
}

/// Four significant digits, or the number as it is.
pub fn short(x: f64) -> String {
    let plain = x.to_string();
    if plain.len() <= 6 || x == 0.0 {
        return plain;
    }
    let places = (3 - x.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{x:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').into() } else { text }
}

/// Stands under every picture that shows a relation.
pub const ASSOCIATION: &str = "Association, not cause. Decision support: qualified people decide.";

impl Chart {
    /// As a picture: all points, none chosen.
    pub fn picture(&self) -> Picture {
        self.window(0, self.points.len(), None)
    }

    /// Points `from..from + most` as a picture, one of them chosen.
    pub fn window(&self, from: usize, most: usize, chosen: Option<usize>) -> Picture {
        let to = (from + most).min(self.points.len());
        let from = from.min(to);
        let finite = |line: &[f64], i: usize| line.get(i).copied().filter(|v| v.is_finite());
        let point = |i: usize| {
            let p = &self.points[i];
            ControlPoint {
                label: p.label.clone(),
                date: p.at.get(..10).unwrap_or_default().into(),
                value: Some(p.value),
                limits: match (finite(&self.centre, i), finite(&self.lower, i), finite(&self.upper, i)) {
                    (Some(c), Some(l), Some(u)) => Some([c, l, u]),
                    _ => None,
                },
                signal: self.signals.iter().any(|s| s.index == i + 1),
            }
        };
        let inside = |c: &&Change| c.point > from && c.point <= to;
        let events = self.changes.iter().filter(inside).map(|c| Event {
            at: (c.point - from) as f64 - if c.exact { 1.0 } else { 0.5 },
            lane: c.lane,
            words: c.what.clone(),
        });
        let part = match to - from < self.points.len() {
            true => format!(", points {} to {to} of {}", from + 1, self.points.len()),
            false => format!(", {} points", self.points.len()),
        };
        Picture::Control(Control {
            title: format!("{} ({} chart by {}{part})", self.of, kinds::word(self.kind), self.by),
            unit: if self.share { "%".into() } else { String::new() },
            points: (from..to).map(point).collect(),
            events: events.collect(),
            chosen: chosen.filter(|c| (from..to).contains(c)).map(|c| c - from),
            caution: ASSOCIATION.into(),
        })
    }
}
