//! The chart desk: a rate or a reading in time with what changed beneath, a rate against a reading, where on
//! the tree and where on the blade. The cursor names what it stands on.

mod draw;
mod pick;

use std::sync::Arc;

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::ops::causes::Ask as Asked;
use crate::ops::causes::Choices;
use crate::ops::chart::By;
use crate::ops::chart::ChartAsk;
use crate::ops::chart::Drawn;
use crate::ops::chart::Of;
use crate::ops::chart::Readings;
use crate::ops::chart::Run;
use crate::ops::chart::Wanted;
use crate::report::working::Working;
use crate::tui::effect::{Ask, Effect, Open, Told};
use crate::tui::keys::{self, Key, Press, Shown};
use crate::tui::screens::cause::question::{Done, Editor, Part};
use crate::tui::screens::{Screen, Situation};
use crate::tui::view::View;
use pick::{Pick, Picker};

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Page {
    Time,
    Points,
    Parts,
    Positions,
    Zones,
}

const PAGES: [Page; 5] = [Page::Time, Page::Points, Page::Parts, Page::Positions, Page::Zones];

/// What the desk knows.
pub struct ChartDesk {
    page: Page,
    ask: Asked,
    of: Of,
    by: Option<By>,
    points_by: By,
    rules: bool,
    reading: Option<String>,
    shown: Option<Drawn>,
    run: Option<Arc<Run>>,
    trouble: Option<String>,
    /// The point, the mould, the line that is looked at.
    at: usize,
    /// The position that is looked at.
    row: usize,
    choices: Option<Choices>,
    readings: Option<Box<Readings>>,
    editor: Option<Editor>,
    picker: Option<Picker>,
}

impl Drop for ChartDesk {
    fn drop(&mut self) {
        self.stop();
    }
}

#[derive(Clone, Copy)]
enum Msg {
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

const KEYS: &[Key<ChartDesk, Msg>] = &[
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

impl ChartDesk {
    /// With a question, and a reading to hold it against.
    #[must_use]
    pub fn new(ask: Asked, reading: Option<String>) -> Self {
        Self {
            page: if reading.is_some() { Page::Points } else { Page::Time },
            ask,
            of: Of::Defect,
            by: None,
            points_by: By::Heat,
            rules: false,
            reading,
            shown: None,
            run: None,
            trouble: None,
            at: 0,
            row: 0,
            choices: None,
            readings: None,
            editor: None,
            picker: None,
        }
    }

    fn stop(&mut self) {
        if let Some(run) = self.run.take() {
            run.stop();
        }
    }

    /// Asks for the picture; the run before is no longer wanted.
    fn draw_anew(&mut self) -> Vec<Effect> {
        self.stop();
        self.trouble = None;
        let wanted = match (self.page, &self.reading) {
            (Page::Time, _) => Wanted::Chart(ChartAsk {
                of: self.of.clone(),
                ask: self.ask.clone(),
                by: self.by,
                kind: None,
                rules: self.rules,
                against: None,
            }),
            (Page::Points | Page::Parts, Some(reading)) => {
                Wanted::Against(self.ask.clone(), reading.clone(), self.points_by)
            }
            (Page::Points | Page::Parts, None) => return self.pick(true),
            (Page::Positions, _) => Wanted::Positions(self.ask.clone()),
            (Page::Zones, _) => Wanted::Zones(Asked { zone: None, ..self.ask.clone() }),
        };
        let run = Arc::new(Run::default());
        self.run = Some(run.clone());
        vec![Effect::Ask(Ask::Draw(Box::new(wanted), run))]
    }

    /// Opens the list of readings.
    fn pick(&mut self, against: bool) -> Vec<Effect> {
        self.picker = Some(Picker::new(against, self.readings.as_deref()));
        match self.readings {
            Some(_) => Vec::new(),
            None => vec![Effect::Ask(Ask::Readings)],
        }
    }

    fn turn(&mut self, to: Page) -> Vec<Effect> {
        let same = |p: Page| matches!(p, Page::Points | Page::Parts);
        let kept = same(self.page) && same(to) && matches!(self.shown, Some(Drawn::Against(_)));
        self.page = to;
        if kept && self.run.is_none() && self.trouble.is_none() {
            self.stand();
            return Vec::new();
        }
        self.draw_anew()
    }

    /// How many there are to stand on.
    fn count(&self) -> usize {
        match (self.page, &self.shown) {
            (Page::Time, Some(Drawn::Chart(c))) => c.points.len(),
            (Page::Points, Some(Drawn::Against(a))) => a.points.len(),
            (Page::Parts, Some(Drawn::Against(a))) => a.parts.len(),
            (Page::Positions, Some(Drawn::Positions(r))) => r.columns.len(),
            (Page::Zones, Some(Drawn::Zones(r))) => r.lines.len(),
            _ => 0,
        }
    }

    /// Puts the cursor where a person looks first.
    fn stand(&mut self) {
        let worst = |lines: &[crate::report::places::RateLine]| {
            let rate = |l: &crate::report::places::RateLine| l.rate.unwrap_or(-1.0);
            let best =
                (0..lines.len()).max_by(|&a, &b| rate(&lines[a]).total_cmp(&rate(&lines[b])).then(b.cmp(&a)));
            best.unwrap_or(0)
        };
        (self.at, self.row) = match (self.page, &self.shown) {
            (Page::Time, Some(Drawn::Chart(c))) => {
                (c.signals.first().map_or(c.points.len().saturating_sub(1), |s| s.index - 1), 0)
            }
            (Page::Points, Some(Drawn::Against(a))) => {
                let strongest = a.strongest().map(|p| p.label.clone());
                (a.points.iter().position(|p| Some(&p.label) == strongest.as_ref()).unwrap_or(0), 0)
            }
            (Page::Positions, Some(Drawn::Positions(r))) => {
                let row = worst(&r.lines);
                let first = r.lines.get(row).and_then(|l| l.cells.chars().position(|c| c == 'x'));
                (first.unwrap_or(r.columns.len().saturating_sub(1)), row)
            }
            (Page::Zones, Some(Drawn::Zones(r))) => (worst(&r.lines), 0),
            _ => (0, 0),
        };
    }

    fn step(&mut self, by: isize) {
        self.at = self.at.saturating_add_signed(by).min(self.count().saturating_sub(1));
    }

    fn step_row(&mut self, by: isize) {
        match (self.page, &self.shown) {
            (Page::Positions, Some(Drawn::Positions(r))) => {
                self.row = self.row.saturating_add_signed(by).min(r.lines.len().saturating_sub(1));
            }
            (Page::Parts | Page::Zones, _) => self.step(by),
            _ => {}
        }
    }

    fn next_signal(&self) -> Option<usize> {
        let (Page::Time, Some(Drawn::Chart(c))) = (self.page, &self.shown) else { return None };
        let later = c.signals.iter().map(|s| s.index - 1).find(|i| *i > self.at);
        later.or_else(|| c.signals.first().map(|s| s.index - 1))
    }

    /// What stands at the cursor, where it can be traced.
    fn tag(&self) -> Option<String> {
        match (self.page, &self.shown) {
            (Page::Time, Some(Drawn::Chart(c))) => {
                let p = c.points.get(self.at)?;
                let tag = match c.by.as_str() {
                    "mould" | "heat" => &p.label,
                    "reading" => p.records.first()?,
                    _ => return None,
                };
                // A reading of no tagged record goes by its time.
                Some(tag.clone()).filter(|t| !t.is_empty() && crate::domain::Stamp::parse(t).is_err())
            }
            (Page::Points, Some(Drawn::Against(a))) => a.points.get(self.at).map(|p| p.label.clone()),
            (Page::Positions, Some(Drawn::Positions(r))) => r.columns.get(self.at).cloned(),
            _ => None,
        }
    }

    fn workings(&self) -> Vec<Working> {
        match (self.page, &self.shown) {
            (Page::Time, Some(Drawn::Chart(c))) => c.workings(self.at),
            (Page::Points, Some(Drawn::Against(a))) => a.workings(Some(self.at), None),
            (Page::Parts, Some(Drawn::Against(a))) => a.workings(None, Some(self.at)),
            (Page::Positions, Some(Drawn::Positions(r))) => r.workings(self.row),
            (Page::Zones, Some(Drawn::Zones(r))) => r.workings(self.at),
            _ => Vec::new(),
        }
    }

    fn group(&mut self) {
        if self.page == Page::Time {
            let rate = matches!(self.of, Of::Defect);
            let all = [None, Some(By::Mould), Some(By::Heat), Some(By::Day), Some(By::Week), Some(By::Month)];
            let all: Vec<Option<By>> = all.into_iter().chain((!rate).then_some(Some(By::Reading))).collect();
            let now = all.iter().position(|b| *b == self.by).unwrap_or(0);
            self.by = all[(now + 1) % all.len()];
        } else {
            self.points_by = if self.points_by == By::Heat { By::Mould } else { By::Heat };
        }
    }

    fn edited(&mut self, done: Done) -> Vec<Effect> {
        match done {
            Done::Open => Vec::new(),
            Done::Left => {
                self.editor = None;
                Vec::new()
            }
            Done::Taken => {
                self.editor = None;
                // A question is about a rate.
                self.of = Of::Defect;
                self.draw_anew()
            }
        }
    }

    fn picked(&mut self, press: Press) -> Vec<Effect> {
        let Some(picker) = &mut self.picker else { return Vec::new() };
        match picker.press(press) {
            Pick::Open => Vec::new(),
            Pick::Left => {
                self.picker = None;
                // Without a reading there is nothing to hold a rate against.
                if matches!(self.page, Page::Points | Page::Parts) && self.reading.is_none() {
                    return self.turn(Page::Time);
                }
                Vec::new()
            }
            Pick::Of(of) => {
                self.picker = None;
                (self.of, self.by) = (of, None);
                self.draw_anew()
            }
            Pick::Against(reading) => {
                self.picker = None;
                self.reading = Some(reading);
                if !matches!(self.page, Page::Points | Page::Parts) {
                    self.page = Page::Points;
                }
                self.draw_anew()
            }
        }
    }
}

impl Screen for ChartDesk {
    fn title(&self) -> String {
        "Charts".into()
    }

    fn keys(&self) -> Vec<Shown> {
        if self.takes_text() {
            let key = |key: &str, label, help| Shown { key: key.into(), label, help, works: true };
            return vec![
                key("Enter", "take", "Take it"),
                key("↓", "next", "The line below"),
                key("Esc", "leave", "Leave it as it is"),
            ];
        }
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        let mut effects = self.draw_anew();
        effects.push(Effect::Ask(Ask::CauseChoices));
        effects
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        if let Some(editor) = &mut self.editor {
            let done = editor.press(press, &mut self.ask);
            return self.edited(done);
        }
        if self.picker.is_some() {
            return self.picked(press);
        }
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Page(page)) if page != self.page => return self.turn(page),
            Some(Msg::Page(_)) | None => {}
            Some(Msg::Turn(by)) => {
                let now = PAGES.iter().position(|p| *p == self.page).unwrap_or(0);
                return self.turn(PAGES[(now + by) % PAGES.len()]);
            }
            Some(Msg::Change(part)) => {
                self.editor = Some(Editor::new(part, &mut self.ask, self.choices.as_ref()));
            }
            Some(Msg::Rejected) => {
                self.ask.rejected = !self.ask.rejected;
                return self.draw_anew();
            }
            Some(Msg::Charted) => return self.pick(false),
            Some(Msg::Against) => return self.pick(true),
            Some(Msg::Group) => {
                self.group();
                return self.draw_anew();
            }
            Some(Msg::Rules) => {
                self.rules = !self.rules;
                return self.draw_anew();
            }
            Some(Msg::Signal) => self.at = self.next_signal().unwrap_or(self.at),
            Some(Msg::Trace) => {
                return self.tag().map(|t| Effect::Open(Open::Trace(t))).into_iter().collect();
            }
            Some(Msg::Working) => return vec![Effect::Open(Open::Working(self.workings()))],
            Some(Msg::Stop) => {
                self.stop();
                self.trouble = Some("stopped; any change of the question asks again".into());
            }
            Some(Msg::Back) => {
                self.stop();
                return vec![Effect::Close];
            }
            Some(Msg::Move(by)) => self.step(by),
            Some(Msg::Row(by)) => self.step_row(by),
            Some(Msg::First) => self.at = 0,
            Some(Msg::Last) => self.at = self.count().saturating_sub(1),
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        let ask = &mut self.ask;
        match self.editor.as_mut().and_then(|e| e.scanned(code, found.as_ref(), ask)) {
            Some(done) => self.edited(done),
            None => crate::tui::screens::shown_record(code, found),
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Situation) -> Vec<Effect> {
        if let Some(editor) = &mut self.editor {
            editor.text.push_str(&pasted.join(" "));
        } else if let Some(picker) = &mut self.picker {
            picker.typed(&pasted.join(" "));
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Drawn(drawn) if mine && self.run.is_some() => {
                self.run = None;
                self.trouble = None;
                self.shown = Some((**drawn).clone());
                self.stand();
            }
            Told::Readings(readings) if mine => {
                self.readings = Some(readings.clone());
                if let Some(picker) = &mut self.picker {
                    picker.fill(readings);
                }
            }
            Told::CauseChoices(choices) if mine => {
                if let Some(editor) = &mut self.editor {
                    editor.fill(&mut self.ask, choices);
                }
                self.choices = Some(choices.clone());
            }
            Told::Failed { sentence, .. } if mine => {
                self.run = None;
                self.trouble = Some(sentence.clone());
            }
            _ => {}
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        self.editor.is_some() || self.picker.is_some()
    }

    fn charts(&self) -> Option<(Asked, Option<String>)> {
        None
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        self.draw_desk(frame, area, view);
    }
}
