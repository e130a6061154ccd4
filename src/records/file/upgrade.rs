//! What a migration has to do and say beyond its SQL.
//!
//! Up to schema 3 a canonical text named the revision of a definition only where somebody had typed it;
//! to which one the record was tied stood in a bare integer outside every seal. Schema 4 seals what is
//! there: each row that refers to a definition takes the digest of the text that names every revision,
//! and one journal entry, [`SEAL`], holds count and digest of these rows for each kind. What was sealed
//! before verifies unchanged: the text of then is that of today without the revisions that nobody typed,
//! and `extra` of such a row keeps those that somebody did.

use rusqlite::types::{Value as Sql, ValueRef};
use rusqlite::{Connection, params_from_iter};

use crate::catalogue::kind::Kind;
use crate::error::Result;
use crate::file::clock;
use crate::graph::qualified;
use crate::read::Found;
use crate::read::rows;
use crate::read::shape;
use crate::read::shape::KindTable;
use crate::read::tag_table::AllNames;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::write::pins;
use crate::{Record, Stamp, catalogue};
use crate::{Who, read, write};

/// The journal's word for the entry that seals the revisions of older rows.
pub const SEAL: &str = "seal";

/// The kinds whose records may refer to a definition without saying its revision in a field.
pub fn ties(kind: &Kind) -> bool {
    (0..kind.fields.len()).any(|i| rows::may_be_tied(kind, i))
}

/// The canonical text of a stored record as a journal entry's `old` has it: it also says which revisions
/// nobody had typed, so that the record can be made again as it was, and the digest of an older row told.
pub fn old_text(found: &Found) -> String {
    let text = write::canonical(shape::of(found.kind), &found.record);
    let untyped = found.record.untyped();
    if untyped.is_empty() {
        return text;
    }
    text.replacen('{', &format!("{{\"{}\":\"{untyped}\",", rows::UNTYPED), 1)
}

/// Brings what an earlier program wrote up to schema 4. A store without entries needs nothing.
///
/// The entries bear the time of the last one before: a migration has no clock of its own, and no entry
/// is earlier than another before it.
pub fn to_4(db: &Connection) -> Result<()> {
    let (last, _) = journal::head(db)?;
    let Some(entry) = journal::by_seq(db, last)? else {
        // A mapping may have been learnt before the first record.
        return clock::settings_from_about(db, &Who::new(None, Stamp::new(clock::machine_ms(db)?, 0)));
    };
    let who = Who::new(None, journal::at(&entry).unwrap_or(Stamp::new(0, 0)));
    seal_revisions(db, &who)?;
    clock::settings_from_about(db, &who)?;
    pins::seal_pins(db, &who)?;
    qualified::qualifications_begin(db, &who)
}

fn seal_revisions(db: &Connection, who: &Who) -> Result<()> {
    let names = AllNames::new(db)?;
    let mut said = serde_json::Map::new();
    for kind in catalogue::all().filter(|k| ties(k)) {
        let (rows, digest) = seal_kind(db, &names, kind)?;
        said.insert(kind.name.into(), serde_json::json!({ "rows": rows, "digest": digest }));
    }
    let entry = Entry {
        action: SEAL.into(),
        new: Some(serde_json::Value::Object(said).to_string()),
        reason: Some("from here on every text names the revision of each definition it refers to".into()),
        ..Entry::default()
    };
    journal::append(db, who, entry)?;
    Ok(())
}

/// Gives the rows of a kind the digest of their text with every revision. A row that is not what its
/// digest says stays as it is: `verify` names it then as it does now.
fn seal_kind(db: &Connection, names: &AllNames, kind: &'static Kind) -> Result<(usize, String)> {
    let shape = shape::of(kind);
    let own = read::own_fields(db)?;
    let mut q = db.prepare(&of_then(db, shape)?)?;
    let mut found = q.query([])?;
    let (mut digests, mut changed) = (Vec::new(), Vec::new());
    let at = shape.columns.len() + usize::from(shape.has_id) + 2;
    while let Some(row) = found.next()? {
        let Ok(record) = rows::read(shape, row, names, &own) else { continue };
        let (then, now) =
            (rows::digest(&as_typed(shape, &record)), rows::digest(&write::canonical(shape, &record)));
        digests.push(now as u64);
        if row.get::<_, i64>(at)? == then && now != then {
            changed.push((key(shape, row)?, now));
        }
    }
    let by = if shape.has_id { " WHERE id = ?2".to_string() } else { shape.by_key(2) };
    let mut update = db.prepare(&format!("UPDATE {} SET digest = ?1{by}", kind.name))?;
    for (key, digest) in changed {
        let values = std::iter::once(Sql::Integer(digest)).chain(key);
        update.execute(params_from_iter(values))?;
    }
    let rows = digests.len();
    Ok((rows, journal::fold(&mut digests)))
}

/// Every row of a table as it is at this step: a column that a later one adds is blank.
fn of_then(db: &Connection, shape: &KindTable) -> Result<String> {
    let mut select = shape.select.clone();
    for column in &shape.columns {
        if !db.column_exists(None, shape.kind.name, &column.name)? {
            select = select.replacen(&format!("\"{}\"", column.name), "NULL", 1);
        }
    }
    Ok(select)
}

/// The canonical text as it was before it named every revision.
pub fn as_typed(shape: &KindTable, record: &Record) -> String {
    let mut out = String::new();
    record.canonical_as_typed(&shape.order, &mut out);
    out
}

fn key(shape: &KindTable, row: &rusqlite::Row) -> Result<Vec<Sql>> {
    let cells: Vec<usize> = if shape.has_id { vec![0] } else { shape.key.clone() };
    let mut out = Vec::new();
    for at in cells {
        out.push(match row.get_ref(at)? {
            ValueRef::Null => Sql::Null,
            ValueRef::Integer(v) => Sql::Integer(v),
            ValueRef::Real(v) => Sql::Real(v),
            ValueRef::Text(t) | ValueRef::Blob(t) => Sql::Text(String::from_utf8_lossy(t).into_owned()),
        });
    }
    Ok(out)
}
