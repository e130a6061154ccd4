//! The chart desk: a rate or a reading in time with what changed beneath, a rate against a reading, where on
//! the tree and where on the blade. The cursor names what it stands on.

pub(crate) mod cursor;
pub(crate) mod draw;
pub(crate) mod keys;
pub(crate) mod pick;

use std::sync::Arc;

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::jobs::causes::ask::Ask as Asked;
use crate::jobs::causes::screen::question::Asking;
use crate::jobs::charts::ask::By;
use crate::jobs::charts::ask::ChartAsk;
use crate::jobs::charts::ask::Drawn;
use crate::jobs::charts::ask::Of;
use crate::jobs::charts::ask::Readings;
use crate::jobs::charts::ask::Wanted;
use crate::jobs::charts::screen::keys::{KEYS, Msg};
use crate::jobs::charts::screen::pick::{Pick, Picker};
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys as presses;
use crate::ui::keys::{Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::view::View;
use knowledge::causes::Watch;

/// What is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Page {
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
    question: Asking,
    of: Of,
    by: Option<By>,
    points_by: By,
    rules: bool,
    reading: Option<String>,
    shown: Option<Drawn>,
    run: Option<Arc<Watch>>,
    trouble: Option<String>,
    /// The point, the mould, the line that is looked at.
    at: usize,
    /// The position that is looked at.
    row: usize,
    readings: Option<Box<Readings>>,
    picker: Option<Picker>,
}

impl Drop for ChartDesk {
    fn drop(&mut self) {
        self.stop();
    }
}

impl ChartDesk {
    /// With a question, and a reading to hold it against.
    #[must_use]
    pub fn new(ask: Asked, reading: Option<String>) -> Self {
        Self {
            page: if reading.is_some() { Page::Points } else { Page::Time },
            question: Asking::new(ask),
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
            readings: None,
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
                ask: self.question.ask.clone(),
                by: self.by,
                kind: None,
                rules: self.rules,
                against: None,
            }),
            (Page::Points | Page::Parts, Some(reading)) => {
                Wanted::Against(self.question.ask.clone(), reading.clone(), self.points_by)
            }
            (Page::Points | Page::Parts, None) => return self.pick(true),
            (Page::Positions, _) => Wanted::Positions(self.question.ask.clone()),
            (Page::Zones, _) => Wanted::Zones(Asked { zone: None, ..self.question.ask.clone() }),
        };
        let run = Arc::new(Watch::default());
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

    /// The question is another one: it is about a rate.
    fn asked_anew(&mut self) -> Vec<Effect> {
        self.of = Of::Defect;
        self.draw_anew()
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
            return Asking::keys();
        }
        presses::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        let mut effects = self.draw_anew();
        effects.push(Effect::Ask(Ask::CauseChoices));
        effects
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        if self.question.is_open() {
            return if self.question.press(press) { self.asked_anew() } else { Vec::new() };
        }
        if self.picker.is_some() {
            return self.picked(press);
        }
        match presses::dispatch(KEYS, self, press) {
            Some(Msg::Page(page)) if page != self.page => return self.turn(page),
            Some(Msg::Page(_)) | None => {}
            Some(Msg::Turn(by)) => {
                let now = PAGES.iter().position(|p| *p == self.page).unwrap_or(0);
                return self.turn(PAGES[(now + by) % PAGES.len()]);
            }
            Some(Msg::Change(part)) => self.question.open(part),
            Some(Msg::Rejected) => {
                self.question.ask.rejected = !self.question.ask.rejected;
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
        match self.question.scanned(code, found.as_ref()) {
            Some(true) => self.asked_anew(),
            Some(false) => Vec::new(),
            None => crate::ui::screen::shown_record(code, found),
        }
    }

    fn paste(&mut self, pasted: &[String], _now: &Situation) -> Vec<Effect> {
        let pasted = pasted.join(" ");
        if self.question.paste(&pasted) {
            return Vec::new();
        }
        if let Some(picker) = &mut self.picker {
            picker.typed(&pasted);
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
            Told::CauseChoices(choices) if mine => self.question.fill(choices),
            Told::Failed { sentence, .. } if mine => {
                self.run = None;
                self.trouble = Some(sentence.clone());
            }
            _ => {}
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        self.question.is_open() || self.picker.is_some()
    }

    fn charts(&self) -> Option<(Asked, Option<String>)> {
        None
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        self.draw_desk(frame, area, view);
    }
}
