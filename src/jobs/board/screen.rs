//! The board, to be read from three metres: on a wall, on a tablet. It draws itself again with every second and with
//! every change of the records.

use crate::jobs::board::ask;
use crate::jobs::board::ask::{MouldOnBoard, Wall, first_reason, reasons};
use crate::jobs::board::hand_over_screen::TakeOver;
use crate::jobs::board::show::{held, sign};
use crate::jobs::furnace::clock_screen;
use crate::jobs::furnace::clocks::{Limit, minutes};
use crate::jobs::furnace::readiness::Ready;
use crate::ui::big_digits::{HIGH, largest};
use crate::ui::kit::*;
use records::Stamp;
use records::value::words::counted;

/// Whether something was written is asked again after so many milliseconds.
const AGAIN_MS: u64 = 2_000;

/// It is asked anew after so many milliseconds whatever was written: coats dry and checks come due without a record.
const ANEW_MS: u64 = 60_000;

/// Asks for it, where the journal has another head than this; it goes to a worker of its own, so that no write waits for
/// it.
#[derive(Clone, Debug)]
struct AskWall(Stamp, Option<i64>);

/// The board with the head of the journal that it was read at.
struct Seen(i64, Wall);

impl Order for AskWall {
    type Reply = Option<Seen>;

    fn sort(&self) -> Sort {
        Sort::Slow
    }

    fn perform(&self, worker: &mut Worker) -> records::Result<Option<Seen>> {
        let (head, _) = worker.store.head()?;
        if self.1 == Some(head) {
            return Ok(None);
        }
        Ok(Some(Seen(head, ask::wall(&worker.store, self.0, &|| worker.goes_on())?)))
    }
}

#[derive(Default)]
pub struct Board {
    wall: Option<Wall>,
    /// The head of the journal that it was read at.
    head: Option<i64>,
    from: usize,
    asked_ms: u64,
    anew_ms: u64,
    /// An answer is on its way: it is not asked again before, however long it takes.
    waits: bool,
}

type K = Key<Board>;

const KEYS: &[K] = &[
    K::on(&[Press::Char('o')], |_, _| vec![Effect::open(TakeOver::default())])
        .named("hand-over", "What the next shift must know; taken over with a badge and F2"),
    K::on(&[Press::Down], |b, _| b.step(1)).help("A line down"),
    K::on(&[Press::Up], |b, _| b.step(-1)).help("A line up"),
    K::on(&[Press::PageDown, Press::Right], |b, _| b.step(8)).help("Further down"),
    K::on(&[Press::PageUp, Press::Left], |b, _| b.step(-8)).help("Further up"),
    K::on(&[Press::Esc], close).named("back", "Back to the desk, where it was opened from one"),
];

impl Board {
    fn ask(&mut self, now: &Context) -> Vec<Effect> {
        (self.asked_ms, self.anew_ms, self.waits) = (now.at_ms, now.at_ms, true);
        vec![Effect::ask(AskWall(now.now, None))]
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.from = step(self.from, by, 1000);
        Vec::new()
    }
}

impl Screen for Board {
    fn title(&self) -> String {
        "Board".into()
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

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        self.waits = false;
        if let Some(Seen(head, wall)) = reply.take::<Option<Seen>>().flatten() {
            (self.head, self.wall) = (Some(head), Some(wall));
        }
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.waits = false;
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        self.ask(now)
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        if self.waits || now.at_ms.saturating_sub(self.asked_ms) < AGAIN_MS {
            return Vec::new();
        }
        if now.at_ms.saturating_sub(self.anew_ms) >= ANEW_MS || self.wall.is_none() {
            return self.ask(now);
        }
        (self.asked_ms, self.waits) = (now.at_ms, true);
        vec![Effect::ask(AskWall(now.now, self.head))]
    }

    fn is_wall(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let Some(wall) = &self.wall else {
            return lines(frame, area, vec![view.line(Role::Quiet, "reading the store …")]);
        };
        let mut area = area;
        let head = headline(wall, usize::from(area.width), view);
        area = below(frame, area, head);
        area = below(frame, area, digits(wall, area, view));
        let rest = rest(wall);
        if area.width >= 100 {
            let (left, right) = split(area, area.width * 11 / 20, 2);
            let standing = moulds(wall, usize::from(left.width), usize::from(left.height), view);
            rows(frame, left, view, standing, self.from);
            rows(frame, right, view, fitted(rest, usize::from(right.width), view), 0);
        } else {
            let width = usize::from(area.width);
            let rest = fitted(rest, width, view);
            let height = usize::from(area.height).saturating_sub(rest.len());
            let mut all = moulds(wall, width, height, view);
            all.extend(rest);
            rows(frame, area, view, all, self.from);
        }
    }
}

/// Draws lines at the top of an area and gives what is left of it.
fn below(frame: &mut Frame, area: Rect, text: Vec<Line<'static>>) -> Rect {
    let height = (text.len() as u16).min(area.height);
    lines(frame, Rect { height, ..area }, text);
    Rect { y: area.y + height, height: area.height - height, ..area }
}

/// A window on lines; what is below it is counted.
fn rows(frame: &mut Frame, area: Rect, view: &View, all: Vec<Line<'static>>, from: usize) {
    let height = usize::from(area.height);
    let from = from.min(all.len().saturating_sub(height));
    let left = all.len() - from;
    let mut shown: Vec<Line<'static>> = all.into_iter().skip(from).take(height).collect();
    if left > height && height > 0 {
        shown.truncate(height - 1);
        shown.push(view.line(Role::Look, format!("↓ {} below", counted(left + 1 - height, "more line"))));
    }
    lines(frame, area, shown);
}

/// How much there is of everything, and who has the furnace.
fn headline(wall: &Wall, width: usize, view: &View) -> Vec<Line<'static>> {
    let due = wall.due.iter().filter(|d| d.overdue).count();
    let holds = wall.holds.len();
    let counts = format!(
        "{} to pour · {} drying · {due} due · {}",
        wall.standing,
        wall.drying.len(),
        counted(holds, "hold")
    );
    let role = if due + holds > 0 { Role::Look } else { Role::Strong };
    let mut out = vec![view.line(role, fit(&counts, width))];
    if let Some(last) = &wall.hand_over {
        // The day is left out where it is today.
        let at = clock(&last.at);
        let today = view.now.to_string();
        let at = match (today.get(..10), at.split_once(' ')) {
            (Some(today), Some((day, time))) if day == today => time.to_string(),
            _ => at,
        };
        let from = if last.given_by.is_empty() { String::new() } else { format!(" from {}", last.given_by) };
        out.push(view.line(Role::Text, fit(&format!("taken over by {} {at}{from}", last.person), width)));
    }
    out
}

/// The clocks in digits of several lines, side by side, where the window has the room.
fn digits(wall: &Wall, area: Rect, view: &View) -> Vec<Line<'static>> {
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let running: Vec<_> = wall.moulds.iter().filter_map(|m| m.clock.as_ref().map(|c| (m, c))).collect();
    // A small window has room for the digits of one clock, its line, and a few lines of the rest.
    let least = if height >= HIGH + 3 { HIGH + 1 } else { 0 };
    let budget = (height * 2 / 5).max(least);
    if running.is_empty() || budget <= HIGH {
        return Vec::new();
    }
    let beside = running.len().min((width / 40).max(1));
    let cell = width / beside;
    let mut out: Vec<Vec<Span<'static>>> = Vec::new();
    for (i, (mould, clock)) in running.into_iter().take(beside).enumerate() {
        let time = minutes(clock.seconds(view.now));
        let limit = clock.limit(view.now);
        let most = clock.limit_s.map(|s| format!(" of {}", minutes(s as i64))).unwrap_or_default();
        let mut block = largest(&time, cell.saturating_sub(2), budget - 1, view.theme.ascii);
        // Its sign is the mould's: a clock within its limit is no leave to pour.
        let ready = &mould.at(view.now);
        let said = match first_reason(ready) {
            Some(why) if limit == Limit::Within => format!("{}, {}", limit.words(), clocks(&why)),
            _ => limit.words().into(),
        };
        block.push(format!("{} {} {time}{most} {said}", sign(ready.ready), mould.mould));
        for (n, text) in block.into_iter().enumerate() {
            if out.len() <= n {
                out.push(vec![view.span(Role::Text, " ".repeat(cell * i))]);
            }
            let text = fit(&text, cell);
            out[n].push(match (limit, ready.ready) {
                (Limit::Within, Some(false) | None) => view.span(Role::Text, text),
                _ => clock_screen::span(clock, view, text),
            });
        }
    }
    let mut out: Vec<Line<'static>> = out.into_iter().map(Line::from).collect();
    if height > 2 * HIGH + 2 {
        out.push(Line::default());
    }
    out
}

/// Each standing mould: may it be poured, else the first reason; its seconds where it is out of the oven. Where the window
/// has the room, the further reasons stand below the first.
fn moulds(wall: &Wall, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
    let all: Vec<(&MouldOnBoard, Ready)> = wall.moulds.iter().map(|m| (m, m.at(view.now))).collect();
    let lines = |most: usize| all.iter().map(|(_, r)| reasons(r).len().clamp(1, most)).sum::<usize>();
    let most = [8, 5, 3, 2].into_iter().find(|n| lines(*n) < height).unwrap_or(1);
    let wide = wall.moulds.iter().map(|m| m.mould.chars().count()).max().unwrap_or(0).min(width / 3);
    let mut out = Vec::new();
    for (mould, ready) in &all {
        let role = match ready.ready {
            Some(true) => Role::Good,
            Some(false) => Role::Bad,
            None => Role::Look,
        };
        let mut spans = vec![
            view.span(role, format!("{} ", sign(ready.ready))),
            view.span(Role::Strong, fit(&mould.mould, wide)),
        ];
        let mut used = wide + 2;
        if let Some(clock) = &mould.clock {
            let text = format!(" {}", minutes(clock.seconds(view.now)));
            used += text.chars().count();
            spans.push(clock_screen::span(clock, view, text));
        }
        let reasons = reasons(ready);
        let first = reasons.first().map_or_else(|| "may be poured".into(), |r| clocks(r));
        spans.push(view.span(Role::Text, fit(&format!(" {first}"), width.saturating_sub(used))));
        out.push(Line::from(spans));
        for more in reasons.iter().skip(1).take(most - 1) {
            out.push(view.line(Role::Text, fit(&format!("{}{}", " ".repeat(wide + 3), clocks(more)), width)));
        }
    }
    if out.is_empty() {
        out.push(view.line(Role::Quiet, fit("no mould stands to be poured", width)));
    }
    if wall.standing > wall.moulds.len() {
        let more = format!("and {} more, planned later", wall.standing - wall.moulds.len());
        out.push(view.line(Role::Look, fit(&more, width)));
    }
    out
}

/// What dries, is due, is held: headings and their lines.
fn rest(wall: &Wall) -> Vec<(Role, String)> {
    let mut out = Vec::new();
    let mut section = |title: &str, lines: Vec<(Role, String)>| {
        if !lines.is_empty() {
            out.push((Role::Strong, format!("{title}: {}", lines.len())));
            out.extend(lines.into_iter().map(|(role, text)| (role, format!("  {}", clocks(&text)))));
        }
    };
    let due = |d: &ask::Due| match d.overdue {
        true => (Role::Bad, format!("✗ {}", d.said)),
        false => (Role::Look, format!("! {}", d.said)),
    };
    section("due", wall.due.iter().map(due).collect());
    section("held", wall.holds.iter().map(|h| (Role::Bad, format!("✗ {}", held(h)))).collect());
    section("drying", wall.dry_lines().into_iter().map(|l| (Role::Text, l)).collect());
    out
}

fn fitted(rest: Vec<(Role, String)>, width: usize, view: &View) -> Vec<Line<'static>> {
    rest.into_iter().flat_map(|(role, text)| view.wrapped(role, &text, width)).collect()
}
