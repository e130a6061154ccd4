//! How a figure came about: formula, inputs, records, source, assumptions.

use serde::Serialize;

/// Records that are named at most where more stand behind a figure.
pub const NAMED: usize = 12;

/// The working of one figure.
#[derive(Serialize, Clone, Debug, Default, PartialEq)]
pub struct Working {
    /// What it is, with its value.
    pub title: String,
    /// The formula, with its symbols.
    pub formula: String,
    /// What went in: name, and value with unit.
    pub inputs: Vec<(String, String)>,
    /// What the records are, where that is not all that stands behind it: `moulds inspected`.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub listed: &'static str,
    /// Tags or addresses of the records behind it.
    pub records: Vec<String>,
    /// Where the formula comes from.
    pub source: String,
    /// What is taken for granted.
    pub assumptions: Vec<String>,
}

impl Working {
    pub fn new(
        title: impl Into<String>,
        formula: impl Into<String>,
        source: impl Into<String>,
        assumptions: &[&str],
    ) -> Self {
        Self {
            title: title.into(),
            formula: formula.into(),
            source: source.into(),
            assumptions: assumptions.iter().map(|a| (*a).into()).collect(),
            ..Self::default()
        }
    }

    /// With something that went in.
    pub fn with(mut self, name: &str, value: impl ToString) -> Self {
        self.inputs.push((name.into(), value.to_string()));
        self
    }

    /// With what stands behind it, in one line.
    pub fn record(mut self, record: impl Into<String>) -> Self {
        self.records.push(record.into());
        self
    }

    /// With the first of so many records behind it.
    pub fn first_of(
        mut self,
        listed: &'static str,
        records: impl IntoIterator<Item = String>,
        total: usize,
    ) -> Self {
        self.listed = listed;
        self.records = records.into_iter().take(NAMED).collect();
        if total > self.records.len() {
            self.records.push(format!("and {} more", total - self.records.len()));
        }
        self
    }

    /// As lines: the heading first, then one thing a line.
    pub fn lines(&self) -> Vec<String> {
        let mut out = vec![self.title.clone(), format!("  formula  {}", self.formula)];
        out.extend(self.inputs.iter().map(|(name, value)| format!("  with     {name} = {value}")));
        if !self.records.is_empty() {
            let listed = if self.listed.is_empty() { String::new() } else { format!("{}: ", self.listed) };
            out.push(format!("  records  {listed}{}", self.records.join(", ")));
        }
        out.push(format!("  source   {}", self.source));
        out.extend(self.assumptions.iter().map(|a| format!("  assumes  {a}")));
        out
    }

    pub fn text(&self) -> String {
        self.lines().join("\n") + "\n"
    }
}

/// What "inspected" means wherever blades are counted.
pub const INSPECTED: &str = "a blade that was not inspected for it is left out, not counted as good; the first round of inspection decides";

/// A share in words.
pub fn share(with: usize, inspected: usize) -> String {
    match inspected {
        0 => "none inspected".into(),
        n => crate::show::percent(with as f64 / n as f64),
    }
}

/// A share in words, with its limits where there are any.
pub fn share_between(with: usize, inspected: usize, limits: Option<[f64; 2]>) -> String {
    let percent = crate::show::percent;
    let limits = limits.map_or(String::new(), |[a, b]| format!(" ({} to {})", percent(a), percent(b)));
    format!("{}{limits}", share(with, inspected))
}
