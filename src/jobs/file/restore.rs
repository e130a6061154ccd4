//! A copy back in the place of the store: who may, and what is said where it does not fit.

use std::path::Path;

use serde::Serialize;

use crate::jobs::records::pins;
use records::file::backup::Progress;
use records::file::paths::named;
use records::file::restore::{Copy, Kinship};
use records::value::tag::shown;
use records::{Error, Hint, Result, Store, Who};

/// What is asked for.
pub struct Ask<'a> {
    /// The copy.
    pub file: &'a Path,
    /// The place of the store.
    pub place: &'a Path,
    /// A store that is there may be replaced.
    pub replace: bool,
    /// Also by an older copy.
    pub older: bool,
}

/// What a restore came to.
#[derive(Serialize, Clone, Debug)]
pub struct Restored {
    /// The copy.
    pub restored: String,
    pub store: String,
    /// Entries of the journal.
    pub entries: i64,
    pub head: String,
    /// The head that was replaced, where there was a store.
    pub replaced_head: Option<String>,
    /// Entries of that store which the copy has not.
    pub dropped: i64,
    /// Where that store was kept.
    pub kept: Option<String>,
}

impl Restored {
    /// For a terminal.
    pub fn text(&self) -> String {
        let mut out = format!(
            "restored {} from {}: {} journal entries, head {}\n",
            self.store, self.restored, self.entries, self.head
        );
        if let (Some(head), Some(kept)) = (&self.replaced_head, &self.kept) {
            out.push_str(&format!("replaced the store with head {head}; it is kept as {kept}\n"));
        }
        match self.dropped {
            0 => {}
            1 => out.push_str("1 entry of it is not in the copy\n"),
            n => out.push_str(&format!("{n} entries of it are not in the copy\n")),
        }
        out
    }
}

/// Puts a copy in the place of the store. `who` says who asks and when, `pin` reads that person's PIN where one is needed.
///
/// # Errors
/// The copy is damaged, foreign, newer, older or of another history; the place is taken; the person may not.
pub fn restore(
    ask: &Ask,
    who: &dyn Fn(Option<&Store>) -> Result<Who>,
    pin: &dyn Fn() -> Result<Option<String>>,
    progress: Progress,
) -> Result<Restored> {
    let there = std::fs::symlink_metadata(ask.place).is_ok();
    let copy = Copy::of(ask.file, ask.place, ask.replace, progress)?;
    let done = if there {
        let unread = |e: Error| {
            if e.is_untrusted() {
                let s = format!(
                    "{e}. What cannot be read cannot be held against the copy: move it away by hand, then restore without --replace"
                );
                e.said(s)
            } else {
                e
            }
        };
        let mut store = Store::open(ask.place).map_err(unread)?;
        let who = who(Some(&store))?;
        match copy.kinship(&store).map_err(unread)? {
            Kinship::GoesOn => {}
            Kinship::Other => {
                return Err(Error::input(format!(
                    "{}: its journal is another history, neither a beginning of that of {} nor a continuation; nothing \
                     was replaced. To look at it, restore it under a name of its own: meltkin --store NEW restore {0}",
                    named(ask.file),
                    named(ask.place)
                )));
            }
            Kinship::Older(n) if !ask.older => {
                return Err(Error::input(format!(
                    "{}: is older than {}: {} written since would be dropped; nothing was replaced. To go back all the \
                     same (quality): --older",
                    named(ask.file),
                    named(ask.place),
                    if n == 1 { "1 entry".into() } else { format!("{n} entries") }
                )));
            }
            Kinship::Older(_) => may_go_back(&mut store, &who, pin)?,
        }
        let judged = store.head()?;
        store.close()?;
        copy.replace(&who, &judged, progress)?
    } else {
        copy.put()?
    };
    Ok(Restored {
        restored: named(ask.file),
        store: named(ask.place),
        entries: done.entries,
        head: done.head,
        replaced_head: done.replaced,
        dropped: done.dropped,
        kept: done.kept.as_deref().map(named),
    })
}

/// Quality goes back to an older copy, with its PIN once anybody of quality has one.
fn may_go_back(store: &mut Store, who: &Who, pin: &dyn Fn() -> Result<Option<String>>) -> Result<()> {
    let me = who.person.clone().unwrap_or_default();
    let role = if me.is_empty() { None } else { store.role_of(&me)? };
    let (sentence, needs) = if role.as_deref() != Some("quality") {
        let is = match (&role, me.as_str()) {
            (_, "") => "say who you are with --as PERSON".to_string(),
            (Some(role), _) => format!("{} is {role}", shown(&me)),
            (None, _) => format!("the store knows no person {}", shown(&me)),
        };
        (format!("going back to an older copy is for quality; {is}"), vec!["quality"])
    } else if !store.quality_has_pins()? {
        return Ok(());
    } else if !store.has_pin(&me)? {
        (
            format!("going back to an older copy needs a PIN; {} has none", shown(&me)),
            vec!["the person's PIN"],
        )
    } else if let Some(pin) = pin()? {
        return pins::check(store, who, &me, &pin).map(|_| ());
    } else {
        let sentence = "going back to an older copy needs your PIN";
        store.note_refusal(who, sentence)?;
        return Err(Error::refused(sentence, vec!["the person's PIN"]).hint(Hint::Pin));
    };
    store.note_refusal(who, &sentence)?;
    Err(Error::refused(sentence, needs))
}
