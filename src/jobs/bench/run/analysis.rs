//! An analysis as a table: the elements that its alloy limits, in order; all of it written in one transaction.

use crate::jobs::bench::run::record::{Texts, text_of};
use crate::jobs::chemistry::ask::MetalSubject;
use crate::jobs::records::ask::{Logged, build};
use crate::jobs::records::forms::form_start;
use crate::jobs::records::numbers::free_tag;
use knowledge::metallurgy::limits::{Content, within};
use records::catalogue::{AlloyLimits, Analyses, AnalysisValues, ContentUnit};
use records::check::content::same_element;
use records::value::tag::shown;
use records::write::draft::Draft;
use records::{Act, Error, Result, Store, Value, Who};

/// One element of the table.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Element {
    pub element: String,
    pub unit: String,
    pub min: Option<f64>,
    pub max: Option<f64>,
    /// What is typed.
    pub text: String,
}

/// The lot or heat that is analysed, and what its alloy limits.
#[derive(Clone, Debug, Default)]
pub struct Subject {
    pub subject: String,
    pub alloy: String,
    pub elements: Vec<Element>,
}

/// What the table asks for.
pub fn subject(store: &Store, text: &str) -> Result<Subject> {
    store.snapshot(|| {
        let found = store.find(text).map_err(|e| e.at(Analyses::subject.name))?;
        let what = "an ingot lot, revert lot or heat is analysed";
        let metal = MetalSubject::of(store, &found, what).map_err(|e| e.at(Analyses::subject.name))?;
        let mut elements = Vec::new();
        for limit in metal.limits(store)? {
            elements.push(Element {
                element: limit.need(AlloyLimits::element)?.to_string(),
                unit: limit.need(AlloyLimits::unit)?.word().to_string(),
                min: limit.get(AlloyLimits::min),
                max: limit.get(AlloyLimits::max),
                text: String::new(),
            });
        }
        // As a sheet has them: per cent before parts per million, then by symbol.
        elements.sort_by_cached_key(|e| (e.unit != ContentUnit::WeightPercent.word(), e.element.clone()));
        Ok(Subject { subject: metal.address, alloy: metal.alloy_name, elements })
    })
}

/// What the last analysis proposes for the next.
pub fn last(store: &Store) -> Result<Texts> {
    Ok(form_start(store, Analyses::KIND)?.last)
}

impl Element {
    /// A further element as it is typed on one line: `Mn 0.02`, `Ag 3 ppm`.
    ///
    /// # Errors
    /// What would be right.
    pub fn read(line: &str) -> std::result::Result<Self, String> {
        let right = "an element, its content and its unit: Mn 0.02 wt%, or Ag 3 ppm";
        let words: Vec<&str> = line.split_whitespace().collect();
        let (element, text, unit) = match words.as_slice() {
            [element, text] => (*element, *text, ContentUnit::WeightPercent.word()),
            [element, text, unit] => (*element, *text, *unit),
            _ => return Err(right.into()),
        };
        if !element.chars().all(char::is_alphabetic) || ContentUnit::of(unit).is_none() {
            return Err(right.into());
        }
        let out = Self { element: element.into(), unit: unit.into(), text: text.into(), ..Self::default() };
        out.value().map(|_| out)
    }

    /// What is typed, as the store takes it; blank where nothing is.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn value(&self) -> std::result::Result<Value<'static>, String> {
        let text = self.text.trim();
        if text.is_empty() {
            return Ok(Value::Blank);
        }
        let field = AnalysisValues::KIND.field(AnalysisValues::value.name);
        let read = field.map(|f| Value::read(f, text).map(|v| v.owned()));
        read.unwrap_or_else(|| Err("no content".into()))
    }

    /// Whether it lies inside its limits; none where nothing is typed or it cannot be told.
    pub fn inside(&self) -> Option<bool> {
        if self.min.is_none() && self.max.is_none() {
            return None;
        }
        let content = match self.value().ok()? {
            Value::Number(v) => Content::Value(v),
            Value::Below(x) => Content::Below(x),
            _ => return None,
        };
        within(content, self.min, self.max)
    }

    /// Its limits in words.
    pub fn limits(&self) -> String {
        match (self.min, self.max) {
            (Some(a), Some(b)) => format!("{a} to {b}"),
            (Some(a), None) => format!("at least {a}"),
            (None, Some(b)) => format!("at most {b}"),
            (None, None) => "no limit".into(),
        }
    }
}

/// Puts the elements of another subject under what was typed already; nothing typed is lost.
pub fn merged(wanted: Vec<Element>, typed: &[Element]) -> Vec<Element> {
    let mut out = wanted;
    for element in &mut out {
        let same = |t: &&Element| same_element(&t.element, &element.element) && t.unit == element.unit;
        if let Some(there) = typed.iter().find(same) {
            element.text.clone_from(&there.text);
        }
    }
    let left = typed.iter().filter(|t| {
        let taken = |e: &Element| same_element(&t.element, &e.element) && t.unit == e.unit;
        !t.text.trim().is_empty() && !out.iter().any(taken)
    });
    let left: Vec<Element> = left.map(|t| Element { min: None, max: None, ..t.clone() }).collect();
    out.extend(left);
    out
}

/// One analysis with its values, as it is to be written.
#[derive(Clone, Debug)]
pub struct New {
    pub head: Texts,
    pub elements: Vec<Element>,
    /// Why a content outside the plausible range is right.
    pub reason: Option<String>,
}

/// Writes an analysis with its values, all or nothing.
pub fn write(store: &mut Store, who: &Who, new: &New) -> Result<Vec<Logged>> {
    let of = text_of(&new.head, Analyses::subject.name).unwrap_or_default();
    let tag = free_tag(store, Analyses::KIND, &format!("AN-{of}"))?;
    let mut head = new.head.clone();
    head.push((Analyses::analysis.name.into(), tag.clone()));
    let mut acts = vec![Act::Log(build(store, who, Analyses::KIND, &head)?, None)];
    for element in new.elements.iter().filter(|e| !e.text.trim().is_empty()) {
        let value = Draft::<AnalysisValues>::default()
            .with(AnalysisValues::analysis, &tag)
            .with(AnalysisValues::element, &element.element)
            .with(AnalysisValues::value, element.text.trim())
            .with(AnalysisValues::unit, &element.unit);
        acts.push(Act::Log(build(store, who, AnalysisValues::KIND, value.texts())?, new.reason.clone()));
    }
    if acts.len() == 1 {
        return Err(Error::input(format!("the analysis of {} has no content yet", shown(of))));
    }
    Ok(store.together(who, acts)?.iter().map(Logged::new).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn element(element: &str, min: Option<f64>, max: Option<f64>, text: &str) -> Element {
        Element { element: element.into(), unit: "wt%".into(), min, max, text: text.into() }
    }

    #[test]
    fn a_content_is_held_against_its_limits_as_it_is_typed() {
        let al = |text| element("Al", Some(5.5), Some(6.5), text).inside();
        assert_eq!(
            [al(""), al("6.0"), al("5.5"), al("6.51"), al("x")],
            [None, Some(true), Some(true), Some(false), None]
        );
        let pb = |text| element("Pb", None, Some(5.0), text).inside();
        assert_eq!([pb("<1"), pb("<10"), pb("6")], [Some(true), None, Some(false)]);
        assert_eq!(element("Mn", None, None, "3").inside(), None, "no limit says nothing");
    }

    #[test]
    fn another_element_is_typed_on_one_line() {
        let mn = Element::read("Mn 0.02").unwrap();
        assert_eq!((mn.element.as_str(), mn.unit.as_str(), mn.text.as_str()), ("Mn", "wt%", "0.02"));
        assert_eq!(Element::read("Ag <1 ppm").unwrap().unit, "ppm");
        for wrong in ["", "Mn", "Mn x", "Mn 1 g", "1 2", "Mn 1 ppm more"] {
            assert!(Element::read(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn another_subject_keeps_what_was_typed() {
        let typed = [
            element("Cr", Some(12.0), Some(14.0), "13"),
            element("Fe", None, Some(1.0), "0.5"),
            element("C", None, None, ""),
        ];
        let all =
            merged(vec![element("Cr", Some(8.0), Some(9.0), ""), element("Al", None, None, "")], &typed);
        let seen: Vec<(&str, &str)> = all.iter().map(|e| (e.element.as_str(), e.text.as_str())).collect();
        assert_eq!(seen, [("Cr", "13"), ("Al", ""), ("Fe", "0.5")]);
        assert_eq!((all[0].max, all[2].max), (Some(9.0), None), "a limit is that of the alloy");
    }
}
