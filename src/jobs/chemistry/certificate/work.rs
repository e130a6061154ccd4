//! One certificate at work: whose heat it is, what is doubted, the records it becomes.

use std::path::Path;

use crate::jobs::chemistry::ask::MetalSubject;
use crate::jobs::chemistry::certificate::{CertificateFault, CertificateTaken, Request};
use knowledge::metallurgy::elements::canonical;
use knowledge::metallurgy::limits::Unit;
use knowledge::metallurgy::plausible::doubt;
use records::catalogue::typed::Recorded;
use records::catalogue::{AlloyLimits, Analyses, AnalysisValues, Attachments, IngotLots, KindType};
use records::exchange::certificate::{Content, Mapping};
use records::exchange::grid::Grid;
use records::write::draft::Draft;
use records::{Kind, Record, Result, Store, Value, Who};

/// A content that the records take.
pub(crate) struct CertificateLine {
    cell: String,
    /// Symbol, or those of a sum as `Nb+Ta`.
    element: String,
    value: String,
    unit: String,
    uncertainty: String,
}

pub(crate) struct Work<'a> {
    pub(crate) grid: &'a Grid,
    pub(crate) request: &'a Request,
    pub(crate) out: CertificateTaken,
}

impl Work<'_> {
    pub(crate) fn fault(&mut self, cell: &str, value: &str, message: String, doubt: bool) {
        let sheet = self.grid.sheet.clone();
        self.out.faults.push(CertificateFault {
            sheet,
            cell: cell.into(),
            value: value.into(),
            message,
            doubt,
        });
    }

    /// The contents of this lot's heat, and whose heat it is where it is another's.
    pub(crate) fn of_our_heat(
        &mut self,
        store: &Store,
        subject: &Record,
        all: Vec<Content>,
    ) -> Result<Vec<Content>> {
        let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
        let own = match subject.of::<IngotLots>() {
            Some(lot) => lot.get(IngotLots::maker_heat).map(str::to_string),
            None => Some(subject.address()),
        };
        let mut heats: Vec<String> = Vec::new();
        for c in all.iter().filter(|c| !c.heat.is_empty()) {
            if !heats.iter().any(|h| same(h, &c.heat)) {
                heats.push(c.heat.clone());
            }
        }
        let wanted = self.request.heat.clone().or_else(|| own.clone());
        let list = heats.join(", ");
        let chosen = match (&wanted, heats.as_slice()) {
            (_, []) => {
                if own.is_some() && !all.is_empty() {
                    self.out.remarks.push("the file names no heat; whose it is was not checked".into());
                }
                return Ok(all);
            }
            (Some(w), _) if heats.iter().any(|h| same(h, w)) => w.clone(),
            (None, [one]) => {
                self.out.remarks.push(format!("of heat {one}; the lot's maker_heat is not recorded"));
                one.clone()
            }
            (None, _) => {
                self.fault(
                    "",
                    &list,
                    "the file has several heats and the lot's maker_heat is not recorded; say which: --heat"
                        .into(),
                    false,
                );
                return Ok(Vec::new());
            }
            (Some(w), [one]) => {
                let message = format!(
                    "the certificate is of heat {one}, not of {w}{}",
                    neighbour(store, subject, one)?
                );
                self.fault("", one, message, true);
                one.clone()
            }
            (Some(w), _) => {
                self.fault("", &list, format!("the file has no heat {w}"), false);
                return Ok(Vec::new());
            }
        };
        if let Some(own) = own.filter(|o| !same(o, &chosen) && self.request.heat.is_some()) {
            let message = format!("the lot is of heat {own}{}", neighbour(store, subject, &chosen)?);
            self.fault("", &chosen, message, true);
        }
        let others: Vec<&str> = heats.iter().filter(|h| !same(h, &chosen)).map(String::as_str).collect();
        if !others.is_empty() {
            self.out.remarks.push(format!("heats not taken: {}", others.join(", ")));
        }
        Ok(all.into_iter().filter(|c| same(&c.heat, &chosen)).collect())
    }

    pub(crate) fn known_file(&mut self, store: &Store, subject: &Record, sha: &str) -> Result<()> {
        for other in store.rows::<Attachments>()? {
            if other.need(Attachments::sha256)?.eq_ignore_ascii_case(sha) {
                let of = other.need(Attachments::subject)?;
                let whose = if of.eq_ignore_ascii_case(&subject.address()) {
                    "already attached to this lot"
                } else {
                    "the certificate of another"
                };
                let message = format!("this very file is attached to {of} as {}: {whose}", other.address());
                self.fault("", "", message, true);
            }
        }
        Ok(())
    }

    pub(crate) fn lines(
        &mut self,
        mapping: &Mapping,
        ours: &[Content],
        limits: &[Recorded<AlloyLimits>],
    ) -> Vec<CertificateLine> {
        let mut out: Vec<CertificateLine> = Vec::new();
        for c in ours {
            let Some(element) = symbols(&c.element).map(|s| s.join("+")) else {
                self.fault(&c.cell, &c.value, format!("{} is not an element known here", c.element), false);
                continue;
            };
            // A sum is spelled as its limit is.
            let spelled = limits.iter().filter_map(|l| l.get(AlloyLimits::element));
            let spelled = spelled.filter(|e| e.contains('+')).find(|e| same_sum(e, &element));
            let element = spelled.map_or(element, str::to_string);
            let said = self.request.units.iter().find(|(e, _)| same_sum(e, &element)).map(|(_, u)| u.clone());
            let written = (!c.unit.is_empty()).then(|| c.unit.clone());
            let Some(unit) = said.or(written).or_else(|| mapping.unit_is.clone()) else {
                self.fault(
                    &c.cell,
                    &c.value,
                    format!("{element} has no unit; say it with --unit-of {element}=ppm"),
                    false,
                );
                continue;
            };
            if Unit::from_word(&unit).is_none() {
                self.fault(&c.cell, &unit, format!("the unit of {element} is not wt% or ppm"), false);
                continue;
            }
            if let Some(first) = out.iter().find(|l| l.element == element) {
                let message = format!("duplicate {element}, first at {}", first.cell);
                self.fault(&c.cell, &c.value, message, false);
                continue;
            }
            let (cell, value, uncertainty) = (c.cell.clone(), c.value.clone(), c.uncertainty.clone());
            out.push(CertificateLine { cell, element, value, unit, uncertainty });
        }
        if out.is_empty() && self.out.faults.is_empty() {
            self.fault("", "", "no chemistry was found below the header row of the mapping".into(), false);
        }
        out
    }

    /// Units, limits, and whether it is this alloy at all.
    pub(crate) fn judge(
        &mut self,
        metal: &MetalSubject,
        limits: &[Recorded<AlloyLimits>],
        lines: &[CertificateLine],
    ) {
        let (mut outside, mut total) = (Vec::new(), 0.0);
        for line in lines {
            let Some(unit) = Unit::from_word(&line.unit) else { continue };
            let below = line.value.starts_with('<');
            let Ok(value) = line.value.trim_start_matches('<').parse::<f64>() else { continue };
            let of = |l: &&Recorded<AlloyLimits>| {
                l.get(AlloyLimits::element).is_some_and(|e| same_sum(e, &line.element))
            };
            let limit = limits.iter().find(of);
            let parts = symbols(&line.element).unwrap_or_default();
            if parts.len() > 1 && limit.is_none() {
                let name = &metal.alloy_name;
                let said = format!("{} is kept as a sum; {name} has no limit on it", line.element);
                self.out.remarks.push(said);
            }
            // A sum beside one of its parts is not counted twice.
            let again = parts.len() > 1 && lines.iter().any(|l| parts.contains(&l.element.as_str()));
            let factor = limit
                .and_then(|l| Unit::from_word(l.get(AlloyLimits::unit)?.word()))
                .map_or(1.0, |u| u.factor_to(Unit::WtPct));
            let least = limit.and_then(|l| l.get(AlloyLimits::min)).map(|v| v * factor);
            let most = limit.and_then(|l| l.get(AlloyLimits::max)).map(|v| v * factor);
            if value < 0.0 {
                self.fault(&line.cell, &line.value, "a content is not negative".into(), false);
                continue;
            }
            let w = value * unit.factor_to(Unit::WtPct);
            total += if below || again { 0.0 } else { w };
            let bounds = if below { (None, None) } else { (least, most) };
            if let Some(why) = doubt(&line.element, value, unit, bounds.0, bounds.1) {
                self.fault(&line.cell, &line.value, why, true);
            } else if !below {
                let far = least.is_some_and(|m| w < 0.8 * m) || most.is_some_and(|m| w > 1.25 * m);
                let out =
                    least.is_some_and(|m| w < m * (1.0 - 1e-9)) || most.is_some_and(|m| w > m * (1.0 + 1e-9));
                if out {
                    outside.push((line, far));
                }
            }
        }
        if total > 101.0 {
            self.fault("", "", format!("the contents add up to {total:.1} wt%"), true);
        }
        let name = &metal.alloy_name;
        let far = outside.iter().filter(|o| o.1).count();
        if far >= 2 || outside.len() >= 4 {
            let all: Vec<&str> = outside.iter().map(|o| o.0.element.as_str()).collect();
            let message = format!(
                "{} lie outside the limits of {name}; is it the certificate of another alloy? If it is right, say why with --reason",
                all.join(", ")
            );
            self.fault("", "", message, true);
        } else {
            for (line, _) in outside {
                self.out.remarks.push(format!(
                    "{} {} {} lies outside the limits of {name}",
                    line.element, line.value, line.unit
                ));
            }
        }
    }

    /// The analysis, its values, and the file as their attachment.
    pub(crate) fn records(
        &mut self,
        store: &Store,
        who: &Who,
        subject: &str,
        lines: &[CertificateLine],
        (file, sha, bytes): (&Path, &str, usize),
    ) -> Result<Vec<(&'static Kind, Vec<Record<'static>>)>> {
        let tag = match &self.request.analysis {
            Some(tag) => tag.clone(),
            None => {
                let mut n = 1;
                while store.look_up(&format!("AN-{subject}-{n}"))?.is_some() {
                    n += 1;
                }
                format!("AN-{subject}-{n}")
            }
        };
        let Some(taken_at) = self.request.taken_at.clone() else {
            self.fault("", "", "when was the analysis made? --taken-at 2031-03-04".into(), false);
            return Ok(Vec::new());
        };
        // A certificate has a date; the hour is not known, so the day begins.
        let taken_at = if taken_at.contains('T') { taken_at } else { format!("{taken_at}T00:00:00+00:00") };
        let name = file.file_name().unwrap_or_default().to_string_lossy();
        let mut note = format!("from {name}, mapping {}", self.request.mapping);
        if let Some(reason) = &self.request.reason {
            note.push_str(&format!("; {reason}"));
        }
        let analysis = Draft::<Analyses>::default()
            .with(Analyses::analysis, &tag)
            .with(Analyses::subject, subject)
            .with(Analyses::purpose, &self.request.purpose)
            .with(Analyses::taken_at, taken_at)
            .with(Analyses::note, note);
        let attachment = Draft::<Attachments>::default()
            .with(Attachments::attachment, format!("{tag}-FILE"))
            .with(Attachments::subject, subject)
            .with(Attachments::path, file.to_string_lossy())
            .with(Attachments::sha256, sha)
            .with(Attachments::bytes, bytes.to_string())
            .with(Attachments::title, "certificate");
        let analysis = self.record(who, "", &analysis);
        let mut values = Vec::new();
        for l in lines {
            let value = Draft::<AnalysisValues>::default()
                .with(AnalysisValues::analysis, &tag)
                .with(AnalysisValues::element, &l.element)
                .with(AnalysisValues::value, &l.value)
                .with(AnalysisValues::unit, &l.unit)
                .with(AnalysisValues::uncertainty, &l.uncertainty);
            values.push(self.record(who, &l.cell, &value));
        }
        let attachment = self.record(who, "", &attachment);
        let content =
            |l: &CertificateLine| (l.element.clone(), l.value.clone(), l.unit.clone(), l.cell.clone());
        self.out.contents = lines.iter().map(content).collect();
        self.out.analysis = tag;
        Ok(vec![
            (Analyses::KIND, vec![analysis]),
            (AnalysisValues::KIND, values),
            (Attachments::KIND, vec![attachment]),
        ])
    }

    /// A record of what was read; a text that its field does not take is a fault at this cell.
    fn record<K: KindType>(&mut self, who: &Who, cell: &str, draft: &Draft<K>) -> Record<'static> {
        let mut record = Recorded::<K>::blank().into_record();
        for (name, text) in draft.texts().iter().filter(|(_, text)| !text.is_empty()) {
            match K::KIND.field(name).map(|field| Value::read(field, text)) {
                Some(Ok(value)) => record.set(name, value.owned()),
                Some(Err(why)) => self.fault(cell, text, format!("{name} {why}"), false),
                None => {}
            }
        }
        record.set(Analyses::recorded_at.name, Value::Time(who.now, None));
        if let Some(person) = &who.person {
            record.set(Analyses::recorded_by.name, Value::Text(person.clone().into()));
        }
        record
    }
}

/// The symbols of an element, or of a sum of some.
fn symbols(text: &str) -> Option<Vec<&'static str>> {
    text.split('+').map(|part| canonical(part.trim())).collect()
}

/// Two names of one element or one sum, in whatever order.
fn same_sum(a: &str, b: &str) -> bool {
    let sorted = |text: &str| {
        let mut all = symbols(text)?;
        all.sort_unstable();
        Some(all)
    };
    sorted(a).is_some_and(|a| Some(a) == sorted(b))
}

/// Whose heat it is, where another lot has it.
fn neighbour(store: &Store, subject: &Record, heat: &str) -> Result<String> {
    let all = store.rows::<IngotLots>()?;
    let other = all.iter().find(|l| {
        l.address() != subject.address()
            && l.get(IngotLots::maker_heat).is_some_and(|h| h.trim().eq_ignore_ascii_case(heat.trim()))
    });
    Ok(other.map_or(String::new(), |l| format!("; that is the heat of {}", l.address())))
}
