//! A lot's or heat's chemistry against the limits of its alloy.

use serde::Serialize;

use crate::domain::tag::shown;
use crate::domain::{Record, Value, kind};
use crate::metallurgy::composition::{ATOMIC_WEIGHTS, Composition};
use crate::metallurgy::limits::{Content, Unit, within};
use crate::metallurgy::stability::{NV_NEEDS, NickelVacancies, d_electron_level, electron_vacancies};
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
    pub not_analysed: Vec<String>,
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
    /// Indices.
    pub indices: Vec<Index>,
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
            let value = i.value.map_or("none".into(), |v| format!("{v:.3}"));
            out.push_str(&format!("{} {value} ({})", i.name, i.convention));
            if !i.not_analysed.is_empty() {
                out.push_str(&format!(", not analysed: {}", i.not_analysed.join(" ")));
            }
            out.push('\n');
        }
        out.push_str("Limits as specified, not widened check limits. ");
        out.push_str(crate::report::CAUTION);
        out.push('\n');
        out
    }
}

fn plain(value: &serde_json::Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), |s| shown(s).into_owned())
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
                "{} is a {}; an ingot lot, revert lot, heat or analysis has a chemistry",
                shown(tag),
                found.kind.noun
            )));
        }
        let subject = found.record.address();
        if analysis.is_none() {
            analysis = latest(store, found.kind.name, found.id.unwrap_or(-1))?;
        }
        let alloy_text = found.record.get("alloy").to_text();
        let alloy = store.definition("alloys", &alloy_text, found.record.own_time())?;
        let alloy_tag = alloy.as_ref().map_or(alloy_text, Record::address);
        let limits = match &alloy {
            Some(alloy) => limits_of(store, alloy)?,
            None => Vec::new(),
        };
        let values = match &analysis {
            Some((_, id)) => of(store, "analysis_values", "analysis", "analyses", *id)?,
            None => Vec::new(),
        };
        Ok(Checked {
            subject,
            analysis: analysis.as_ref().map(|(a, _)| a.address()),
            purpose: analysis.as_ref().map(|(a, _)| a.get("purpose").to_text()),
            alloy: alloy_tag,
            elements: elements(&limits, &values),
            indices: indices(&values),
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

fn limits_of(store: &Store, alloy: &Record) -> Result<Vec<Record<'static>>> {
    let found = store.find(&format!("alloys:{}", alloy.address()))?;
    of(store, "alloy_limits", "alloy", "alloys", found.id.unwrap_or(-1))
}

fn elements(limits: &[Record], values: &[Record]) -> Vec<Element> {
    let symbol = |r: &Record| r.get("element").to_text();
    let mut out = Vec::new();
    for limit in limits {
        let name = symbol(limit);
        let unit = limit.get("unit").to_text();
        let value = values.iter().find(|v| symbol(v).eq_ignore_ascii_case(&name));
        let (content, shown) = content(value, &unit);
        let (min, max) = (limit.get("min").number(), limit.get("max").number());
        out.push(Element { element: name, value: shown, min, max, unit, ok: within(content, min, max) });
    }
    for value in values {
        if limits.iter().any(|l| symbol(l).eq_ignore_ascii_case(&symbol(value))) {
            continue;
        }
        let unit = value.get("unit").to_text();
        let (content, shown) = content(Some(value), &unit);
        out.push(Element {
            element: symbol(value),
            value: shown,
            min: None,
            max: None,
            unit,
            ok: within(content, None, None),
        });
    }
    out
}

/// The indices that an analysis gives. One that lacks chromium or aluminium gives none; other elements
/// that were not analysed count as 0 and are listed.
fn indices(values: &[Record]) -> Vec<Index> {
    let mut parts: Vec<(&str, f64)> = Vec::new();
    for (symbol, _) in ATOMIC_WEIGHTS {
        let found =
            values.iter().find(|v| v.get("element").text().is_some_and(|e| e.eq_ignore_ascii_case(symbol)));
        if let (Content::Value(wt), _) = content(found, "wt%") {
            parts.push((symbol, wt));
        }
    }
    indices_of(&parts)
}

/// The indices of a composition in wt%, by symbol.
pub(super) fn indices_of(parts: &[(&str, f64)]) -> Vec<Index> {
    let enough = ["Cr", "Al"].iter().all(|s| parts.iter().any(|(p, _)| p == s));
    let composition = if enough { Composition::new(parts).ok() } else { None };
    let lacking: Vec<String> =
        NV_NEEDS.iter().filter(|s| !parts.iter().any(|(p, _)| p == *s)).map(|s| (*s).to_string()).collect();
    let nickel = if composition.as_ref().is_some_and(Composition::nickel_by_difference) {
        ", nickel by difference"
    } else {
        ""
    };
    let index =
        |name, value, convention: String| Index { name, value, convention, not_analysed: lacking.clone() };
    let vacancies = |n| composition.as_ref().and_then(|c| electron_vacancies(c, n).ok());
    vec![
        index("Nv", vacancies(NickelVacancies::N061), format!("Ni 0.61{nickel}")),
        index("Nv", vacancies(NickelVacancies::N066), format!("Ni 0.66{nickel}")),
        index("Md", composition.as_ref().map(d_electron_level), format!("whole alloy, eV{nickel}")),
        index("Al+Ti", composition.as_ref().map(|c| c.wt("Al") + c.wt("Ti")), "wt%".into()),
    ]
}

/// A content in the unit of its limit, and how it is shown.
fn content(value: Option<&Record>, unit: &str) -> (Content, Option<serde_json::Value>) {
    let Some(record) = value else { return (Content::Unknown, None) };
    let from = Unit::from_word(&record.get("unit").to_text());
    let factor = match (from, Unit::from_word(unit)) {
        (Some(a), Some(b)) => a.factor_to(b),
        _ => return (Content::Unknown, None),
    };
    // Twelve digits: what is left of a decimal after a change of unit.
    let round = |v: f64| format!("{v:.11e}").parse::<f64>().unwrap_or(v);
    match record.get("value") {
        Value::Number(v) => {
            let v = round(v * factor);
            (Content::Value(v), serde_json::Number::from_f64(v).map(serde_json::Value::Number))
        }
        Value::Below(v) => {
            let v = round(v * factor);
            (Content::Below(v), Some(format!("<{v}").into()))
        }
        other => (Content::Unknown, Some(other.to_text().into())),
    }
}
