//! Who may write what. Asked at the one write door, whatever the way there; the rules stand in the catalogue.

use rusqlite::Connection;

use crate::catalogue::field::Hand;
use crate::catalogue::kind::{Kind, Writer};
use crate::catalogue::{People, Recorded, Retags, Role};
use crate::error::{Error, Hint, Result};
use crate::read::tags::Tags;
use crate::read::{rows, shape};
use crate::write::journal;
use crate::write::journal::Entry;
use crate::write::pins;
use crate::{Record, Stamp};
use crate::{Store, Who, read};

/// Whom a write needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Need {
    Anyone,
    /// Quality or a metallurgist, once the store has one of them.
    QualityOrMetallurgist,
    /// Quality, once the store has a quality person.
    Quality,
    /// The same, and never nobody.
    Decision,
}

/// The role of a person, where the store knows them.
pub fn role(db: &Connection, person: &str) -> Result<Option<Role>> {
    let all = people(db)?;
    let found = all.iter().find(|p| p.tag().is_some_and(|tag| tag.eq_ignore_ascii_case(person)));
    found.map(|p| p.need(People::role)).transpose()
}

/// Everybody, each row held against its digest: a role that was changed in the file gives nobody a right.
fn people(db: &Connection) -> Result<Vec<Recorded<People>>> {
    let all = read::select(db, shape::of(People::KIND), "", &[])?;
    Ok(all.into_iter().filter_map(Recorded::of).collect())
}

/// The store knows nobody yet.
pub fn nobody(db: &Connection) -> Result<bool> {
    Ok(!db.query_row("SELECT EXISTS (SELECT 1 FROM people)", [], |r| r.get::<_, bool>(0))?)
}

/// The store has a quality person.
pub(crate) fn has_quality(db: &Connection) -> Result<bool> {
    has_one(db, &[Role::Quality])
}

/// The store has a person of one of these roles.
fn has_one(db: &Connection, roles: &[Role]) -> Result<bool> {
    Ok(people(db)?.iter().any(|p| p.get(People::role).is_some_and(|role| roles.contains(&role))))
}

/// Who writes is a quality person, as claimed.
pub(crate) fn is_quality(db: &Connection, who: &Who) -> Result<bool> {
    let Some(person) = &who.person else { return Ok(false) };
    Ok(role(db, person)? == Some(Role::Quality))
}

/// Whom the catalogue asks for a write: a new record, a change, or one that is taken back.
pub fn need(kind: &Kind, old: Option<&Record>, new: Option<&Record>) -> Need {
    let both = || old.into_iter().chain(new);
    let of_kind = match kind.writer {
        Writer::Anyone => Need::Anyone,
        Writer::Quality => Need::Quality,
        Writer::QualityOrMetallurgist => Need::QualityOrMetallurgist,
        Writer::Decision => Need::Decision,
        Writer::QualityUnless(field, word) if both().all(|r| r.get(field).text() == Some(word)) => {
            Need::Anyone
        }
        Writer::QualityUnless(..) => Need::Quality,
    };
    let text = |r: Option<&Record>, i: usize| r.map_or(String::new(), |r| r.values[i].to_text());
    let handed = kind.fields.iter().enumerate().filter(|(_, f)| f.hand != Hand::Anyone);
    let of_field = handed.filter(|(i, _)| text(old, *i) != text(new, *i)).map(|(_, f)| match f.hand {
        Hand::Quality => Need::Quality,
        Hand::Decision => Need::Decision,
        Hand::QualityChanges if old.is_some() && new.is_some() => Need::Quality,
        Hand::QualityChanges | Hand::Anyone => Need::Anyone,
    });
    of_field.fold(of_kind, Need::max)
}

/// A new label on what only quality writes is put there by quality: it says which definition is meant.
fn need_of_label(db: &Connection, record: &Record) -> Result<Need> {
    let Some(retag) = record.of::<Retags>() else { return Ok(Need::Anyone) };
    let Some((link, _)) = Tags::new(db)?.anything(&retag.text(Retags::old_tag))? else {
        return Ok(Need::Anyone);
    };
    Ok(match rows::named_kind(link.kind)?.writer {
        Writer::Quality | Writer::Decision => Need::Quality,
        Writer::QualityOrMetallurgist => Need::QualityOrMetallurgist,
        Writer::Anyone | Writer::QualityUnless(..) => Need::Anyone,
    })
}

/// Checks that the person may do this to a record; `what` is the act in words.
///
/// # Errors
/// A refusal, with the sentence and the roles that may.
pub fn permit(
    db: &Connection,
    who: &Who,
    what: &str,
    old: Option<&Record>,
    new: Option<&Record>,
) -> Result<()> {
    let Some(any) = new.or(old) else { return Ok(()) };
    let mut need = need(any.kind, old, new);
    for record in old.into_iter().chain(new) {
        need = need.max(need_of_label(db, record)?);
    }
    require(db, who, what, need)?;
    roles_change(db, who, old, new)
}

/// Checks that the person is whom an act needs, and gave their PIN where they have one.
///
/// # Errors
/// A refusal, with the sentence and the roles that may.
pub(crate) fn require(db: &Connection, who: &Who, what: &str, need: Need) -> Result<()> {
    let (may, whom): (&[Role], _) = match need {
        Need::Anyone => return Ok(()),
        Need::QualityOrMetallurgist => (&[Role::Quality, Role::Metallurgist], "quality or a metallurgist"),
        Need::Quality | Need::Decision => (&[Role::Quality], Role::Quality.word()),
    };
    let there_is_one = has_one(db, may)?;
    if need != Need::Decision && !there_is_one {
        return Ok(());
    }
    let refuse =
        |sentence: String| Err(Error::refused(sentence, may.iter().map(|role| role.word()).collect()));
    let Some(person) = &who.person else {
        return refuse(format!("{what} is for {whom}; say who you are")).map_err(|e| e.hint(Hint::Person));
    };
    match role(db, person)? {
        Some(role) if may.contains(&role) => {}
        _ if !there_is_one => {}
        Some(role) => return refuse(format!("{what} is for {whom}; {person} is {}", role.word())),
        None => return refuse(format!("{what} is for {whom}; the store knows no person {person}")),
    }
    pins::require_given(db, who, person, what)
}

/// Whoever becomes quality, or is it no longer: another quality person's PIN is needed once any has one, and the last
/// quality person stays.
fn roles_change(db: &Connection, who: &Who, old: Option<&Record>, new: Option<&Record>) -> Result<()> {
    let is = |r: Option<&Record>| {
        r.and_then(Record::of::<People>).is_some_and(|p| p.get(People::role) == Some(Role::Quality))
    };
    if is(old) == is(new) {
        return Ok(());
    }
    let Some(subject) = new.or(old).and_then(Record::tag) else { return Ok(()) };
    let others = "SELECT count(*) FROM people WHERE person <> ?1 COLLATE NOCASE";
    let count = |and: &str| -> Result<i64> {
        Ok(db.prepare_cached(&format!("{others}{and}"))?.query_row([subject], |r| r.get(0))?)
    };
    // Who was typed in as the very first, and is taken back at once, leaves a store that knows nobody.
    let first_again = new.is_none() && count("")? == 0;
    if is(old) && !first_again && count(" AND role = 'quality'")? == 0 {
        return Err(Error::refused(
            format!("{subject} is the last quality person, and stays: name another first"),
            vec!["another quality person"],
        ));
    }
    let act = if is(new) { "making somebody quality" } else { "taking the role of quality away" };
    pins::require_another(db, who.proof.as_ref(), subject, act)
}

/// Days for which the next shift is told who became quality and whose PIN was set or taken away.
const TOLD_DAYS: f64 = 7.0;

impl Store {
    /// What was said of roles and PINs in the last week, the latest first: who became quality or is it no longer, first
    /// PINs, PINs taken away.
    pub fn said_of_people(&self, now: Stamp) -> Result<Vec<String>> {
        let mut out = Vec::new();
        for sql in [
            "SELECT * FROM journal WHERE kind = 'people' ORDER BY seq DESC LIMIT 200",
            "SELECT * FROM journal WHERE action = 'pin' ORDER BY seq DESC LIMIT 200",
        ] {
            let mut q = self.db.prepare_cached(sql)?;
            for entry in q.query_map([], journal::from_row)? {
                let entry = entry?;
                let old_enough =
                    journal::at(&entry).is_none_or(|at| now.minutes_since(at) > TOLD_DAYS * 1440.0);
                if !old_enough {
                    out.extend(said(&entry).map(|s| (entry.seq, s)));
                }
            }
        }
        out.sort_by(|a, b| b.cmp(a));
        Ok(out.into_iter().map(|(_, sentence)| sentence).collect())
    }
}

/// What an entry says of somebody's role or PIN, where the next shift must know it.
fn said(entry: &Entry) -> Option<String> {
    let by = entry.person.as_deref().unwrap_or("no person given");
    let tag = entry.tag.as_deref().unwrap_or("");
    if entry.action == "pin" {
        let changed = entry.old.is_some() && entry.new.is_some();
        let what = entry.reason.as_deref().unwrap_or_default();
        return (!changed && entry.tag.is_some()).then(|| format!("{what} ({by}, {})", entry.at));
    }
    if entry.changes_nothing() {
        return None;
    }
    let says = format!("\"{}\":\"{}\"", People::role.name, Role::Quality.word());
    let quality = |text: &Option<String>| text.as_deref().is_some_and(|t| t.contains(&says));
    match (quality(&entry.old), quality(&entry.new)) {
        (false, true) => Some(format!("{tag} became quality ({by}, {})", entry.at)),
        (true, false) => Some(format!("{tag} is quality no longer ({by}, {})", entry.at)),
        _ if entry.action == "import" => {
            Some(format!("people were imported, entry {} ({by}, {})", entry.seq, entry.at))
        }
        _ => None,
    }
}
