//! The chart desk: a rate or a reading in time with what changed beneath, a rate against a reading, where on
//! the tree and where on the blade. The cursor names what it stands on.

pub(crate) mod cursor;
pub(crate) mod draw;
pub(crate) mod keys;
pub(crate) mod pick;

use std::sync::Arc;

use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::screen::question::{Asking, ask_choices};
use crate::jobs::charts::ask;
use crate::jobs::charts::ask::{By, ChartAsk, Drawn, Of, Readings, Wanted};
use crate::jobs::charts::screen::keys::KEYS;
use crate::jobs::charts::screen::pick::Picker;
use crate::jobs::desks;
use crate::ui::keys::{dispatch, shown};
use crate::ui::kit::*;
use knowledge::causes::Watch;
use records::Result;

/// Draws a picture; whoever asked can look at the run and stop it.
#[derive(Clone, Debug)]
pub struct Draw {
    pub wanted: Wanted,
    pub run: Arc<Watch>,
}

impl Order for Draw {
    /// None where it was stopped.
    type Reply = Option<Drawn>;

    fn sort(&self) -> Sort {
        Sort::Slow
    }

    fn perform(&self, worker: &mut Worker) -> Result<Option<Drawn>> {
        match ask::draw(&worker.store, &self.wanted, &self.run) {
            Err(_) if self.run.is_stopped() => Ok(None),
            drawn => drawn.map(Some),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ChartPage {
    Time,
    Points,
    Parts,
    Positions,
    Zones,
}

const PAGES: [ChartPage; 5] =
    [ChartPage::Time, ChartPage::Points, ChartPage::Parts, ChartPage::Positions, ChartPage::Zones];

pub struct ChartDesk {
    page: ChartPage,
    question: Asking,
    of: Of,
    by: Option<By>,
    points_by: By,
    rules: bool,
    reading: Option<String>,
    shown: Option<Drawn>,
    /// The point, the mould, the line that is looked at.
    at: usize,
    /// The position that is looked at.
    row: usize,
    readings: Option<Readings>,
    picker: Option<Picker>,
}

impl ChartDesk {
    /// With a question, and a reading to hold it against.
    pub fn new(ask: Ask, reading: Option<String>) -> Self {
        Self {
            page: if reading.is_some() { ChartPage::Points } else { ChartPage::Time },
            question: Asking::new(ask),
            of: Of::Defect,
            by: None,
            points_by: By::Heat,
            rules: false,
            reading,
            shown: None,
            at: 0,
            row: 0,
            readings: None,
            picker: None,
        }
    }

    /// Asks for the picture; the run before is no longer wanted.
    fn draw_anew(&mut self) -> Vec<Effect> {
        self.question.trouble = None;
        let wanted = match (self.page, &self.reading) {
            (ChartPage::Time, _) => Wanted::Chart(ChartAsk {
                of: self.of.clone(),
                ask: self.question.ask.clone(),
                by: self.by,
                kind: None,
                rules: self.rules,
                against: None,
            }),
            (ChartPage::Points | ChartPage::Parts, Some(reading)) => {
                Wanted::Against(self.question.ask.clone(), reading.clone(), self.points_by)
            }
            (ChartPage::Points | ChartPage::Parts, None) => {
                self.question.stop();
                return self.pick(true);
            }
            (ChartPage::Positions, _) => Wanted::Positions(self.question.ask.clone()),
            (ChartPage::Zones, _) => Wanted::Zones(Ask { zone: None, ..self.question.ask.clone() }),
        };
        let run = self.question.start();
        vec![Effect::ask(Draw { wanted, run })]
    }

    /// Opens the list of readings.
    fn pick(&mut self, against: bool) -> Vec<Effect> {
        self.picker = Some(Picker::new(against, self.readings.as_ref()));
        match self.readings {
            Some(_) => Vec::new(),
            None => vec![Effect::ask(Read::new((), |store, ()| ask::readings(store)).slow())],
        }
    }

    fn turn(&mut self, to: ChartPage) -> Vec<Effect> {
        let same = |p: ChartPage| matches!(p, ChartPage::Points | ChartPage::Parts);
        let kept = same(self.page) && same(to) && matches!(self.shown, Some(Drawn::Against(_)));
        self.page = to;
        if kept && self.question.is_current() {
            self.stand();
            return Vec::new();
        }
        self.draw_anew()
    }

    fn go_to(&mut self, to: ChartPage) -> Vec<Effect> {
        if to == self.page { Vec::new() } else { self.turn(to) }
    }

    fn page_on(&mut self, by: usize) -> Vec<Effect> {
        let now = PAGES.iter().position(|p| *p == self.page).unwrap_or(0);
        self.turn(PAGES[(now + by) % PAGES.len()])
    }

    fn reject(&mut self) -> Vec<Effect> {
        self.question.ask.rejected = !self.question.ask.rejected;
        self.draw_anew()
    }

    fn turn_rules(&mut self) -> Vec<Effect> {
        self.rules = !self.rules;
        self.draw_anew()
    }

    fn working(&self) -> Vec<Effect> {
        vec![Effect::open(Page::working(&self.workings()))]
    }

    fn group(&mut self) -> Vec<Effect> {
        if self.page == ChartPage::Time {
            let rate = matches!(self.of, Of::Defect);
            let all = [None, Some(By::Mould), Some(By::Heat), Some(By::Day), Some(By::Week), Some(By::Month)];
            let all: Vec<Option<By>> = all.into_iter().chain((!rate).then_some(Some(By::Reading))).collect();
            let now = all.iter().position(|b| *b == self.by).unwrap_or(0);
            self.by = all[(now + 1) % all.len()];
        } else {
            self.points_by = if self.points_by == By::Heat { By::Mould } else { By::Heat };
        }
        self.draw_anew()
    }

    /// The question is another one: it is about a rate.
    fn asked_anew(&mut self) -> Vec<Effect> {
        self.of = Of::Defect;
        self.draw_anew()
    }

    fn picked(&mut self, press: Press) -> Vec<Effect> {
        let Some(picker) = &mut self.picker else { return Vec::new() };
        let pick = picker.press(press);
        let (against, chosen) = (picker.against, picker.chosen());
        match (pick, chosen) {
            (Pick::Open, _) | (Pick::Taken, None) => return Vec::new(),
            (Pick::Left, _) => {
                self.picker = None;
                // Without a reading there is nothing to hold a rate against.
                if matches!(self.page, ChartPage::Points | ChartPage::Parts) && self.reading.is_none() {
                    return self.turn(ChartPage::Time);
                }
                return Vec::new();
            }
            (Pick::Taken, Some(Of::Field(reading))) if against => {
                self.reading = Some(reading);
                if !matches!(self.page, ChartPage::Points | ChartPage::Parts) {
                    self.page = ChartPage::Points;
                }
            }
            (Pick::Taken, Some(of)) => (self.of, self.by) = (of, None),
        }
        self.picker = None;
        self.draw_anew()
    }
}

impl Screen for ChartDesk {
    fn title(&self) -> String {
        "Charts".into()
    }

    fn keys(&self) -> Vec<Shown> {
        if self.takes_text() {
            return Asking::keys();
        }
        shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        let mut effects = self.draw_anew();
        effects.push(ask_choices());
        effects
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        if self.question.is_open() {
            return if self.question.press(press) { self.asked_anew() } else { Vec::new() };
        }
        if self.picker.is_some() {
            return self.picked(press);
        }
        dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, _now: &Context) -> Vec<Effect> {
        match self.question.scanned(code, &found) {
            Some(true) => self.asked_anew(),
            Some(false) => Vec::new(),
            None => shown_record(code, found),
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Context) -> Vec<Effect> {
        let pasted = pasted.join(" ");
        if !self.question.paste(&pasted) {
            if let Some(picker) = &mut self.picker {
                picker.typed.paste(&pasted);
            }
        }
        Vec::new()
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(drawn) = reply.take::<Option<Drawn>>() {
            if let (Some(drawn), true) = (drawn, self.question.runs()) {
                self.question.answered();
                self.shown = Some(drawn);
                self.stand();
            }
        } else if reply.put(&mut self.readings) {
            if let (Some(picker), Some(readings)) = (&mut self.picker, &self.readings) {
                picker.fill(readings);
            }
        } else {
            self.question.hear(&mut reply);
        }
        Vec::new()
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.question.failed(failure)
    }

    fn letters_begin(&mut self) {
        self.question.letters_begin();
    }

    fn letters_back(&mut self, _typed: &str, _of: Option<&'static str>, _fast: bool) -> bool {
        self.question.letters_back()
    }

    fn takes_text(&self) -> bool {
        self.question.is_open() || self.picker.is_some()
    }

    fn offers(&self, desk: &str) -> Offer {
        if desk == desks::CHARTS { Offer::None } else { Offer::Plain }
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        self.draw_desk(frame, area, view);
    }
}
