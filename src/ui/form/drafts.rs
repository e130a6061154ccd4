//! Half-filled forms, kept in files beside the store so that they outlive the program.
//!
//! Each running program owns one slot: `STORE.drafts.json`, `STORE.drafts.2.json`, … A lock beside
//! the slot says that its program is alive; a slot without one is taken over by the next that starts.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::ui::order::{Order, Sort};
use crate::ui::worker::Worker;
use records::file::paths::{odd, open_plain};
use records::{Error, Result};

/// A form that is not accepted yet.
#[derive(Serialize, Deserialize, Clone, Debug, PartialEq)]
pub struct Draft {
    /// Its number among the drafts of one program.
    pub id: u64,
    pub kind: String,
    /// The record that it changes, where it changes one.
    pub address: Option<String>,
    /// Field, text, and where the text came from.
    pub fields: Vec<(String, String, String)>,
    /// The field the cursor stood in.
    pub at: usize,
    /// When it was last touched.
    pub touched: String,
    /// Whose it is; none where nobody was named.
    #[serde(default)]
    pub owner: Option<String>,
}

/// Asks for the drafts that are there.
#[derive(Clone, Debug)]
pub(crate) struct AskDrafts;

impl Order for AskDrafts {
    type Reply = Vec<Draft>;

    fn perform(&self, worker: &mut Worker) -> Result<Vec<Draft>> {
        Ok(worker.drafts.as_ref().map(|d| d.all().to_vec()).unwrap_or_default())
    }
}

#[derive(Clone, Debug)]
pub struct KeepDraft(pub Draft);

impl Order for KeepDraft {
    type Reply = ();

    fn sort(&self) -> Sort {
        Sort::Keep
    }

    fn perform(&self, worker: &mut Worker) -> Result<()> {
        worker.drafts.as_mut().map_or(Ok(()), |drafts| drafts.keep(self.0.clone()))
    }
}

#[derive(Clone, Debug)]
pub struct DropDraft(pub u64);

impl Order for DropDraft {
    type Reply = ();

    fn sort(&self) -> Sort {
        Sort::Keep
    }

    fn perform(&self, worker: &mut Worker) -> Result<()> {
        worker.drafts.as_mut().map_or(Ok(()), |drafts| drafts.drop_one(self.0))
    }
}

const SLOTS: u32 = 32;

/// The drafts of one program.
pub struct Drafts {
    store: PathBuf,
    file: PathBuf,
    _lock: File,
    all: Vec<Draft>,
}

fn beside(store: &Path, slot: u32, end: &str) -> PathBuf {
    let mut name = store.as_os_str().to_owned();
    name.push(if slot == 1 { format!(".drafts.{end}") } else { format!(".drafts.{slot}.{end}") });
    name.into()
}

impl Drafts {
    /// Takes a free slot beside the store, with what programs that are gone left behind.
    pub fn open(store: &Path) -> Result<Self> {
        let mut mine: Option<Self> = None;
        for slot in 1..=SLOTS {
            let file = beside(store, slot, "json");
            if mine.is_some() && !file.exists() {
                continue;
            }
            let lock_file = beside(store, slot, "lock");
            let lock = own(&lock_file).map_err(|e| at(&lock_file, &e))?;
            if lock.try_lock().is_err() {
                continue;
            }
            let left = read(&file);
            match &mut mine {
                None => mine = Some(Self { store: store.into(), file, _lock: lock, all: left }),
                Some(mine) => {
                    // The draft first, then the old file goes: stopped between, it is there twice.
                    mine.all.extend(left);
                    mine.number();
                    mine.write()?;
                    let _ = std::fs::remove_file(&file);
                }
            }
        }
        let mut mine = mine.ok_or_else(|| Error::untrusted("all slots for drafts are in use"))?;
        mine.number();
        Ok(mine)
    }

    /// Every half-filled form at this store: those of this program first, then what others have open now.
    pub fn everywhere(&self) -> Vec<Draft> {
        let theirs = (1..=SLOTS).map(|slot| beside(&self.store, slot, "json")).filter(|f| *f != self.file);
        self.all.iter().cloned().chain(theirs.flat_map(|file| glance(&file))).collect()
    }

    fn number(&mut self) {
        for (i, draft) in self.all.iter_mut().enumerate() {
            draft.id = i as u64 + 1;
        }
    }

    /// The drafts, oldest first.
    pub fn all(&self) -> &[Draft] {
        &self.all
    }

    /// Keeps a draft; on the disk when this returns.
    pub fn keep(&mut self, draft: Draft) -> Result<()> {
        match self.all.iter_mut().find(|d| d.id == draft.id) {
            Some(there) => *there = draft,
            None => self.all.push(draft),
        }
        self.write()
    }

    /// Drops a draft.
    pub fn drop_one(&mut self, id: u64) -> Result<()> {
        let before = self.all.len();
        self.all.retain(|d| d.id != id);
        if self.all.len() == before { Ok(()) } else { self.write() }
    }

    fn write(&self) -> Result<()> {
        use std::io::Write;
        if self.all.is_empty() {
            return match std::fs::remove_file(&self.file) {
                Err(e) if e.kind() != std::io::ErrorKind::NotFound => Err(at(&self.file, &e)),
                _ => Ok(()),
            };
        }
        let text = serde_json::to_string(&self.all).map_err(|e| Error::untrusted(e.to_string()))?;
        let mut part = self.file.as_os_str().to_owned();
        part.push(".part");
        let part = PathBuf::from(part);
        // Only the program of this slot comes here: what lies there is left over, or a trap.
        let _ = std::fs::remove_file(&part);
        let written = File::create_new(&part)
            .and_then(|mut f| f.write_all(text.as_bytes()).and_then(|()| f.sync_all()))
            .and_then(|()| std::fs::rename(&part, &self.file));
        written.map_err(|e| at(&self.file, &e))
    }
}

/// Opens a lock, and never what a link of its name leads to.
fn own(file: &Path) -> std::io::Result<File> {
    match File::create_new(file) {
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {
            match odd(std::fs::symlink_metadata(file)?.file_type()) {
                Some(_) => Err(std::io::Error::other("is not a plain file; remove it")),
                None => File::options().append(true).open(file),
            }
        }
        made => made,
    }
}

fn at(file: &Path, e: &std::io::Error) -> Error {
    Error::untrusted(format!("{}: the draft cannot be kept: {e}", file.display()))
}

/// What another program keeps, as it stands now; its file is its own, and is left alone whatever it holds.
fn glance(file: &Path) -> Vec<Draft> {
    let mut text = String::new();
    let read = open_plain(file).and_then(|mut f| f.read_to_string(&mut text));
    read.ok().and_then(|_| serde_json::from_str(&text).ok()).unwrap_or_default()
}

/// What cannot be read is no draft; the file is left for a person to look at under another name.
fn read(file: &Path) -> Vec<Draft> {
    let mut text = String::new();
    if open_plain(file).and_then(|mut f| f.read_to_string(&mut text)).is_err() {
        return Vec::new();
    }
    serde_json::from_str(&text).unwrap_or_else(|_| {
        let mut other = file.as_os_str().to_owned();
        other.push(".unreadable");
        let _ = std::fs::rename(file, other);
        Vec::new()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft(id: u64, kind: &str) -> Draft {
        let fields = vec![("mould".to_string(), "M31-001".to_string(), "typed".to_string())];
        Draft { id, kind: kind.into(), address: None, fields, at: 0, touched: String::new(), owner: None }
    }

    #[test]
    fn drafts_outlive_the_program_and_two_programs_do_not_share() {
        let folder = tempfile::tempdir().unwrap();
        let store = folder.path().join("s.db");
        let mut first = Drafts::open(&store).unwrap();
        let mut second = Drafts::open(&store).unwrap();
        first.keep(draft(1, "pours")).unwrap();
        second.keep(draft(1, "coats")).unwrap();
        let kinds = |drafts: &Drafts| drafts.everywhere().into_iter().map(|d| d.kind).collect::<Vec<_>>();
        assert_eq!(
            (kinds(&first), kinds(&second)),
            (vec!["pours".into(), "coats".into()], vec!["coats".into(), "pours".into()])
        );
        drop(second);
        let third = Drafts::open(&store).unwrap();
        assert_eq!(third.all()[0].kind, "coats");
        drop((first, third));
        let last = Drafts::open(&store).unwrap();
        let kinds: Vec<&str> = last.all().iter().map(|d| d.kind.as_str()).collect();
        assert_eq!(kinds, ["pours", "coats"]);
        assert_eq!(last.all().iter().map(|d| d.id).collect::<Vec<_>>(), [1, 2]);
    }

    #[test]
    fn a_dropped_draft_and_a_damaged_file_are_gone() {
        let folder = tempfile::tempdir().unwrap();
        let store = folder.path().join("s.db");
        let mut one = Drafts::open(&store).unwrap();
        one.keep(draft(1, "pours")).unwrap();
        one.drop_one(1).unwrap();
        drop(one);
        assert!(Drafts::open(&store).unwrap().all().is_empty());
        std::fs::write(beside(&store, 1, "json"), "{").unwrap();
        assert!(Drafts::open(&store).unwrap().all().is_empty());
    }
}
