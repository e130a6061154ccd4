//! PINs: Argon2id, slowed down after failures, never a lock for good.
//!
//! The hash is worked out before the transaction of the write begins; inside it only that what is kept is still the same.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};

use records::catalogue::Role;
use records::value::tag::shown;
use records::write::pins::PIN;
pub use records::write::pins::Proof;
use records::{Error, ErrorKind, Hint, Result, Store, Who};

/// Fewest and most characters of a PIN.
const LENGTH: (usize, usize) = (4, 64);

fn refuse<T>(store: &mut Store, who: &Who, sentence: String, needs: Vec<&'static str>) -> Result<T> {
    store.note_refusal(who, &sentence)?;
    Err(Error::refused(sentence, needs))
}

/// The machine's own clock: a wait that a given clock could shorten would be none.
fn machine_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}

/// Asks whether a PIN is the person's. A wrong one is refused and journalled; tries after two wrong ones wait in a line
/// that stands in the store, and a right one after any number of wrong ones is taken. Gives what a write is allowed by.
///
/// # Errors
/// The PIN is wrong, the person has none, too many are being tried, or the store cannot be written.
pub fn check(store: &mut Store, who: &Who, person: &str, pin: &str) -> Result<Proof> {
    let tried = match store.pin_try(person, machine_ms()) {
        Ok(Some(tried)) => tried,
        Ok(None) => {
            return Err(
                Error::input(format!("{} has no PIN", shown(person))).hint(Hint::SetPin(person.to_string()))
            );
        }
        Err(e) => {
            return match e.kind {
                ErrorKind::Refused(needs) => refuse(store, who, e.sentence, needs),
                _ => Err(e),
            };
        }
    };
    std::thread::sleep(Duration::from_millis(tried.wait_ms));
    let hash = PasswordHash::new(&tried.hash)
        .map_err(|e| Error::untrusted(format!("the PIN kept of {} cannot be read: {e}", shown(person))))?;
    if Argon2::default().verify_password(pin.as_bytes(), &hash).is_err() {
        return refuse(store, who, format!("the PIN is not that of {}", shown(person)), vec![PIN]);
    }
    store.pin_right(person, &tried)
}

/// What setting somebody's PIN takes, besides the new one.
#[derive(Clone, Debug, Default)]
pub struct Given<'a> {
    /// Another quality person, and their PIN.
    pub by: Option<(&'a str, &'a str)>,
    /// The PIN that is there.
    pub old: Option<&'a str>,
}

/// Sets the PIN of the person who asks. Changing it needs the one that is there; a quality person's first needs another
/// quality person's, once one has one.
///
/// # Errors
/// No or an unknown person, a PIN too short or long, a wrong or missing one of those that are needed.
pub fn set(store: &mut Store, who: &Who, given: &Given, new: &str) -> Result<String> {
    let Some(person) = who.person.clone() else {
        return Err(Error::input("say whose PIN it is").hint(Hint::Person));
    };
    let n = new.chars().count();
    if n < LENGTH.0 || n > LENGTH.1 {
        return Err(Error::input(format!("a PIN has {} to {} characters", LENGTH.0, LENGTH.1)));
    }
    let by = given.by.map(|(by, pin)| check(store, who, by, pin)).transpose()?;
    let old = match (store.has_pin(&person)?, given.old) {
        (true, Some(old)) => Some(check(store, who, &person, old)?),
        _ => None,
    };
    let hash = Argon2::default()
        .hash_password(new.as_bytes())
        .map_err(|e| Error::untrusted(format!("no PIN could be made: {e}")))?
        .to_string();
    store.set_pin(who, &person, Some(&hash), old.as_ref(), by.as_ref())?;
    Ok(person)
}

/// Takes a forgotten PIN away: another quality person, with its own PIN once any quality person has one.
///
/// # Errors
/// Another role, no or a wrong PIN, an unknown person.
pub fn clear(store: &mut Store, who: &Who, person: &str, own: Option<&str>) -> Result<()> {
    let me = who.person.clone().unwrap_or_default();
    let role = store.role_of(&me)?;
    if role != Some(Role::Quality) || me.eq_ignore_ascii_case(person) {
        let sentence = format!("the PIN of {} is taken away by another quality person", shown(person));
        return refuse(store, who, sentence, vec![Role::Quality.word()]);
    }
    let by = match own {
        Some(own) if store.has_pin(&me)? => Some(check(store, who, &me, own)?),
        _ => None,
    };
    let who = Who { proof: by.clone(), ..who.clone() };
    store.set_pin(&who, person, None, None, by.as_ref()).map(|_| ())
}
