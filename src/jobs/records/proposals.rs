//! What somebody proposed and quality decides.

use serde::Serialize;

use crate::jobs::records::look::changed;
use crate::jobs::records::show::claimed;
use records::value::tag::shown;
use records::write::journal::Entry;
use records::{Result, Store, Who};

/// The proposal to undo a record.
const UNDO: &str = "take back";

/// A proposal that nobody has decided yet.
#[derive(Serialize, Debug, Clone)]
pub struct Proposal {
    /// Its number: the journal's entry.
    pub entry: i64,
    /// When it was made.
    pub at: String,
    /// By whom, as claimed.
    pub person: Option<String>,
    /// Kind of the record.
    pub kind: String,
    /// The record.
    pub tag: Option<String>,
    /// Field, what stands there, what is proposed. Every field, where the record is new or is to be taken back.
    pub changes: Vec<(String, String, String)>,
    /// `new`, `change` or `take back`.
    pub what: &'static str,
    /// Why.
    pub reason: String,
}

impl Proposal {
    fn new(entry: &Entry) -> Self {
        let what = match (&entry.old, &entry.new) {
            (None, _) => "new",
            (_, None) => UNDO,
            _ => "change",
        };
        Self {
            entry: entry.seq,
            at: entry.at.clone(),
            person: entry.person.clone(),
            kind: entry.kind.clone(),
            tag: entry.tag.clone(),
            changes: changed(entry),
            what,
            reason: entry.reason.clone().unwrap_or_default(),
        }
    }

    /// One line for a terminal.
    pub fn line(&self) -> String {
        let change = |(f, old, new): &(String, String, String)| {
            let or_blank = |t: &str| if t.is_empty() { "blank".to_string() } else { t.to_string() };
            format!("{f} {} -> {}", or_blank(old), or_blank(new))
        };
        let what = match self.what {
            UNDO => "undo".to_string(),
            _ => self.changes.iter().map(change).collect::<Vec<_>>().join(", "),
        };
        let (tag, by) = (self.tag.as_deref().unwrap_or(""), claimed(self.person.as_ref()));
        format!("{} on {tag} by {by} at {}: {what} ({})", self.entry, self.at, self.reason)
    }
}

/// All of them.
#[derive(Serialize, Debug, Clone)]
pub struct List {
    /// The oldest first.
    pub proposals: Vec<Proposal>,
}

impl List {
    /// As lines for a terminal.
    pub fn text(&self) -> String {
        if self.proposals.is_empty() {
            return "no open proposals".into();
        }
        let mut out = String::new();
        for p in &self.proposals {
            out.push_str(&format!("{}\n", shown(&p.line())));
        }
        out.push_str("decide one (quality): meltkin decide ENTRY --accept or --decline --reason TEXT\n");
        out
    }
}

/// What was decided.
#[derive(Serialize, Debug, Clone)]
pub struct DecidedProposal {
    pub proposal: i64,
    /// The record.
    pub tag: Option<String>,
    /// It is done.
    pub accepted: bool,
    /// The entry of the decision.
    pub entry: i64,
}

impl DecidedProposal {
    /// One line for a terminal.
    pub fn text(&self) -> String {
        let tag = shown(self.tag.as_deref().unwrap_or(""));
        match self.accepted {
            true => format!("proposal {} on {tag} accepted and done", self.proposal),
            false => format!("proposal {} on {tag} declined; nothing is changed", self.proposal),
        }
    }
}

/// The proposals that nobody has decided yet.
pub fn list(store: &Store) -> Result<List> {
    Ok(List { proposals: store.proposals()?.iter().map(Proposal::new).collect() })
}

/// Accepts or declines one.
///
/// # Errors
/// It is no open proposal, the record was changed since, no reason, or the person may not.
pub fn decide(
    store: &mut Store,
    who: &Who,
    entry: i64,
    accept: bool,
    reason: &str,
) -> Result<DecidedProposal> {
    let decided = store.decide(who, entry, accept, reason)?;
    Ok(DecidedProposal {
        proposal: decided.proposal.seq,
        tag: decided.proposal.tag,
        accepted: decided.accepted,
        entry: decided.entry,
    })
}
