//! The keys of the chart desk.

use crate::jobs::causes::screen::question::Part;
use crate::jobs::charts::screen::{ChartDesk, Page};
use crate::ui::keys;
use crate::ui::keys::{Key, Press};

/// What a key of the desk asks for.
#[derive(Clone, Copy)]
pub(crate) enum Msg {
    Page(Page),
    Turn(usize),
    Change(Part),
    Rejected,
    Charted,
    Against,
    Group,
    Rules,
    Signal,
    Trace,
    Working,
    Stop,
    Back,
    Move(isize),
    Row(isize),
    First,
    Last,
}

const fn page(
    on: &'static [Press],
    page: Page,
    label: &'static str,
    help: &'static str,
) -> Key<ChartDesk, Msg> {
    Key { on, msg: Msg::Page(page), label, help, when: keys::always }
}

const fn part(
    on: &'static [Press],
    part: Part,
    label: &'static str,
    help: &'static str,
) -> Key<ChartDesk, Msg> {
    Key { on, msg: Msg::Change(part), label, help, when: keys::always }
}

const fn go(on: &'static [Press], msg: Msg, help: &'static str) -> Key<ChartDesk, Msg> {
    Key { on, msg, label: "", help, when: keys::always }
}

/// The keys of the desk.
pub(crate) const KEYS: &[Key<ChartDesk, Msg>] = &[
    page(&[Press::Char('1')], Page::Time, "time", "In time: points, limits, signals, what changed meanwhile"),
    page(
        &[Press::Char('2')],
        Page::Points,
        "heats",
        "A rate against a reading: every heat (or mould) a point, with the slope",
    ),
    page(
        &[Press::Char('3')],
        Page::Parts,
        "parts",
        "The same in parts of the reading, each rate with its interval",
    ),
    page(&[Press::Char('4')], Page::Positions, "tree", "Where on the tree: positions against moulds"),
    page(
        &[Press::Char('5')],
        Page::Zones,
        "blade",
        "Where on the blade: zones, counts against what was inspected",
    ),
    Key { on: &[Press::Tab], msg: Msg::Turn(1), label: "", help: "The next picture", when: keys::always },
    Key {
        on: &[Press::BackTab],
        msg: Msg::Turn(4),
        label: "",
        help: "The picture before",
        when: keys::always,
    },
    part(&[Press::Char('d')], Part::Defect, "defect", "Choose the defect"),
    part(&[Press::Char('z')], Part::Zone, "", "Choose the zone of the finding"),
    part(&[Press::Char('m')], Part::Method, "", "Choose the inspection method"),
    part(&[Press::Char('p')], Part::Design, "", "Choose the part"),
    part(&[Press::Char('s')], Part::Since, "", "Only what was poured from a date on"),
    part(&[Press::Char('e')], Part::Until, "", "Only what was poured until a date"),
    part(&[Press::Char('b')], Part::Below, "", "Only what came out of a record: its tag, typed or scanned"),
    Key {
        on: &[Press::Char('x')],
        msg: Msg::Rejected,
        label: "",
        help: "Count findings of rejecting inspections only, or all",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('f')],
        msg: Msg::Charted,
        label: "what",
        help: "What is charted in time: the rate, a reading, a measured characteristic",
        when: |d| d.page == Page::Time,
    },
    Key {
        on: &[Press::Char('a')],
        msg: Msg::Against,
        label: "against",
        help: "The reading that the rate is held against",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('g')],
        msg: Msg::Group,
        label: "by",
        help: "What a point is: heat, mould, day, week, month, as it suits",
        when: |d| d.page != Page::Zones && d.page != Page::Positions,
    },
    Key {
        on: &[Press::Char('n')],
        msg: Msg::Signal,
        label: "signal",
        help: "The next point that breaks a rule",
        when: |d| d.next_signal().is_some(),
    },
    Key {
        on: &[Press::Char('i')],
        msg: Msg::Rules,
        label: "",
        help: "The run rules too, or the limits alone",
        when: |d| d.page == Page::Time,
    },
    Key {
        on: &[Press::Enter],
        msg: Msg::Trace,
        label: "trace",
        help: "Trace the mould, heat or record at the cursor",
        when: |d| d.tag().is_some(),
    },
    Key {
        on: &[Press::F(9)],
        msg: Msg::Working,
        label: "working",
        help: "Show the working: formula, inputs, records, source, assumptions",
        when: |d| d.shown.is_some(),
    },
    Key {
        on: &[Press::Char('.'), Press::Esc],
        msg: Msg::Stop,
        label: "stop",
        help: "Stop; what was there before stays",
        when: |d| d.run.is_some(),
    },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
    go(&[Press::Left], Msg::Move(-1), "A point, mould or line back"),
    go(&[Press::Right], Msg::Move(1), "A point, mould or line on"),
    go(&[Press::Up], Msg::Row(-1), "A line up"),
    go(&[Press::Down], Msg::Row(1), "A line down"),
    go(&[Press::PageUp], Msg::Move(-10), "Ten back"),
    go(&[Press::PageDown], Msg::Move(10), "Ten on"),
    go(&[Press::Home], Msg::First, "The first"),
    go(&[Press::End], Msg::Last, "The last"),
];
