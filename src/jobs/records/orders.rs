//! Writing one record, and taking it back, as orders of the screens.

use crate::cli::settings;
use crate::jobs::labels::on_save as labels;
use crate::jobs::records::ask::Logged;
use crate::jobs::records::{ask, forms, undo};
use crate::ui::kit::*;
use crate::ui::order::Undone;
use records::{Error, Result, Store, Who};
use std::path::PathBuf;

impl From<Logged> for Written {
    fn from(logged: Logged) -> Self {
        let name = logged.tag.as_deref().or(logged.address.as_deref()).unwrap_or("");
        let time = logged.recorded_at.get(11..19).unwrap_or("");
        let mut written = Self {
            said: format!("saved {name} at {time}"),
            notice: None,
            entries: vec![logged.entry],
            label: None,
        };
        if logged.proposal {
            let (n, frees) = (logged.entry, logged.frees.join(", and "));
            written.said = format!("proposal {n}");
            written.notice = Some(format!("nothing is changed: this {frees}; quality decides proposal {n}"));
        }
        if !logged.guards.is_empty() {
            written.notice = Some(logged.guards.join("; "));
        }
        written
    }
}

/// Records that were written together count as one to undo.
pub fn together(all: Vec<Logged>) -> Written {
    let entries: Vec<i64> = all.iter().map(|l| l.entry).collect();
    let name = |l: &Logged| l.tag.clone().or_else(|| l.address.clone()).unwrap_or_default();
    let names: Vec<String> = all.iter().map(name).collect();
    let Some(mut last) = all.into_iter().next_back() else { return Written::default() };
    let said = match names.as_slice() {
        [first, .., end] if names.len() > 3 => format!("{first} to {end} ({})", names.len()),
        names => names.iter().rev().cloned().collect::<Vec<_>>().join(" and "),
    };
    (last.tag, last.address) = (None, Some(said));
    Written { entries, ..last.into() }
}

/// Writes a record: the kind's name, `FIELD=VALUE`, why a value outside a guard is right.
pub fn log(now: &Context, kind: &'static str, arguments: Vec<String>, reason: Option<String>) -> Effect {
    Effect::write(now, (kind, arguments, reason), |store, who, (kind, arguments, reason)| {
        let logged = ask::log(store, who, kind, arguments, reason.as_deref())?;
        let label = logged.tag.clone().filter(|_| labels::carries(kind) && !logged.proposal);
        Ok(Written { label, ..Written::from(logged) })
    })
}

/// Prints the label of what was saved.
#[derive(Clone, Debug)]
pub struct PrintLabel {
    pub tag: String,
    pub place: PathBuf,
    /// What was said of the save itself: it stays in sight.
    pub notice: Option<String>,
}

/// The label of what was saved, where the settings name a folder or a printer's device.
pub fn label(written: &Written) -> Option<Box<dyn AnyOrder>> {
    let tag = written.label.clone()?;
    let given = std::env::var_os(settings::LABELS).filter(|p| !p.is_empty()).map(PathBuf::from);
    let place = given.or_else(|| settings::variable(settings::LABELS).map(PathBuf::from))?;
    Some(Box::new(PrintLabel { tag, place, notice: written.notice.clone() }))
}

impl Order for PrintLabel {
    type Reply = Said;

    fn sort(&self) -> Sort {
        Sort::Beside
    }

    fn perform(&self, worker: &mut Worker) -> Result<Said> {
        let (role, said) = match labels::on_save(&worker.store, &self.tag, &self.place) {
            Ok(said) => (Role::Look, format!("{} saved; {said}", self.tag)),
            Err(e) => (Role::Bad, format!("{} saved; its label was not printed: {}", self.tag, e.sentence)),
        };
        let both = self.notice.iter().cloned().chain([said]).collect::<Vec<_>>().join("; ");
        Ok(Said(role, both))
    }
}

/// Changes a record: its address, field and new text, what stood there when it was read, why.
pub fn correct(
    now: &Context,
    address: String,
    changes: Vec<(String, String)>,
    seen: Vec<(String, String)>,
    reason: String,
) -> Effect {
    let what = (address, changes, seen, reason);
    Effect::write(now, what, |store, who, (address, changes, seen, reason)| {
        still(store, address, seen)?;
        Ok(Written::from(ask::correct(store, who, address, changes, reason)?))
    })
}

/// What is to be changed stands as it was read: a form may stand open while somebody else fills in the same.
fn still(store: &Store, address: &str, seen: &[(String, String)]) -> Result<()> {
    let (_, address, fields) = forms::as_texts(store, address)?;
    for (name, before) in seen {
        let here = fields.iter().find(|(n, _)| n == name).map_or("", |(_, t)| t.as_str());
        if here != before {
            let (label, here) = (name.replace('_', " "), if here.is_empty() { "blank" } else { here });
            let text = format!(
                "not saved: {label} of {address} is {here} by now, somebody else wrote it; look, then F2"
            );
            return Err(Error::input(text).at(name.clone()));
        }
    }
    Ok(())
}

/// The line that asks why something is held.
pub fn hold(tag: String) -> Effect {
    let (title, question) = (format!("Hold {tag}"), format!("Hold on {tag}: why?"));
    let hint = "It fences everything that came or comes out of it";
    Effect::open(
        Prompt::new(title, question, hint, move |reason, now| {
            Ok(vec![Effect::write(now, (tag.clone(), reason), |store, who, (tag, reason)| {
                Ok(Written::from(ask::hold(store, who, tag, reason)?))
            })])
        })
        .until_written(),
    )
}

/// The line that asks why a hold is lifted.
pub fn lift(tag: String) -> Effect {
    let (title, question) = (format!("Lift the hold on {tag}"), format!("Lift the hold on {tag}: why?"));
    let hint = "Quality lifts holds; the reason stays in its history";
    Effect::open(
        Prompt::new(title, question, hint, move |reason, now| {
            Ok(vec![Effect::write(now, (tag.clone(), reason), |store, who, (tag, reason)| {
                Ok(Written::from(Logged::new(&store.lift(who, tag, reason)?)))
            })])
        })
        .until_written(),
    )
}

/// Takes back what this terminal saved last, with all that was written together with it.
#[derive(Clone, Debug)]
pub struct Undo(pub Who);

impl Order for Undo {
    type Reply = Undone;

    fn sort(&self) -> Sort {
        Sort::Write
    }

    fn who_mut(&mut self) -> Option<&mut Who> {
        Some(&mut self.0)
    }

    fn perform(&self, worker: &mut Worker) -> Result<Undone> {
        let (store, all) = (&mut worker.store, &worker.together);
        if all.is_empty() {
            return Err(Error::input("nothing that was saved at this screen can be taken back"));
        }
        let back = undo::undo_together(store, &self.0, all)?;
        Ok(Undone { said: back.said, proposed: back.proposed, freed: back.mould })
    }
}
