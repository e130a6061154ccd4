//! A lot's or heat's chemistry against the limits of its alloy.

use serde::Serialize;

use crate::jobs::lots::cover::LimitSide;
use crate::show::cell;
use knowledge::metallurgy::analysis::{AnalysisLine, content};
use knowledge::metallurgy::elements::canonical;
use knowledge::metallurgy::indices::{AlloyIndex, of_analysis};
use knowledge::metallurgy::limits::{Content, Unit, within};
use records::catalogue::typed::{Must, Ref};
use records::catalogue::{
    AlloyLimits, Alloys, Analyses, AnalysisPurpose, AnalysisValues, As, Field, Heats, IngotLots, KindType,
    Recorded, RevertLots,
};
use records::read::Found;
use records::value::tag::{in_order, shown};
use records::value::words::articled;
use records::{Error, Link, Result, Stamp, Store, Value};

#[derive(Serialize, Debug, Clone)]
pub struct Element {
    pub element: String,
    /// The value as recorded, converted to the unit of the limit; null: not analysed.
    pub value: Option<serde_json::Value>,
    pub min: Option<f64>,
    pub max: Option<f64>,
    /// Unit of value and limits.
    pub unit: String,
    /// Within the limits; null where it cannot be told.
    pub ok: Option<bool>,
    /// The analysis that the value stands in: of several the one that is worst.
    pub analysis: Option<String>,
    /// What is outside, or not told to be inside: the worst on each side.
    #[serde(skip)]
    pub against: Vec<OffLimit>,
}

/// A content that is outside its limits, or not told to be inside.
#[derive(Debug, Clone)]
pub struct OffLimit {
    /// As recorded; of a sum as worked out.
    pub value: Value<'static>,
    pub unit: String,
    pub side: LimitSide,
    /// It is known to be outside.
    pub told: bool,
}

impl Element {
    /// What is known of an element that nothing tells to be inside or outside its limits.
    pub fn untold(&self) -> String {
        format!("{} {}", self.element, self.value.as_ref().map_or("not analysed".into(), plain))
    }
}

/// An analysis held against an alloy.
#[derive(Serialize, Debug, Clone)]
pub struct Checked {
    /// The lot or heat.
    pub subject: String,
    /// The analysis; null: there is none.
    pub analysis: Option<String>,
    /// Its purpose: maker or check.
    pub purpose: Option<&'static str>,
    /// Every analysis that was looked at: of each element the worst stands.
    pub analyses: Vec<String>,
    /// Analyses of the subject that quality set aside, with who and why.
    pub set_aside: Vec<String>,
    /// The alloy, with the revision in force.
    pub alloy: String,
    /// The elements that have a limit or were analysed.
    pub elements: Vec<Element>,
    /// Indices; none where there is no analysis or it holds no composition.
    pub indices: Vec<AlloyIndex>,
    /// Why there are no indices.
    pub no_indices: Option<String>,
}

impl Checked {
    /// Some element is outside its limits.
    pub fn fails(&self) -> bool {
        self.elements.iter().any(|e| e.ok == Some(false))
    }

    /// The elements outside their limits, in words.
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
}

/// One content outside its limits, in words; in the unit of the limits.
pub fn words_of(e: &Element, a: &OffLimit) -> String {
    format!("{} {} {} (allowed {})", e.element, in_unit(a, &e.unit), e.unit, range(e.min, e.max))
}

/// The value of a content in another unit.
fn in_unit(a: &OffLimit, unit: &str) -> String {
    let factor =
        Unit::from_word(&a.unit).zip(Unit::from_word(unit)).map_or(1.0, |(from, to)| from.factor_to(to));
    let content = match a.value {
        Value::Number(v) => Content::Value(v),
        Value::Below(x) => Content::Below(x),
        _ => Content::Unknown,
    };
    plainly(content.times(factor)).as_ref().map_or("not analysed".into(), plain)
}

pub(crate) fn plain(value: &serde_json::Value) -> String {
    match (value.as_str(), value.as_f64()) {
        (Some(text), _) => cell(text),
        // A whole number stands as it was written, without the point of a JSON number.
        (None, Some(v)) => v.to_string(),
        (None, None) => value.to_string(),
    }
}

pub(crate) fn range(min: Option<f64>, max: Option<f64>) -> String {
    match (min, max) {
        (Some(a), Some(b)) => format!("{a} to {b}"),
        (Some(a), None) => format!("at least {a}"),
        (None, Some(b)) => format!("at most {b}"),
        (None, None) => String::new(),
    }
}

/// An analysis with its values.
struct Analysed {
    record: Recorded<Analyses>,
    values: Vec<Recorded<AnalysisValues>>,
}

/// Who set an analysis aside and why; none where it stands. Both are needed.
pub fn set_aside(analysis: As<Analyses>) -> Option<String> {
    let filled = |text: Option<&str>| text.map(str::trim).filter(|t| !t.is_empty()).map(String::from);
    let by = filled(analysis.get(Analyses::set_aside_by))?;
    let why = filled(analysis.get(Analyses::set_aside_reason))?;
    Some(format!("set aside by {by}: {why}"))
}

/// The metal that a tag leads to, as it was found, and the alloy that it is tied to.
pub(crate) struct MetalSubject {
    link: Link,
    pub address: String,
    /// The alloy with its revision; as it was typed where it is not on record.
    pub alloy_name: String,
    alloy: Option<Recorded<Alloys>>,
}

impl MetalSubject {
    /// An ingot lot, a revert lot or a heat.
    ///
    /// # Errors
    /// It is something else, that has no `what`.
    pub fn of(store: &Store, found: &Found, what: &str) -> Result<Self> {
        let metal = match Self::of_kind(store, found, IngotLots::alloy)? {
            None => match Self::of_kind(store, found, RevertLots::alloy)? {
                None => Self::of_kind(store, found, Heats::alloy)?,
                revert => revert,
            },
            ingot => ingot,
        };
        metal.ok_or_else(|| {
            let noun = articled(found.kind.noun);
            Error::input(format!("{} is {noun}; {what}", shown(&found.record.address())))
        })
    }

    fn of_kind<K: KindType>(
        store: &Store,
        found: &Found,
        alloy: Field<K, Ref<Alloys>, Must>,
    ) -> Result<Option<Self>> {
        let (Some(key), Some(record)) = (found.key::<K>(), found.record.of::<K>()) else { return Ok(None) };
        let definition = store.definition(key, alloy)?;
        Ok(Some(Self {
            link: key.into(),
            address: record.address(),
            alloy_name: match &definition {
                Some(definition) => definition.address(),
                None => record.need(alloy)?.to_string(),
            },
            alloy: definition,
        }))
    }

    /// What each element may be; nothing where the alloy is not on record.
    pub fn limits(&self, store: &Store) -> Result<Vec<Recorded<AlloyLimits>>> {
        let Some(alloy) = &self.alloy else { return Ok(Vec::new()) };
        let (key, _) = store.named::<Alloys>(&format!("{}:{}", Alloys::NAME, alloy.address()))?;
        store.rows_of(AlloyLimits::alloy, key)
    }

    /// Its analyses, those of the maker first, by time.
    fn analyses(&self, store: &Store) -> Result<Vec<Recorded<Analyses>>> {
        let mut all = store.rows_to(Analyses::subject, self.link)?;
        all.sort_by_cached_key(|a| {
            let check = a.get(Analyses::purpose) == Some(AnalysisPurpose::Check);
            (check, a.own_time().map(Stamp::ms), in_order(&a.address()))
        });
        Ok(all)
    }
}

/// Checks a lot, a heat, or one analysis by its tag. Of several analyses of a subject the worst of each element stands,
/// but for those that quality set aside.
pub fn check(store: &Store, tag: &str) -> Result<Checked> {
    store.snapshot(|| {
        let found = store.find(tag)?;
        let asked = Recorded::<Analyses>::of(found.record.clone());
        let found = match &asked {
            Some(analysis) => store.find(analysis.need(Analyses::subject)?)?,
            None => found,
        };
        let metal =
            MetalSubject::of(store, &found, "an ingot lot, revert lot, heat or analysis has a chemistry")?;
        let one = asked.is_some();
        let candidates = match asked {
            Some(analysis) => vec![analysis],
            None => metal.analyses(store)?,
        };
        let (mut all, mut aside) = (Vec::new(), Vec::new());
        for record in candidates {
            let how = set_aside(record.view());
            aside.extend(how.iter().map(|how| format!("{} {how}", record.address())));
            if one || how.is_none() {
                let (key, _) = store.key_of::<Analyses>(&record.address())?;
                all.push(Analysed { record, values: store.rows_of(AnalysisValues::analysis, key)? });
            }
        }
        // Indices are of one metal piece: the latest check analysis, not a mixture of the worst.
        let last = all.last();
        let lines: Vec<AnalysisLine> = last.iter().flat_map(|a| a.values.iter().filter_map(line)).collect();
        let (indices, no_indices) = match of_analysis(&lines) {
            _ if lines.is_empty() => (Vec::new(), None),
            Ok(indices) => (indices, None),
            Err(why) => (Vec::new(), Some(why)),
        };
        let purpose = last.map(|a| a.record.need(Analyses::purpose)).transpose()?;
        Ok(Checked {
            subject: metal.address.clone(),
            analysis: last.map(|a| a.record.address()),
            purpose: purpose.map(AnalysisPurpose::word),
            analyses: all.iter().map(|a| a.record.address()).collect(),
            set_aside: aside,
            elements: elements(&metal.limits(store)?, &all)?,
            alloy: metal.alloy_name,
            indices,
            no_indices,
        })
    })
}

/// A line of an analysis, as the knowledge takes it; none with a unit that is no unit.
fn line(value: &Recorded<AnalysisValues>) -> Option<AnalysisLine<'_>> {
    let content = match value.cell(AnalysisValues::value) {
        Value::Number(v) => Content::Value(*v),
        Value::Below(v) => Content::Below(*v),
        _ => Content::Unknown,
    };
    let unit = Unit::from_word(value.get(AnalysisValues::unit)?.word())?;
    Some(AnalysisLine { element: value.get(AnalysisValues::element)?, content, unit })
}

/// What one analysis says of an element that has a limit.
struct OfAnalysis {
    analysis: String,
    content: Content,
    /// The cell itself, and its unit.
    cell: Option<(Value<'static>, String)>,
    ok: Option<bool>,
}

impl OfAnalysis {
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

fn elements(limits: &[Recorded<AlloyLimits>], all: &[Analysed]) -> Result<Vec<Element>> {
    let lines: Vec<Vec<AnalysisLine>> =
        all.iter().map(|a| a.values.iter().filter_map(line).collect()).collect();
    let symbol = |v: &Recorded<AnalysisValues>| v.cell(AnalysisValues::element).to_text();
    let mut out: Vec<Element> = Vec::new();
    for limit in limits {
        let name = limit.need(AlloyLimits::element)?.to_string();
        let unit = limit.need(AlloyLimits::unit)?.word().to_string();
        let (min, max) = (limit.get(AlloyLimits::min), limit.get(AlloyLimits::max));
        let mut said: Vec<OfAnalysis> = Vec::new();
        for (a, lines) in all.iter().zip(&lines) {
            let found = Unit::from_word(&unit).map_or(Content::Unknown, |u| content(lines, &name, u));
            let cell = a.values.iter().find(|v| same_element(&symbol(v), &name));
            if cell.is_none() && found == Content::Unknown {
                continue;
            }
            said.push(OfAnalysis {
                analysis: a.record.address(),
                content: found,
                cell: cell
                    .map(|c| (c.cell(AnalysisValues::value).clone(), c.cell(AnalysisValues::unit).to_text())),
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
        out.push(Element {
            element: name,
            value,
            min,
            max,
            ok: within(found, min, max),
            against: against(&said, &unit, min, max),
            unit,
            analysis: worst.map(|s| s.analysis.clone()),
        });
    }
    // What has no limit is told by the latest analysis that has it.
    for (a, value) in all.iter().rev().flat_map(|a| a.values.iter().map(move |v| (a, v))) {
        let name = symbol(value);
        if out.iter().any(|e| same_element(&e.element, &name)) {
            continue;
        }
        let found = line(value).map_or(Content::Unknown, |l| l.content);
        out.push(Element {
            element: name,
            value: plainly(found).or_else(|| Some(value.cell(AnalysisValues::value).to_text().into())),
            min: None,
            max: None,
            unit: value.cell(AnalysisValues::unit).to_text(),
            ok: within(found, None, None),
            analysis: Some(a.record.address()),
            against: Vec::new(),
        });
    }
    Ok(out)
}

/// The worst that is outside, or not told to be inside, on each side; `said` has the worst first.
fn against(said: &[OfAnalysis], unit: &str, min: Option<f64>, max: Option<f64>) -> Vec<OffLimit> {
    let mut out: Vec<OffLimit> = Vec::new();
    for s in said.iter().filter(|s| s.content != Content::Unknown) {
        for (side, ok) in [
            (LimitSide::Excess, within(s.content, None, max)),
            (LimitSide::Shortfall, within(s.content, min, None)),
        ] {
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
            out.push(OffLimit { value, unit, side, told });
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
