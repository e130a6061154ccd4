//! What is given where a record has none: a hold's tag, an item's number, the digest of what somebody signs.

use rusqlite::Connection;

use crate::catalogue::field::{FieldInfo, Type};
use crate::catalogue::kind::Kind;
use crate::catalogue::{ConcessionItems, DefectTerms, Holds, KnownCauseReviews};
use crate::error::{Error, Result};
use crate::read;
use crate::read::known;
use crate::read::shape;
use crate::read::tags::Tags;
use crate::write::concession_rules;
use crate::{Record, Value};

/// Letters and digits that are not taken for each other by eye: no 0 O, 1 I L, 2 Z, 5 S, 8 B, U V.
const SIGNS: &[u8] = b"34679ACDEFGHJKMNPQRTWXY";
/// How many of them a tag has: 23^6 are 148 million.
const LENGTH: usize = 6;

/// What is given where it is blank: a hold's tag, an item's number, the digest of the known causes that are signed.
pub(crate) fn keys(db: &Connection, record: &mut Record) -> Result<()> {
    let tags = Tags::new(db)?;
    if let Some(mut of) = record.of_mut::<Holds>().filter(|h| h.cell(Holds::hold).is_blank()) {
        of.set(Holds::hold, Value::Text(hold(db, &tags)?.into()));
    }
    if let Some(mut of) =
        record.of_mut::<KnownCauseReviews>().filter(|r| r.cell(KnownCauseReviews::content).is_blank())
    {
        let defect = of.cell(KnownCauseReviews::defect).to_text();
        if let Some((term, _)) = tags.find(&defect, &[DefectTerms::NAME])? {
            of.set(KnownCauseReviews::content, Value::Text(known::to_sign(db, &defect, term.id)?.into()));
        }
    }
    let Some(item) = item(record.kind).filter(|i| record.values[*i].is_blank()) else { return Ok(()) };
    if let Some(row) = record.of::<ConcessionItems>() {
        let n = concession_rules::next_item(&tags, row)?;
        record.values[item] = Value::Count(n);
        return Ok(());
    }
    for n in 1.. {
        record.values[item] = Value::Count(n);
        let free = match read::key_of(&tags, record)? {
            Some(key) => read::load(db, shape::of(record.kind), &key)?.is_none(),
            None => true,
        };
        if free {
            break;
        }
    }
    Ok(())
}

/// The place of the field that numbers the rows of one parent, where a kind has one.
pub(crate) fn item(kind: &Kind) -> Option<usize> {
    let optional_count = |f: &FieldInfo| f.key && f.optional && f.ty == Type::Count;
    kind.fields.iter().position(optional_count)
}

/// A tag for a hold: `HOLD-` and six signs by chance, so that it never meets one that another store gave. No record has
/// it, none ever had it, and no label names it.
pub(crate) fn hold(db: &Connection, tags: &Tags) -> Result<String> {
    let mut used = db.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM journal WHERE tag = ?1 COLLATE NOCASE)
             OR EXISTS (SELECT 1 FROM retags WHERE old_tag = ?1 COLLATE NOCASE OR new_tag = ?1 COLLATE NOCASE)",
    )?;
    loop {
        let text = chance()?;
        if tags.anything(&text)?.is_none() && !used.query_row([&text], |r| r.get::<_, bool>(0))? {
            return Ok(text);
        }
    }
}

/// The one place where the store takes something by chance.
fn chance() -> Result<String> {
    let mut text = String::from("HOLD-");
    while text.len() < "HOLD-".len() + LENGTH {
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes).map_err(|e| {
            Error::untrusted(format!("the system gives no random numbers for a hold's tag: {e}"))
        })?;
        // Bytes beyond the last whole multiple would make the first signs more likely.
        let whole = 256 - 256 % SIGNS.len();
        let signs = bytes.iter().map(|b| usize::from(*b)).filter(|b| *b < whole);
        let left = "HOLD-".len() + LENGTH - text.len();
        text.extend(signs.take(left).map(|b| char::from(SIGNS[b % SIGNS.len()])));
    }
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_given_tag_is_six_signs_that_are_not_mixed_up() {
        let mut seen = std::collections::HashSet::new();
        for _ in 0..200 {
            let text = chance().unwrap();
            let (head, tail) = text.split_at(5);
            assert_eq!(head, "HOLD-");
            assert_eq!(tail.len(), LENGTH);
            assert!(
                tail.bytes().all(|b| SIGNS.contains(&b)) && !tail.contains(['0', 'O', '1', 'I', 'L']),
                "{text}"
            );
            seen.insert(text);
        }
        assert!(seen.len() > 190, "by chance alone two of 200 meet once in 7,400 runs");
    }
}
