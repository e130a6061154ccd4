//! The keys of the chart desk.

use crate::jobs::causes::screen::question::{Part, change};
use crate::jobs::charts::screen::{ChartDesk, ChartPage};
use crate::jobs::desks;
use crate::ui::kit::*;

type K = Key<ChartDesk>;

pub(crate) const KEYS: &[K] = &[
    K::on(&[Press::Char('1')], |d, _| d.go_to(ChartPage::Time))
        .named("time", "In time: points, limits, signals, what changed meanwhile"),
    K::on(&[Press::Char('2')], |d, _| d.go_to(ChartPage::Points))
        .named("heats", "A rate against a reading: every heat (or mould) a point, with the slope"),
    K::on(&[Press::Char('3')], |d, _| d.go_to(ChartPage::Parts))
        .named("parts", "The same in parts of the reading, each rate with its interval"),
    K::on(&[Press::Char('4')], |d, _| d.go_to(ChartPage::Positions))
        .named("tree", "Where on the tree: positions against moulds"),
    K::on(&[Press::Char('5')], |d, _| d.go_to(ChartPage::Zones))
        .named("blade", "Where on the blade: zones, counts against what was inspected"),
    K::on(&[Press::Tab], |d, _| d.page_on(1)).help("The next picture"),
    K::on(&[Press::BackTab], |d, _| d.page_on(4)).help("The picture before"),
    K::on(change(Part::Defect), |d, _| d.question.open(Part::Defect)).named("defect", "Choose the defect"),
    K::on(change(Part::Zone), |d, _| d.question.open(Part::Zone)).help("Choose the zone of the finding"),
    K::on(change(Part::Method), |d, _| d.question.open(Part::Method)).help("Choose the inspection method"),
    K::on(change(Part::Design), |d, _| d.question.open(Part::Design)).help("Choose the part"),
    K::on(change(Part::Since), |d, _| d.question.open(Part::Since))
        .help("Only what was poured from a date on"),
    K::on(change(Part::Until), |d, _| d.question.open(Part::Until)).help("Only what was poured until a date"),
    K::on(change(Part::Below), |d, _| d.question.open(Part::Below))
        .help("Only what came out of a record: its tag, typed or scanned"),
    K::on(&[Press::Char('x')], |d, _| d.reject())
        .help("Count findings of rejecting inspections only, or all"),
    K::on(&[Press::Char('f')], |d, _| d.pick(false))
        .named("what", "What is charted in time: the rate, a reading, a measured characteristic")
        .when(|d| d.page == ChartPage::Time),
    K::on(&[Press::Char('a')], |d, _| d.pick(true))
        .named("against", "The reading that the rate is held against"),
    K::on(&[Press::Char('g')], |d, _| d.group())
        .named("by", "What a point is: heat, mould, day, week, month, as it suits")
        .when(|d| d.page != ChartPage::Zones && d.page != ChartPage::Positions),
    K::on(&[Press::Char('n')], |d, _| d.to(d.next_signal().unwrap_or(d.at)))
        .named("signal", "The next point that breaks a rule")
        .when(|d| d.next_signal().is_some()),
    K::on(&[Press::Char('i')], |d, _| d.turn_rules())
        .help("The run rules too, or the limits alone")
        .when(|d| d.page == ChartPage::Time),
    K::on(&[Press::Enter], |d, _| d.tag().map(desks::trace).into_iter().collect())
        .named("trace", "Trace the mould, heat or record at the cursor")
        .when(|d| d.tag().is_some()),
    K::on(&[Press::F(9)], |d, _| d.working())
        .named("working", "Show the working: formula, inputs, records, source, assumptions")
        .when(|d| d.shown.is_some()),
    K::on(&[Press::Char('.'), Press::Esc], |d, _| d.question.interrupt())
        .named("stop", "Stop; what was there before stays")
        .when(|d| d.question.runs()),
    K::on(&[Press::Esc], close).named("back", "Back"),
    K::on(&[Press::Left], |d, _| d.step(-1)).help("A point, mould or line back"),
    K::on(&[Press::Right], |d, _| d.step(1)).help("A point, mould or line on"),
    K::on(&[Press::Up], |d, _| d.step_row(-1)).help("A line up"),
    K::on(&[Press::Down], |d, _| d.step_row(1)).help("A line down"),
    K::on(&[Press::PageUp], |d, _| d.step(-10)).help("Ten back"),
    K::on(&[Press::PageDown], |d, _| d.step(10)).help("Ten on"),
    K::on(&[Press::Home], |d, _| d.to(0)).help("The first"),
    K::on(&[Press::End], |d, _| d.to(d.count().saturating_sub(1))).help("The last"),
];
