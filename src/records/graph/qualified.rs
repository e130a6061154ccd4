//! From when a qualification holds, for stores that were made before it was recorded.

use rusqlite::Connection;

use crate::catalogue::{Qualifications, Recorded};
use crate::error::Result;
use crate::read::tags::Tags;
use crate::read::{rows, shape};
use crate::write;
use crate::write::amend;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Stamp, Value};
use crate::{Who, read};

/// The word that marks it.
const ASSUMED: &str = "from_on assumed: the earliest inspection on record";

const WITHOUT: &str =
    "SELECT q.person, q.method, p.person FROM qualifications q JOIN people p ON p.id = q.person
     WHERE q.from_on = '' ORDER BY 1, 2";
const EARLIEST: &str =
    "SELECT person, method, min(inspected_at) FROM inspections WHERE person IS NOT NULL GROUP BY 1, 2";

/// Gives each qualification without a beginning the day of the earliest inspection by that person by that method, as a
/// journalled correction. Where there is none, or it lies after the end, the beginning stays not recorded.
pub(crate) fn qualifications_begin(db: &Connection, who: &Who) -> Result<()> {
    let open: Vec<(i64, String, String)> =
        read::list(db, WITHOUT, [], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
    if open.is_empty() {
        return Ok(());
    }
    let mut earliest = std::collections::HashMap::new();
    let mut q = db.prepare(EARLIEST)?;
    let mut found = q.query([])?;
    while let Some(row) = found.next()? {
        let key = (row.get::<_, String>(0)?.to_ascii_lowercase(), row.get::<_, String>(1)?);
        let at = Stamp::from_packed(row.get(2)?);
        let known = earliest.entry(key).or_insert(at);
        if at.ms() < known.ms() {
            *known = at;
        }
    }
    let shape = shape::of(Qualifications::KIND);
    let tags = Tags::new(db)?;
    for (person, method, name) in open {
        let Some(at) = earliest.get(&(name.to_ascii_lowercase(), method.clone())) else { continue };
        let (y, m, d) = at.date();
        let day = format!("{y:04}-{m:02}-{d:02}");
        let key = [rusqlite::types::Value::Integer(person), method.into(), String::new().into()];
        let Some(found) = read::load(db, shape, &key)? else { continue };
        let Some(mut row) = Recorded::<Qualifications>::of(found.record.clone()) else { continue };
        if row.get(Qualifications::expires_on).is_none_or(|until| until < day.as_str()) {
            continue;
        }
        let old = write::canonical(shape, &found.record);
        let note = match row.note() {
            Some(note) => format!("{note}; {ASSUMED}"),
            None => ASSUMED.to_string(),
        };
        row.set(Qualifications::from_on, Value::Text(day.into()));
        row.set(Qualifications::note, Value::Text(note.into()));
        let resolved = write::placed(row.into_record(), &tags)?;
        let new = write::canonical(shape, &resolved.record);
        let entry = journal::append(
            db,
            who,
            Entry {
                action: journal::MIGRATE.into(),
                kind: found.kind.name.into(),
                tag: Some(found.record.address()),
                old: Some(old),
                new: Some(new.clone()),
                reason: Some(ASSUMED.into()),
                came: Some(found.entry),
                ..Entry::default()
            },
        )?;
        amend::replace(db, shape, &found, &resolved, entry, rows::digest(&new))?;
    }
    Ok(())
}
