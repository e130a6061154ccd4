//! A lot's or heat's chemistry against the limits of its alloy.

use serde::Serialize;

use crate::jobs::lots::cover::Side;
use crate::show::columns;
use knowledge::metallurgy::analysis::{AnalysisLine, content};
use knowledge::metallurgy::elements::canonical;
use knowledge::metallurgy::indices::of_analysis;
use knowledge::metallurgy::limits::{Content, Unit, within};
use records::catalogue::kind;
use records::value::tag::{in_order, shown};
use records::value::words::articled;
use records::{Error, Result, Store};
use records::{Record, Stamp, Value};

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
    /// The analysis that the value stands in: of several the one that is worst.
    pub analysis: Option<String>,
    /// What is outside, or not told to be inside: the worst on each side.
    #[serde(skip)]
    pub against: Vec<Against>,
}

/// A content that is outside its limits, or not told to be inside.
#[derive(Debug, Clone)]
pub struct Against {
    /// As recorded; of a sum as worked out.
    pub value: Value<'static>,
    /// Its unit.
    pub unit: String,
    /// On which side.
    pub side: Side,
    /// It is known to be outside.
    pub told: bool,
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
    /// Every analysis that was looked at: of each element the worst stands.
    pub analyses: Vec<String>,
    /// Analyses of the subject that quality set aside, with who and why.
    pub set_aside: Vec<String>,
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
            (Some(_), _) if self.analyses.len() > 1 => {
                let all: Vec<_> = self.analyses.iter().map(|a| shown(a)).collect();
                out.push_str(&format!("by {}: of each element the worst\n", all.join(", ")));
            }
            (Some(a), Some(p)) => out.push_str(&format!("by {} ({p} analysis)\n", shown(a))),
            _ if !self.set_aside.is_empty() => out.push_str("no analysis stands\n"),
            _ => out.push_str("no analysis is on record\n"),
        }
        for aside in &self.set_aside {
            out.push_str(&format!("{}\n", shown(aside)));
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
        out.push_str(crate::show::CAUTION);
        out.push('\n');
        out
    }
}

/// One content outside its limits, in words; in the unit of the limits.
#[must_use]
pub fn words_of(e: &Element, a: &Against) -> String {
    format!("{} {} {} (allowed {})", e.element, in_unit(a, &e.unit), e.unit, range(e.min, e.max))
}

/// The value of a content in another unit.
fn in_unit(a: &Against, unit: &str) -> String {
    let factor =
        Unit::from_word(&a.unit).zip(Unit::from_word(unit)).map_or(1.0, |(from, to)| from.factor_to(to));
    let content = match a.value {
        Value::Number(v) => Content::Value(v),
        Value::Below(x) => Content::Below(x),
        _ => Content::Unknown,
    };
    plainly(content.times(factor)).as_ref().map_or("not analysed".into(), plain)
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

/// An analysis with its values.
struct Analysed {
    record: Record<'static>,
    values: Vec<Record<'static>>,
}

/// Who set an analysis aside and why; none where it stands. Both are needed.
#[must_use]
pub fn set_aside(analysis: &Record) -> Option<String> {
    let text = |f: &str| analysis.get(f).text().map(str::trim).filter(|t| !t.is_empty());
    let (by, why) = (text("set_aside_by")?, text("set_aside_reason")?);
    Some(format!("set aside by {by}: {why}"))
}

/// Checks a lot, a heat, or one analysis by its tag. Of several analyses of a subject the worst of each element stands,
/// but for those that quality set aside.
///
/// # Errors
/// An unknown tag, or a record that has no chemistry.
pub fn check(store: &Store, tag: &str) -> Result<Checked> {
    store.snapshot(|| {
        let mut found = store.find(tag)?;
        let mut asked = None;
        if found.kind.name == "analyses" {
            let subject = found.record.get("subject").to_text();
            asked = Some(found.record.clone());
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
        let id = found.id.unwrap_or(-1);
        let (mut records, mut aside) = (Vec::new(), Vec::new());
        match asked {
            Some(one) => {
                aside.extend(set_aside(&one).map(|how| format!("{} {how}", one.address())));
                records.push(one);
            }
            None => {
                for a in analyses_of(store, found.kind.name, id)? {
                    match set_aside(&a) {
                        Some(how) => aside.push(format!("{} {how}", a.address())),
                        None => records.push(a),
                    }
                }
            }
        }
        let alloy_text = found.record.get("alloy").to_text();
        let alloy = store.tied(found.kind, id, "alloy")?;
        let alloy_tag = alloy.as_ref().map_or(alloy_text, Record::address);
        let limits = match &alloy {
            Some(alloy) => limits_of(store, alloy)?,
            None => Vec::new(),
        };
        let mut all = Vec::new();
        for record in records {
            let (link, _) = store.link_of(&record.address(), "analyses")?;
            let values = of(store, "analysis_values", "analysis", "analyses", link.id)?;
            all.push(Analysed { record, values });
        }
        // Indices are of one metal piece: the latest check analysis, not a mixture of the worst.
        let last = all.last();
        let lines: Vec<AnalysisLine> = last.iter().flat_map(|a| a.values.iter().filter_map(line)).collect();
        let (indices, no_indices) = indices(&lines);
        Ok(Checked {
            subject,
            analysis: last.map(|a| a.record.address()),
            purpose: last.map(|a| a.record.get("purpose").to_text()),
            analyses: all.iter().map(|a| a.record.address()).collect(),
            set_aside: aside,
            alloy: alloy_tag,
            elements: elements(&limits, &all),
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

/// The analyses of a subject, those of the maker first, by time.
fn analyses_of(store: &Store, subject: &str, id: i64) -> Result<Vec<Record<'static>>> {
    let mut all = of(store, "analyses", "subject", subject, id)?;
    all.sort_by_cached_key(|a| {
        (a.get("purpose").text() == Some("check"), a.own_time().map(Stamp::ms), in_order(&a.address()))
    });
    Ok(all)
}

pub(crate) fn limits_of(store: &Store, alloy: &Record) -> Result<Vec<Record<'static>>> {
    let found = store.find(&format!("alloys:{}", alloy.address()))?;
    of(store, "alloy_limits", "alloy", "alloys", found.id.unwrap_or(-1))
}

/// A line of an analysis, as the knowledge takes it; none with a unit that is no unit.
fn line<'a>(record: &'a Record) -> Option<AnalysisLine<'a>> {
    let content = match record.get("value") {
        Value::Number(v) => Content::Value(*v),
        Value::Below(v) => Content::Below(*v),
        _ => Content::Unknown,
    };
    let unit = Unit::from_word(record.get("unit").text()?)?;
    Some(AnalysisLine { element: record.get("element").text()?, content, unit })
}

fn indices(lines: &[AnalysisLine]) -> (Vec<Index>, Option<String>) {
    if lines.is_empty() {
        return (Vec::new(), None);
    }
    match of_analysis(lines) {
        Ok(all) => {
            let index = |i: knowledge::metallurgy::indices::AlloyIndex| Index {
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

/// What one analysis says of an element that has a limit.
struct Said {
    analysis: String,
    content: Content,
    /// The cell itself, and its unit.
    cell: Option<(Value<'static>, String)>,
    ok: Option<bool>,
}

impl Said {
    /// Worse comes first: outside, then what cannot be told, then how near it is to its limit, of the limits' own width.
    fn rank(&self, min: Option<f64>, max: Option<f64>) -> (u8, f64) {
        let (least, most) = match self.content {
            Content::Value(v) => (v, v),
            Content::Below(x) => (0.0, x),
            Content::Between(a, b) => (a, b),
            Content::Unknown => return (3, 0.0),
        };
        let class = match self.ok {
            Some(false) => 0,
            None => 1,
            Some(true) => 2,
        };
        let width = match (min, max) {
            (Some(a), Some(b)) if b > a => b - a,
            (a, b) => b.or(a).map_or(1.0, f64::abs).max(f64::MIN_POSITIVE),
        };
        let room = [max.map(|m| m - most), min.map(|m| least - m)].into_iter().flatten();
        (class, room.fold(f64::INFINITY, f64::min) / width)
    }
}

fn elements(limits: &[Record], all: &[Analysed]) -> Vec<Element> {
    let symbol = |r: &Record| r.get("element").to_text();
    let lines: Vec<Vec<AnalysisLine>> =
        all.iter().map(|a| a.values.iter().filter_map(line).collect()).collect();
    let mut out = Vec::new();
    for limit in limits {
        let (name, unit) = (symbol(limit), limit.get("unit").to_text());
        let (min, max) = (limit.get("min").number(), limit.get("max").number());
        let mut said: Vec<Said> = Vec::new();
        for (a, lines) in all.iter().zip(&lines) {
            let found = Unit::from_word(&unit).map_or(Content::Unknown, |u| content(lines, &name, u));
            let cell = a.values.iter().find(|v| same_element(&symbol(v), &name));
            if cell.is_none() && found == Content::Unknown {
                continue;
            }
            said.push(Said {
                analysis: a.record.address(),
                content: found,
                cell: cell.map(|c| (c.get("value").owned(), c.get("unit").to_text())),
                ok: within(found, min, max),
            });
        }
        said.sort_by(|a, b| {
            a.rank(min, max).partial_cmp(&b.rank(min, max)).unwrap_or(std::cmp::Ordering::Equal)
        });
        let worst = said.first();
        let found = worst.map_or(Content::Unknown, |s| s.content);
        // A cell that says why there is no value is shown as it stands.
        let value = match found {
            Content::Unknown => worst.and_then(|s| s.cell.as_ref()).map(|c| c.0.to_text().into()),
            known => plainly(known),
        };
        let against = against(&said, &unit, min, max);
        let analysis = worst.map(|s| s.analysis.clone());
        out.push(Element {
            element: name,
            value,
            min,
            max,
            ok: within(found, min, max),
            unit,
            analysis,
            against,
        });
    }
    // What has no limit is told by the latest analysis that has it.
    for (a, value) in all.iter().rev().flat_map(|a| a.values.iter().map(move |v| (a, v))) {
        let name = symbol(value);
        if out.iter().any(|e: &Element| same_element(&e.element, &name)) {
            continue;
        }
        let found = line(value).map_or(Content::Unknown, |l| l.content);
        out.push(Element {
            element: name,
            value: plainly(found).or_else(|| Some(value.get("value").to_text().into())),
            min: None,
            max: None,
            unit: value.get("unit").to_text(),
            ok: within(found, None, None),
            analysis: Some(a.record.address()),
            against: Vec::new(),
        });
    }
    out
}

/// The worst that is outside, or not told to be inside, on each side; `said` has the worst first.
fn against(said: &[Said], unit: &str, min: Option<f64>, max: Option<f64>) -> Vec<Against> {
    let mut out: Vec<Against> = Vec::new();
    for s in said.iter().filter(|s| s.content != Content::Unknown) {
        for (side, ok) in
            [(Side::Excess, within(s.content, None, max)), (Side::Shortfall, within(s.content, min, None))]
        {
            let told = ok == Some(false);
            if ok == Some(true) || out.iter().any(|a| a.side == side && a.told == told) {
                continue;
            }
            let worked_out = match s.content {
                Content::Value(v) => Value::Number(v),
                Content::Below(x) | Content::Between(_, x) => Value::Below(x),
                Content::Unknown => Value::Blank,
            };
            let (value, unit) = s.cell.clone().unwrap_or((worked_out, unit.to_string()));
            out.push(Against { value, unit, side, told });
        }
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
