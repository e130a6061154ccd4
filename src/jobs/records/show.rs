//! Single records as a person reads them, with what hangs on them.

use serde::Serialize;
use serde_json::{Map, Value as Json};

use crate::jobs::records::ask::Logged;
use crate::jobs::trace::show::Finding;
use crate::show::columns;
use records::value::tag::shown;
use records::value::words::counted;
use records::{Record, Value};

/// The fields of a record as JSON: numbers as numbers, everything else as text; blank as null.
pub fn fields(record: &Record) -> Map<String, Json> {
    let mut out = Map::new();
    for (field, value) in record.kind.all_fields().zip(&record.values) {
        out.insert(field.name.to_string(), json_value(value));
    }
    for (name, value) in &record.own {
        out.insert(name.clone(), json_value(value));
    }
    out
}

fn json_value(value: &Value) -> Json {
    match value {
        Value::Blank => Json::Null,
        Value::Count(v) => Json::from(*v),
        Value::Number(v) => serde_json::Number::from_f64(*v).map_or(Json::Null, Json::Number),
        other => Json::from(other.to_text()),
    }
}

/// What would free something, and is kept for quality to decide.
pub fn only_proposed(entry: i64, frees: &[String]) -> String {
    format!(
        "kept as proposal {entry}, nothing is changed: it {}; quality decides: meltkin proposals",
        shown(&frees.join(", and "))
    )
}

/// Text, and a word where there is none.
pub fn or_blank(text: &str) -> std::borrow::Cow<'_, str> {
    if text.is_empty() { "blank".into() } else { shown(text) }
}

/// A person as claimed.
pub fn claimed(person: Option<&String>) -> &str {
    person.map_or("no person given", String::as_str)
}

impl Logged {
    /// One line for a terminal.
    pub fn text(&self) -> String {
        let name = self.tag.as_deref().or(self.address.as_deref()).unwrap_or("");
        if self.proposal {
            return only_proposed(self.entry, &self.frees);
        }
        let mut out =
            format!("saved {} at {}, undo until {}", shown(name), self.recorded_at, self.undo_until);
        for read in &self.read_as {
            out.push_str(&format!("\n{read}"));
        }
        for g in &self.guards {
            out.push_str(&format!("\n! {}", shown(g)));
        }
        out
    }
}

/// A line of a record's history.
#[derive(Serialize, Debug, Clone)]
pub struct HistoryLine {
    /// Journal entry.
    pub entry: i64,
    /// When.
    pub at: String,
    /// Who, as claimed.
    pub person: Option<String>,
    /// What was done.
    pub action: String,
    /// Changed fields: name, old, new.
    pub changed: Vec<(String, String, String)>,
    /// Why.
    pub reason: Option<String>,
}

/// A record with what hangs on it.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Shown {
    /// Tag or address.
    pub tag: String,
    pub kind: &'static str,
    /// The asked tag, where it is a label put on later.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<String>,
    /// The fields.
    pub record: Map<String, Json>,
    /// Guards it lies outside of.
    pub guards: Vec<String>,
    /// Open holds that fence it: tag, subject, reason.
    pub holds: Vec<HoldLine>,
    /// Fenced by an open hold.
    pub held: bool,
    /// Suspect readings on it, or behind it.
    pub suspect: Vec<String>,
    /// For a blade: where it is.
    #[serde(rename = "where", skip_serializing_if = "Option::is_none")]
    pub place: Option<&'static str>,
    /// For a blade: what was seen on it and decided about it, in the order of time.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub seen: Vec<OnBlade>,
    /// What is asked of it first: what is left of a lot and its verdict, a check that is due, a run-out.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub facts: Vec<String>,
    /// Remarks: late, filled in afterwards, entered by another person, re-tagged.
    pub remarks: Vec<String>,
    /// Records that refer to it, by kind.
    pub below: Vec<(String, usize)>,
    /// Its history, where asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub history: Option<Vec<HistoryLine>>,
}

/// An inspection of a blade, or a decision about it.
#[derive(Serialize, Debug, Clone)]
pub struct OnBlade {
    /// When.
    pub at: String,
    /// The method of the inspection, or `decision`.
    pub by: String,
    /// What an inspection was for, where it was not for the product: its result then decides nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub purpose: Option<String>,
    /// The round of an inspection.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub round: Option<f64>,
    /// What came of it: accept, reject, or the decision.
    pub result: String,
    /// Who.
    pub person: Option<String>,
    /// What the inspection found.
    pub findings: Vec<Finding>,
    /// Why, where a decision gives it.
    pub reason: Option<String>,
}

impl OnBlade {
    /// Something speaks against the blade.
    pub fn is_bad(&self) -> bool {
        self.purpose.is_none() && ["reject", "scrap", "hold"].contains(&self.result.as_str())
    }

    /// Something speaks for the blade: it was accepted, or goes under a concession.
    pub fn is_good(&self) -> bool {
        self.purpose.is_none() && ["accept", "concession"].contains(&self.result.as_str())
    }

    /// As a person reads it, without its time.
    pub fn words(&self) -> String {
        let mut out = self.by.clone();
        if let Some(round) = self.round.filter(|r| *r > 1.0) {
            out.push_str(&format!(", round {round}"));
        }
        if let Some(purpose) = &self.purpose {
            out.push_str(&format!(" ({}: decides nothing)", shown(purpose)));
        }
        out.push_str(&format!(": {}", self.result));
        for (i, f) in self.findings.iter().enumerate() {
            out.push_str(if i == 0 { ", " } else { "; " });
            out.push_str(&shown(&f.defect));
            if let Some(zone) = &f.zone {
                out.push_str(&format!(" in {}", shown(zone)));
            }
            if let Some(mm) = f.size_mm {
                out.push_str(&format!(", {mm} mm"));
            }
        }
        if let Some(reason) = &self.reason {
            out.push_str(&format!(", {}", shown(reason)));
        }
        if let Some(person) = &self.person {
            out.push_str(&format!(" ({})", shown(person)));
        }
        out
    }
}

/// A hold in a list.
#[derive(Serialize, Debug, Clone)]
pub struct HoldLine {
    /// Tag.
    pub hold: String,
    /// What it lies on.
    pub subject: String,
    /// Since when.
    pub placed_at: String,
    /// Why.
    pub reason: String,
}

/// The newest records of a kind.
#[derive(Serialize, Debug, Clone)]
pub struct Listed {
    pub kind: &'static str,
    /// How many there are.
    pub total: i64,
    /// Address and fields of each, the newest first.
    pub records: Vec<(String, serde_json::Map<String, serde_json::Value>)>,
}

impl Listed {
    /// A line for each; the fields after the address as far as a line goes.
    pub fn text(&self) -> String {
        let mut out = format!("{}: {} on record", self.kind, self.total);
        if self.total > self.records.len() as i64 {
            out.push_str(&format!(", the newest {}", self.records.len()));
        }
        out.push('\n');
        for (address, fields) in &self.records {
            let mut line = format!("  {}", shown(address));
            for (name, value) in fields {
                let text = value.as_str().map_or_else(|| value.to_string(), |t| shown(t).into_owned());
                if value.is_null() || text.is_empty() || text == *address {
                    continue;
                }
                let next = format!("  {name}={text}");
                if line.chars().count() + next.chars().count() > 110 {
                    line.push_str(" …");
                    break;
                }
                line.push_str(&next);
            }
            out.push_str(&line);
            out.push('\n');
        }
        out
    }
}

impl Shown {
    /// The record as text.
    pub fn text(&self) -> String {
        let noun = records::catalogue::kind(self.kind).map_or("record", |k| k.noun);
        let mut out = format!("{noun} {}", shown(&self.tag));
        if let Some(place) = self.place {
            out.push_str(&format!("  {place}"));
        }
        out.push('\n');
        if let Some(asked) = &self.asked {
            out.push_str(&format!("asked as {}\n", shown(asked)));
        }
        let rows: Vec<Vec<String>> = self
            .in_order()
            .map(|(name, value)| {
                let text = value.as_str().map_or_else(|| value.to_string(), |s| shown(s).into_owned());
                vec![format!("  {name}"), text]
            })
            .collect();
        out.push_str(&columns(&rows));
        for s in &self.seen {
            out.push_str(&format!("{} {}  {}\n", if s.is_bad() { "x" } else { " " }, s.at, s.words()));
        }
        for g in &self.guards {
            out.push_str(&format!("! {}\n", shown(g)));
        }
        for h in &self.holds {
            out.push_str(&format!(
                "# held by {} on {} since {}: {}\n",
                h.hold,
                shown(&h.subject),
                h.placed_at,
                shown(&h.reason)
            ));
        }
        for s in &self.suspect {
            out.push_str(&format!("? {}\n", shown(s)));
        }
        for f in &self.facts {
            out.push_str(&format!("{}\n", shown(f)));
        }
        for r in &self.remarks {
            out.push_str(&format!("  {}\n", shown(r)));
        }
        if !self.below.is_empty() {
            out.push_str(&format!("below it: {}\n", self.below_words().join(", ")));
        }
        for e in self.history.iter().flatten() {
            let who = shown(claimed(e.person.as_ref()));
            out.push_str(&format!("{}  {who}  {}  (entry {})\n", e.at, e.action, e.entry));
            for (name, old, new) in &e.changed {
                out.push_str(&format!("    {name}: {} -> {}\n", or_blank(old), or_blank(new)));
            }
            if let Some(reason) = &e.reason {
                out.push_str(&format!("    reason: {}\n", shown(reason)));
            }
        }
        out
    }

    /// Records that refer to it, counted by kind: `2 analyses`.
    pub fn below_words(&self) -> Vec<String> {
        let noun = |name: &'_ str| records::catalogue::kind(name).map_or("record", |k| k.noun);
        self.below.iter().map(|(name, n)| counted(*n, noun(name))).collect()
    }

    /// Filled fields in the order of the catalogue, own fields last.
    pub fn in_order(&self) -> impl Iterator<Item = (&str, &Json)> {
        let known: Vec<&'static str> = records::catalogue::kind(self.kind)
            .map(|k| k.all_fields().map(|f| f.name).collect())
            .unwrap_or_default();
        let own = self.record.keys().map(String::as_str).filter(|n| !known.contains(n)).collect::<Vec<_>>();
        let names: Vec<&str> = known.iter().copied().chain(own).collect();
        names
            .into_iter()
            .filter_map(|n| self.record.get_key_value(n))
            .filter(|(_, v)| !v.is_null())
            .map(|(n, v)| (n.as_str(), v))
    }
}
