//! Kinds of control charts: all that is said of one stands in its line of [`KINDS`].

use serde::{Serialize, Serializer};

use knowledge::stats::charts::{ControlChart, attributes, variables};

/// A kind of control chart.
#[derive(Debug)]
pub struct ChartKind {
    /// The word on the command line, and in answers.
    pub word: &'static str,
    /// What it charts.
    pub about: &'static str,
    /// How its limits come about.
    pub formula: &'static str,
    /// Who found them.
    pub source: &'static str,
    pub limits: KindLimits,
}

/// Blades with the defect, and blades inspected, of each point.
pub type Counts<'a> = (&'a [u64], &'a [u64]);

/// The limits of a kind, and why it was taken.
#[derive(Debug)]
pub enum KindLimits {
    /// Of rates.
    Rates(fn(Counts, &Wide) -> Result<ControlChart, String>, fn(&Wide) -> String),
    /// Of readings in groups.
    Readings(fn(&[Vec<f64>]) -> Result<ControlChart, String>, fn(&[Vec<f64>]) -> &'static str),
}

/// The limits that allow for points which vary more than by chance.
#[derive(Debug)]
pub struct Wide {
    /// How many times as much as independent blades the points vary.
    pub sigma_z: f64,
    /// None where the points do not give them.
    pub chart: Option<ControlChart>,
}

impl Wide {
    pub fn of((with, inspected): Counts) -> Self {
        match attributes::p_prime(with, inspected) {
            Ok(laney) => Self { sigma_z: laney.sigma_z, chart: Some(laney.chart) },
            Err(_) => Self { sigma_z: 1.0, chart: None },
        }
    }
}

pub static P: ChartKind = ChartKind {
    word: "p",
    about: "Shares of blades (p)",
    formula: "c ± 3 √(c(1−c)/n), c = Σ with / Σ inspected, the centre; the lower cut at 0",
    source: "Shewhart 1931",
    limits: KindLimits::Rates(
        |(with, inspected), _| attributes::p(with, inspected),
        |wide| format!("p: the points vary {:.1} times as much as independent blades would.", wide.sigma_z),
    ),
};

pub static NP: ChartKind = ChartKind {
    word: "np",
    about: "Numbers of blades (np)",
    formula: "n c ± 3 √(n c(1−c)), c = Σ with / Σ inspected; the lower cut at 0",
    source: "Shewhart 1931",
    limits: KindLimits::Rates(
        |(with, inspected), _| attributes::np(with, inspected),
        |_| "Numbers with the defect in groups of one size.".into(),
    ),
};

pub static P_PRIME: ChartKind = ChartKind {
    word: "p-prime",
    about: "Shares that vary more than by chance",
    formula: "c ± 3 σ_z √(c(1−c)/n), c = Σ with / Σ inspected, σ_z = mean step of the z scores / 1.128",
    source: "Laney 2002",
    limits: KindLimits::Rates(
        |counts, wide| wide.chart.clone().map_or_else(|| attributes::p(counts.0, counts.1), Ok),
        |wide| {
            format!(
                "p-prime: the points vary {:.1} times as much as independent blades would; the limits allow for it.",
                wide.sigma_z
            )
        },
    ),
};

pub static INDIVIDUALS: ChartKind = ChartKind {
    word: "i-mr",
    about: "Single values and moving ranges",
    formula: "centre ± 3 M/1.128, M the mean step from each value to the next",
    source: "Shewhart 1931",
    limits: KindLimits::Readings(
        |groups| {
            let mean = |g: &Vec<f64>| g.iter().sum::<f64>() / g.len() as f64;
            variables::individuals(&groups.iter().map(mean).collect::<Vec<f64>>()).map(|c| c.individual)
        },
        |groups| match groups.iter().all(|g| g.len() == 1) {
            true => "Single values; limits from the step from each to the next (moving range over 1.128).",
            false => {
                "The mean of each; limits from the step from each to the next (moving range over 1.128)."
            }
        },
    ),
};

pub static MEANS_BY_SD: ChartKind = ChartKind {
    word: "xbar-s",
    about: "Means of groups, by standard deviations",
    formula: "centre ± 3 s/(c4 √n), s the mean standard deviation inside a group",
    source: "Shewhart 1931",
    limits: KindLimits::Readings(
        |groups| variables::xbar_s(groups).map(|c| c.mean),
        |_| "Means of groups; limits from the spread inside them.",
    ),
};

pub static MEANS_BY_RANGE: ChartKind = ChartKind {
    word: "xbar-r",
    about: "Means of groups, by ranges",
    formula: "centre ± 3 R/(d2 √n), R the mean range inside a group",
    source: "Shewhart 1931; Tippett 1925",
    limits: KindLimits::Readings(
        |groups| variables::xbar_r(groups).map(|c| c.mean),
        |_| "Means of groups; limits from the ranges inside them.",
    ),
};

/// All kinds, in the order of the help.
pub static KINDS: [&ChartKind; 6] = [&P, &NP, &P_PRIME, &INDIVIDUALS, &MEANS_BY_SD, &MEANS_BY_RANGE];

impl PartialEq for ChartKind {
    fn eq(&self, other: &Self) -> bool {
        self.word == other.word
    }
}

/// Where there are too few points for limits, there are points only.
pub fn word(kind: Option<&ChartKind>) -> &'static str {
    kind.map_or("points only", |k| k.word)
}

/// A kind as answers write it.
pub fn written<S: Serializer>(kind: &Option<&ChartKind>, to: S) -> Result<S::Ok, S::Error> {
    word(*kind).serialize(to)
}

/// What a point of a chart is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum By {
    Mould,
    Heat,
    Day,
    /// From Monday.
    Week,
    Month,
    Reading,
}

impl By {
    /// All of them, each with its word on the command line and what it is.
    pub const ALL: [(Self, &'static str, &'static str); 6] = [
        (Self::Mould, "mould", "One mould"),
        (Self::Heat, "heat", "One heat"),
        (Self::Day, "day", "One day"),
        (Self::Week, "week", "One week, from Monday"),
        (Self::Month, "month", "One month"),
        (Self::Reading, "reading", "One reading"),
    ];

    /// The word on the command line.
    pub fn word(self) -> &'static str {
        Self::ALL.iter().find(|(by, ..)| *by == self).map_or("", |(_, word, _)| word)
    }
}

impl std::fmt::Display for By {
    fn fmt(&self, f: &mut std::fmt::Formatter) -> std::fmt::Result {
        f.write_str(self.word())
    }
}
