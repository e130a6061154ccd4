//! What a screen asks for, as data: it never does it itself.

use std::fmt;

use crate::ui::form::drafts::Draft;
use crate::ui::order::{AnyOrder, Read, Write};
use crate::ui::scan::Habits;
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use records::{Result, Store, Who};

/// What a screen wants done.
pub enum Effect {
    /// Ask the worker; the reply comes to the screen that asked, or where that went away with asking, to the one that it
    /// stood on.
    Ask(Box<dyn AnyOrder>),
    /// Lay a screen over this one.
    Open(Box<dyn Screen>),
    /// Open the record of a tag.
    Show(String),
    Close,
    /// Say a sentence in the status line.
    Say(Role, String),
    /// This person works here from now on.
    SetPerson(String),
    /// Go on with a half-filled form.
    GoOn(Draft),
    /// This is how the scanner at this terminal sends.
    Learn(Habits),
    /// The PIN that was asked for; none where it was not given.
    Prove(Option<String>),
}

impl Effect {
    pub fn ask(order: impl AnyOrder + 'static) -> Self {
        Self::Ask(Box::new(order))
    }

    /// Asks a question of a job about something.
    pub fn read<A, R>(about: A, ask: fn(&Store, &A) -> Result<R>) -> Self
    where
        A: Clone + fmt::Debug + Send + 'static,
        R: Send + 'static,
    {
        Self::ask(Read::new(about, ask))
    }

    /// Has a job write something, for whoever works here.
    pub fn write<A, R>(now: &Context, what: A, write: fn(&mut Store, &Who, &A) -> Result<R>) -> Self
    where
        A: Clone + fmt::Debug + Send + 'static,
        R: Send + 'static,
    {
        Self::ask(Write::new(&now.who, what, write))
    }

    pub fn open(screen: impl Screen + 'static) -> Self {
        Self::Open(Box::new(screen))
    }

    pub fn say(role: Role, sentence: impl Into<String>) -> Self {
        Self::Say(role, sentence.into())
    }
}

impl fmt::Debug for Effect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Ask(order) => write!(f, "Ask({order:?})"),
            Self::Open(screen) => write!(f, "Open({})", screen.title()),
            Self::Show(tag) => write!(f, "Show({tag})"),
            Self::Close => f.write_str("Close"),
            Self::Say(_, sentence) => write!(f, "Say({sentence})"),
            Self::Learn(habits) => write!(f, "Learn({habits:?})"),
            Self::GoOn(draft) => write!(f, "GoOn({})", draft.id),
            Self::SetPerson(person) => write!(f, "SetPerson({person})"),
            Self::Prove(_) => f.write_str("Prove"),
        }
    }
}
