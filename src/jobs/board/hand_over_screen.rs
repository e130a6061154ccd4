//! The hand-over on the board: read, then taken over with a badge and F2.

use crate::jobs::board::hand_over;
use crate::jobs::board::hand_over::HandOver;
use crate::ui::form::drafts_screen::told;
use crate::ui::kit::*;
use crate::ui::order::Order;
use records::Stamp;
use std::cell::Cell;

/// Asks for the page; drafts stand in it where this program keeps some.
#[derive(Clone, Debug)]
struct AskPage(Stamp);

/// The page, the last hand-over, and how many entries the journal had then.
struct Told(String, Option<HandOver>, i64);

impl Order for AskPage {
    type Reply = Told;

    fn perform(&self, worker: &mut Worker) -> records::Result<Told> {
        // Taken first: what is written meanwhile counts as later, though it may stand on the page.
        let (entries, last) = (worker.store.head()?.0, hand_over::last(&worker.store)?);
        let mut page = String::new();
        let drafts = worker.drafts.as_ref().map(|d| d.everywhere()).unwrap_or_default();
        page.push_str(&format!(
            "half-filled forms at this store: {}\n",
            if drafts.is_empty() { "none".into() } else { drafts.len().to_string() }
        ));
        for draft in &drafts {
            page.push_str(&format!("  {}\n", told(draft)));
        }
        page.push_str(&hand_over::page(&worker.store, self.0)?);
        Ok(Told(page, last, entries))
    }
}

/// The page.
#[derive(Default)]
pub struct TakeOver {
    text: Vec<String>,
    last: Option<HandOver>,
    /// Who had it when the page was opened.
    from: Option<String>,
    /// Who works here now: whose badge was scanned last.
    here: Option<String>,
    begun: bool,
    at: usize,
    /// The last line of the page was drawn since it was read.
    ended: Cell<bool>,
    /// Entries of the journal when the page was read.
    entries: Option<i64>,
    /// Something came since, from this line on.
    came: Option<usize>,
    saving: bool,
}

const CAME: &str = "not taken over: something came since: read it, then F2";

type K = Key<TakeOver>;

const KEYS: &[K] = &[
    K::on(&[Press::F(2)], |t, now| t.take(now))
        .named("take over", "Record that you take over; your badge comes first")
        .when(|t| t.to().is_some() && !t.saving),
    K::on(&[Press::Up], |t, _| t.step(-1)).help("A line up"),
    K::on(&[Press::Down], |t, _| t.step(1)).named("down", "A line down"),
    K::on(&[Press::PageUp], |t, _| t.step(-10)).help("A page up"),
    K::on(&[Press::PageDown], |t, _| t.step(10)).help("A page down"),
    K::on(&[Press::Esc], close).named("back", "Back to the board; nothing is recorded"),
];

impl TakeOver {
    fn same(a: &str, b: &str) -> bool {
        a.eq_ignore_ascii_case(b)
    }

    /// Who hands over: who worked here, else who took over last.
    fn from(&self) -> Option<&str> {
        self.from.as_deref().or(self.last.as_ref().map(|l| l.person.as_str()))
    }

    /// Who takes over: somebody else than who hands over.
    fn to(&self) -> Option<&str> {
        let here = self.here.as_deref()?;
        match self.from() {
            Some(from) if Self::same(from, here) => None,
            _ => Some(here),
        }
    }

    fn take(&mut self, now: &Context) -> Vec<Effect> {
        self.here.clone_from(&now.who.person);
        let Some(entries) = self.entries.filter(|_| self.to().is_some()) else { return Vec::new() };
        if let Some(line) = self.came.take() {
            self.at = line;
            self.ended.set(false);
            return vec![Effect::say(Role::Bad, CAME)];
        }
        if !self.ended.get() {
            return vec![Effect::say(Role::Bad, "not taken over: there is more below, read it to its end")];
        }
        self.saving = true;
        let what = (self.from().map(String::from), entries);
        vec![Effect::write(now, what, |store, who, (from, entries)| {
            // In the second before this screen hears of it, too.
            if store.head()?.0 != *entries {
                return Err(records::Error::input(CAME));
            }
            let logged = hand_over::take_over(store, who, from.as_deref())?;
            let said = hand_over::last(store)?.map(|h| clocks(&h.words())).unwrap_or_default();
            Ok(Written { said, ..Written::from(logged) })
        })]
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.text.len());
        Vec::new()
    }

    /// What is to be done, in one sentence.
    fn asks(&self) -> (Role, String) {
        let from = self.from().map(|f| format!(" from {f}")).unwrap_or_default();
        match self.to() {
            Some(_) if self.came.is_some() => (Role::Look, "Something came since: F2 leads to it.".into()),
            Some(to) => (Role::Strong, format!("{to} takes over{from}: read it, then F2.")),
            None => (Role::Look, format!("To take over{from}: scan your badge, read it, then F2.")),
        }
    }
}

impl Screen for TakeOver {
    fn title(&self) -> String {
        "Hand-over".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        if !self.begun {
            (self.begun, self.from) = (true, now.who.person.clone());
        }
        self.here.clone_from(&now.who.person);
        vec![Effect::ask(AskPage(now.now))]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(Told(page, last, entries)) = reply.take() {
            let text: Vec<String> = page.lines().map(clocks).collect();
            if self.entries.replace(entries).is_some_and(|before| before != entries) {
                let differs = text.iter().zip(&self.text).position(|(new, old)| new != old);
                let line = differs.unwrap_or(text.len().min(self.text.len()));
                self.came = Some(self.came.map_or(line, |before| before.min(line)));
            }
            (self.text, self.last) = (text, last);
            self.at = self.at.min(self.text.len().saturating_sub(1));
        }
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.saving = false;
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, mine: bool, now: &Context) -> Vec<Effect> {
        if mine && self.saving { vec![Effect::Close] } else { vec![Effect::ask(AskPage(now.now))] }
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        self.here.clone_from(&now.who.person);
        Vec::new()
    }

    fn is_wall(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let (role, asks) = self.asks();
        let mut rows = view.wrapped(role, &asks, width);
        if let Some(last) = &self.last {
            rows.extend(view.wrapped(Role::Quiet, &clocks(&last.words()), width));
        }
        rows.push(Line::default());
        let room = usize::from(area.height);
        for text in self.text.iter().skip(self.at).take(room) {
            let role = if text.starts_with(' ') { Role::Text } else { Role::Strong };
            rows.extend(broken(text, width).into_iter().map(|l| view.line(role, l)));
        }
        if rows.len() > room {
            rows.truncate(room.saturating_sub(1));
            rows.push(view.line(Role::Look, "↓ there is more below"));
        } else if self.entries.is_some() {
            self.ended.set(true);
        }
        lines(frame, area, rows);
    }
}
