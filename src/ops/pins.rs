//! A PIN for signing: Argon2id, slowed down after failures, never a lock for good.

use std::time::Duration;

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};

use crate::domain::tag::shown;
use crate::store::{Error, Result, Store, Who};

/// Fewest and most characters of a PIN.
const LENGTH: (usize, usize) = (4, 64);

fn refuse<T>(store: &mut Store, who: &Who, sentence: String, needs: Vec<&'static str>) -> Result<T> {
    store.note_refusal(who, &sentence)?;
    Err(Error::Refused { sentence, needs })
}

/// Seconds to wait before a try: none for the first two, then 1, 2, 4 … at most 30.
#[must_use]
pub fn wait_s(failures_before: i64) -> u64 {
    match failures_before {
        ..2 => 0,
        2..7 => 1 << (failures_before - 2),
        _ => 30,
    }
}

/// Asks whether a PIN is the person's. A wrong one is refused and journalled; tries after two wrong
/// ones wait, and a right one after any number of wrong ones is taken.
///
/// # Errors
/// The PIN is wrong, the person has none, or the store cannot be written.
pub fn check(store: &mut Store, who: &Who, person: &str, pin: &str) -> Result<()> {
    let Some(kept) = store.pin_try(person)? else {
        return Err(Error::input(format!(
            "{} has no PIN; set one with: meltkin pin set --as {0}",
            shown(person)
        )));
    };
    std::thread::sleep(Duration::from_secs(wait_s(kept.failures - 1)));
    let hash = PasswordHash::new(&kept.hash)
        .map_err(|e| Error::Untrusted(format!("the PIN kept of {} cannot be read: {e}", shown(person))))?;
    if Argon2::default().verify_password(pin.as_bytes(), &hash).is_err() {
        return refuse(
            store,
            who,
            format!("the PIN is not that of {}", shown(person)),
            vec!["the person's PIN"],
        );
    }
    store.pin_right(person)
}

/// Sets the PIN of the person who asks. Changing it needs the one that is there.
///
/// # Errors
/// No or an unknown person, a PIN too short or long, a wrong old one.
pub fn set(store: &mut Store, who: &Who, old: Option<&str>, new: &str) -> Result<String> {
    let Some(person) = who.person.clone() else {
        return Err(Error::input("say whose PIN it is: --as PERSON"));
    };
    let n = new.chars().count();
    if n < LENGTH.0 || n > LENGTH.1 {
        return Err(Error::input(format!("a PIN has {} to {} characters", LENGTH.0, LENGTH.1)));
    }
    if store.has_pin(&person)? {
        match old {
            Some(old) => check(store, who, &person, old)?,
            None => {
                let sentence = format!("{} has a PIN; changing it needs the old one", shown(&person));
                return refuse(store, who, sentence, vec!["the person's PIN"]);
            }
        }
    }
    let hash = Argon2::default()
        .hash_password(new.as_bytes())
        .map_err(|e| Error::Untrusted(format!("no PIN could be made: {e}")))?
        .to_string();
    store.set_pin(who, &person, Some(&hash))?;
    Ok(person)
}

/// Takes a forgotten PIN away: quality, with its own PIN, and not from itself.
///
/// # Errors
/// Another role, no or a wrong PIN, an unknown person.
pub fn clear(store: &mut Store, who: &Who, person: &str, own: Option<&str>) -> Result<()> {
    let me = who.person.clone().unwrap_or_default();
    let role = store.role_of(&me)?;
    if role.as_deref() != Some("quality") || me.eq_ignore_ascii_case(person) {
        let sentence = format!("the PIN of {} is taken away by another quality person", shown(person));
        return refuse(store, who, sentence, vec!["quality"]);
    }
    match own {
        Some(own) => check(store, who, &me, own)?,
        None => return refuse(store, who, "taking a PIN away needs your own PIN".into(), vec!["your PIN"]),
    }
    store.set_pin(who, person, None).map(|_| ())
}
