//! Why something of a sheet was not read, as data: a sentence, and what would help.

use crate::check::Fault;
use crate::error::{Error, Hint};

/// What would help with a shop's own sheet. The face that shows it phrases it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SheetHint {
    /// It is no file of a bundle, and is taken over as a sheet.
    Take,
    /// One of these sheets is meant.
    Sheets(Vec<String>),
    /// One of the tables on a sheet is meant, by number or name.
    Tables,
    /// The rows of the titles are counted from 1; several are the first and the last of them.
    Titles,
    /// Whether the day comes first in a date, or the month.
    Dates,
    /// Which mark of a number parts decimals, and which thousands.
    Marks,
    /// The clock that the shop keeps.
    Clock,
    /// A time of day for dates alone.
    Hour,
    /// Fields have a column, or are the same in every row.
    Fill,
    /// This field has a column.
    Column(String),
}

/// Why something was not read.
#[derive(Clone, Debug, PartialEq)]
pub struct Unread {
    /// What is wrong, and what would be right.
    pub message: String,
    /// What would help.
    pub hint: Option<SheetHint>,
}

impl Unread {
    /// The same, with what would help.
    pub fn hint(message: impl Into<String>, hint: SheetHint) -> Self {
        Self { message: message.into(), hint: Some(hint) }
    }

    /// As a fault of a cell.
    pub(crate) fn fault(&self, column: &str, value: &str) -> Fault {
        let hint = self.hint.clone().map(Hint::Sheet);
        Fault { hint, ..Fault::new(column, value, self.message.as_str()) }
    }

    /// As an error of the input, behind what it is about.
    pub fn error(self, about: &str) -> Error {
        let error = Error::input(format!("{about}{}", self.message));
        match self.hint {
            Some(hint) => error.hint(Hint::Sheet(hint)),
            None => error,
        }
    }
}

impl From<String> for Unread {
    fn from(message: String) -> Self {
        Self { message, hint: None }
    }
}

impl From<&str> for Unread {
    fn from(message: &str) -> Self {
        message.to_string().into()
    }
}
