//! The furnace desk. The melter sits here and asks what may be poured next; Enter opens the pour form.

pub(crate) mod draw;
pub(crate) mod keys;

use crate::jobs::bench::progress::Way;
use crate::jobs::bench::progress_screen;
use crate::jobs::desks;
use crate::jobs::furnace::board;
use crate::jobs::furnace::board::{Board, Poured, Standing};
use crate::jobs::furnace::clocks::Clock;
use crate::jobs::furnace::dry_screen::Dry;
use crate::jobs::furnace::incident::WrongMould;
use crate::jobs::furnace::incident_screen::{Mishap, Mistake};
use crate::jobs::furnace::oven_screen::OutOfOven;
use crate::jobs::furnace::readiness;
use crate::jobs::furnace::readiness::{Check, Ready};
use crate::jobs::furnace::screen::keys::KEYS;
use crate::jobs::records::orders::log;
use crate::ui::keys::{dispatch, shown};
use crate::ui::kit::*;
use records::Stamp;
use records::catalogue::{Charges, Moulds, Pours, YesNo};
use records::value::tag::folded;

/// Asks what stands at the furnace; it is stopped between its steps where nobody waits for it.
#[derive(Clone, Debug)]
struct AskBoard(Stamp);

impl Order for AskBoard {
    type Reply = Board;

    fn perform(&self, worker: &mut Worker) -> records::Result<Board> {
        board::board(&worker.store, self.0, &|| worker.goes_on())
    }
}

/// What was done last time with a mould like the chosen one: that mould, and the sentence where there is one.
#[derive(Default)]
struct Like(String, Option<String>);

#[derive(Default)]
pub struct Furnace {
    board: Option<Board>,
    ready: Option<Ready>,
    way: Option<Way>,
    like: Like,
    at: usize,
    /// The mould whose pour was taken back: it is chosen again.
    back: Option<String>,
}

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

    /// The clock of the chosen mould, where it is out of its oven.
    fn clock(&self) -> Option<&Clock> {
        let chosen = folded(&self.standing()?.mould);
        self.board.as_ref()?.clocks.iter().find(|c| folded(&c.mould) == chosen)
    }

    /// The checks of the chosen mould as they are at this moment.
    fn checks_at(&self, now: Stamp) -> Option<Ready> {
        let ready = self.checks()?;
        Some(self.clock().map_or_else(|| ready.clone(), |clock| ready.at(clock, now)))
    }

    /// What was done last time with one like the chosen, while it stands.
    fn like(&self) -> Option<&str> {
        let of = folded(&self.standing()?.mould) == folded(&self.like.0);
        self.like.1.as_deref().filter(|_| of)
    }

    /// The chosen mould comes out of the oven.
    fn out(&self) -> Vec<Effect> {
        self.standing().map(|s| Effect::open(OutOfOven::new(s.mould.clone()))).into_iter().collect()
    }

    fn ask_ready(&self, now: &Context) -> Vec<Effect> {
        let Some(mould) = self.mould() else { return Vec::new() };
        let of = (mould.to_string(), now.now);
        let ready = Effect::read(of, |store, (mould, now)| readiness::ready(store, mould, None, *now));
        let heat = self.board.as_ref().and_then(|b| b.heat.clone());
        let like = Effect::read((mould.to_string(), heat), |store, (mould, heat)| {
            Ok(Like(mould.clone(), board::last_like(store, mould, heat.as_deref())?))
        });
        vec![ready, like, progress_screen::ask(mould)]
    }

    fn go(&mut self, to: usize, now: &Context) -> Vec<Effect> {
        let to = to.min(self.total().saturating_sub(1));
        if to == self.at {
            return Vec::new();
        }
        self.at = to;
        self.ask_ready(now)
    }

    fn step(&mut self, by: isize, now: &Context) -> Vec<Effect> {
        self.go(self.at.saturating_add_signed(by), now)
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

    /// What speaks against pouring the chosen mould, a line each; nothing where every check is passed.
    /// Every key that writes a pour asks by it.
    fn against(&self, now: Stamp) -> Vec<String> {
        let Some(ready) = self.checks_at(now) else {
            return vec!["✗ its checks are not read yet".into()];
        };
        let failing = ready.checks.iter().filter(|c| c.ok != Some(true));
        failing.map(|c| format!("{} {}: {}", sign(c.ok), c.check, clocks(&c.reason))).collect()
    }

    fn verdict(&self) -> &'static str {
        if self.checks().is_some() { "not every check is passed." } else { "its checks are not read yet." }
    }

    /// Every check of the chosen mould on a page of its own, those that fail first.
    fn all_checks(&self, now: Stamp) -> Vec<Effect> {
        let Some(ready) = self.checks_at(now) else { return Vec::new() };
        let mut checks: Vec<&Check> = ready.checks.iter().collect();
        checks.sort_by_key(|c| rank(c.ok));
        let passed = checks.iter().filter(|c| c.ok == Some(true)).count();
        let mut text = format!("{passed} of {} passed\n", checks.len());
        for c in checks {
            text.push_str(&format!("  {} {}: {}\n", sign(c.ok), c.check, c.reason));
        }
        vec![Effect::open(Page::new(format!("Checks of {}", ready.mould), &text))]
    }

    fn pour(&self, now: Stamp) -> Vec<Effect> {
        let form = desks::form(Pours::KIND, self.given());
        let mut body = self.against(now);
        if body.is_empty() {
            return form;
        }
        body.push(String::new());
        body.push("Qualified people decide. The form records what was done; take the time it needs.".into());
        let mould = self.mould().unwrap_or("");
        let title = format!("{mould}: {} Open the pour form?", self.verdict());
        vec![Effect::open(Question::new(title, body, form))]
    }

    fn poured_now(&self, ran_out: bool, now: &Context) -> Vec<Effect> {
        let given = self.given();
        let of = |name: &str| given.iter().find(|(n, _)| n == name).map(|(_, t)| t.clone());
        let (Some(mould), heat) = (of(Pours::mould.name), of(Pours::heat.name)) else { return Vec::new() };
        let Some(heat) = heat else {
            // Without a heat there is nothing to log in two keys: the form asks for it.
            return self.pour(now.now);
        };
        let mut arguments: Vec<String> = given.iter().map(|(n, t)| format!("{n}={t}")).collect();
        arguments.push(format!("{}={}", Pours::poured_at.name, now.now));
        if ran_out {
            arguments.push(format!("{}={}", Pours::run_out.name, YesNo::Yes.word()));
        }
        arguments.push(format!("{}=details to follow", Pours::note.name));
        let what = if ran_out { "poured now, and ran out" } else { "poured now" };
        let asked = now.now;
        let at = asked.to_string();
        let at = at.get(..19).unwrap_or(&at).replace('T', " ");
        let said = format!("from heat {heat}, at {at}; the details can follow later");
        let mut body = self.against(now.now);
        let title = if body.is_empty() {
            format!("{mould}: {what}?")
        } else {
            body.push(String::new());
            format!("{mould}: {} {}{}?", self.verdict(), what[..1].to_uppercase(), &what[1..])
        };
        body.push(said);
        let question = Question::new(title, body, vec![log(now, Pours::NAME, arguments, None)]);
        vec![Effect::open(match self.clock().cloned() {
            Some(clock) => question.watching(move |now| vec![clock.while_asked(asked, now)]),
            None => question,
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
                    heat: of(Pours::heat.name),
                    order: of(Pours::pour_order.name),
                    ..WrongMould::default()
                }
            }
            (None, Some(p)) => WrongMould {
                planned: p.mould.clone(),
                heat: Some(p.heat.clone()),
                logged: true,
                at: Stamp::parse(&p.at).ok(),
                ..WrongMould::default()
            },
            _ => return Vec::new(),
        };
        vec![Effect::open(Mishap::new(Mistake::WrongMould(what), self.moulds()))]
    }

    fn double(&self) -> Vec<Effect> {
        let Some(tag) = self.mould() else { return Vec::new() };
        vec![Effect::open(Mishap::new(Mistake::DoubleTag(tag.into()), self.moulds()))]
    }

    /// A pour that was forgotten: its time is asked.
    fn earlier(&self) -> Vec<Effect> {
        let mut given = self.given();
        given.push((Pours::poured_at.name.into(), String::new()));
        desks::form(Pours::KIND, given)
    }

    fn details(&self) -> Vec<Effect> {
        self.poured().map(|p| desks::change(format!("{}:{}", Pours::NAME, p.mould))).into_iter().collect()
    }

    fn charge(&self) -> Vec<Effect> {
        let heat = self.board.as_ref().and_then(|b| b.heat.clone());
        let given = heat.map(|h| (Charges::heat.name.to_string(), h)).into_iter().collect();
        vec![Effect::open(Dry::new(Charges::KIND, given))]
    }

    fn boarded(&mut self, board: Board, now: &Context) -> Vec<Effect> {
        let before = self.back.take().or_else(|| self.mould().map(String::from)).map(|m| folded(&m));
        // The chosen mould keeps its mark while it stands; once poured, the next one has it.
        let again = board.standing.iter().position(|s| Some(folded(&s.mould)) == before);
        self.board = Some(board);
        self.at = again.unwrap_or(self.at.min(self.total().saturating_sub(1)));
        self.ready = None;
        self.ask_ready(now)
    }
}

/// The mark of a check; what cannot be told has one of its own.
fn sign(ok: Option<bool>) -> &'static str {
    match ok {
        Some(true) => "✓",
        Some(false) => "✗",
        None => "?",
    }
}

/// What fails stands first, then what cannot be told.
fn rank(ok: Option<bool>) -> u8 {
    match ok {
        Some(false) => 0,
        None => 1,
        Some(true) => 2,
    }
}

impl Screen for Furnace {
    fn title(&self) -> String {
        "Furnace desk".into()
    }

    fn keys(&self) -> Vec<Shown> {
        shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        vec![Effect::ask(AskBoard(now.now))]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        let Some((of, tag)) = found else { return unknown(code) };
        let here = self.board.as_ref().and_then(|b| {
            let standing = b.standing.iter().map(|s| &s.mould);
            standing.chain(b.poured.iter().map(|p| &p.mould)).position(|m| folded(m) == folded(&tag))
        });
        match here {
            Some(place) if of == Moulds::NAME => {
                let mut effects = self.go(place, now);
                effects.push(Effect::say(Role::Good, format!("scanned {tag}")));
                effects
            }
            _ => vec![Effect::Show(tag)],
        }
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(board) = reply.take() {
            return self.boarded(board, now);
        }
        if let Some(shift) = reply.take::<String>() {
            return vec![Effect::open(Page::new("For the next shift", &shift))];
        }
        if let Some(way) = reply.take() {
            self.way = way;
        }
        if let Some(like) = reply.take() {
            self.like = like;
        }
        reply.put(&mut self.ready);
        Vec::new()
    }

    fn changed(&mut self, change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        if let Change::Undone(freed) = change {
            self.back.clone_from(freed);
        }
        self.begin(now)
    }

    fn bar(&self, view: &View) -> Option<Line<'static>> {
        let way = self.way.as_ref().filter(|w| self.mould().is_some_and(|m| folded(m) == folded(&w.of)));
        way.map(|w| progress_screen::bar(w, view))
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (left, right) = split(area, (area.width * 45 / 100).clamp(1, 52), 1);
        self.draw_list(frame, left, view);
        self.draw_checks(frame, right, view);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::theme::{Depth, Room, Theme};
    use ratatui::Terminal;
    use ratatui::backend::TestBackend;

    fn drawn(desk: &Furnace, width: u16, height: u16) -> String {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        let theme = Theme { room: Room::Light, depth: Depth::Sixteen, ascii: false };
        let now = Stamp::parse("2031-05-26T08:00:00+00:00").unwrap();
        let view = View { theme, now };
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
