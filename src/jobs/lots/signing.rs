//! Signing a lot: who may, and the one transaction in which it is asked, signed and sealed.

use crate::jobs::lots::ask::{make, signed, summary};
use crate::jobs::lots::facts::{Basis, Facts};
use crate::jobs::lots::summary::LotSummary;
use crate::jobs::records::pins;
use records::catalogue::{Lots, Meaning, Recorded, Role, Signatures};
use records::graph::release_basis::{Bound, RULES};
use records::value::tag::shown;
use records::{Error, Hint, Result, Store, Value, Who};

const WHAT: &str = "the final summary of a lot is signed by quality";

fn not_quality(sentence: String) -> Error {
    Error::refused(sentence, vec![Role::Quality.word()])
}

fn without_pin(sentence: &str) -> Error {
    Error::refused(sentence, vec!["the person's PIN"])
}

/// Who may sign: quality, and nobody who ever stood as the one who poured in the lot or typed a pour of it in. Gives the
/// person's tag.
fn signatory(store: &Store, who: &Who, facts: &Facts) -> Result<String> {
    let no = |why: String| Err(not_quality(format!("{WHAT}; {why}")));
    let Some(person) = &who.person else {
        return Err(not_quality(format!("{WHAT}; say who you are")).hint(Hint::Person));
    };
    match store.role_of(person)? {
        Some(Role::Quality) => {}
        Some(role) => return no(format!("{} is {}", shown(person), role.word())),
        None => return no(format!("the store knows no person {}", shown(person))),
    }
    let person = store.find(person)?.record.address();
    let poured = store.pourers(facts.behind)?;
    if let Some(moulds) = poured.get(&person.to_ascii_lowercase()) {
        let moulds = moulds.iter().map(String::as_str).collect::<Vec<_>>().join(", ");
        return Err(not_quality(format!(
            "{} poured in this lot ({moulds}), stood so in a record of it, or typed one in; a final summary is signed by \
             somebody who did not",
            shown(&person)
        )));
    }
    Ok(person)
}

/// How the person is known: the words for it, and what was kept of the PIN when it was checked.
struct Identified {
    words: &'static str,
    kept: Option<String>,
}

/// Checks the PIN before the transaction: that takes its time on purpose.
fn proof(store: &mut Store, who: &Who, person: &str, pin: Option<&str>) -> Result<Identified> {
    let kept = store.pin_kept(person)?;
    match (kept.is_some(), pin) {
        (true, Some(pin)) => {
            pins::check(store, who, person, pin)?;
            Ok(Identified { words: "PIN given", kept })
        }
        (true, None) => {
            let sentence = format!("{} signs with a PIN; it was not given", shown(person));
            store.note_refusal(who, &sentence)?;
            Err(without_pin(&sentence))
        }
        (false, Some(_)) => {
            Err(Error::input(format!("{} has no PIN", shown(person))).hint(Hint::SetPin(person.to_string())))
        }
        (false, None) if store.quality_has_pins()? => {
            let sentence = format!(
                "{} has no PIN, and once a quality person has one nobody signs without",
                shown(person)
            );
            store.note_refusal(who, &sentence)?;
            Err(without_pin(&sentence))
        }
        (false, None) => Ok(Identified { words: "name as claimed", kept: None }),
    }
}

/// Signs a lot where nothing blocks it; else gives the draft with its reasons. A lot that is released
/// already, and nothing changed since, is not signed again. Refusals are journalled.
///
/// `page` gets the summary before anything is final, and may refuse: where it writes a page and cannot, nothing is
/// signed. A page that it wrote holds a head of the journal that the store has only once this gives it back.
///
/// # Errors
/// The person may not, the PIN is missing or wrong, the page or the store cannot be written.
pub fn finalise(
    store: &mut Store,
    who: &Who,
    tag: &str,
    pin: Option<&str>,
    page: &mut dyn FnMut(&LotSummary) -> Result<()>,
) -> Result<LotSummary> {
    let asked = store.snapshot(|| {
        let basis = Basis::read(store, tag)?;
        let facts = Facts::of(store, &basis)?;
        Ok((signatory(store, who, &facts), make(store, who, &facts)?))
    })?;
    let (person, asked) = asked;
    if let Some(refusal) = person.as_ref().err().filter(|e| e.is_refused()) {
        store.note_refusal(who, &refusal.sentence)?;
    }
    let person = person?;
    let who = &Who { person: Some(person.clone()), ..who.clone() };
    let proof = proof(store, who, &person, pin)?;
    if asked.state == "final" {
        page(&asked)?;
        return Ok(asked);
    }
    if asked.blocked.is_empty() {
        // What is signed leaves the house: not from a file that has rotted.
        store.must_be_whole()?;
        let done = store.in_one(who, |signing| sign(signing, tag, &proof, page))?;
        if done.state == "final" {
            return Ok(done);
        }
    }
    let draft = summary(store, who, tag)?;
    let n = draft.blocked.len();
    let why = match n {
        0 => "what blocked it was put right meanwhile, and nothing was signed; ask again".to_string(),
        n => format!("{n} reasons block it"),
    };
    store.note_refusal(who, &format!("final summary of {}: {why}", draft.lot))?;
    let draft = summary(store, who, tag)?;
    page(&draft)?;
    Ok(draft)
}

/// Everything again, and the signature, in one transaction. Gives a draft where something blocks by now.
fn sign(
    signing: &records::write::signing::Signing,
    tag: &str,
    proof: &Identified,
    page: &mut dyn FnMut(&LotSummary) -> Result<()>,
) -> Result<LotSummary> {
    let (store, who) = (signing.store(), signing.who());
    let basis = Basis::read(store, tag)?;
    let mut facts = Facts::of(store, &basis)?;
    let person = signatory(store, who, &facts)?;
    if store.pin_kept(&person)? != proof.kept {
        let sentence = format!("the PIN of {} was changed meanwhile; nothing was signed", shown(&person));
        return Err(without_pin(&sentence));
    }
    let mut made = make(store, who, &facts)?;
    if made.state == "final" || !made.blocked.is_empty() {
        if made.state == "final" {
            page(&made)?;
        }
        return Ok(made);
    }
    let (seq, head) = store.head()?;
    let bound = Bound { rules: RULES, content: made.content.clone(), seq, head, proof: proof.words.into() };
    let text = |value: &str| Value::Text(value.to_string().into());
    let mut record = Recorded::<Signatures>::blank();
    record
        .set(Signatures::subject, text(&made.lot))
        .set(Signatures::role, text(Role::Quality.word()))
        .set(Signatures::person, text(&person))
        .set(Signatures::meaning, text(Meaning::Released.word()))
        .set(Signatures::note, text(&bound.note()))
        .set(Signatures::signed_at, Value::Time(who.now, None));
    signing.sign(record.into_record())?;
    // Drafts say what went out before a release; what is released says it no more.
    made.open_actions.truncate(made.open_actions.len() - made.open_shipments);
    facts.signed = store.signatures_on(Lots::NAME, facts.key.id)?;
    (made.journal_entries, made.journal_head) = store.head()?;
    signed(store, &facts, &mut made)?;
    if made.state != "final" {
        return Err(Error::untrusted(format!("{}: what was signed is not what was asked", made.lot)));
    }
    page(&made)?;
    Ok(made)
}
