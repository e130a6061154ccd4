//! The keys of a form.

use crate::jobs::records::form_screen::Entry;
use crate::ui::form::{Form, Row};
use crate::ui::keys;
use crate::ui::keys::{Key, Press};
use records::Type;

/// What the keys of a form mean.
#[derive(Clone, Copy)]
pub(crate) enum Msg {
    Next,
    Save,
    Up,
    Down,
    Before,
    After,
    Erase,
    NotApplicable,
    Illegible,
    Now,
    Empty,
    ThrowAway,
    Side,
    Working,
    Back,
}

fn time_chosen(e: &Entry) -> bool {
    let ty = e.form.as_ref().and_then(|f| f.chosen().map(Row::ty));
    matches!(ty, Some(Type::Time | Type::Date | Type::Moment))
}

fn may_be_left_out(e: &Entry) -> bool {
    e.form.as_ref().and_then(Form::chosen).is_some_and(|r| r.optional() && r.name() != "note")
}

fn on_a_field(e: &Entry) -> bool {
    e.form.as_ref().is_some_and(|f| f.chosen().is_some())
}

pub(crate) const KEYS: &[Key<Entry, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Next,
        label: "next",
        help: "The next blank field; on the last line: save",
        when: keys::always,
    },
    Key {
        on: &[Press::F(2)],
        msg: Msg::Save,
        label: "save",
        help: "Save it as it stands",
        when: keys::always,
    },
    Key {
        on: &[Press::F(3)],
        msg: Msg::NotApplicable,
        label: "n/a",
        help: "The field does not apply (that is not the same as blank)",
        when: may_be_left_out,
    },
    Key {
        on: &[Press::F(4)],
        msg: Msg::Illegible,
        label: "illegible",
        help: "It was written down and cannot be read",
        when: may_be_left_out,
    },
    Key { on: &[Press::F(5)], msg: Msg::Now, label: "now", help: "The time of saving", when: time_chosen },
    Key {
        on: &[Press::F(6), Press::Delete],
        msg: Msg::Empty,
        label: "empty",
        help: "Empty the field",
        when: on_a_field,
    },
    Key {
        on: &[Press::F(8)],
        msg: Msg::ThrowAway,
        label: "throw away",
        help: "Throw the form away",
        when: keys::always,
    },
    Key {
        on: &[Press::F(7)],
        msg: Msg::Side,
        label: "side",
        help: "The other side of the blade: concave, convex",
        when: |e| e.form.as_ref().is_some_and(|f| f.kind.name == "findings"),
    },
    Key {
        on: &[Press::F(9)],
        msg: Msg::Working,
        label: "working",
        help: "Show the working of the figures below: formula, inputs, records, source",
        when: |e| e.form.as_ref().is_some_and(|f| matches!(f.kind.name, "pours" | "charges")),
    },
    Key {
        on: &[Press::Esc],
        msg: Msg::Back,
        label: "back",
        help: "Back; what is filled in is kept",
        when: keys::always,
    },
    Key {
        on: &[Press::Down, Press::Tab],
        msg: Msg::Down,
        label: "",
        help: "The field below",
        when: keys::always,
    },
    Key {
        on: &[Press::Up, Press::BackTab],
        msg: Msg::Up,
        label: "",
        help: "The field above",
        when: keys::always,
    },
    Key {
        on: &[Press::Right],
        msg: Msg::After,
        label: "",
        help: "The next word of a choice",
        when: keys::always,
    },
    Key { on: &[Press::Left], msg: Msg::Before, label: "", help: "The word before", when: keys::always },
    Key {
        on: &[Press::Backspace],
        msg: Msg::Erase,
        label: "",
        help: "Take a letter back",
        when: keys::always,
    },
];
