//! May this lot go: the lot acceptance summary, and its release.

mod contents;
mod facts;
mod making;
mod permits;
mod reasons;
mod records;
mod samples;

use crate::domain::tag::shown;
use crate::domain::{Record, Value, kind};
use crate::ops::pins;
use crate::report::lot::{Counts, Release, Signature, Summary};
use crate::store::lots::SignedThere;
use crate::store::{Error, Result, Store, Who, clock};

use facts::Facts;
pub use facts::product;

/// The lot acceptance summary of this moment.
///
/// # Errors
/// An unknown lot, or a store that cannot be read.
pub fn summary(store: &Store, who: &Who, tag: &str) -> Result<Summary> {
    store.snapshot(|| {
        let facts = Facts::read(store, tag)?;
        make(store, who, &facts)
    })
}

fn make(store: &Store, who: &Who, facts: &Facts) -> Result<Summary> {
    let making = making::of(store, facts)?;
    let blocked = reasons::all(store, facts, making.blocked)?;
    let (entries, head) = store.head()?;
    let (part, heading) = contents::heading(facts);
    let mut out = Summary {
        lot: facts.lot.record.address(),
        state: "draft",
        blocked,
        counts: counts(facts),
        journal_head: head,
        journal_entries: entries,
        content: facts.behind.content.clone(),
        made_at: who.now.to_string(),
        signed: None,
        heading,
        reconciliation: contents::reconciliation(facts),
        serials: contents::serials(facts),
        chemistry: contents::chemistry(store, facts)?,
        methods: contents::methods(facts),
        zones: contents::zones(facts),
        actuals: contents::actuals(facts),
        permissions: facts.permits.list(facts),
        sheets: records::sheets(facts),
        open_actions: contents::open_actions(facts).into_iter().chain(making.open).collect(),
        signatures: Vec::new(),
        cautions: contents::cautions(&part),
        clock_given: store.clock_given()?,
    };
    if out.clock_given {
        out.cautions.push(clock::SAID.into());
    }
    let signatures = store.signatures_on("lots", facts.id)?;
    out.signed = match signatures.iter().rev().find(|s| s.action == "sign" && s.meaning == "released") {
        Some(s) => release(store, facts, s, &out)?,
        None => None,
    };
    out.signatures = signatures.iter().map(printed).collect();
    if out.signed.as_ref().is_some_and(|s| !s.void) {
        out.state = "final";
    }
    Ok(out)
}

fn printed(s: &SignedThere) -> Signature {
    let proof = match (s.action.as_str(), s.note.as_deref().and_then(bound)) {
        ("sign", Some(b)) => b.proof,
        _ => "recorded, not signed here; name as claimed".into(),
    };
    Signature {
        role: s.role.clone(),
        person: s.person.clone(),
        meaning: s.meaning.clone(),
        at: s.at.to_string(),
        proof,
    }
}

/// What a signature is bound to, as its note says.
struct Bound {
    content: String,
    seq: i64,
    head: String,
    proof: String,
}

fn note(content: &str, seq: i64, head: &str, proof: &str) -> String {
    format!("content {content}; journal entry {seq} {head}; {proof}")
}

fn bound(note: &str) -> Option<Bound> {
    let mut parts = note.splitn(3, "; ");
    let content = parts.next()?.strip_prefix("content ")?.to_string();
    let (seq, head) = parts.next()?.strip_prefix("journal entry ")?.split_once(' ')?;
    Some(Bound { content, seq: seq.parse().ok()?, head: head.into(), proof: parts.next()?.into() })
}

fn release(store: &Store, facts: &Facts, s: &SignedThere, now: &Summary) -> Result<Option<Release>> {
    let Some(b) = s.note.as_deref().and_then(bound) else { return Ok(None) };
    let mut changed = Vec::new();
    if store.entry(b.seq)?.is_none_or(|e| e.hash != b.head) {
        changed.push("the journal is not the one that was signed".to_string());
    }
    if b.content != facts.behind.content {
        for row in facts.behind.rows.iter().filter(|r| r.entry > b.seq) {
            let noun = row.record.kind.noun;
            changed.push(format!("{noun} {} (journal entry {})", row.record.address(), row.entry));
        }
        changed.extend(store.taken_back_after(b.seq)?);
        if changed.is_empty() {
            changed
                .push("a record behind the lot, without an entry in the journal: run meltkin verify".into());
        }
    }
    if !now.blocked.is_empty() {
        changed.push(format!("{} reasons block the lot now", now.blocked.len()));
    }
    Ok(Some(Release {
        person: s.person.clone(),
        at: s.at.to_string(),
        proof: b.proof,
        content: b.content,
        journal_head: b.head,
        void: !changed.is_empty(),
        changed,
    }))
}

fn counts(facts: &Facts) -> Counts {
    let mut out = Counts { ordered: facts.ordered(), ..Counts::default() };
    for blade in facts.blades.iter().filter(|b| b.counts) {
        out.made += 1;
        out.inspected += i64::from(facts.last.keys().any(|(b, _)| *b == blade.tag));
        *match blade.place {
            "accepted" => &mut out.accepted,
            "concession" => &mut out.concession,
            "shipped" => &mut out.shipped,
            "held" => &mut out.held,
            "scrapped" => &mut out.scrapped,
            _ => &mut out.in_process,
        } += 1;
    }
    out
}

/// Who may sign: quality, and nobody who poured in the lot. Gives the person's tag and role.
fn signatory(store: &Store, who: &Who, facts: &Facts) -> Result<std::result::Result<String, String>> {
    let what = "the final summary of a lot is signed by quality";
    let Some(person) = &who.person else {
        return Ok(Err(format!("{what}; say who you are with --as PERSON")));
    };
    match store.role_of(person)?.as_deref() {
        Some("quality") => {}
        Some(role) => return Ok(Err(format!("{what}; {} is {role}", shown(person)))),
        None => return Ok(Err(format!("{what}; the store knows no person {}", shown(person)))),
    }
    let person = store.find(person)?.record.address();
    let poured = |r: &Record| {
        ["person", "recorded_by"]
            .iter()
            .any(|f| r.get(f).text().is_some_and(|p| p.eq_ignore_ascii_case(&person)))
    };
    let own: Vec<String> = facts
        .behind
        .of("pours")
        .filter(|r| poured(&r.record))
        .map(|r| r.record.get("mould").to_text())
        .collect();
    if !own.is_empty() {
        return Ok(Err(format!(
            "{} poured in this lot ({}); a final summary is signed by somebody who did not",
            shown(&person),
            own.join(", ")
        )));
    }
    Ok(Ok(person))
}

/// Signs a lot where nothing blocks it; else gives the draft with its reasons. A lot that is released
/// already, and nothing changed since, is not signed again. Refusals are journalled.
///
/// # Errors
/// The person may not, the PIN is missing or wrong, or the store cannot be written.
pub fn finalise(store: &mut Store, who: &Who, tag: &str, pin: Option<&str>) -> Result<Summary> {
    let facts = Facts::read(store, tag)?;
    let refuse = |store: &mut Store, sentence: String, needs: &'static str| {
        store.note_refusal(who, &sentence)?;
        Err(Error::Refused { sentence, needs: vec![needs] })
    };
    let person = match signatory(store, who, &facts)? {
        Ok(person) => person,
        Err(sentence) => return refuse(store, sentence, "quality"),
    };
    let who = &Who { person: Some(person.clone()), ..who.clone() };
    let proof = match (store.has_pin(&person)?, pin) {
        (true, Some(pin)) => {
            pins::check(store, who, &person, pin)?;
            "PIN given"
        }
        (true, None) => {
            let sentence = format!("{} signs with a PIN; it was not given", shown(&person));
            return refuse(store, sentence, "the person's PIN");
        }
        (false, Some(_)) => {
            return Err(Error::input(format!(
                "{} has no PIN; set one with: meltkin pin set --as {0}",
                shown(&person)
            )));
        }
        (false, None) if store.quality_has_pins()? => {
            let sentence = format!(
                "{} has no PIN, and once a quality person has one nobody signs without",
                shown(&person)
            );
            return refuse(store, sentence, "the person's PIN");
        }
        (false, None) => "name as claimed",
    };
    let draft = make(store, who, &facts)?;
    if draft.state == "final" {
        return Ok(draft);
    }
    if !draft.blocked.is_empty() {
        let n = draft.blocked.len();
        store.note_refusal(who, &format!("final summary of {}: {n} reasons block it", draft.lot))?;
        return summary(store, who, tag);
    }
    // What is signed leaves the house: not from a file that has rotted.
    store.must_be_whole()?;
    let (seq, head) = store.head()?;
    let Some(signatures) = kind("signatures") else { return Ok(draft) };
    let mut record = Record::blank(signatures);
    let mut text = |field: &str, value: &str| record.set(field, Value::Text(value.to_string().into()));
    text("subject", &draft.lot);
    text("role", "quality");
    text("person", &person);
    text("meaning", "released");
    text("note", &note(&draft.content, seq, &head, proof));
    record.set("signed_at", Value::Time(who.now, None));
    store.sign(who, record)?;
    summary(store, who, tag)
}
