//! Keys that work on every screen that takes no text.

use crate::ui::app::App;
use crate::ui::keys;
use crate::ui::keys::{Key, Press};

/// What they mean.
#[derive(Clone, Copy)]
pub(crate) enum Everywhere {
    Undo,
    Drafts,
    Find,
    Trace,
    Charts,
    Who,
    Look,
    Help,
    Quit,
}

fn can_undo(app: &App) -> bool {
    app.undo_left_s().is_some()
}

/// Keys that work on every screen that takes no text.
pub(crate) const KEYS: &[Key<App, Everywhere>] = &[
    Key {
        on: &[Press::Char('u')],
        msg: Everywhere::Undo,
        label: "undo",
        help: "Take back what was saved last, within a minute",
        when: can_undo,
    },
    Key {
        on: &[Press::Char('r')],
        msg: Everywhere::Drafts,
        label: "go on",
        help: "Go on with a half-filled form",
        when: |app| !app.drafts.is_empty(),
    },
    Key {
        on: &[Press::Char('/')],
        msg: Everywhere::Find,
        label: "find",
        help: "Type any tag and open its record; a scanned code needs no key",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('k')],
        msg: Everywhere::Trace,
        label: "",
        help: "Type any tag and trace it: what went into it, what came out of it",
        when: |app| app.layers.last().is_some_and(|l| !l.screen.traces()),
    },
    Key {
        on: &[Press::Char('v')],
        msg: Everywhere::Charts,
        label: "",
        help: "The chart desk: in time, against a reading, where on tree and blade",
        when: |app| app.layers.last().is_some_and(|l| l.screen.charts().is_some()),
    },
    Key {
        on: &[Press::Char('w')],
        msg: Everywhere::Who,
        label: "who",
        help: "Say who works here; a scanned badge needs no key",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('t')],
        msg: Everywhere::Look,
        label: "",
        help: "Change between dark, light and the dark booth",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('?'), Press::F(1)],
        msg: Everywhere::Help,
        label: "help",
        help: "What each key does here",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('q')],
        msg: Everywhere::Quit,
        label: "quit",
        help: "Leave; half-filled forms are kept",
        when: keys::always,
    },
];
