//! Persons named in a record: written as the store knows them; one that it does not know is asked about.

use std::collections::HashMap;

use rusqlite::Connection;

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::{Concessions, People};
use crate::check::Guard;
use crate::error::Result;
use crate::read::tags::Tags;
use crate::value::tag;
use crate::write::authority;
use crate::{Record, Value};

/// Positions of the fields of a kind that name a person as text.
pub(crate) fn fields(kind: &Kind) -> impl Iterator<Item = usize> {
    kind.all_fields().enumerate().filter(|(_, f)| f.names_person() && f.ty == Type::Text).map(|(i, _)| i)
}

/// Writes every person in the fields that are `asked` as the store has it, and asks about those that it does not know. A
/// store that knows nobody asks nothing.
pub(crate) fn guards(
    db: &Connection,
    tags: &Tags,
    record: &mut Record,
    asked: impl Fn(&str) -> bool,
) -> Result<Vec<Guard>> {
    let mut out = Vec::new();
    if authority::nobody(db)? {
        return Ok(out);
    }
    for i in fields(record.kind) {
        let Some(text) = record.values[i].text().map(String::from) else { continue };
        let name = record.kind.all_fields().nth(i).map_or("", |f| f.name);
        if !asked(name) || granted_elsewhere(record, i) {
            continue;
        }
        match tags.find(&text, &[People::NAME])? {
            Some((_, Some(primary))) => record.values[i] = Value::Text(primary.into()),
            Some((_, None)) => {}
            None => {
                let near = tags.near(&text, &[People::NAME])?;
                out.push(asks(record.kind, i, &text, &near));
            }
        }
    }
    Ok(out)
}

/// A customer's concession is granted by somebody whom no store knows: its reference says where that stands.
fn granted_elsewhere(record: &Record, i: usize) -> bool {
    i == Concessions::granted_by.index
        && record.of::<Concessions>().is_some_and(|c| !c.cell(Concessions::reference).is_blank())
}

fn asks(kind: &Kind, i: usize, text: &str, near: &[String]) -> Guard {
    let near: Vec<&str> = near.iter().map(String::as_str).collect();
    let field = kind.all_fields().nth(i).map_or("", |f| f.name);
    Guard::asks(field, format!("there is no person {}{}", tag::shown(text), tag::hint(&near)))
}

/// Everybody, for a load: those that the store knows, and those that stand in its files.
///
/// Into a store that knows nobody yet comes what another one wrote: there only a person is asked about who is one of those
/// known, written another way.
#[derive(Default)]
pub(crate) struct Everybody {
    known: HashMap<String, String>,
    /// The store knew people before.
    strict: bool,
    /// What was asked last in each field: mostly the rows of a file name the same few.
    before: Vec<(String, Option<String>)>,
}

impl Everybody {
    pub(crate) fn new(db: &Connection) -> Result<Self> {
        let mut out = Self { strict: !authority::nobody(db)?, ..Self::default() };
        let mut q = db.prepare("SELECT person FROM people UNION ALL SELECT new_tag FROM retags")?;
        let mut rows = q.query([])?;
        let tags = Tags::new(db)?;
        while let Some(row) = rows.next()? {
            let text: String = row.get(0)?;
            if let Some((_, primary)) = tags.find(&text, &[People::NAME])? {
                out.known.insert(tag::folded(&text), primary.unwrap_or(text));
            }
        }
        Ok(out)
    }

    /// A person that stands in a file of this load.
    pub(crate) fn meet(&mut self, person: &str) {
        self.known.entry(tag::folded(person)).or_insert_with(|| person.to_string());
    }

    /// Forgets what was asked last: another file begins.
    pub(crate) fn begin(&mut self) {
        self.before.clear();
    }

    /// As [`guards`], for a row of a load.
    pub(crate) fn look(&mut self, record: &mut Record, at: &[usize]) -> Vec<Guard> {
        let mut out = Vec::new();
        if self.known.is_empty() {
            return out;
        }
        self.before.resize(at.len().max(self.before.len()), (String::new(), None));
        for (slot, &i) in at.iter().enumerate() {
            let Some(text) = record.values[i].text() else { continue };
            if granted_elsewhere(record, i) {
                continue;
            }
            if self.before[slot].0 != text {
                let found = self.known.get(&tag::folded(text)).cloned();
                self.before[slot] = (text.to_string(), found);
            }
            match &self.before[slot].1 {
                Some(primary) if primary != text => record.values[i] = Value::Text(primary.clone().into()),
                Some(_) => {}
                None => {
                    let alike = || self.known.values().any(|k| tag::bare(k) == tag::bare(text));
                    if !self.strict && !alike() {
                        continue;
                    }
                    let near = tag::near(text, self.known.values().map(String::as_str));
                    let near: Vec<String> = near.into_iter().map(String::from).collect();
                    out.push(asks(record.kind, i, text, &near));
                }
            }
        }
        out
    }
}
