//! Known causes as they stand: their version, and the names under them.

use rusqlite::types::Value as Sql;
use rusqlite::{Connection, OptionalExtension};
use sha2::{Digest, Sha256};

use crate::catalogue::{
    DefectTerms, Key, KindType, KnowledgeSources, KnownCauseReviews, KnownCauses, Recorded, Role,
};
use crate::error::{Error, Result};
use crate::read;
use crate::read::shape;
use crate::value::tag::shown;
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

    fn void(&self, review: &Recorded<KnownCauseReviews>, now: &str) -> Result<Option<String>> {
        let person = review.need(KnownCauseReviews::person)?;
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
            Some(_) => None,
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
