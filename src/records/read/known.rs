//! Known causes as they stand: their version, and the names under them.

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, OptionalExtension};
use sha2::{Digest, Sha256};

use crate::catalogue::starter;
use crate::catalogue::{
    DefectTerms, Key, KindType, KnowledgeSources, KnownCauseReviews, KnownCauses, Recorded, Role,
};
use crate::error::{Error, Result};
use crate::read;
use crate::read::shape;
use crate::value::tag::{hint, near, shown};
use crate::write;
use crate::write::authority;
use crate::{Record, Stamp, Store};

/// A name under the known causes of a term.
#[derive(Clone, Debug)]
pub struct Review {
    pub defect: String,
    pub person: String,
    pub at: Stamp,
    /// Why it does not stand for the rows as they are now; none: it stands.
    pub void: Option<String>,
}

/// Every known cause with its sources and the names under them.
#[derive(Clone, Debug, Default)]
pub struct Known {
    /// Twelve signs that change with any row.
    pub version: String,
    /// In export order.
    pub causes: Vec<Recorded<KnownCauses>>,
    pub sources: Vec<Recorded<KnowledgeSources>>,
    pub reviews: Vec<Review>,
}

/// The digest of rows: SHA-256 over their canonical texts, without who typed them in and when, in the order of
/// the texts.
fn digest<'a, K: KindType>(rows: impl Iterator<Item = &'a Record<'static>>) -> String {
    let shape = shape::of(K::KIND);
    let mut texts: Vec<String> = rows
        .map(|row| {
            let mut bare = row.clone();
            let own = bare.kind.fields.len();
            bare.values[own..].iter_mut().for_each(|common| *common = crate::Value::Blank);
            write::canonical(shape, &bare)
        })
        .collect();
    texts.sort();
    let mut hash = Sha256::new();
    for text in texts {
        hash.update(text.as_bytes());
        hash.update(b"\n");
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

const MINUTE_MS: i64 = 60_000;

/// A row that somebody of the shop has written, as the program does not carry it.
struct OwnRow {
    factor: String,
    entry: i64,
    at: String,
}

/// The rows of a term that the shop has written or changed, with the entry of each. What the program carries was
/// fixed before any record of the shop.
fn own_rows(db: &Connection, defect: &str) -> Result<Vec<OwnRow>> {
    let published = starter::published();
    let mut q = db.prepare_cached(
        "SELECT d.defect, k.factor, k.direction, k.strength, coalesce(k.doubtful, ''), k.entry, j.at
         FROM known_causes k JOIN defect_terms d ON d.id = k.defect JOIN journal j ON j.seq = k.entry
         WHERE d.defect = ?1 COLLATE NOCASE",
    )?;
    let rows = q.query_map([defect], |r| {
        let weighed = starter::WeighedRow {
            defect: r.get(0)?,
            factor: r.get(1)?,
            direction: r.get(2)?,
            strength: r.get(3)?,
            doubtful: r.get(4)?,
        };
        Ok((weighed, r.get(5)?, r.get(6)?))
    })?;
    let mut own = Vec::new();
    for row in rows {
        let (weighed, entry, at) = row?;
        if !published.contains(&weighed) {
            own.push(OwnRow { factor: weighed.factor, entry, at });
        }
    }
    Ok(own)
}

/// Why a review cannot be of such a time: a row that it covers was entered later.
fn before_its_rows(db: &Connection, defect: &str, at: Stamp) -> Result<Option<String>> {
    for row in own_rows(db, defect)? {
        let entered = Stamp::parse(&row.at).map_err(Error::untrusted)?;
        // a form takes minutes
        if entered.ms().div_euclid(MINUTE_MS) > at.ms().div_euclid(MINUTE_MS) {
            return Ok(Some(format!(
                "it is dated {at}, before the row of {} was entered ({})",
                shown(&row.factor),
                row.at
            )));
        }
    }
    Ok(None)
}

/// What is wrong with a known cause, or with a name under some, that the shape of its fields does not say.
pub(crate) fn sound(db: &Connection, record: &Record) -> Result<()> {
    if let Some(review) = record.of::<KnownCauseReviews>() {
        if let (Some(defect), Some(at)) =
            (review.get(KnownCauseReviews::defect), review.get(KnownCauseReviews::reviewed_at))
        {
            if let Some(why) = before_its_rows(db, defect, at)? {
                return Err(Error::input(format!("a review covers the rows as they are: {why}"))
                    .at(KnownCauseReviews::reviewed_at.name));
            }
        }
    }
    let Some(source) = record.of::<KnownCauses>().and_then(|row| row.get(KnownCauses::source)) else {
        return Ok(());
    };
    let mut q = db.prepare_cached("SELECT source FROM knowledge_sources")?;
    let known: Vec<String> = q.query_map([], |r| r.get(0))?.collect::<rusqlite::Result<_>>()?;
    for one in source.split(';').map(str::trim).filter(|s| !s.is_empty()) {
        if !known.iter().any(|k| k.eq_ignore_ascii_case(one)) {
            let close = near(one, known.iter().map(String::as_str));
            return Err(Error::input(format!("there is no knowledge source {}{}", shown(one), hint(&close)))
                .at(KnownCauses::source.name));
        }
    }
    Ok(())
}

/// What somebody signs who puts a name under the known causes of a term.
///
/// # Errors
/// There are none.
pub(crate) fn to_sign(db: &Connection, defect: &str, term: i64) -> Result<String> {
    let rows = read::select(db, shape::of(KnownCauses::KIND), " WHERE defect = ?1", &[Sql::Integer(term)])?;
    if rows.is_empty() {
        return Err(Error::input(format!("no cause of {} is on record: nothing to sign", shown(defect)))
            .at(KnownCauseReviews::defect.name));
    }
    Ok(digest::<KnownCauses>(rows.iter()))
}

impl Store {
    /// The known causes, their version, and which names under them stand: written by a metallurgist of this store
    /// with their own hand, under the rows as they are now.
    pub fn known_causes(&self) -> Result<Known> {
        let causes = self.rows::<KnownCauses>()?;
        let sources = self.rows::<KnowledgeSources>()?;
        let version = digest::<KnownCauses>(causes.iter().map(|row| &**row));
        let mut reviews = Vec::new();
        for review in self.rows::<KnownCauseReviews>()? {
            let defect = review.need(KnownCauseReviews::defect)?;
            let of_term = causes.iter().filter(|row| row.get(KnownCauses::defect) == Some(defect));
            let now = digest::<KnownCauses>(of_term.map(|row| &**row));
            reviews.push(Review {
                defect: defect.to_string(),
                person: review.need(KnownCauseReviews::person)?.to_string(),
                at: review.need(KnownCauseReviews::reviewed_at)?,
                void: self.void(&review, &now)?,
            });
        }
        Ok(Known { version: version[..12].to_string(), causes, sources, reviews })
    }

    /// Factors of rows that the shop wrote or changed after the first finding of a term that was made at `from`
    /// (packed) or later: for those findings they were written after looking.
    pub fn written_after_findings(&self, defect: &str, from: i64) -> Result<Vec<String>> {
        let first: Option<i64> = self.db.query_row(
            "SELECT min(f.entry) FROM findings f JOIN inspections i ON i.id = f.inspection
             JOIN defect_terms d ON d.id = f.defect WHERE d.defect = ?1 COLLATE NOCASE AND i.inspected_at >= ?2",
            (defect, from),
            |r| r.get(0),
        )?;
        let Some(first) = first else { return Ok(Vec::new()) };
        let own = own_rows(&self.db, defect)?;
        Ok(own.into_iter().filter(|row| row.entry > first).map(|row| row.factor).collect())
    }

    fn void(&self, review: &Recorded<KnownCauseReviews>, now: &str) -> Result<Option<String>> {
        let person = review.need(KnownCauseReviews::person)?;
        let defect = review.need(KnownCauseReviews::defect)?;
        let at = review.need(KnownCauseReviews::reviewed_at)?;
        Ok(match authority::role(&self.db, person)? {
            None => Some(format!("the store knows no person {}", shown(person))),
            Some(role) if role != Role::Metallurgist => {
                Some(format!("{person} is {}, not a metallurgist", role.word()))
            }
            Some(_) if !self.by_own_hand(review, person)? => {
                Some(format!("it was written down by somebody else than {person}"))
            }
            Some(_) if review.get(KnownCauseReviews::content) != Some(now) => {
                Some("a row was changed, added or taken out since".into())
            }
            Some(_) => before_its_rows(&self.db, defect, at)?,
        })
    }

    /// The journal says that the person whose name it is wrote it.
    fn by_own_hand(&self, review: &Recorded<KnownCauseReviews>, person: &str) -> Result<bool> {
        let (term, _): (Key<DefectTerms>, _) = self.key_of(review.need(KnownCauseReviews::defect)?)?;
        let at = review.need(KnownCauseReviews::reviewed_at)?;
        let mut q = self.db.prepare_cached(
            "SELECT j.person FROM known_cause_reviews r JOIN journal j ON j.seq = r.entry
             WHERE r.defect = ?1 AND r.person = ?2 AND r.reviewed_at = ?3",
        )?;
        let by: Option<Option<String>> =
            q.query_row((term.id, person, at.packed()), |row| row.get(0)).optional()?;
        Ok(by.flatten().is_some_and(|by| by.eq_ignore_ascii_case(person)))
    }
}
