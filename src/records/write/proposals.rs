//! Proposals: writes that would free something, by somebody who may not. They stand in the journal and change no record
//! until quality decides.

use rusqlite::Connection;

use crate::Record;
use crate::error::{Error, Hint, Result};
use crate::read::tags::Tags;
use crate::read::{rows, shape};
use crate::value::unseen::readable;
use crate::write::amend;
use crate::write::authority;
use crate::write::authority::Need;
use crate::write::journal;
use crate::write::journal::Entry;
use crate::{Store, Who, read, write};

/// The journal's words: somebody proposes; quality accepts or declines.
pub const PROPOSE: &str = "propose";
const ACCEPT: &str = "accept";
const DECLINE: &str = "decline";

const OPEN: &str = "SELECT * FROM journal p WHERE p.action = 'propose' AND NOT EXISTS
    (SELECT 1 FROM journal d WHERE d.came = p.seq AND (d.action = 'accept' OR d.action = 'decline')) ORDER BY p.seq";

/// A write that is kept as a proposal.
pub(crate) struct Proposed {
    /// Kind of the record.
    pub kind: &'static str,
    /// Its tag or address.
    pub tag: String,
    /// Its canonical text now; none: it is new.
    pub old: Option<String>,
    /// Its canonical text as proposed; none: it is to be taken back.
    pub new: Option<String>,
    /// Why.
    pub reason: String,
    /// The entry that wrote what is old.
    pub came: Option<i64>,
}

/// What was decided.
#[derive(Clone, Debug)]
pub struct Decided {
    pub proposal: Entry,
    /// It was accepted, and is done.
    pub accepted: bool,
    /// The entry of the decision.
    pub entry: i64,
}

pub(crate) fn propose(db: &Connection, who: &Who, what: Proposed) -> Result<i64> {
    let entry = Entry {
        action: PROPOSE.into(),
        kind: what.kind.into(),
        tag: Some(what.tag),
        old: what.old,
        new: what.new,
        reason: Some(what.reason),
        came: what.came,
        ..Entry::default()
    };
    journal::append(db, who, entry)
}

fn open(db: &Connection) -> Result<Vec<Entry>> {
    read::list(db, OPEN, [], journal::from_row)
}

fn open_one(db: &Connection, seq: i64) -> Result<Entry> {
    let all = open(db)?;
    let known: Vec<String> = all.iter().map(|p| p.seq.to_string()).collect();
    all.into_iter().find(|p| p.seq == seq).ok_or_else(|| {
        Error::input(match known.as_slice() {
            [] => format!("entry {seq} is not an open proposal; there is none"),
            known => format!("entry {seq} is not an open proposal; open are {}", known.join(", ")),
        })
    })
}

fn decision(db: &Connection, who: &Who, of: &Entry, action: &str, reason: &str) -> Result<i64> {
    let entry = Entry {
        action: action.into(),
        kind: of.kind.clone(),
        tag: of.tag.clone(),
        reason: Some(reason.into()),
        came: Some(of.seq),
        ..Entry::default()
    };
    journal::append(db, who, entry)
}

/// Takes the person's own proposal back.
pub(crate) fn withdraw(db: &Connection, who: &Who, proposal: &Entry) -> Result<i64> {
    open_one(db, proposal.seq)?;
    decision(db, who, proposal, DECLINE, "taken back by the person who proposed it")
}

impl Store {
    /// Proposals that nobody has decided yet, the oldest first.
    pub fn proposals(&self) -> Result<Vec<Entry>> {
        open(&self.db)
    }

    /// Decides a proposal: quality, with a reason. What is accepted is done, if the record still is what the proposal
    /// says it was.
    ///
    /// # Errors
    /// It is not an open proposal, the record was changed since, the reason says nothing, or the person may not.
    pub fn decide(&mut self, who: &Who, seq: i64, accept: bool, reason: &str) -> Result<Decided> {
        if !readable(reason) {
            return Err(Error::input("a decision has a reason").hint(Hint::Reason));
        }
        self.write(who, |db, who| {
            authority::require(db, who, "deciding a proposal", Need::Decision)?;
            let proposal = open_one(db, seq)?;
            if accept {
                carry_out(db, who, &proposal, reason)?;
            }
            let action = if accept { ACCEPT } else { DECLINE };
            let entry = decision(db, who, &proposal, action, reason)?;
            Ok(Decided { proposal, accepted: accept, entry })
        })
    }
}

/// Does what was proposed.
fn carry_out(db: &Connection, who: &Who, proposal: &Entry, reason: &str) -> Result<()> {
    let own = read::own_fields(db)?;
    let parsed = |text: &Option<String>| -> Result<Option<Record<'static>>> {
        text.as_ref().map(|t| rows::from_canonical(t, &own)).transpose()
    };
    let (old, new) = (parsed(&proposal.old)?, parsed(&proposal.new)?);
    let why = format!("{reason} (proposal {}: {})", proposal.seq, proposal.reason.as_deref().unwrap_or(""));
    let Some(old) = old else {
        let Some(new) = new else { return Ok(()) };
        write::keep(db, who, new, Some(&why), "log")?;
        return Ok(());
    };
    let changed = || {
        Error::input(format!(
            "{} was changed since entry {} was proposed: decline it, or correct the record itself",
            old.address(),
            proposal.seq
        ))
    };
    let found = read::find(db, &old.address()).map_err(|_| changed())?;
    let shape = shape::of(found.kind);
    if Some(write::canonical(shape, &found.record)) != proposal.old {
        return Err(changed());
    }
    authority::permit(db, who, &format!("a {}", found.kind.noun), Some(&found.record), new.as_ref())?;
    let tags = Tags::new(db)?;
    let resolved = new.map(|new| write::placed(new, &tags)).transpose()?;
    amend::carry_out(db, who, &found, resolved.as_ref(), &why)?;
    Ok(())
}
