//! The furnace desk. The melter sits here and asks what may be poured next; Enter opens the pour form.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::domain::kind;
use crate::domain::tag::folded;
use crate::ops::desk::{Board, Poured, Standing};
use crate::ops::floor::Ready;
use crate::ops::mishap::WrongMould;
use crate::tui::effect::{Ask, Effect, Open, Told};
use crate::tui::keys::{self, Key, Press, Shown};
use crate::tui::screens::line::Purpose;
use crate::tui::screens::mishap::What;
use crate::tui::screens::{STOPS, Screen, Situation};
use crate::tui::theme::Role;
use crate::tui::view::{View, clock, fit, lines, window, wrap};

/// What the desk knows.
#[derive(Default)]
pub struct Furnace {
    board: Option<Board>,
    ready: Option<Ready>,
    at: usize,
    /// The mould whose pour was taken back: it is chosen again.
    back: Option<String>,
}

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

const KEYS: &[Key<Furnace, Msg>] = &[
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

impl Furnace {
    fn total(&self) -> usize {
        self.board.as_ref().map_or(0, |b| b.standing.len() + b.poured.len())
    }

    fn standing(&self) -> Option<&Standing> {
        self.board.as_ref()?.standing.get(self.at)
    }

    fn poured(&self) -> Option<&Poured> {
        let board = self.board.as_ref()?;
        board.poured.get(self.at.checked_sub(board.standing.len())?)
    }

    fn mould(&self) -> Option<&str> {
        self.standing().map(|s| s.mould.as_str()).or_else(|| self.poured().map(|p| p.mould.as_str()))
    }

    fn checks(&self) -> Option<&Ready> {
        self.ready.as_ref().filter(|r| self.mould().is_some_and(|m| folded(m) == folded(&r.mould)))
    }

    fn ask_ready(&mut self, now: &Situation) -> Vec<Effect> {
        match self.mould() {
            Some(mould) => vec![Effect::Ask(Ask::Ready(mould.to_string(), now.now))],
            None => Vec::new(),
        }
    }

    fn go(&mut self, to: usize, now: &Situation) -> Vec<Effect> {
        let to = to.min(self.total().saturating_sub(1));
        if to == self.at {
            return Vec::new();
        }
        self.at = to;
        self.ask_ready(now)
    }

    /// What the form knows from the board: the mould, the heat in use, its place in the order.
    fn given(&self) -> Vec<(String, String)> {
        let (Some(s), Some(board)) = (self.standing(), self.board.as_ref()) else { return Vec::new() };
        let mut out = vec![("mould".to_string(), s.mould.clone())];
        if let Some(heat) = &board.heat {
            out.push(("heat".into(), heat.clone()));
            let before = board.poured.iter().filter(|p| folded(&p.heat) == folded(heat)).count();
            let order =
                if before == 0 && !s.order.is_empty() { s.order.clone() } else { (before + 1).to_string() };
            out.push(("pour_order".into(), order));
        } else if !s.order.is_empty() {
            out.push(("pour_order".into(), s.order.clone()));
        }
        out
    }

    fn pour(&self) -> Vec<Effect> {
        let Some(pours) = kind("pours") else { return Vec::new() };
        let form = Open::Form(pours, self.given());
        let failing: Vec<String> = self
            .checks()
            .map(|r| {
                r.checks.iter().filter(|c| !c.ok).map(|c| format!("✗ {}: {}", c.check, c.reason)).collect()
            })
            .unwrap_or_default();
        if failing.is_empty() {
            return vec![Effect::Open(form)];
        }
        let mut body = failing;
        body.push(String::new());
        body.push("Qualified people decide. The form records what was done; take the time it needs.".into());
        vec![Effect::Open(Open::Question {
            title: format!("{}: not every check is passed. Open the pour form?", self.mould().unwrap_or("")),
            body,
            yes: vec![Effect::Open(form)],
        })]
    }

    fn poured_now(&self, ran_out: bool, now: &Situation) -> Vec<Effect> {
        let given = self.given();
        let of = |name: &str| given.iter().find(|(n, _)| n == name).map(|(_, t)| t.clone());
        let (Some(mould), heat) = (of("mould"), of("heat")) else { return Vec::new() };
        let Some(heat) = heat else {
            // Without a heat there is nothing to log in two keys: the form asks for it.
            return self.pour();
        };
        let mut arguments: Vec<String> = given.iter().map(|(n, t)| format!("{n}={t}")).collect();
        arguments.push(format!("poured_at={}", now.now));
        if ran_out {
            arguments.push("run_out=yes".into());
        }
        arguments.push("note=details to follow".into());
        let what = if ran_out { "poured now, and ran out" } else { "poured now" };
        let at = clock(&now.now.to_string());
        vec![Effect::Open(Open::Question {
            title: format!("{mould}: {what}?"),
            body: vec![format!("from heat {heat}, at {at}; the details can follow later")],
            yes: vec![Effect::Ask(Ask::Log { who: now.who.clone(), kind: "pours", arguments, reason: None })],
        })]
    }

    fn moulds(&self) -> Vec<String> {
        let Some(board) = &self.board else { return Vec::new() };
        board.standing.iter().map(|s| s.mould.clone()).collect()
    }

    /// The chosen mould was meant; another was poured. It may be that its pour is on record already.
    fn wrong(&self) -> Vec<Effect> {
        let what = match (self.standing(), self.poured()) {
            (Some(s), _) => {
                let given = self.given();
                let of = |name: &str| given.iter().find(|(n, _)| n == name).map(|(_, t)| t.clone());
                WrongMould {
                    planned: s.mould.clone(),
                    heat: of("heat"),
                    order: of("pour_order"),
                    ..WrongMould::default()
                }
            }
            (None, Some(p)) => WrongMould {
                planned: p.mould.clone(),
                heat: Some(p.heat.clone()),
                logged: true,
                at: crate::domain::Stamp::parse(&p.at).ok(),
                ..WrongMould::default()
            },
            _ => return Vec::new(),
        };
        vec![Effect::Open(Open::Mishap(What::Wrong(what), self.moulds()))]
    }

    fn act(&mut self, msg: Msg, now: &Situation) -> Vec<Effect> {
        match msg {
            Msg::Pour => self.pour(),
            Msg::PouredNow => self.poured_now(false, now),
            Msg::RanOut => self.poured_now(true, now),
            Msg::Wrong => self.wrong(),
            Msg::Double => match self.mould() {
                Some(m) => vec![Effect::Open(Open::Mishap(What::Double(m.to_string()), self.moulds()))],
                None => Vec::new(),
            },
            Msg::Earlier => {
                let mut given = self.given();
                given.push(("poured_at".into(), String::new()));
                kind("pours").map(|k| Effect::Open(Open::Form(k, given))).into_iter().collect()
            }
            Msg::Shift => vec![Effect::Ask(Ask::Shift(now.now))],
            Msg::Details => match self.poured() {
                Some(p) => vec![Effect::Open(Open::Change(format!("pours:{}", p.mould)))],
                None => Vec::new(),
            },
            Msg::Hold => match self.mould() {
                Some(m) => vec![Effect::Open(Open::Line(Purpose::Hold(m.to_string())))],
                None => Vec::new(),
            },
            Msg::Charge => match kind("charges") {
                Some(charges) => {
                    let heat = self.board.as_ref().and_then(|b| b.heat.clone());
                    let given = heat.map(|h| ("heat".to_string(), h)).into_iter().collect();
                    vec![Effect::Open(Open::Dry(charges, given))]
                }
                None => Vec::new(),
            },
            Msg::Causes => vec![Effect::Open(Open::Causes(crate::ops::causes::Ask::default()))],
            Msg::Lots => vec![Effect::Open(Open::Releases)],
            Msg::Bench => vec![Effect::Open(Open::Bench)],
            Msg::Up => self.go(self.at.saturating_sub(1), now),
            Msg::Down => self.go(self.at + 1, now),
            Msg::PageUp => self.go(self.at.saturating_sub(10), now),
            Msg::PageDown => self.go(self.at + 10, now),
        }
    }
}

impl Screen for Furnace {
    fn title(&self) -> String {
        "Furnace desk".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Board(now.now))]
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(msg) => self.act(msg, now),
            None => Vec::new(),
        }
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, now: &Situation) -> Vec<Effect> {
        let Some((of, tag)) = found else { return vec![crate::tui::screens::unknown(code)] };
        let here = self.board.as_ref().and_then(|b| {
            let standing = b.standing.iter().map(|s| &s.mould);
            standing.chain(b.poured.iter().map(|p| &p.mould)).position(|m| folded(m) == folded(&tag))
        });
        match here {
            Some(place) if of == "moulds" => {
                let mut effects = self.go(place, now);
                effects.push(Effect::Say(Role::Good, format!("scanned {tag}")));
                effects
            }
            _ => vec![Effect::Open(Open::Record(tag))],
        }
    }

    fn told(&mut self, told: &Told, mine: bool, now: &Situation) -> Vec<Effect> {
        match told {
            Told::Board(board) if mine => {
                let before = self.back.take().or_else(|| self.mould().map(String::from)).map(|m| folded(&m));
                self.board = Some(board.clone());
                let standing = board.standing.iter().map(|s| folded(&s.mould));
                // The chosen mould keeps its mark while it stands; once poured, the next one has it.
                let again = standing.clone().position(|m| Some(m) == before);
                self.at = again.unwrap_or(self.at.min(self.total().saturating_sub(1)));
                self.ready = None;
                self.ask_ready(now)
            }
            Told::Shift(text) if mine => vec![Effect::Open(Open::Shift(text.clone()))],
            Told::Ready(ready) if mine => {
                self.ready = Some(ready.clone());
                Vec::new()
            }
            Told::Undone(what) => {
                self.back = what.split_once("pours:").map(|(_, mould)| mould.to_string());
                vec![Effect::Ask(Ask::Board(now.now))]
            }
            Told::Logged(_) => vec![Effect::Ask(Ask::Board(now.now))],
            _ => Vec::new(),
        }
    }

    fn way(&self) -> Vec<(&'static str, Option<bool>)> {
        let Some(ready) = self.checks() else { return STOPS.map(|s| (s, None)).to_vec() };
        let all = |names: &[&str]| {
            let mut found = ready.checks.iter().filter(|c| names.contains(&c.check)).peekable();
            found.peek().is_some().then(|| found.all(|c| c.ok))
        };
        let charged = ready.checks.iter().any(|c| c.check == "charge" && !c.reason.starts_with("no heat"));
        STOPS
            .map(|stop| {
                let done = match stop {
                    "wax" | "tree" => Some(true),
                    "shell" => all(&["coats", "investment", "drying"]),
                    "fire" => all(&["dewaxed", "fired"]),
                    "melt" => Some(charged && all(&["charge"]) == Some(true)),
                    "pour" => all(&["not poured yet"]).map(|not| !not),
                    _ => None,
                };
                (stop, done)
            })
            .to_vec()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let left = Rect { width: (area.width * 45 / 100).clamp(1, 52), ..area };
        let right =
            Rect { x: area.x + left.width + 1, width: area.width.saturating_sub(left.width + 1), ..area };
        self.draw_list(frame, left, view);
        self.draw_checks(frame, right, view);
    }
}

impl Furnace {
    fn draw_list(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let Some(board) = &self.board else {
            return lines(frame, area, vec![view.line(Role::Quiet, "reading the store …")]);
        };
        let mut rows: Vec<Line<'static>> = Vec::new();
        let mut chosen_row = 0;
        let head = |text: String| view.line(Role::Strong, fit(&text, width));
        // Long lists are cut to what can be in sight before any line is made.
        let height = usize::from(area.height);
        let n = board.standing.len();
        rows.push(head(format!("To be poured: {n}")));
        if n == 0 {
            rows.push(view.line(Role::Quiet, fit("every mould on record is poured", width)));
        }
        let first = window(self.at.min(n), n, height.saturating_sub(8).max(3));
        for (i, s) in board.standing.iter().enumerate().skip(first).take(height) {
            if i - first >= height.saturating_sub(8).max(3) && n > height {
                break;
            }
            if i == self.at {
                chosen_row = rows.len();
            }
            let plan = match (s.planned_on.as_str(), s.furnace.as_str(), s.order.as_str()) {
                ("", ..) => "not planned".to_string(),
                (day, furnace, order) => {
                    let order = if order.is_empty() { String::new() } else { format!(" #{order}") };
                    format!("{} {furnace}{order}", day.get(5..).unwrap_or(day))
                }
            };
            let target = if s.target_c.is_empty() { String::new() } else { format!("{} °C", s.target_c) };
            rows.push(self.row(view, i, width, &s.mould, &plan, &target));
        }
        rows.push(Line::default());
        rows.push(head("Poured last".into()));
        if board.poured.is_empty() {
            rows.push(view.line(Role::Quiet, fit("no pour is on record", width)));
        }
        for (k, p) in board.poured.iter().enumerate() {
            let i = n + k;
            if i == self.at {
                chosen_row = rows.len();
            }
            // Today by its time of day, earlier by its date; both where there is room.
            let today = view.now.to_string().get(..10) == p.at.get(..10);
            let at = match (width >= 48, today) {
                (true, _) => p.at.get(5..16).unwrap_or(&p.at).replace('T', " "),
                (false, true) => p.at.get(11..16).unwrap_or("").to_string(),
                (false, false) => p.at.get(5..10).unwrap_or("").to_string(),
            };
            let last = if p.run_out {
                "! ran out".to_string()
            } else if p.indicated_c.is_empty() {
                "! details".to_string()
            } else {
                format!("{} °C", p.indicated_c)
            };
            rows.push(self.row(view, i, width, &p.mould, &format!("{} {at}", p.heat), &last));
        }
        let skip = (chosen_row + 1).saturating_sub(height);
        lines(frame, area, rows.into_iter().skip(skip).collect());
    }

    fn row(&self, view: &View, i: usize, width: usize, a: &str, b: &str, c: &str) -> Line<'static> {
        let chosen = i == self.at;
        let mark = if chosen { "▸" } else { " " };
        let (last, wide) = (9.min(width / 3), 9.min(width / 3));
        let middle = width.saturating_sub(last + wide + 4);
        let text = format!("{mark} {} {} {}", fit(a, wide), fit(b, middle), fit(c, last));
        let role = match (chosen, c.starts_with('!')) {
            (true, _) => Role::Chosen,
            (false, true) => Role::Look,
            _ => Role::Text,
        };
        view.line(role, fit(&text, width))
    }

    fn draw_checks(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        if let Some(heat) = self.board.as_ref().and_then(|b| b.heat.as_ref()) {
            rows.push(view.line(Role::Text, fit(&format!("heat in use: {heat}"), width)));
        }
        let Some(mould) = self.mould() else {
            rows.push(view.line(Role::Quiet, fit("scan a mould, or b for the bench", width)));
            return lines(frame, area, rows);
        };
        let Some(ready) = self.checks() else {
            rows.push(view.line(Role::Strong, fit(mould, width)));
            rows.push(view.line(Role::Quiet, "reading its records …"));
            return lines(frame, area, rows);
        };
        let poured = self.poured().is_some();
        let (role, verdict) = match (poured, ready.ready) {
            (true, _) => (Role::Strong, "is poured; its checks at that time:"),
            (_, true) => (Role::Good, "✓ may be poured by these records"),
            _ => (Role::Bad, "✗ not every check is passed"),
        };
        rows.push(view.line(Role::Strong, fit(mould, width)));
        rows.push(view.line(role, fit(verdict, width)));
        for check in ready.checks.iter().filter(|c| !poured || c.check != "not poured yet") {
            let text = format!("{}: {}", check.check, check.reason);
            for (k, part) in wrap(&text, width.saturating_sub(2)).into_iter().enumerate() {
                let mark = if k == 0 { view.mark(check.ok) } else { view.span(Role::Text, " ") };
                let role = if check.ok { Role::Text } else { Role::Strong };
                rows.push(Line::from(vec![mark, view.span(role, format!(" {part}"))]));
            }
        }
        lines(frame, area, rows);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Stamp;
    use crate::tui::theme::{Depth, Room, Theme};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn drawn(desk: &Furnace, width: u16, height: u16) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        let theme = Theme { room: Room::Light, depth: Depth::Sixteen, ascii: false };
        let now = Stamp::parse("2031-05-26T08:00:00+00:00").unwrap();
        let view = View { theme, now, at_ms: 0, who: None };
        terminal.draw(|f| desk.draw(f, f.area(), &view)).unwrap();
        terminal.backend().to_string()
    }

    #[test]
    fn the_chosen_line_is_in_sight_in_a_list_of_any_length() {
        let poured = Poured { mould: "P-LAST".into(), ..Poured::default() };
        for n in [0_usize, 1, 5, 30, 100_000] {
            let named = |i| Standing { mould: format!("M-{i}"), ..Standing::default() };
            let board = Board {
                standing: (0..n).map(named).collect(),
                poured: vec![poured.clone(); 12],
                ..Board::default()
            };
            let mut desk = Furnace { board: Some(board), ..Furnace::default() };
            for at in [0, 1, n / 2, n.saturating_sub(1), n, n + 11] {
                desk.at = at.min(n + 11);
                for (width, height) in [(78, 18), (118, 34), (30, 6)] {
                    let screen = drawn(&desk, width, height);
                    assert_eq!(screen.matches('▸').count(), 1, "{n} {at} {width}x{height}:\n{screen}");
                }
            }
        }
    }
}
