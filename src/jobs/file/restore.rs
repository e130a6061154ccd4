//! A copy back in the place of the store: who may, and what is said where it does not fit.

use std::path::Path;

use serde::Serialize;

use crate::jobs::records::pins;
use records::catalogue::Role;
use records::file::backup::Progress;
use records::file::paths::named;
use records::file::restore::{Copy, Kinship};
use records::value::tag::shown;
use records::write::pins::PIN;
use records::{Error, Hint, Result, Store, Who};

/// What is asked for.
pub struct RestoreRequest<'a> {
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
pub struct RestoreReport {
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

/// Puts a copy in the place of the store. `who` says who asks and when, `pin` reads that person's PIN where one is needed.
///
/// # Errors
/// The copy is damaged, foreign, newer, older or of another history; the place is taken; the person may not.
pub fn restore(
    ask: &RestoreRequest,
    who: &dyn Fn(Option<&Store>) -> Result<Who>,
    pin: &dyn Fn() -> Result<Option<String>>,
    progress: Progress,
) -> Result<RestoreReport> {
    let there = std::fs::symlink_metadata(ask.place).is_ok();
    let copy = Copy::of(ask.file, ask.place, ask.replace, progress)?;
    let done = if there {
        let unread = |e: Error| {
            if e.is_untrusted() {
                let s = format!(
                    "{e}. What cannot be read cannot be compared with the copy: move it away by hand, then restore again"
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
                     was replaced",
                    named(ask.file),
                    named(ask.place)
                ))
                .hint(Hint::Elsewhere(named(ask.file))));
            }
            Kinship::Older(n) if !ask.older => {
                return Err(Error::input(format!(
                    "{}: is older than {}: {} written since would be dropped; nothing was replaced",
                    named(ask.file),
                    named(ask.place),
                    if n == 1 { "1 entry".into() } else { format!("{n} entries") }
                ))
                .hint(Hint::Older));
            }
            Kinship::Older(_) => may_go_back(&mut store, &who, pin)?,
        }
        let judged = store.head()?;
        store.close()?;
        copy.replace(&who, &judged, progress)?
    } else {
        copy.put()?
    };
    Ok(RestoreReport {
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
    let quality = Role::Quality.word();
    let refusal = if role != Some(Role::Quality) {
        let said = |is: String| format!("going back to an older copy is for quality; {is}");
        let no = |is: String| Error::refused(said(is), vec![quality]);
        match role {
            _ if me.is_empty() => no("say who you are".into()).hint(Hint::Person),
            Some(role) => no(format!("{} is {}", shown(&me), role.word())),
            None => no(format!("the store knows no person {}", shown(&me))),
        }
    } else if !store.quality_has_pins()? {
        return Ok(());
    } else if !store.has_pin(&me)? {
        let said = format!("going back to an older copy needs a PIN; {} has none", shown(&me));
        Error::refused(said, vec![PIN])
    } else if let Some(pin) = pin()? {
        return pins::check(store, who, &me, &pin).map(|_| ());
    } else {
        Error::refused("going back to an older copy needs your PIN", vec![PIN]).hint(Hint::Pin)
    };
    store.note_refusal(who, &refusal.sentence)?;
    Err(refusal)
}
