//! The last entry undone, within a minute of it.

use serde_json::json;

use crate::jobs::records::show::only_proposed;
use records::catalogue::Pours;
use records::value::tag::shown;
use records::write::Undone;
use records::{Result, Store, Who};

/// What came of undoing, as a screen says it.
#[derive(Clone, Debug)]
pub struct TakenBack {
    /// The sentence.
    pub said: String,
    /// It is only proposed: quality decides.
    pub proposed: bool,
    /// The mould whose pour was undone.
    pub mould: Option<String>,
}

/// Undoes the person's last entry, within a minute of it.
///
/// # Errors
/// There is none, it is older, or other records stand on it.
pub fn undo(store: &mut Store, who: &Who) -> Result<TakenBack> {
    Ok(taken_back(&[store.undo(who, None)?]))
}

/// Undoes what was written together, the latest first.
pub fn undo_together(store: &mut Store, who: &Who, entries: &[i64]) -> Result<TakenBack> {
    Ok(taken_back(&store.undo_together(who, entries)?))
}

fn taken_back(all: &[Undone]) -> TakenBack {
    let names = |of: &[&Undone]| of.iter().map(|u| name(u)).collect::<Vec<_>>().join(", ");
    let (proposed, done): (Vec<&Undone>, Vec<&Undone>) = all.iter().rev().partition(|u| !u.frees.is_empty());
    let mut said = Vec::new();
    if !done.is_empty() {
        said.push(format!("undid {}", names(&done)));
    }
    if let Some(first) = proposed.first() {
        said.push(format!("quality decides proposal {}: undo {}", first.seq, names(&proposed)));
    }
    let pour = done.iter().find(|u| u.entry.kind == Pours::NAME).and_then(|u| u.entry.tag.as_deref());
    let mould = pour.and_then(|address| address.split_once(':')).map(|(_, mould)| mould.to_string());
    TakenBack { said: said.join("; "), proposed: !proposed.is_empty(), mould }
}

/// The entry, as it is undone: `log of M31-001`.
fn name(undone: &Undone) -> String {
    format!("{} of {}", undone.entry.action, undone.entry.tag.as_deref().unwrap_or(""))
}

/// One line for a terminal.
pub(crate) fn text(undone: &Undone) -> String {
    match undone.frees.is_empty() {
        true => format!("undid {}", shown(&name(undone))),
        false => only_proposed(undone.seq, &undone.frees),
    }
}

/// The same as JSON.
pub(crate) fn json(undone: &Undone) -> serde_json::Value {
    let (tag, action) = (&undone.entry.tag, &undone.entry.action);
    match undone.frees.is_empty() {
        true => json!({"undone": tag, "action": action, "entry": undone.seq}),
        false => json!({
            "undone": tag, "action": action, "entry": undone.seq, "proposal": true, "frees": undone.frees,
        }),
    }
}
