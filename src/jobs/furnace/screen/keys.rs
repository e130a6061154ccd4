//! The keys of the furnace desk.

use crate::jobs::furnace::screen::Furnace;
use crate::ui::keys;
use crate::ui::keys::{Key, Press};

/// What its keys mean.
#[derive(Clone, Copy)]
pub enum Msg {
    /// Open the pour form, or the record of what is poured.
    Pour,
    /// It is poured; the details come later.
    PouredNow,
    /// It ran out.
    RanOut,
    /// Fill in what a pour still lacks.
    Details,
    /// Another mould was poured than the one that was meant.
    Wrong,
    /// Two moulds carry its tag.
    Double,
    /// Log a pour that was forgotten.
    Earlier,
    /// Every check of the chosen mould.
    Checks,
    /// What the next shift must know.
    Shift,
    /// Fence the mould.
    Hold,
    /// Record what is put into a heat.
    Charge,
    /// Go to the bench.
    Bench,
    /// Go to the cause desk.
    Causes,
    /// Lots and trials.
    Lots,
    /// The line above.
    Up,
    /// The line below.
    Down,
    /// A page up.
    PageUp,
    /// A page down.
    PageDown,
}

fn stands(desk: &Furnace) -> bool {
    desk.standing().is_some()
}

fn is_poured(desk: &Furnace) -> bool {
    desk.poured().is_some()
}

/// The keys of the desk.
pub(crate) const KEYS: &[Key<Furnace, Msg>] = &[
    Key {
        on: &[Press::Char('p'), Press::Enter],
        msg: Msg::Pour,
        label: "pour",
        help: "Open the pour form for the chosen mould",
        when: stands,
    },
    Key {
        on: &[Press::Char('n')],
        msg: Msg::PouredNow,
        label: "poured now",
        help: "Record that the chosen mould was poured just now; its details come later",
        when: stands,
    },
    Key {
        on: &[Press::Char('o')],
        msg: Msg::RanOut,
        label: "ran out",
        help: "Record that the chosen mould was poured just now and ran out",
        when: stands,
    },
    Key {
        on: &[Press::Char('d'), Press::Enter],
        msg: Msg::Details,
        label: "details",
        help: "Fill in or change the details of the chosen pour",
        when: is_poured,
    },
    Key {
        on: &[Press::Char('x')],
        msg: Msg::Wrong,
        label: "wrong mould",
        help: "Another mould was poured than the chosen one: its pour and a hold are recorded in one step",
        when: |d| d.mould().is_some(),
    },
    Key {
        on: &[Press::Char('2')],
        msg: Msg::Double,
        label: "",
        help: "Two moulds carry the tag of the chosen one: both are fenced, and what tells them apart is shown",
        when: |d| d.mould().is_some(),
    },
    Key {
        on: &[Press::Char('f')],
        msg: Msg::Earlier,
        label: "",
        help: "A pour that was forgotten: its time is asked, and why it comes late",
        when: stands,
    },
    Key {
        on: &[Press::Char('a')],
        msg: Msg::Checks,
        label: "all checks",
        help: "Every check of the chosen mould in full, those that fail first",
        when: |d| d.checks().is_some(),
    },
    Key {
        on: &[Press::Char('s')],
        msg: Msg::Shift,
        label: "",
        help: "What the next shift must know: holds, checks due, crucibles, entries to review",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('h')],
        msg: Msg::Hold,
        label: "hold",
        help: "Fence the chosen mould and everything that comes out of it",
        when: |d| d.mould().is_some(),
    },
    Key {
        on: &[Press::Char('c')],
        msg: Msg::Charge,
        label: "charge",
        help: "Record what is put into a heat; dry and inspected are asked first",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('b')],
        msg: Msg::Bench,
        label: "bench",
        help: "The forms of every other station",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('l')],
        msg: Msg::Lots,
        label: "lots",
        help: "Lots and trials: what may go, what blocks the rest; what a trial says",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('y')],
        msg: Msg::Causes,
        label: "causes",
        help: "What made blades bad: the cause desk",
        when: keys::always,
    },
    Key { on: &[Press::Up], msg: Msg::Up, label: "", help: "The line above", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Down, label: "", help: "The line below", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::PageUp, label: "", help: "A page up", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::PageDown, label: "", help: "A page down", when: keys::always },
];
