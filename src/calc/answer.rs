//! What a `calc` command prints: named figures, the formula's name and its source.

use serde_json::{Map, Value};

/// The outcome of one `calc` command.
///
/// Keys are the JSON keys of the command; the text form prints the same keys and figures, then the
/// formula and where it comes from.
pub struct Answer {
    json: Map<String, Value>,
    lines: Vec<String>,
    formula: &'static str,
    source: &'static str,
    notes: Vec<String>,
    page: Option<String>,
}

impl Answer {
    /// An empty answer of a named formula with its source ("common practice, no source" is one).
    pub fn new(formula: &'static str, source: &'static str) -> Self {
        Self { json: Map::new(), lines: Vec::new(), formula, source, notes: Vec::new(), page: None }
    }

    /// A figure; a value that is not finite becomes `null` and is printed as "none".
    pub fn figure(self, key: &str, value: f64) -> Self {
        self.put(key, number(value))
    }

    /// A pair of limits, `[lo, hi]`.
    pub fn interval(self, key: &str, (lo, hi): (f64, f64)) -> Self {
        self.put(key, Value::Array(vec![number(lo), number(hi)]))
    }

    /// A figure that the input may not determine: none becomes `null`.
    pub fn maybe(self, key: &str, value: Option<f64>) -> Self {
        self.put(key, value.map_or(Value::Null, number))
    }

    /// A pair of limits that the input may not determine: none becomes `null`.
    pub fn maybe_interval(self, key: &str, limits: Option<(f64, f64)>) -> Self {
        match limits {
            Some(pair) => self.interval(key, pair),
            None => self.put(key, Value::Null),
        }
    }

    pub fn list(self, key: &str, values: &[f64]) -> Self {
        self.put(key, Value::Array(values.iter().map(|&v| number(v)).collect()))
    }

    /// Any JSON value under a key.
    pub fn put(mut self, key: &str, value: Value) -> Self {
        self.lines.push(format!("{key:<18} {}", plain(&value)));
        self.json.insert(key.to_string(), value);
        self
    }

    /// A sentence under the figures: a limit of validity, or why a figure is absent. In JSON it is
    /// an entry of `notes`.
    pub fn note(mut self, sentence: impl Into<String>) -> Self {
        self.notes.push(sentence.into());
        self
    }

    /// A text form of its own above formula and source, in place of the list of keys.
    pub fn page(mut self, text: String) -> Self {
        self.page = Some(text);
        self
    }

    /// The sentence, where there is one.
    pub fn note_if(self, sentence: Option<String>) -> Self {
        match sentence {
            Some(sentence) => self.note(sentence),
            None => self,
        }
    }

    /// The sentence, where it holds.
    pub fn note_where(self, holds: bool, sentence: impl Into<String>) -> Self {
        if holds { self.note(sentence) } else { self }
    }

    pub fn notes(mut self, sentences: impl IntoIterator<Item = String>) -> Self {
        self.notes.extend(sentences);
        self
    }

    pub fn to_json(&self) -> Value {
        let mut map = self.json.clone();
        if !self.notes.is_empty() {
            map.insert("notes".into(), self.notes.clone().into());
        }
        Value::Object(map)
    }

    pub fn to_text(&self) -> String {
        let mut text = self.page.clone().unwrap_or_else(|| self.lines.join("\n"));
        for note in &self.notes {
            text.push_str("\nnote: ");
            text.push_str(note);
        }
        text.push_str("\nformula: ");
        text.push_str(self.formula);
        text.push_str("\nsource:  ");
        text.push_str(self.source);
        text
    }

    pub fn printed(&self, json: bool) -> String {
        format!("{}\n", if json { crate::show::json(&self.to_json()) } else { self.to_text() })
    }
}

/// A JSON number, or null where the value is not finite.
pub fn number(value: f64) -> Value {
    serde_json::Number::from_f64(value).map_or(Value::Null, Value::Number)
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "none".into(),
        Value::Number(n) => n.as_f64().map_or_else(|| n.to_string(), digits),
        Value::String(s) => s.clone(),
        Value::Array(items) => {
            format!("[{}]", items.iter().map(plain).collect::<Vec<_>>().join(", "))
        }
        Value::Object(map) => {
            map.iter().map(|(k, v)| format!("{k} {}", plain(v))).collect::<Vec<_>>().join("  ")
        }
        Value::Bool(b) => (if *b { "yes" } else { "no" }).into(),
    }
}

/// Six significant digits, which every function here is good for; whole numbers whole.
fn digits(v: f64) -> String {
    if v == v.trunc() && v.abs() < 1e15 {
        return format!("{v}");
    }
    let places = 5 - v.abs().log10().floor() as i32;
    if (0..=12).contains(&places) {
        let text = format!("{v:.*}", places as usize);
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        format!("{v:.5e}")
    }
}
