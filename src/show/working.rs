//! How a figure came about: formula, inputs, records, source, assumptions.

use serde::Serialize;

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
