//! A maker's certificate as a spreadsheet: read by a saved mapping, doubted, written all or nothing.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::domain::kind::Kind;
use crate::domain::tag::{self, shown};
use crate::domain::words::articled;
use crate::domain::{Record, Value, kind};
pub use crate::import::certificate::Mapping;
use crate::import::certificate::{Content, contents};
use crate::import::grid::{self, Grid};
use crate::metallurgy::elements::canonical;
use crate::metallurgy::limits::Unit;
use crate::metallurgy::plausible::doubt;
use crate::store::bulk::Outcome;
use crate::store::{Error, Result, Store, Who};

/// What to read, for which record.
#[derive(Debug, Clone, Default)]
pub struct Request {
    /// The lot or heat that the certificate is of.
    pub subject: String,
    /// Name of the mapping.
    pub mapping: String,
    /// Sheet, in place of the mapping's.
    pub sheet: Option<String>,
    /// Tag of the analysis; else made from the subject's.
    pub analysis: Option<String>,
    /// maker or check.
    pub purpose: String,
    /// When the analysis was made.
    pub taken_at: Option<String>,
    /// Heat number in the file, in place of the lot's own.
    pub heat: Option<String>,
    /// Units that a person states: element, unit.
    pub units: Vec<(String, String)>,
    /// Why what is doubted is right.
    pub reason: Option<String>,
    /// Only say what is wrong.
    pub check: bool,
}

/// A fault of a certificate.
#[derive(Serialize, Debug, Clone, PartialEq)]
pub struct Fault {
    /// Sheet; empty for a CSV.
    pub sheet: String,
    /// Cell; empty where the whole file is meant.
    pub cell: String,
    /// What stands there.
    pub value: String,
    /// What is wrong, and what would be right.
    pub message: String,
    /// A reason answers it.
    pub doubt: bool,
}

/// What reading a certificate came to.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Taken {
    /// The analysis.
    pub analysis: String,
    /// Records written, by kind; with check those that would be.
    pub records: BTreeMap<&'static str, usize>,
    /// What was read: element, value, unit, cell.
    pub contents: Vec<(String, String, String, String)>,
    /// What was left out or accepted.
    pub remarks: Vec<String>,
    /// Everything that is wrong; then nothing was written.
    pub faults: Vec<Fault>,
    /// Nothing was to be written.
    pub checked_only: bool,
}

impl Taken {
    /// For a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .contents
            .iter()
            .map(|(e, v, u, c)| [e, v, u, c].into_iter().map(|t| shown(t).into_owned()).collect())
            .collect();
        let mut out = crate::report::columns(&rows);
        for r in &self.remarks {
            out.push_str(&format!("  {}\n", shown(r)));
        }
        out.push_str(&match (self.faults.len(), self.checked_only) {
            (0, true) => "nothing is wrong; nothing was written (--check)".into(),
            (0, false) => format!("wrote {}", shown(&self.analysis)),
            (n, _) => format!("{n} faults; nothing was written"),
        });
        out
    }
}

impl Fault {
    /// One line for a terminal.
    #[must_use]
    pub fn text(&self) -> String {
        let place = [&self.sheet, &self.cell].into_iter().filter(|p| !p.is_empty());
        let place = place.map(|p| shown(p).into_owned()).collect::<Vec<_>>().join("!");
        let value = if self.value.is_empty() { String::new() } else { format!(" = {}", shown(&self.value)) };
        format!("{place}{value}: {}", shown(&self.message)).trim_start_matches(": ").to_string()
    }
}

/// Keeps a mapping under a name in the store.
///
/// # Errors
/// Fields that the layout needs are missing, or the store cannot be written.
pub fn learn(store: &Store, name: &str, mapping: &Mapping) -> Result<()> {
    tag::check(name).map_err(|e| Error::Input(format!("{}: {e}", shown(name))))?;
    if mapping.header == 0 {
        return Err(Error::input("--header is the row of the columns' names, counted from 1"));
    }
    if mapping.by_element && (mapping.element.is_none() || mapping.value.is_none()) {
        return Err(Error::input("a row for each element needs --element COLUMN and --value COLUMN"));
    }
    if mapping.unit_is.as_deref().is_some_and(|u| Unit::from_word(u).is_none()) {
        return Err(Error::input("--unit-is takes wt% or ppm"));
    }
    let text = serde_json::to_string(mapping).map_err(|e| Error::Input(e.to_string()))?;
    store.set_about(&format!("certificate mapping {}", tag::folded(name)), &text)
}

fn mapping(store: &Store, name: &str) -> Result<Mapping> {
    let found = store.about(&format!("certificate mapping {}", tag::folded(name)))?;
    let text = found.ok_or_else(|| {
        Error::input(format!(
            "there is no mapping {}; make it once: meltkin certificate map {0} --help",
            shown(name)
        ))
    })?;
    serde_json::from_str(&text).map_err(|e| Error::Untrusted(format!("the mapping {}: {e}", shown(name))))
}

/// Reads a certificate and writes its analysis, values and attachment, or nothing.
///
/// # Errors
/// An unknown subject or mapping, a file that cannot be read, a store that cannot be written. What is
/// wrong in the file is in the outcome.
pub fn import(store: &mut Store, who: &Who, file: &Path, request: &Request) -> Result<Taken> {
    let mapping = mapping(store, &request.mapping)?;
    let named = |e: String| Error::Input(format!("{} {e}", shown(&file.to_string_lossy())));
    let cannot = |e: std::io::Error| named(format!("cannot be read: {e}"));
    grid::CERTIFICATE.admit(std::fs::metadata(file).map_err(cannot)?.len()).map_err(named)?;
    let bytes = std::fs::read(file).map_err(cannot)?;
    let sheet = request.sheet.as_deref().or(mapping.sheet.as_deref());
    let grid = grid::read(&bytes, sheet, &grid::CERTIFICATE).map_err(named)?;
    let sha: String = Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect();
    let found = store.find(&request.subject)?;
    if !matches!(found.kind.name, "ingot_lots" | "revert_lots" | "heats") {
        return Err(Error::input(format!(
            "{} is {}; an ingot lot, revert lot or heat has a certificate",
            shown(&request.subject),
            articled(found.kind.noun)
        )));
    }
    let mut work = Work { grid: &grid, request, out: Taken::default() };
    work.out.checked_only = request.check;
    work.out.remarks.extend(grid.remarks.iter().cloned());
    let mut faults = Vec::new();
    let all = contents(&grid, &mapping, &mut faults);
    for (cell, value, message) in faults {
        work.fault(&cell, &value, message, false);
    }
    let ours = work.of_our_heat(store, &found.record, all)?;
    work.known_file(store, &found.record, &sha)?;
    let lines = work.lines(&mapping, &ours);
    work.judge(store, &found.record, &lines)?;
    let subject = found.record.address();
    let records = work.records(store, who, &subject, &lines, file, &sha, bytes.len())?;
    let mut out = work.out;
    if let Some(reason) = request.reason.as_deref().filter(|r| !r.trim().is_empty()) {
        let (accepted, left): (Vec<_>, Vec<_>) = out.faults.into_iter().partition(|f| f.doubt);
        out.faults = left;
        out.remarks.extend(accepted.iter().map(|f| format!("accepted ({reason}): {}", f.text())));
    }
    write(store, who, records, request.check, &mut out)?;
    Ok(out)
}

/// A content that the records take.
struct Line {
    cell: String,
    element: &'static str,
    value: String,
    unit: String,
    uncertainty: String,
}

struct Work<'a> {
    grid: &'a Grid,
    request: &'a Request,
    out: Taken,
}

impl Work<'_> {
    fn fault(&mut self, cell: &str, value: &str, message: String, doubt: bool) {
        let sheet = self.grid.sheet.clone();
        self.out.faults.push(Fault { sheet, cell: cell.into(), value: value.into(), message, doubt });
    }

    /// The contents of this lot's heat, and whose heat it is where it is another's.
    fn of_our_heat(&mut self, store: &Store, subject: &Record, all: Vec<Content>) -> Result<Vec<Content>> {
        let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
        let own = match subject.kind.name {
            "ingot_lots" => subject.get("maker_heat").text().map(str::to_string),
            _ => Some(subject.address()),
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
                self.fault("", &list, format!("none of the heats in the file is {w}"), false);
                return Ok(Vec::new());
            }
        };
        if let Some(own) = own.filter(|o| !same(o, &chosen) && self.request.heat.is_some()) {
            let message = format!("the lot is of heat {own}{}", neighbour(store, subject, &chosen)?);
            self.fault("", &chosen, message, true);
        }
        Ok(all.into_iter().filter(|c| same(&c.heat, &chosen)).collect())
    }

    fn known_file(&mut self, store: &Store, subject: &Record, sha: &str) -> Result<()> {
        let Some(attachments) = kind("attachments") else { return Ok(()) };
        for other in store.all_of(attachments)? {
            if other.get("sha256").text().is_some_and(|s| s.eq_ignore_ascii_case(sha)) {
                let of = other.get("subject").to_text();
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

    fn lines(&mut self, mapping: &Mapping, ours: &[Content]) -> Vec<Line> {
        let mut out: Vec<Line> = Vec::new();
        for c in ours {
            let Some(element) = canonical(&c.element) else {
                self.fault(
                    &c.cell,
                    &c.value,
                    format!("{} is no element that is known here", c.element),
                    false,
                );
                continue;
            };
            let said = self
                .request
                .units
                .iter()
                .find(|(e, _)| canonical(e) == Some(element))
                .map(|(_, u)| u.clone());
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
                self.fault(&c.cell, &unit, format!("the unit of {element} is none of wt%, ppm"), false);
                continue;
            }
            if let Some(first) = out.iter().find(|l| l.element == element) {
                let message = format!("{element} stands there twice, first at {}", first.cell);
                self.fault(&c.cell, &c.value, message, false);
                continue;
            }
            let (cell, value, uncertainty) = (c.cell.clone(), c.value.clone(), c.uncertainty.clone());
            out.push(Line { cell, element, value, unit, uncertainty });
        }
        if out.is_empty() && self.out.faults.is_empty() {
            self.fault("", "", "no chemistry was found below the header row of the mapping".into(), false);
        }
        out
    }

    /// Units, limits, and whether it is this alloy at all.
    fn judge(&mut self, store: &Store, subject: &Record, lines: &[Line]) -> Result<()> {
        let alloy = store.definition("alloys", &subject.get("alloy").to_text(), subject.own_time())?;
        let limits = match &alloy {
            Some(alloy) => crate::ops::alloy::limits_of(store, alloy)?,
            None => Vec::new(),
        };
        let (mut outside, mut total) = (Vec::new(), 0.0);
        for line in lines {
            let Some(unit) = Unit::from_word(&line.unit) else { continue };
            let below = line.value.starts_with('<');
            let Ok(value) = line.value.trim_start_matches('<').parse::<f64>() else { continue };
            let limit = limits.iter().find(|l| canonical(&l.get("element").to_text()) == Some(line.element));
            let factor = limit
                .and_then(|l| Unit::from_word(l.get("unit").text()?))
                .map_or(1.0, |u| u.factor_to(Unit::WtPct));
            let end = |f: &str| limit.and_then(|l| l.get(f).number()).map(|v| v * factor);
            let (least, most) = (end("min"), end("max"));
            if value < 0.0 {
                self.fault(&line.cell, &line.value, "a content is not negative".into(), false);
                continue;
            }
            let w = value * unit.factor_to(Unit::WtPct);
            total += if below { 0.0 } else { w };
            let bounds = if below { (None, None) } else { (least, most) };
            if let Some(why) = doubt(line.element, value, unit, bounds.0, bounds.1) {
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
        let name = alloy.map_or(String::new(), |a| a.address());
        let far = outside.iter().filter(|o| o.1).count();
        if far >= 2 || outside.len() >= 4 {
            let all: Vec<&str> = outside.iter().map(|o| o.0.element).collect();
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
        Ok(())
    }

    #[allow(clippy::too_many_arguments, reason = "the parts of three records")]
    fn records(
        &mut self,
        store: &Store,
        who: &Who,
        subject: &str,
        lines: &[Line],
        file: &Path,
        sha: &str,
        bytes: usize,
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
        let mut note = format!(
            "from {}, mapping {}",
            file.file_name().unwrap_or_default().to_string_lossy(),
            self.request.mapping
        );
        if let Some(reason) = &self.request.reason {
            note.push_str(&format!("; {reason}"));
        }
        let (n, purpose) = (bytes.to_string(), self.request.purpose.clone());
        let path = file.to_string_lossy().into_owned();
        let attached = format!("{tag}-FILE");
        let mut sets: Vec<(&str, Vec<Vec<(&str, &str)>>)> = Vec::new();
        sets.push((
            "analyses",
            vec![vec![
                ("analysis", &tag),
                ("subject", subject),
                ("purpose", &purpose),
                ("taken_at", &taken_at),
                ("note", &note),
            ]],
        ));
        let values = lines.iter().map(|l| {
            vec![
                ("analysis", tag.as_str()),
                ("element", l.element),
                ("value", &l.value),
                ("unit", &l.unit),
                ("uncertainty", &l.uncertainty),
            ]
        });
        sets.push(("analysis_values", values.collect()));
        sets.push((
            "attachments",
            vec![vec![
                ("attachment", &attached),
                ("subject", subject),
                ("path", &path),
                ("sha256", sha),
                ("bytes", &n),
                ("title", "certificate"),
            ]],
        ));
        let mut out = Vec::new();
        for (name, rows) in sets {
            let Some(kind) = kind(name) else { continue };
            let mut records = Vec::new();
            for (i, row) in rows.into_iter().enumerate() {
                let mut record = Record::blank(kind);
                for (field, text) in row.into_iter().filter(|(_, t)| !t.is_empty()) {
                    let Some(of) = kind.field(field) else { continue };
                    match Value::read(of, text) {
                        Ok(value) => record.set(field, value.owned()),
                        Err(why) => {
                            let cell = if name == "analysis_values" {
                                lines.get(i).map_or("", |l| l.cell.as_str())
                            } else {
                                ""
                            };
                            self.fault(cell, text, format!("{field} {why}"), false);
                        }
                    }
                }
                record.set("recorded_at", Value::Time(who.now, None));
                if let Some(person) = &who.person {
                    record.set("recorded_by", Value::Text(person.clone().into()));
                }
                records.push(record);
            }
            out.push((kind, records));
        }
        self.out.contents = lines
            .iter()
            .map(|l| (l.element.into(), l.value.clone(), l.unit.clone(), l.cell.clone()))
            .collect();
        self.out.analysis = tag;
        Ok(out)
    }
}

/// Whose heat it is, where another lot has it.
fn neighbour(store: &Store, subject: &Record, heat: &str) -> Result<String> {
    let Some(lots) = kind("ingot_lots") else { return Ok(String::new()) };
    let all = store.all_of(lots)?;
    let other = all.iter().find(|l| {
        l.address() != subject.address()
            && l.get("maker_heat").text().is_some_and(|h| h.trim().eq_ignore_ascii_case(heat.trim()))
    });
    Ok(other.map_or(String::new(), |l| format!("; that is the heat of {}", l.address())))
}

fn write(
    store: &mut Store,
    who: &Who,
    sets: Vec<(&'static Kind, Vec<Record<'static>>)>,
    check: bool,
    out: &mut Taken,
) -> Result<()> {
    if !out.faults.is_empty() {
        return Ok(());
    }
    let mut load = store.load(who, false)?;
    for (kind, records) in sets {
        load.begin(kind, records.len(), |_| true)?;
        for record in records {
            match load.row(record)? {
                Outcome::Written => *out.records.entry(kind.name).or_insert(0) += 1,
                Outcome::Unchanged => {}
                Outcome::Faults(faults) => out.faults.extend(faults.into_iter().map(|f| Fault {
                    sheet: String::new(),
                    cell: String::new(),
                    value: f.value,
                    message: format!("{} {}", f.column, f.message),
                    doubt: false,
                })),
            }
        }
        load.end(out.faults.is_empty())?;
    }
    load.finish(!check && out.faults.is_empty())?;
    if !out.faults.is_empty() {
        out.records.clear();
    }
    Ok(())
}
