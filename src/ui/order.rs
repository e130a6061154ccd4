//! Orders: what a screen wants done with the store, as data of the job that asks it. The kit carries an order to the
//! worker and its reply back to the screen; what is in either it does not know.

use std::any::Any;
use std::borrow::Cow;
use std::fmt::Debug;

use records::{Hint, Result, Store, Who};

use crate::ui::theme::Role;
use crate::ui::worker::Worker;

/// How an order is carried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// It reads; a newer one of the same type makes it idle, and it is stopped with its screen.
    Read,
    /// The same, but it takes long: it goes to a worker of its own.
    Slow,
    /// It reads for something that a person did once: each is answered.
    Each,
    /// It keeps what a person typed.
    Keep,
    /// It may hang on something outside (a printer): it goes beside all others, in a thread of its own.
    Beside,
    /// It writes a record.
    Write,
}

impl Sort {
    /// It may be stopped where nobody wants the answer any more.
    pub(crate) fn stops(self) -> bool {
        matches!(self, Self::Read | Self::Slow)
    }
}

/// One order: written beside the screen that gives it.
pub trait Order: Clone + Debug + Send + 'static {
    /// What comes back.
    type Reply: Send + 'static;

    /// How it is carried.
    fn sort(&self) -> Sort {
        Sort::Read
    }

    /// It brings a PIN of its own: the kit does not ask for one.
    fn own_pin(&self) -> bool {
        false
    }

    /// Who writes, where it writes: a PIN that is asked for is put there.
    fn who_mut(&mut self) -> Option<&mut Who> {
        None
    }

    /// Does it. Runs in the worker.
    fn perform(&self, worker: &mut Worker) -> Result<Self::Reply>;
}

/// An order of any type, as the kit carries it.
pub trait AnyOrder: Debug + Send {
    fn sort(&self) -> Sort;
    fn own_pin(&self) -> bool;
    fn who_mut(&mut self) -> Option<&mut Who>;
    fn perform(&self, worker: &mut Worker) -> Result<Reply>;
    fn copy(&self) -> Box<dyn AnyOrder>;
    fn as_any(&self) -> &dyn Any;
}

impl<O: Order> AnyOrder for O {
    fn sort(&self) -> Sort {
        Order::sort(self)
    }

    fn own_pin(&self) -> bool {
        Order::own_pin(self)
    }

    fn who_mut(&mut self) -> Option<&mut Who> {
        Order::who_mut(self)
    }

    fn perform(&self, worker: &mut Worker) -> Result<Reply> {
        Order::perform(self, worker).map(Reply::new)
    }

    fn copy(&self) -> Box<dyn AnyOrder> {
        Box::new(self.clone())
    }

    fn as_any(&self) -> &dyn Any {
        self
    }
}

/// The plainest order: a question of a job, and what it is about.
pub struct Read<A: 'static, R: 'static> {
    pub about: A,
    ask: fn(&Store, &A) -> Result<R>,
    sort: Sort,
}

/// The same for what writes: who, what, and how the job writes it.
pub struct Write<A: 'static, R: 'static = Written> {
    pub who: Who,
    pub what: A,
    write: fn(&mut Store, &Who, &A) -> Result<R>,
}

impl<A, R> Read<A, R> {
    pub fn new(about: A, ask: fn(&Store, &A) -> Result<R>) -> Self {
        Self { about, ask, sort: Sort::Read }
    }

    /// It takes long.
    pub fn slow(self) -> Self {
        Self { sort: Sort::Slow, ..self }
    }
}

impl<A, R> Write<A, R> {
    pub fn new(who: &Who, what: A, write: fn(&mut Store, &Who, &A) -> Result<R>) -> Self {
        Self { who: who.clone(), what, write }
    }
}

impl<A: Clone, R> Clone for Read<A, R> {
    fn clone(&self) -> Self {
        Self { about: self.about.clone(), ..*self }
    }
}

impl<A: Clone, R> Clone for Write<A, R> {
    fn clone(&self) -> Self {
        Self { who: self.who.clone(), what: self.what.clone(), write: self.write }
    }
}

impl<A: Debug, R> Debug for Read<A, R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Read({:?})", self.about)
    }
}

impl<A: Debug, R> Debug for Write<A, R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Write({:?})", self.what)
    }
}

impl<A: Clone + Debug + Send + 'static, R: Send + 'static> Order for Read<A, R> {
    type Reply = R;

    fn sort(&self) -> Sort {
        self.sort
    }

    fn perform(&self, worker: &mut Worker) -> Result<R> {
        (self.ask)(&worker.store, &self.about)
    }
}

impl<A: Clone + Debug + Send + 'static, R: Send + 'static> Order for Write<A, R> {
    type Reply = R;

    fn sort(&self) -> Sort {
        Sort::Write
    }

    fn who_mut(&mut self) -> Option<&mut Who> {
        Some(&mut self.who)
    }

    fn perform(&self, worker: &mut Worker) -> Result<R> {
        (self.write)(&mut worker.store, &self.who, &self.what)
    }
}

/// What an order gave; whoever asked takes it by its type.
pub struct Reply(Option<Box<dyn Any + Send>>);

impl Debug for Reply {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Reply")
    }
}

impl Reply {
    pub fn new<T: Send + 'static>(value: T) -> Self {
        Self(Some(Box::new(value)))
    }

    /// Takes it out, where it is of this type.
    pub fn take<T: 'static>(&mut self) -> Option<T> {
        if !self.0.as_ref().is_some_and(|b| b.is::<T>()) {
            return None;
        }
        self.0.take().and_then(|b| b.downcast().ok()).map(|b| *b)
    }

    /// Puts it where the screen keeps it; false where it is of another type.
    pub fn put<T: 'static>(&mut self, place: &mut Option<T>) -> bool {
        let taken = self.take();
        let there = taken.is_some();
        if there {
            *place = taken;
        }
        there
    }

    pub(crate) fn get<T: 'static>(&self) -> Option<&T> {
        self.0.as_ref()?.downcast_ref()
    }
}

/// The reply of an order that wrote records: the kit says so, offers to take it back, and tells every screen.
#[derive(Clone, Debug, Default)]
pub struct Written {
    /// The sentence that stands in the status line.
    pub said: String,
    /// What is to be known besides.
    pub notice: Option<String>,
    /// Entries of the journal, taken back together; none where nothing was written.
    pub entries: Vec<i64>,
    /// The tag of the one new thing that carries a label: it is printed once it is said that it is saved.
    pub label: Option<String>,
}

/// The reply of an order that took something back.
#[derive(Clone, Debug)]
pub struct Undone {
    pub said: String,
    /// It is only proposed.
    pub proposed: bool,
    /// The record that is free again, where a screen lists such.
    pub freed: Option<String>,
}

/// The reply of an order that has only something to say.
#[derive(Clone, Debug)]
pub struct Said(pub Role, pub String);

#[derive(Clone, Debug)]
pub struct Failure {
    pub sentence: String,
    /// The field that is at fault, where it is one.
    pub field: Option<Cow<'static, str>>,
    /// It works with a reason.
    pub wants_reason: bool,
}

impl Failure {
    pub(crate) fn new(sentence: impl Into<String>) -> Self {
        Self { sentence: sentence.into(), field: None, wants_reason: false }
    }
}

impl From<records::Error> for Failure {
    fn from(error: records::Error) -> Self {
        let wants_reason = error.hints.contains(&Hint::ReasonIfRight);
        // What a screen asks for by itself (a reason, a PIN, a badge) needs no word.
        let more = error.hints.iter().filter_map(|hint| match hint {
            Hint::Correct(address) => Some(format!("; to change it: / {address}, then e")),
            Hint::SetPin(person) => Some(format!("; {person} sets one first, outside the screens")),
            Hint::EmptyFirst(address, field) => {
                Some(format!("; empty its {} first: / {address}, then e", field.replace('_', " ")))
            }
            Hint::Retag(..) => Some("; the bench has the form of a re-tag".to_string()),
            _ => None,
        });
        let sentence = in_words(&error.sentence) + &more.collect::<String>();
        Self { sentence, field: error.field, wants_reason }
    }
}

/// A sentence with its fields as a form calls them: what stands before a colon as `slurry_batch` is `slurry batch` there.
fn in_words(sentence: &str) -> String {
    let named = |part: &str| match part.split_once(": ") {
        Some((field, rest))
            if field.contains('_') && field.chars().all(|c| c.is_ascii_lowercase() || c == '_') =>
        {
            format!("{}: {rest}", field.replace('_', " "))
        }
        _ => part.to_string(),
    };
    sentence.split("; ").map(named).collect::<Vec<_>>().join("; ")
}

/// What a scanned or typed code leads to: the record's kind and its tag.
pub type Lead = Option<(&'static str, String)>;

/// Asks what a code leads to.
#[derive(Clone, Debug)]
pub(crate) struct LookUp(pub(crate) String);

/// The answer, with the code.
pub(crate) struct Found(pub(crate) String, pub(crate) Lead);

impl Order for LookUp {
    type Reply = Found;

    fn sort(&self) -> Sort {
        Sort::Each
    }

    fn perform(&self, worker: &mut Worker) -> Result<Found> {
        let found = worker.store.look_up(&self.0)?;
        Ok(Found(self.0.clone(), found.map(|(kind, _, tag)| (kind, tag))))
    }
}

/// Asks whether another program wrote: the file's own count of what others did.
#[derive(Clone, Debug)]
pub(crate) struct AskVersion;

/// The answer; another than before means that somebody else wrote.
pub(crate) struct Version(pub(crate) i64);

impl Order for AskVersion {
    type Reply = Version;

    fn perform(&self, worker: &mut Worker) -> Result<Version> {
        Ok(Version(worker.store.written_elsewhere()?))
    }
}
