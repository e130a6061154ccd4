//! Who may write what. Asked at the one write door, whatever the way there.

use rusqlite::{Connection, OptionalExtension};

use crate::domain::kind::{Kind, Writer};
use crate::store::Who;
use crate::store::error::{Error, Result};

/// The role of a person, where the store knows them.
///
/// # Errors
/// The store cannot be read.
pub fn role(db: &Connection, person: &str) -> Result<Option<String>> {
    let mut q = db.prepare_cached("SELECT role FROM people WHERE person = ?1 COLLATE NOCASE")?;
    Ok(q.query_row([person], |r| r.get(0)).optional()?)
}

/// The store knows nobody yet.
///
/// # Errors
/// The store cannot be read.
pub fn nobody(db: &Connection) -> Result<bool> {
    Ok(!db.query_row("SELECT EXISTS (SELECT 1 FROM people)", [], |r| r.get::<_, bool>(0))?)
}

fn has_quality(db: &Connection) -> Result<bool> {
    let sql = "SELECT EXISTS (SELECT 1 FROM people WHERE role = 'quality')";
    Ok(db.query_row(sql, [], |r| r.get(0))?)
}

/// Checks that the person may write this kind. `touches` says whether a field is filled or changed;
/// `what` is the act in words.
///
/// # Errors
/// [`Error::Refused`] with the sentence and the roles that may.
pub fn permit(
    db: &Connection,
    who: &Who,
    kind: &Kind,
    what: &str,
    touches: impl Fn(&str) -> bool,
) -> Result<()> {
    let restricted = match kind.writer {
        Writer::Anyone => false,
        Writer::Quality => true,
        Writer::QualityOnceThere => has_quality(db)?,
        Writer::QualityFor(fields) => fields.iter().any(|f| touches(f)),
    };
    if !restricted {
        return Ok(());
    }
    let refuse = |sentence: String| Err(Error::Refused { sentence, needs: vec!["quality"] });
    let Some(person) = &who.person else {
        return refuse(format!("{what} is for quality; say who you are with --as PERSON"));
    };
    match role(db, person)?.as_deref() {
        Some("quality") => Ok(()),
        Some(role) => refuse(format!("{what} is for quality; {person} is {role}")),
        None => refuse(format!("{what} is for quality; the store knows no person {person}")),
    }
}
