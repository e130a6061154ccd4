//! Mishaps at the furnace, recorded as they happened: the wrong mould poured, one tag on two moulds.

use crate::jobs::records::ask::Logged;
use crate::jobs::records::ask::build;
use records::Act;
use records::Error;
use records::Record;
use records::Result;
use records::Stamp;
use records::Store;
use records::Who;
use records::catalogue::kind;
use records::value::tag::folded;
use records::value::tag::shown;
use records::value::words::articled;

/// The wrong mould was poured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WrongMould {
    /// The mould that was meant; it stays planned.
    pub planned: String,
    /// The mould that was poured.
    pub really: String,
    /// The heat; needed where the pour is not on record yet.
    pub heat: Option<String>,
    /// Its place in the order.
    pub order: Option<String>,
    /// A pour of the planned mould was logged already: it is moved to the mould really poured.
    pub logged: bool,
    /// When it was poured; blank is now.
    pub at: Option<Stamp>,
}

fn mould(store: &Store, text: &str) -> Result<String> {
    let found = store.find(text)?;
    if found.kind.name != "moulds" {
        return Err(Error::input(format!("{} is {}, no mould", shown(text), articled(found.kind.noun))));
    }
    Ok(found.record.address())
}

/// Records what happened in one transaction: a hold on the mould really poured, with the reason, and
/// its pour. The planned mould stays as it is, planned and not poured.
///
/// # Errors
/// One of the two is no mould, they are the same, or the one really poured has a pour already.
pub fn wrong_mould(store: &mut Store, who: &Who, what: &WrongMould) -> Result<Vec<Logged>> {
    let (planned, really) = (mould(store, &what.planned)?, mould(store, &what.really)?);
    if folded(&planned) == folded(&really) {
        return Err(Error::input(format!(
            "{planned} is the mould that was meant; scan the one that was poured"
        )));
    }
    let why = format!("wrong mould poured: {really} in place of {planned}");
    let pour = if what.logged {
        let changes = vec![("mould".to_string(), really.clone())];
        Act::Correct(format!("pours:{planned}"), changes, why.clone())
    } else {
        let Some(heat) = &what.heat else {
            return Err(Error::input("no heat is in use; log the heat first, then the pour"));
        };
        let mut pairs = vec![
            ("mould".to_string(), really.clone()),
            ("heat".to_string(), heat.clone()),
            ("poured_at".to_string(), what.at.unwrap_or(who.now).to_string()),
            ("note".to_string(), format!("{why}; details to follow")),
        ];
        pairs.extend(what.order.clone().map(|o| ("pour_order".to_string(), o)));
        let Some(pours) = kind("pours") else { return Ok(Vec::new()) };
        Act::Log(build(store, pours, &pairs)?, None)
    };
    // The hold stands first: whatever is taken back alone, the mould stays fenced.
    let written = store.together(who, vec![Act::Hold(really, why), pour])?;
    Ok(written.iter().map(Logged::new).collect())
}

/// Fences every mould that one tag may stand for.
///
/// # Errors
/// One of them is no mould, or the store cannot be written.
pub fn double_tag(store: &mut Store, who: &Who, tag: &str, other: Option<&str>) -> Result<Vec<Logged>> {
    let first = mould(store, tag)?;
    let second = other.map(|o| mould(store, o)).transpose()?.filter(|o| folded(o) != folded(&first));
    let known = second.as_ref().map_or("the other is not known yet".into(), |o| format!("one may be {o}"));
    let why = format!("two moulds carry the tag {first}; {known}; to be told apart before either goes on");
    let mut acts = vec![Act::Hold(first, why.clone())];
    acts.extend(second.map(|o| Act::Hold(o, why)));
    let written = store.together(who, acts)?;
    Ok(written.iter().map(Logged::new).collect())
}

/// One thing that is on record of two moulds.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    pub what: String,
    pub a: String,
    /// Of the other.
    pub b: String,
}

impl Evidence {
    /// It can tell them apart.
    pub fn separates(&self) -> bool {
        self.a != self.b
    }
}

/// What is on record of two moulds, what separates them first.
///
/// # Errors
/// One of them is no mould, or the store cannot be read.
pub fn evidence(store: &Store, a: &str, b: &str) -> Result<Vec<Evidence>> {
    store.snapshot(|| {
        let (one, two) = (facts(store, a)?, facts(store, b)?);
        let mut out: Vec<Evidence> = one
            .into_iter()
            .zip(two)
            .map(|((what, a), (_, b))| Evidence { what, a, b })
            .filter(|e| !(e.a.is_empty() && e.b.is_empty()))
            .collect();
        out.sort_by_key(|e| !e.separates());
        Ok(out)
    })
}

fn facts(store: &Store, text: &str) -> Result<Vec<(String, String)>> {
    let address = mould(store, text)?;
    let found = store.find(&address)?;
    let id = found.id.unwrap_or(-1);
    let of = |r: &Record, f: &str| r.get(f).to_text();
    let mut out = Vec::new();
    for (what, field) in [
        ("part", "part"),
        ("running system", "running_system"),
        ("shell batch", "shell_batch"),
        ("filter lot", "filter_lot"),
        ("assembled", "assembled_at"),
        ("cup seal", "seal"),
    ] {
        out.push((what.to_string(), of(&found.record, field)));
    }
    let lists: [(&str, &str, &[&str]); 4] = [
        ("coats, pots", "coats", &["coat", "slurry_batch"]),
        ("ovens, places", "oven_loads", &["oven_run", "place", "out_at"]),
        ("positions, patterns", "blades", &["position", "pattern_run", "core_lot"]),
        ("poured", "pours", &["heat", "poured_at"]),
    ];
    for (what, name, fields) in lists {
        let records = match kind(name) {
            Some(k) => store.referring(k, "mould", "moulds", id)?,
            None => Vec::new(),
        };
        let said: Vec<String> = records
            .iter()
            .map(|r| fields.iter().map(|f| of(r, f)).filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" "))
            .collect();
        out.push((what.to_string(), said.join(", ")));
    }
    Ok(out)
}
