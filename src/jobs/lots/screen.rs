//! The lead's desk: lots and trials, what may go and what blocks the rest; what waits for a decision. Nothing here lifts,
//! accepts or signs by one key. Esc goes back.

use std::collections::VecDeque;

use records::catalogue::{Lots, Trials};
use unicode_width::UnicodeWidthStr;

use crate::jobs::desks;
use crate::jobs::lots::ask;
use crate::jobs::lots::desk;
use crate::jobs::lots::desk::{LotLine, Waits};
use crate::jobs::lots::desk_lists::{Entry, Lines, Lists, entries};
use crate::jobs::lots::reasons_screen::{Blocked, Reasons, ask_reasons};
use crate::jobs::trials::lines_screen as trials;
use crate::ui::kit::*;
use records::value::words::counted;
use records::{Result, Who};

/// A page of the desk: what it is of, its text.
pub struct Paper(pub String, pub String);

/// What a lot comes to, or why it cannot be read.
struct LineOf(String, std::result::Result<LotLine, String>);

/// Signs the summary of a lot, with the person's PIN where one is set: a signature asks for it each time.
#[derive(Clone, Debug)]
struct Sign {
    who: Who,
    lot: String,
    pin: Option<String>,
}

impl Order for Sign {
    type Reply = Paper;

    fn sort(&self) -> Sort {
        Sort::Write
    }

    fn own_pin(&self) -> bool {
        true
    }

    fn perform(&self, worker: &mut Worker) -> Result<Paper> {
        let (store, pin) = (&mut worker.store, self.pin.as_deref());
        let signed = ask::finalise(store, &self.who, &self.lot, pin, &mut |_| Ok(()))?;
        Ok(Paper(self.lot.clone(), signed.text()))
    }
}

/// The line that asks for the PIN of a signature.
pub fn pin(lot: String) -> Prompt {
    let (title, question) = (format!("Sign {lot}"), format!("Sign the summary of {lot}: your PIN"));
    let hint = "F2 alone where no PIN is set: then the page says that the name is as claimed";
    let line = Prompt::new(title, question, hint, move |pin, now| {
        let pin = (!pin.is_empty()).then_some(pin);
        Ok(vec![Effect::ask(Sign { who: now.who.clone(), lot: lot.clone(), pin })])
    });
    line.secret().or_blank().saves()
}

#[derive(Default)]
pub struct Release {
    all: List<Entry>,
    /// What each lot comes to, as far as it is known.
    lines: Lines,
    /// Lots whose line is still to be asked for; the first is being read.
    due: VecDeque<String>,
    lists: Lists,
    /// The page in sight: of which entry, its lines; and where it is read.
    page: Option<(String, Vec<String>)>,
    waits: bool,
    /// The lot that is to be signed, while it is asked what blocks it.
    signing: Option<String>,
    /// What is being read.
    asked: Option<String>,
    from: usize,
    side: usize,
}

fn on_lot(desk: &Release) -> bool {
    matches!(desk.entry(), Some(Entry::Lot(_)))
}

fn on_one(desk: &Release) -> bool {
    desk.entry().is_some()
}

fn on_waiting(desk: &Release) -> bool {
    lists(desk) && desk.lists.record().is_some()
}

fn reads(desk: &Release) -> bool {
    desk.page.is_some()
}

fn lists(desk: &Release) -> bool {
    desk.page.is_none()
}

type K = Key<Release>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], Release::read)
        .named("read", "The summary of the lot with what blocks it, or how the trial stands")
        .when(|d| lists(d) && on_one(d)),
    K::on(&[Press::Enter], |d, _| d.open())
        .named("open", "The record: the blade, the hold, the concession")
        .when(on_waiting),
    K::on(&[Press::Tab], |d, _| d.lists.next())
        .named("next list", "Lots and trials, rejected blades, holds, returned blades, concessions")
        .when(lists),
    K::on(&[Press::BackTab], |d, _| d.lists.back()).help("The list before").when(lists),
    K::on(&[Press::Char('g')], Release::sign)
        .named("sign", "Sign the summary of a lot that nothing blocks: for quality")
        .when(on_lot),
    K::on(&[Press::Char('b')], |d, _| d.act(|e| Effect::open(Reasons::new(e.tag().into()))))
        .named(
            "blocks",
            "What blocks the lot, reason by reason, and what can be done: decide, concession, hold, trace",
        )
        .when(on_lot),
    K::on(&[Press::Char('a')], |d, _| d.act(|e| trials::assign(e.tag().into())))
        .named("arms", "Give moulds their arms at random, before they are poured")
        .when(|d| on_one(d) && !on_lot(d)),
    K::on(&[Press::Char('e')], |d, _| d.act(|e| desks::change(e.tag().into())))
        .named("change", "Change the record: a trial's decision, a lot's order; the old stays visible")
        .when(on_one),
    K::on(&[Press::Char('n')], |d, _| d.new_one())
        .named("new", "A new lot, or a new trial where the cursor is on a trial")
        .when(|d| d.lists.on_lots() && d.all.is_known()),
    K::on(&[Press::Char('z')], |_, _| vec![trials::size()]).named("size", "How many moulds a trial needs"),
    K::on(&[Press::Up], |d, _| d.step(-1)).help("A line up"),
    K::on(&[Press::Down], |d, _| d.step(1)).help("A line down"),
    K::on(&[Press::PageUp], |d, _| d.step(-15)).help("A page up"),
    K::on(&[Press::PageDown], |d, _| d.step(15)).help("A page down"),
    K::on(&[Press::Home], |d, _| d.step(isize::MIN)).help("The first"),
    K::on(&[Press::End], |d, _| d.step(isize::MAX)).help("The last"),
    K::on(&[Press::Right], |d, _| d.aside(20)).named("wider", "What stands further to the right").when(reads),
    K::on(&[Press::Left], |d, _| d.aside(-20)).help("Back to the left").when(reads),
    K::on(&[Press::Esc], |d, _| d.back()).named("back", "Back"),
];

impl Release {
    /// The lot or trial at the cursor, where that list is in sight.
    fn entry(&self) -> Option<&Entry> {
        self.all.chosen().filter(|_| self.lists.on_lots())
    }

    fn act(&self, act: fn(&Entry) -> Effect) -> Vec<Effect> {
        self.entry().map(act).into_iter().collect()
    }

    fn open(&self) -> Vec<Effect> {
        self.lists.record().map(|tag| Effect::Show(tag.to_string())).into_iter().collect()
    }

    /// Lots are read one after the other, so that what somebody asks for meanwhile need not wait for all of them.
    fn next_line(&self, now: &Context) -> Vec<Effect> {
        let Some(lot) = self.due.front() else { return Vec::new() };
        // One that cannot be read keeps no other back.
        let line = Read::new((now.who.clone(), lot.clone()), |store, (who, lot)| {
            Ok(LineOf(lot.clone(), desk::line(store, who, lot).map_err(|e| e.sentence.to_string())))
        });
        vec![Effect::ask(line.slow())]
    }

    fn read(&mut self, now: &Context) -> Vec<Effect> {
        let Some(entry) = self.entry() else { return Vec::new() };
        let tag = entry.tag().to_string();
        let trial = matches!(entry, Entry::Trial(..));
        (self.waits, self.from, self.side) = (true, 0, 0);
        self.asked = Some(tag.clone());
        if trial {
            return vec![trials::read(tag)];
        }
        let summary = Read::new((now.who.clone(), tag), |store, (who, lot)| {
            Ok(Paper(lot.clone(), ask::summary(store, who, lot)?.text()))
        });
        vec![Effect::ask(summary.slow())]
    }

    /// What blocks the lot is said before anybody is asked for a PIN.
    fn sign(&mut self, now: &Context) -> Vec<Effect> {
        let Some(tag) = self.entry().map(|e| e.tag().to_string()) else { return Vec::new() };
        self.signing = Some(tag.clone());
        let says = format!("looking for what blocks {tag} …");
        vec![ask_reasons(tag, now), Effect::say(Role::Look, says)]
    }

    fn new_one(&self) -> Vec<Effect> {
        let trial = matches!(self.entry(), Some(Entry::Trial(..)));
        desks::form(if trial { Trials::KIND } else { Lots::KIND }, Vec::new())
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        match &self.page {
            // The end is a page of it, not its last line alone.
            Some((_, text)) => {
                let most = text.len().saturating_sub(if by == isize::MAX { 15 } else { 1 });
                self.from = self.from.saturating_add_signed(by).min(most);
                Vec::new()
            }
            None => self.lists.step(&mut self.all, by),
        }
    }

    fn aside(&mut self, by: isize) -> Vec<Effect> {
        self.side = self.side.saturating_add_signed(by).min(400);
        Vec::new()
    }

    fn back(&mut self) -> Vec<Effect> {
        if self.page.take().is_some() { Vec::new() } else { vec![Effect::Close] }
    }
}

/// Which lines → moves: the rows of a table that is wider than the window. Prose is wrapped and stays.
fn tables(text: &[String], width: usize) -> Vec<bool> {
    let cells = |line: &String| line.trim_start().contains("  ");
    let wide = |line: &String| cells(line) && broken(line, width).iter().any(|part| part.width() > width);
    let mut out = Vec::with_capacity(text.len());
    for block in text.chunk_by(|a, b| cells(a) == cells(b)) {
        let moves = block.iter().any(wide);
        out.extend(block.iter().map(|_| moves));
    }
    out
}

impl Screen for Release {
    fn title(&self) -> String {
        match &self.page {
            Some((tag, _)) => format!("Lots and trials: {tag}"),
            None => "Lots and trials".into(),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        let waits = Read::new(now.now, |store, now| desk::waits(store, *now)).slow();
        vec![Effect::ask(Read::new((), |store, ()| entries(store)).slow()), Effect::ask(waits)]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, now: &Context) -> Vec<Effect> {
        if let Some(all) = reply.take::<Vec<Entry>>() {
            let lots = all.iter().filter(|e| matches!(e, Entry::Lot(_)));
            self.due = lots.map(|e| e.tag().to_string()).collect();
            self.all.fill(all);
            return self.next_line(now);
        }
        if let Some(LineOf(lot, line)) = reply.take() {
            self.due.retain(|due| *due != lot);
            self.lines.insert(lot, line);
            return self.next_line(now);
        }
        if let Some(waits) = reply.take::<Waits>() {
            self.lists.fill(&waits);
            return Vec::new();
        }
        // A signature may come back after the cursor went on: its page is not laid over that of another lot.
        let wanted = |tag: &String| {
            let chosen = self.entry().is_some_and(|e| e.tag() == tag);
            chosen || self.asked.as_ref() == Some(tag) || tag == trials::SIZE
        };
        if let Some(Paper(tag, text)) = reply.take().filter(|Paper(tag, _)| wanted(tag)) {
            (self.waits, self.asked) = (false, None);
            // Another page is read from its top.
            if self.page.as_ref().is_none_or(|(shown, _)| *shown != tag) {
                (self.from, self.side) = (0, 0);
            }
            self.page = Some((tag, text.lines().map(clocks).collect()));
        }
        match reply.take() {
            Some(Blocked(tag, reasons)) if self.signing.as_ref() == Some(&tag) => {
                self.signing = None;
                if reasons.is_empty() {
                    return vec![Effect::open(pin(tag))];
                }
                let n = counted(reasons.len(), "reason");
                let text = format!("{tag} is blocked by {n}; nothing to sign. b shows what blocks it");
                vec![Effect::Say(Role::Bad, text)]
            }
            _ => Vec::new(),
        }
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        (self.waits, self.signing, self.asked) = (false, None, None);
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        self.begin(now)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        let mut rows = caution(view, width);
        let rest = height.saturating_sub(rows.len());
        match &self.page {
            Some((_, text)) => {
                let moved = tables(text, width);
                let shown = text.iter().zip(moved).skip(self.from).take(rest).flat_map(|(line, moved)| {
                    let role =
                        if line.starts_with(' ') || line.is_empty() { Role::Text } else { Role::Strong };
                    let side = if moved { self.side } else { 0 };
                    broken(line, width).into_iter().map(move |part| (role, side, part))
                });
                rows.extend(shown.take(rest).map(|(role, side, part)| {
                    let cut: String = part.chars().skip(side).collect();
                    view.line(role, fit(&cut, width))
                }));
            }
            None if self.waits => rows.push(view.line(Role::Quiet, "reading everything behind it …")),
            None => {
                rows.extend(self.lists.names(&self.all, width, view));
                let rest = height.saturating_sub(rows.len());
                rows.extend(self.lists.lines(&self.all, &self.lines, (width, rest), view));
            }
        }
        lines(frame, area, rows);
    }
}
