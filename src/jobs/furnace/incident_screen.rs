//! A mishap at the furnace. The melter says which mould it really was; F2 records it in one step.

use crate::jobs::furnace::incident;
use crate::jobs::furnace::incident::{Evidence, WrongMould};
use crate::jobs::records::orders::together;
use crate::ui::kit::*;
use records::catalogue::Moulds;
use records::value::tag::folded;

#[derive(Clone, Debug)]
pub enum Mistake {
    /// Another mould was poured than the one that was meant.
    WrongMould(WrongMould),
    DoubleTag(String),
}

/// The mishap, and the moulds that it may be about.
pub struct Mishap {
    what: Mistake,
    moulds: Vec<String>,
    /// The chosen one; `moulds.len()` is "not known", for a tag on two moulds.
    at: usize,
    evidence: Vec<Evidence>,
    /// Somebody scanned or chose it: nothing is chosen by itself.
    picked: bool,
    saving: bool,
}

type K = Key<Mishap>;

const KEYS: &[K] = &[
    K::on(&[Press::F(2)], Mishap::record)
        .named("record it", "Record what happened, all in one step")
        .when(|m| !m.saving && m.picked && (m.at < m.moulds.len() || m.is_double())),
    K::on(&[Press::Down], |m, _| m.step(1)).named("next mould", "The mould below"),
    K::on(&[Press::Up], |m, _| m.step(-1)).help("The mould above"),
    K::on(&[Press::PageDown], |m, _| m.step(10)).help("Ten further down"),
    K::on(&[Press::PageUp], |m, _| m.step(-10)).help("Ten further up"),
    K::on(&[Press::Esc], close).named("back", "Leave it; nothing is recorded"),
];

impl Mishap {
    /// With the moulds that stand there; the one that it is about is left out.
    pub fn new(what: Mistake, mut moulds: Vec<String>) -> Self {
        let about = folded(match &what {
            Mistake::WrongMould(w) => &w.planned,
            Mistake::DoubleTag(tag) => tag,
        });
        moulds.retain(|m| folded(m) != about);
        Self { what, moulds, at: 0, evidence: Vec::new(), picked: false, saving: false }
    }

    fn is_double(&self) -> bool {
        matches!(self.what, Mistake::DoubleTag(_))
    }

    /// How many there are to choose from.
    fn total(&self) -> usize {
        self.moulds.len() + usize::from(self.is_double())
    }

    fn ask_evidence(&mut self) -> Vec<Effect> {
        self.evidence.clear();
        match (&self.what, self.moulds.get(self.at)) {
            (Mistake::DoubleTag(tag), Some(other)) if self.picked => {
                let both = (tag.clone(), other.clone());
                vec![Effect::read(both, |store, (a, b)| incident::evidence(store, a, b))]
            }
            _ => Vec::new(),
        }
    }

    fn record(&mut self, now: &Context) -> Vec<Effect> {
        let effect = match (&self.what, self.moulds.get(self.at).cloned()) {
            (Mistake::WrongMould(w), Some(really)) => {
                let what = WrongMould { really, ..w.clone() };
                Effect::write(now, what, |store, who, what| {
                    Ok(together(incident::wrong_mould(store, who, what)?))
                })
            }
            (Mistake::DoubleTag(tag), other) => {
                Effect::write(now, (tag.clone(), other), |store, who, (tag, other)| {
                    Ok(together(incident::double_tag(store, who, tag, other.as_deref())?))
                })
            }
            (Mistake::WrongMould(_), None) => return Vec::new(),
        };
        self.saving = true;
        vec![effect]
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        let by = if std::mem::replace(&mut self.picked, true) || by.abs() > 1 { by } else { 0 };
        self.at = step(self.at, by, self.total());
        self.ask_evidence()
    }
}

impl Screen for Mishap {
    fn title(&self) -> String {
        match &self.what {
            Mistake::WrongMould(w) => format!("Wrong mould poured, not {}", w.planned),
            Mistake::DoubleTag(tag) => format!("Two moulds carry {tag}"),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        self.ask_evidence()
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, _now: &Context) -> Vec<Effect> {
        match found {
            Some((Moulds::NAME, tag)) => {
                self.picked = true;
                let place = self.moulds.iter().position(|m| folded(m) == folded(&tag));
                self.at = place.unwrap_or_else(|| {
                    self.moulds.insert(0, tag.clone());
                    0
                });
                let mut out = self.ask_evidence();
                out.push(Effect::say(Role::Good, format!("scanned {tag}")));
                out
            }
            Some((_, tag)) => {
                vec![Effect::say(Role::Look, format!("{tag} is no mould; nothing was changed"))]
            }
            None => unknown(code),
        }
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(evidence) = reply.take() {
            self.evidence = evidence;
        }
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        mine.then_some(Effect::Close).into_iter().collect()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.saving = false;
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn types(&self) -> bool {
        false
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        let mut put = |role: Role, text: &str| rows.extend(view.wrapped(role, text, width));
        let chosen = self.moulds.get(self.at).filter(|_| self.picked);
        match (&self.what, chosen) {
            (Mistake::WrongMould(w), _) => {
                put(Role::Strong, "Which mould was really poured? Scan it, or choose it below by ↓.");
                let heat = w.heat.as_deref().map_or(String::new(), |h| format!(" from heat {h}"));
                let really = chosen.map_or("the mould really poured", String::as_str);
                let at = w.at.map_or_else(|| view.now.to_string(), |t| t.to_string());
                let pour = if w.logged { "the pour on record moves to" } else { "the pour stands on" };
                put(Role::Text, &format!("Recorded in one step: {pour} {really}{heat}, {};", clock(&at)));
                put(Role::Text, &format!("a hold on {really} with the reason; {} stays planned.", w.planned));
            }
            (Mistake::DoubleTag(tag), _) => {
                put(Role::Strong, &format!("Which other mould may it be? Both are fenced: {tag} and"));
                put(
                    Role::Text,
                    chosen.map_or(
                        "the one that is not known yet; the hold on the tag fences it",
                        String::as_str,
                    ),
                );
            }
        }
        rows.push(ratatui::text::Line::default());
        let total = self.total();
        let height =
            if self.evidence.is_empty() { usize::from(area.height).saturating_sub(rows.len()) } else { 5 };
        if total == 0 {
            rows.push(view.line(Role::Quiet, fit("no other mould stands there; scan it", width)));
        }
        for i in in_sight(self.at, total, height) {
            let (name, here) =
                (self.moulds.get(i).map_or("not known yet", String::as_str), self.picked && i == self.at);
            rows.push(view.line(view.row(here), fit(&format!("{} {name}", mark(here)), width)));
        }
        if !self.evidence.is_empty() {
            rows.push(ratatui::text::Line::default());
            rows.push(
                view.line(Role::Strong, fit("What the records say of both; ! tells them apart", width)),
            );
            for e in &self.evidence {
                let (mark, role) = if e.separates() { ("!", Role::Look) } else { (" ", Role::Quiet) };
                let blank = |t: &str| if t.is_empty() { "not recorded".to_string() } else { clocks(t) };
                let half = width.saturating_sub(25) / 2;
                let text = format!(
                    "{mark} {} {} {}",
                    fit(e.what, 20),
                    fit(&blank(&e.a), half),
                    fit(&blank(&e.b), half)
                );
                rows.push(view.line(role, fit(&text, width)));
            }
        }
        lines(frame, area, rows);
    }
}
