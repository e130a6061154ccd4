//! A lot's or heat's chemistry against the limits of its alloy.

use serde::Serialize;

use crate::domain::tag::shown;
use crate::domain::words::articled;
use crate::domain::{Record, Value, kind};
use crate::metallurgy::analysis::{Line, content};
use crate::metallurgy::elements::canonical;
use crate::metallurgy::indices::of_analysis;
use crate::metallurgy::limits::{Content, Unit, within};
use crate::report::columns;
use crate::store::{Error, Result, Store};

/// One element.
#[derive(Serialize, Debug, Clone)]
pub struct Element {
    /// Its symbol.
    pub element: String,
    /// The value as recorded, converted to the unit of the limit; null: not analysed.
    pub value: Option<serde_json::Value>,
    /// Lower limit.
    pub min: Option<f64>,
    /// Upper limit.
    pub max: Option<f64>,
    /// Unit of value and limits.
    pub unit: String,
    /// Within the limits; null where it cannot be told.
    pub ok: Option<bool>,
}

/// An index of the composition.
#[derive(Serialize, Debug, Clone)]
pub struct Index {
    /// Its name.
    pub name: &'static str,
    /// Its value; null where the analysis does not give it.
    pub value: Option<f64>,
    /// The convention behind it.
    pub convention: String,
    /// Elements that it needs and that were not analysed.
    pub not_analysed: Vec<&'static str>,
    /// What detection limits leave open: least and most; null where that does not show.
    pub at_detection_limits: Option<(f64, f64)>,
    /// Why there is no value.
    pub why_none: Option<String>,
}

/// An analysis held against an alloy.
#[derive(Serialize, Debug, Clone)]
pub struct Checked {
    /// The lot or heat.
    pub subject: String,
    /// The analysis; null: there is none.
    pub analysis: Option<String>,
    /// Its purpose: maker or check.
    pub purpose: Option<String>,
    /// The alloy, with the revision in force.
    pub alloy: String,
    /// The elements that have a limit or were analysed.
    pub elements: Vec<Element>,
    /// Indices; none where there is no analysis or it holds no composition.
    pub indices: Vec<Index>,
    /// Why there are no indices.
    pub no_indices: Option<String>,
}

impl Checked {
    /// Some element is outside its limits.
    #[must_use]
    pub fn fails(&self) -> bool {
        self.elements.iter().any(|e| e.ok == Some(false))
    }

    /// The elements outside their limits, in words.
    #[must_use]
    pub fn outside(&self) -> Vec<String> {
        self.elements
            .iter()
            .filter(|e| e.ok == Some(false))
            .map(|e| {
                let value = e.value.as_ref().map_or("not analysed".into(), plain);
                format!("{} {value} {} (allowed {})", e.element, e.unit, range(e.min, e.max))
            })
            .collect()
    }

    /// As a table.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = format!("{} against {}\n", shown(&self.subject), shown(&self.alloy));
        match (&self.analysis, &self.purpose) {
            (Some(a), Some(p)) => out.push_str(&format!("by {} ({p} analysis)\n", shown(a))),
            _ => out.push_str("no analysis is on record\n"),
        }
        let mut rows = vec![["element", "value", "limits", "unit", ""].map(String::from).to_vec()];
        for e in &self.elements {
            rows.push(vec![
                shown(&e.element).into_owned(),
                e.value.as_ref().map_or("not analysed".into(), plain),
                range(e.min, e.max),
                e.unit.clone(),
                match e.ok {
                    Some(true) => "ok",
                    Some(false) => "OUTSIDE",
                    None => "cannot tell",
                }
                .into(),
            ]);
        }
        out.push_str(&columns(&rows));
        for i in &self.indices {
            match (i.value, &i.why_none) {
                (Some(v), _) => {
                    // Limits on Md are stated to three decimals, the others to two at most.
                    let places = if matches!(i.name, "Md" | "Ti/Al") { 3 } else { 2 };
                    out.push_str(&format!("{} {v:.places$} ({})", i.name, i.convention));
                }
                (None, why) => {
                    out.push_str(&format!("{} none: {}\n", i.name, why.as_deref().unwrap_or("no value")));
                    continue;
                }
            }
            if let Some((low, high)) = i.at_detection_limits {
                out.push_str(&format!(", {low:.3} to {high:.3} within the detection limits"));
            }
            if !i.not_analysed.is_empty() {
                out.push_str(&format!(", counted as 0, not analysed: {}", i.not_analysed.join(" ")));
            }
            out.push('\n');
        }
        if let Some(why) = &self.no_indices {
            out.push_str(&format!("no indices: {}\n", shown(why)));
        }
        out.push_str("Limits as specified, not widened check limits. ");
        out.push_str(crate::report::CAUTION);
        out.push('\n');
        out
    }
}

fn plain(value: &serde_json::Value) -> String {
    match (value.as_str(), value.as_f64()) {
        (Some(text), _) => shown(text).into_owned(),
        // A whole number stands as it was written, without the point of a JSON number.
        (None, Some(v)) => v.to_string(),
        (None, None) => value.to_string(),
    }
}

fn range(min: Option<f64>, max: Option<f64>) -> String {
    match (min, max) {
        (Some(a), Some(b)) => format!("{a} to {b}"),
        (Some(a), None) => format!("at least {a}"),
        (None, Some(b)) => format!("at most {b}"),
        (None, None) => String::new(),
    }
}

/// Checks a lot, a heat, or one analysis by its tag. Of several analyses of a subject the latest
/// check analysis counts, else the latest of the maker's.
///
/// # Errors
/// An unknown tag, or a record that has no chemistry.
pub fn check(store: &Store, tag: &str) -> Result<Checked> {
    store.snapshot(|| {
        let mut found = store.find(tag)?;
        let mut analysis = None;
        if found.kind.name == "analyses" {
            let subject = found.record.get("subject").to_text();
            analysis = Some((found.record.clone(), found.id.unwrap_or(-1)));
            found = store.find(&subject)?;
        }
        if !matches!(found.kind.name, "ingot_lots" | "revert_lots" | "heats") {
            return Err(Error::input(format!(
                "{} is {}; an ingot lot, revert lot, heat or analysis has a chemistry",
                shown(tag),
                articled(found.kind.noun)
            )));
        }
        let subject = found.record.address();
        if analysis.is_none() {
            analysis = latest(store, found.kind.name, found.id.unwrap_or(-1))?;
        }
        let alloy_text = found.record.get("alloy").to_text();
        let alloy = store.tied(found.kind, found.id.unwrap_or(-1), "alloy")?;
        let alloy_tag = alloy.as_ref().map_or(alloy_text, Record::address);
        let limits = match &alloy {
            Some(alloy) => limits_of(store, alloy)?,
            None => Vec::new(),
        };
        let values = match &analysis {
            Some((_, id)) => of(store, "analysis_values", "analysis", "analyses", *id)?,
            None => Vec::new(),
        };
        let lines: Vec<Line> = values.iter().filter_map(line).collect();
        let (indices, no_indices) = indices(&lines);
        Ok(Checked {
            subject,
            analysis: analysis.as_ref().map(|(a, _)| a.address()),
            purpose: analysis.as_ref().map(|(a, _)| a.get("purpose").to_text()),
            alloy: alloy_tag,
            elements: elements(&limits, &values, &lines),
            indices,
            no_indices,
        })
    })
}

fn of(store: &Store, name: &str, field: &str, to: &str, id: i64) -> Result<Vec<Record<'static>>> {
    match kind(name) {
        Some(k) => store.referring(k, field, to, id),
        None => Ok(Vec::new()),
    }
}

fn latest(store: &Store, subject: &str, id: i64) -> Result<Option<(Record<'static>, i64)>> {
    let mut all = of(store, "analyses", "subject", subject, id)?;
    all.sort_by_key(|a| (a.get("purpose").text() == Some("check"), a.own_time()));
    match all.pop() {
        Some(a) => {
            let id = store.find(&a.address())?.id.unwrap_or(-1);
            Ok(Some((a, id)))
        }
        None => Ok(None),
    }
}

pub(crate) fn limits_of(store: &Store, alloy: &Record) -> Result<Vec<Record<'static>>> {
    let found = store.find(&format!("alloys:{}", alloy.address()))?;
    of(store, "alloy_limits", "alloy", "alloys", found.id.unwrap_or(-1))
}

/// A line of an analysis, as the knowledge takes it; none with a unit that is no unit.
fn line<'a>(record: &'a Record) -> Option<Line<'a>> {
    let content = match record.get("value") {
        Value::Number(v) => Content::Value(*v),
        Value::Below(v) => Content::Below(*v),
        _ => Content::Unknown,
    };
    let unit = Unit::from_word(record.get("unit").text()?)?;
    Some(Line { element: record.get("element").text()?, content, unit })
}

fn indices(lines: &[Line]) -> (Vec<Index>, Option<String>) {
    if lines.is_empty() {
        return (Vec::new(), None);
    }
    match of_analysis(lines) {
        Ok(all) => {
            let index = |i: crate::metallurgy::indices::Index| Index {
                name: i.name,
                value: i.value,
                convention: i.convention,
                not_analysed: i.not_analysed,
                at_detection_limits: i.at_detection_limits,
                why_none: i.why_none,
            };
            (all.into_iter().map(index).collect(), None)
        }
        Err(why) => (Vec::new(), Some(why)),
    }
}

fn elements(limits: &[Record], values: &[Record], lines: &[Line]) -> Vec<Element> {
    let symbol = |r: &Record| r.get("element").to_text();
    let row = |element: String, content: Content, shown, min, max, unit| Element {
        element,
        value: shown,
        min,
        max,
        unit,
        ok: within(content, min, max),
    };
    let mut out = Vec::new();
    for limit in limits {
        let (name, unit) = (symbol(limit), limit.get("unit").to_text());
        let found = Unit::from_word(&unit).map_or(Content::Unknown, |u| content(lines, &name, u));
        // A cell that says why there is no value is shown as it stands.
        let said =
            values.iter().find(|v| symbol(v).eq_ignore_ascii_case(&name)).map(|v| v.get("value").to_text());
        let value = match found {
            Content::Unknown => said.map(Into::into),
            known => plainly(known),
        };
        out.push(row(name, found, value, limit.get("min").number(), limit.get("max").number(), unit));
    }
    for (value, name) in values.iter().map(|v| (v, symbol(v))) {
        if limits.iter().any(|l| same_element(&symbol(l), &name)) {
            continue;
        }
        let found = line(value).map_or(Content::Unknown, |l| l.content);
        let value_shown = plainly(found).or_else(|| Some(value.get("value").to_text().into()));
        out.push(row(name, found, value_shown, None, None, value.get("unit").to_text()));
    }
    out
}

/// Two names of one element, in whatever case.
fn same_element(a: &str, b: &str) -> bool {
    a.eq_ignore_ascii_case(b) || matches!((canonical(a), canonical(b)), (Some(a), Some(b)) if a == b)
}

/// A content as JSON: a number, `<x`, or a span; none where it is not known.
fn plainly(content: Content) -> Option<serde_json::Value> {
    match content {
        Content::Value(v) => serde_json::Number::from_f64(v).map(serde_json::Value::Number),
        Content::Below(x) => Some(format!("<{x}").into()),
        Content::Between(a, b) => Some(format!("{a} to {b}").into()),
        Content::Unknown => None,
    }
}
