//! A rate held against a reading: heats (or moulds) as points, and in parts of about equal size.

use serde::Serialize;

use crate::jobs::charts::kinds::By;
use crate::jobs::charts::show::{ASSOCIATION, list, short};
use crate::show::picture::{Bar, Bars, Picture, Scatter, ScatterPoint};
use crate::show::{columns, percent};
use records::value::tag::shown;

/// One heat or mould.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Pair {
    pub label: String,
    /// The mean of its readings.
    pub reading: f64,
    pub with: usize,
    pub inspected: usize,
    /// How many standard errors of the slope it moves the slope by; none where it was not left out.
    pub influence: Option<f64>,
    /// It moves the slope by more than one standard error, or there is none without it.
    pub influential: bool,
}

impl Pair {
    pub fn rate(&self) -> f64 {
        self.with as f64 / self.inspected.max(1) as f64
    }
}

/// The slope of a logistic curve.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Slope {
    /// Log odds where the reading is 0.
    pub intercept: f64,
    /// Log odds per unit of the reading.
    pub slope: f64,
    /// Its standard error, heats as clusters.
    pub std_error: f64,
    /// 95 % limits of the slope.
    pub interval: [f64; 2],
    /// Heats behind it.
    pub heats: usize,
}

impl Slope {
    /// The rate that the curve gives at a reading.
    pub fn rate(&self, reading: f64) -> f64 {
        1.0 / (1.0 + (-(self.intercept + self.slope * reading)).exp())
    }

    /// The interval leaves 0 out.
    pub fn clear(&self) -> bool {
        self.interval[0] > 0.0 || self.interval[1] < 0.0
    }
}

/// Readings of about the same size, taken together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Part {
    /// The least and the largest reading.
    pub span: [f64; 2],
    pub with: usize,
    pub inspected: usize,
    /// Moulds or heats in it.
    pub points: usize,
    /// 95 % limits: Wilson's, on counts over the design effect.
    pub interval: Option<[f64; 2]>,
}

/// A rate held against a reading.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Against {
    pub of: String,
    pub reading: String,
    /// Its unit; blank where it has none.
    pub unit: String,
    /// What a point is: heat or mould.
    pub by: By,
    /// The points, by size of the reading.
    pub points: Vec<Pair>,
    /// Moulds behind them.
    pub moulds: usize,
    /// Heats behind them.
    pub heats: usize,
    /// The points in parts.
    pub parts: Vec<Part>,
    /// By how much more the rates vary between heats than independent blades would let them.
    pub design_effect: f64,
    /// The slope; none where none can be told.
    pub fit: Option<Slope>,
    /// The slope without the point that moves it most.
    pub without: Option<Slope>,
    /// The step of the reading that the words use.
    pub step: f64,
    /// The rate of all points.
    pub rate: Option<f64>,
    /// What was found, as sentences.
    pub words: Vec<String>,
    /// What must be known, as sentences.
    pub notes: Vec<String>,
}

impl Against {
    /// The reading with its unit.
    pub fn axis(&self) -> String {
        if self.unit.is_empty() { self.reading.clone() } else { format!("{}, {}", self.reading, self.unit) }
    }

    /// The odds ratio for one step of the reading, with its limits, in words.
    pub fn odds(&self, slope: &Slope) -> String {
        let over = |b: f64| ratio((b * self.step).exp());
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        format!(
            "odds × {} for {}{unit} more (95 % {} to {})",
            over(slope.slope),
            short(self.step),
            over(slope.interval[0]),
            over(slope.interval[1])
        )
    }

    /// The same without the step, where it was said before.
    pub fn odds_alone(&self, slope: &Slope) -> String {
        let over = |b: f64| ratio((b * self.step).exp());
        let [low, high] = slope.interval.map(over);
        format!("odds × {} ({low} to {high})", over(slope.slope))
    }

    /// The point that moves the slope most.
    pub fn strongest(&self) -> Option<&Pair> {
        let size = |p: &&Pair| p.influence.map_or(-1.0, f64::abs);
        self.points.iter().max_by(|a, b| size(a).total_cmp(&size(b))).filter(|p| p.influence.is_some())
    }

    pub fn text(&self) -> String {
        let mut out = format!("{} against {}\n\n", shown(&self.of), shown(&self.axis()));
        if !self.parts.is_empty() {
            let mut rows = vec![
                [self.reading.as_str(), "with", "inspected", "rate (95 %)", &format!("{}s", self.by)]
                    .map(|w| shown(w).into_owned())
                    .to_vec(),
            ];
            rows.extend(self.parts.iter().map(|p| {
                let rate = percent(p.with as f64 / p.inspected.max(1) as f64);
                let rate = match p.interval {
                    Some([a, b]) => format!("{rate} ({} to {})", percent(a), percent(b)),
                    None => rate,
                };
                let counts = [p.with.to_string(), p.inspected.to_string(), rate, p.points.to_string()];
                std::iter::once(span(p.span)).chain(counts).collect()
            }));
            out.push_str(&columns(&rows));
        }
        list(&mut out, "The relation", &self.words);
        list(&mut out, "About it", &self.notes);
        out
    }

    /// Heats (or moulds) as points with the fitted curve, one of them chosen.
    pub fn scatter(&self, chosen: Option<usize>) -> Picture {
        let points = self.points.iter().map(|p| ScatterPoint {
            label: p.label.clone(),
            x: p.reading,
            y: p.rate(),
            flagged: p.influential,
        });
        Picture::Scatter(Scatter {
            title: format!("{} against {}", self.of, self.reading),
            x: self.axis(),
            y: format!("rate of each {}", self.by),
            points: points.collect(),
            curve: self.fit.as_ref().map(|f| (f.intercept, f.slope)),
            key: match self.points.iter().any(|p| p.influential) {
                true => format!("triangle: a {} that the slope hangs on", self.by),
                false => String::new(),
            },
            chosen,
            caution: self.caution(),
        })
    }

    /// The rates of parts of the reading, one of them chosen.
    pub fn bars(&self, chosen: Option<usize>) -> Picture {
        let rows = self.parts.iter().map(|p| Bar {
            label: span(p.span),
            rate: (p.inspected > 0).then(|| p.with as f64 / p.inspected as f64),
            interval: p.interval.map(|[a, b]| (a, b)),
            counts: format!("{} of {}, {} {}s", p.with, p.inspected, p.points, self.by),
        });
        Picture::Bars(Bars {
            title: format!("{} against {}", self.of, self.axis()),
            rows: rows.collect(),
            all: self.rate,
            chosen,
            caution: self.caution(),
        })
    }

    fn caution(&self) -> String {
        format!("{ASSOCIATION} {} moulds, {} heats.", self.moulds, self.heats)
    }
}

/// A span of readings.
pub fn span([low, high]: [f64; 2]) -> String {
    if low == high { short(low) } else { format!("{} to {}", short(low), short(high)) }
}

/// A ratio in few digits.
fn ratio(x: f64) -> String {
    match x {
        x if !x.is_finite() || x > 99.0 => "more than 99".into(),
        x if x < 0.01 => "less than 0.01".into(),
        x if x >= 9.95 => format!("{x:.0}"),
        x if x >= 0.995 => format!("{x:.1}"),
        x => format!("{x:.2}"),
    }
}
