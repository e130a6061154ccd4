//! The foundry's own limits that apply to a record: those without scope, and those of a definition
//! that stands in the record or upstream of it (the part of a pour's mould).

use rusqlite::Connection;

use crate::Record;
use crate::Store;
use crate::catalogue::field::Type;
use crate::catalogue::kind;
use crate::check::limit::Limit;
use crate::error::Result;
use crate::read;
use crate::read::shape;
use crate::read::tags::Tags;

impl Store {
    /// The limits that apply to a record, which may be half filled in.
    pub fn limits(&self, record: &Record) -> Result<Vec<Limit>> {
        of(&self.db, record)
    }
}

pub(crate) fn of(db: &Connection, record: &Record) -> Result<Vec<Limit>> {
    let mut q = db.prepare_cached(
        "SELECT field, ifnull(scope, ''), warn_min, warn_max, stop_min, stop_max, ifnull(source, '')
         FROM process_limits WHERE record = ?1 ORDER BY field, scope",
    )?;
    let all = q.query_map([record.kind.name], |r| {
        Ok(Limit {
            field: r.get(0)?,
            scope: r.get(1)?,
            warn: (r.get(2)?, r.get(3)?),
            stop: (r.get(4)?, r.get(5)?),
            source: r.get(6)?,
        })
    })?;
    let mut all: Vec<Limit> = all.collect::<rusqlite::Result<_>>()?;
    if all.iter().any(|l| !l.scope.is_empty()) {
        let names = scopes(db, record)?;
        all.retain(|l| l.scope.is_empty() || names.contains(&l.scope.to_ascii_lowercase()));
    }
    Ok(all)
}

/// Every name in the record and in what it refers to, three steps up, without revision, lower case.
fn scopes(db: &Connection, record: &Record) -> Result<Vec<String>> {
    let tags = Tags::new(db)?;
    let mut names = Vec::new();
    let mut next = texts(record);
    for _ in 0..4 {
        let now = std::mem::take(&mut next);
        for (text, refers) in now {
            let name = text.split('@').next().unwrap_or("").to_ascii_lowercase();
            if name.is_empty() || names.contains(&name) {
                continue;
            }
            if refers {
                if let Some((link, _)) = tags.anything(&name)? {
                    if let Some(k) = kind(link.kind) {
                        let key = [rusqlite::types::Value::Integer(link.id)];
                        if let Some(found) = read::load(db, shape::of(k), &key)? {
                            next.extend(texts(&found.record));
                        }
                    }
                }
            }
            names.push(name);
        }
    }
    Ok(names)
}

fn texts(record: &Record) -> Vec<(String, bool)> {
    let fields = record.kind.all_fields().zip(&record.values);
    let refers = |t: Type| matches!(t, Type::Ref(_) | Type::AnyTag);
    fields.filter_map(|(f, v)| v.text().map(|t| (t.to_string(), refers(f.ty)))).collect()
}
