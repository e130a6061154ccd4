//! Moulds come out of the oven. A run: each scan of a mould records that it came out now. And the same for one mould, on a
//! panel that names it and its oven.

use crate::jobs::furnace::clock_screen;
use crate::jobs::furnace::clocks;
use crate::jobs::furnace::clocks::{Clock, minutes};
use crate::jobs::furnace::oven_out;
use crate::jobs::furnace::oven_out::Inside;
use crate::jobs::records::orders::Undo;
use crate::ui::big_digits::{HIGH, largest};
use crate::ui::kit::*;
use records::catalogue::Moulds;
use records::read::oven_queries::OvenStay;
use records::value::tag::folded;
use records::{Stamp, Store};

/// Records that a mould came out.
fn record(now: &Context, mould: String) -> Effect {
    Effect::write(now, mould, |store, who, mould| {
        let (logged, inside) = oven_out::out(store, who, mould)?;
        let time = logged.recorded_at.get(11..19).unwrap_or("").to_string();
        let mut said =
            format!("saved {} out of {} ({}) at {time}", inside.mould, inside.oven_run, inside.oven);
        if !inside.others.is_empty() {
            said += &format!("; by its records still in {}", inside.others.join(", "));
        }
        Ok(Written { said, ..Written::from(logged) })
    })
}

/// What the run looks at: the clocks, the moulds that are in ovens, and which of this run's are held by what.
type Seen = (Vec<Clock>, Vec<OvenStay>, Vec<(String, String)>);

fn seen(store: &Store, (now, out): &(Stamp, Vec<String>)) -> records::Result<Seen> {
    store.snapshot(|| {
        let fences = store.open_fences()?;
        let mut held = Vec::new();
        for mould in out {
            let id = store.key_of::<Moulds>(mould)?.0.id;
            for (hold, why, _) in fences.iter().filter(|(.., fence)| fence.has(Moulds::NAME, id)) {
                held.push((mould.clone(), format!("HELD: {mould} by {hold}: {why}")));
            }
        }
        Ok((clocks::clocks(store, *now)?, store.in_ovens()?, held))
    })
}

/// The run.
#[derive(Default)]
pub struct OvenRun {
    /// The moulds of this run, the last one last.
    out: Vec<String>,
    /// Scans that are being written.
    writing: Vec<String>,
    clocks: Vec<Clock>,
    inside: Vec<OvenStay>,
    /// Moulds of this run under a hold, each with the line that says so.
    held: Vec<(String, String)>,
}

type K = Key<OvenRun>;

const KEYS: &[K] = &[
    K::on(&[Press::Backspace], |r, now| r.back(now))
        .named("take the last back", "Take back the last mould of this run, within a minute of it")
        .when(|r| !r.out.is_empty()),
    K::on(&[Press::Esc], close).named("done", "Back; what was scanned is on record"),
];

impl OvenRun {
    fn back(&mut self, now: &Context) -> Vec<Effect> {
        vec![Effect::ask(Undo(now.who.clone()))]
    }

    fn ask(&self, now: &Context) -> Vec<Effect> {
        vec![Effect::read((now.now, self.out.clone()), seen)]
    }

    fn clock(&self, mould: &str) -> Option<&Clock> {
        self.clocks.iter().find(|c| folded(&c.mould) == folded(mould))
    }
}

impl Screen for OvenRun {
    fn title(&self) -> String {
        "Out of the oven".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        self.ask(now)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        match found {
            // Scanned twice in one go: the first is being written.
            Some((Moulds::NAME, tag)) if self.writing.iter().any(|w| folded(w) == folded(&tag)) => Vec::new(),
            Some((Moulds::NAME, tag)) => {
                self.writing.push(tag.clone());
                vec![record(now, tag)]
            }
            Some((kind, tag)) => {
                let noun = records::catalogue::kind(kind).map_or(kind, |k| k.noun);
                unused(&tag, &format!("it is no mould but {}", records::value::words::articled(noun)))
            }
            None => unknown(code),
        }
    }

    fn records_scans(&self) -> bool {
        true
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some((clocks, inside, held)) = reply.take::<Seen>() {
            (self.clocks, self.inside, self.held) = (clocks, inside, held);
        }
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, now: &Context) -> Vec<Effect> {
        // They are written one after the other: it is the oldest.
        self.writing = self.writing.split_off(1.min(self.writing.len()));
        self.ask(now)
    }

    fn changed(&mut self, change: &Change, mine: bool, now: &Context) -> Vec<Effect> {
        if mine {
            match change {
                Change::Undone(_) => {
                    self.out.pop();
                }
                _ if !self.writing.is_empty() => self.out.push(self.writing.remove(0)),
                _ => {}
            }
        }
        self.ask(now)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let rule = "━".repeat(width);
        let mut rows = vec![
            view.line(Role::Good, &rule),
            view.line(Role::Strong, fit("  OUT OF THE OVEN: scan each mould as it comes out", width)),
            view.line(Role::Text, fit("  each scan records that the mould came out at that moment", width)),
            view.line(Role::Good, rule),
        ];
        // The last one in digits that can be read from where the moulds are carried.
        if let Some(last) = self.out.last() {
            let time = self.clock(last).map(|c| (c, minutes(c.seconds(view.now))));
            let room = height.saturating_sub(rows.len() + 8).min(height / 2);
            if let Some((clock, time)) = &time {
                let digits = largest(time, width, room.max(HIGH), view.theme.ascii);
                rows.extend(digits.into_iter().map(|d| Line::from(clock_screen::span(clock, view, d))));
            }
        }
        for mould in self.out.iter().rev() {
            rows.push(match self.clock(mould) {
                Some(clock) => {
                    let limit = clock.limit(view.now);
                    let words = clock.words(view.now);
                    let said = format!("{}{words}: {}", clock_screen::mark(limit), limit.words());
                    Line::from(clock_screen::span(clock, view, fit(&said, width)))
                }
                None => view
                    .line(Role::Text, fit(&format!("· {mould} is out; no limit runs from this oven"), width)),
            });
            let held = self.held.iter().filter(|(of, _)| of == mould);
            rows.extend(held.map(|(_, said)| view.line(Role::Bad, fit(&format!("✗ {said}"), width))));
        }
        rows.push(Line::default());
        let n = self.inside.len();
        rows.push(view.line(Role::Strong, fit(&format!("In ovens by their records: {n}"), width)));
        let room = height.saturating_sub(rows.len());
        let cut = n > room;
        for stay in self.inside.iter().take(if cut { room.saturating_sub(1) } else { room }) {
            let since = clock(&stay.started_at.to_string());
            let said = format!("  {} in {} ({}) since {since}", stay.mould, stay.oven_run, stay.oven);
            rows.push(view.line(Role::Text, fit(&said, width)));
        }
        if cut && room > 0 {
            rows.push(view.line(Role::Look, fit(&format!("  and {} more", n + 1 - room), width)));
        }
        lines(frame, area, rows);
    }
}

/// One mould, on a panel.
pub struct OutOfOven {
    mould: String,
    inside: Option<Inside>,
    /// Why it is in no oven.
    not: Option<String>,
    saving: bool,
}

type P = Key<OutOfOven>;

const PANEL: &[P] = &[
    P::on(&[Press::F(2)], |p, now| p.save(now))
        .named("it is out", "Record that it came out at this moment")
        .when(|p| p.inside.is_some() && !p.saving),
    P::on(&[Press::Esc], close).named("back", "Leave it; nothing is recorded"),
];

impl OutOfOven {
    pub fn new(mould: String) -> Self {
        Self { mould, inside: None, not: None, saving: false }
    }

    fn save(&mut self, now: &Context) -> Vec<Effect> {
        let Some(inside) = &self.inside else { return Vec::new() };
        self.saving = true;
        vec![record(now, inside.mould.clone())]
    }
}

impl Screen for OutOfOven {
    fn title(&self) -> String {
        format!("{} out of the oven", self.mould)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(PANEL, self)
    }

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        vec![Effect::read(self.mould.clone(), |store, mould| {
            Ok(oven_out::inside(store, mould).map_err(|e| e.sentence))
        })]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(PANEL, self, press, now)
    }

    fn code(&mut self, code: &str, _found: Lead, _now: &Context) -> Vec<Effect> {
        unused(code, "F2 records the mould that is named here")
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        match reply.take::<Result<Inside, String>>() {
            Some(Ok(inside)) => self.inside = Some(inside),
            Some(Err(why)) => self.not = Some(why),
            None => {}
        }
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.saving = false;
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, mine: bool, now: &Context) -> Vec<Effect> {
        if mine { vec![Effect::Close] } else { self.begin(now) }
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width).saturating_sub(4);
        let said = match (&self.inside, &self.not) {
            (Some(i), _) => {
                let others = match i.others.as_slice() {
                    [] => String::new(),
                    others => format!(" By its records also in {}.", others.join(", ")),
                };
                format!(
                    "in {} ({}) since {}. F2 records that it came out at this moment.{others}",
                    i.oven_run,
                    i.oven,
                    clock(&i.since.to_string())
                )
            }
            (None, Some(why)) => clocks_in(why),
            (None, None) => "reading its records …".into(),
        };
        let body = wrap(&said, width).into_iter().map(|l| view.line(Role::Text, format!("  {l}"))).collect();
        dialog(frame, area, view, &format!("{}: out of the oven?", self.mould), body);
    }
}

/// A sentence with its stamps as screens print them.
fn clocks_in(text: &str) -> String {
    crate::ui::view::clocks(text)
}
