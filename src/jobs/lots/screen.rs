//! Lots and trials: what may go and what blocks the rest; what a trial says. Esc goes back.

use records::Value;
use records::catalogue::{KindType, Lots, Recorded, Trials};
use unicode_width::UnicodeWidthStr;

use crate::jobs::desks;
use crate::jobs::lots::ask;
use crate::jobs::lots::reasons_screen::{Blocked, Reasons, ask_reasons};
use crate::jobs::trials::lines_screen as trials;
use crate::ui::kit::*;
use records::value::words::counted;
use records::{Result, Stamp, Store, Who};

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// It is a lot; else a trial.
    pub lot: bool,
    pub tag: String,
    /// What it is, in a few words.
    pub about: String,
}

fn newest_first<K: KindType>(mut all: Vec<Recorded<K>>) -> Vec<Recorded<K>> {
    all.sort_by_key(|r| std::cmp::Reverse(r.own_time().map(Stamp::ms)));
    all
}

/// A page of the desk: what it is of, its text.
pub struct Paper(pub String, pub String);

/// Every lot and every trial, the newest first.
fn releases(store: &Store) -> Result<Vec<Entry>> {
    let mut out = Vec::new();
    for lot in newest_first(store.rows::<Lots>()?) {
        let text = |field: &Value| Some(field.to_text()).filter(|t| !t.is_empty());
        let ordered = text(lot.cell(Lots::ordered_count)).map(|n| n + " ordered");
        let said = [text(lot.cell(Lots::part)), text(lot.cell(Lots::purchase_order)), ordered];
        let about = said.into_iter().flatten().collect::<Vec<_>>().join(" ");
        out.push(Entry { lot: true, tag: lot.address(), about });
    }
    for trial in newest_first(store.rows::<Trials>()?) {
        let (status, question) =
            (trial.cell(Trials::status).to_text(), trial.cell(Trials::question).to_text());
        out.push(Entry { lot: false, tag: trial.address(), about: format!("{status}: {question}") });
    }
    Ok(out)
}

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
    desk.all.chosen().is_some_and(|e| e.lot)
}

fn on_one(desk: &Release) -> bool {
    desk.all.chosen().is_some()
}

fn reads(desk: &Release) -> bool {
    desk.page.is_some()
}

type K = Key<Release>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], Release::read)
        .named("read", "The summary of the lot with what blocks it, or how the trial stands")
        .when(|d| d.page.is_none() && on_one(d)),
    K::on(&[Press::Char('g')], Release::sign)
        .named("sign", "Sign the summary of a lot that nothing blocks: for quality")
        .when(on_lot),
    K::on(&[Press::Char('b')], |d, _| d.act(|e| Effect::open(Reasons::new(e.tag.clone()))))
        .named(
            "blocks",
            "What blocks the lot, reason by reason, and what can be done: decide, concession, hold, trace",
        )
        .when(on_lot),
    K::on(&[Press::Char('a')], |d, _| d.act(|e| trials::assign(e.tag.clone())))
        .named("arms", "Give moulds their arms at random, before they are poured")
        .when(|d| on_one(d) && !on_lot(d)),
    K::on(&[Press::Char('e')], |d, _| d.act(|e| desks::change(e.tag.clone())))
        .named("change", "Change the record: a trial's decision, a lot's order; the old stays visible")
        .when(on_one),
    K::on(&[Press::Char('n')], |d, _| d.new_one())
        .named("new", "A new lot, or a new trial where the cursor is on a trial")
        .when(|d| d.all.is_known()),
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
    fn act(&self, act: fn(&Entry) -> Effect) -> Vec<Effect> {
        self.all.chosen().map(act).into_iter().collect()
    }

    fn read(&mut self, now: &Context) -> Vec<Effect> {
        let Some(entry) = self.all.chosen() else { return Vec::new() };
        (self.waits, self.from, self.side) = (true, 0, 0);
        self.asked = Some(entry.tag.clone());
        if !entry.lot {
            return vec![trials::read(entry.tag.clone())];
        }
        let summary = Read::new((now.who.clone(), entry.tag.clone()), |store, (who, lot)| {
            Ok(Paper(lot.clone(), ask::summary(store, who, lot)?.text()))
        });
        vec![Effect::ask(summary.slow())]
    }

    /// What blocks the lot is said before anybody is asked for a PIN.
    fn sign(&mut self, now: &Context) -> Vec<Effect> {
        let Some(tag) = self.all.chosen().map(|e| e.tag.clone()) else { return Vec::new() };
        self.signing = Some(tag.clone());
        let says = format!("looking for what blocks {tag} …");
        vec![ask_reasons(tag, now), Effect::say(Role::Look, says)]
    }

    fn new_one(&self) -> Vec<Effect> {
        let trial = self.all.chosen().is_some_and(|e| !e.lot);
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
            None => self.all.step(by),
        }
    }

    fn aside(&mut self, by: isize) -> Vec<Effect> {
        self.side = self.side.saturating_add_signed(by).min(400);
        Vec::new()
    }

    fn back(&mut self) -> Vec<Effect> {
        if self.page.take().is_some() { Vec::new() } else { vec![Effect::Close] }
    }

    fn list(&self, height: usize, width: usize, view: &View) -> Vec<Line<'static>> {
        if !self.all.is_known() {
            return vec![view.line(Role::Quiet, "reading …")];
        }
        if self.all.rows().is_empty() {
            let text = "no lot and no trial is on record; the bench has their forms";
            return vec![view.line(Role::Quiet, text)];
        }
        self.all.lines(height, |e, mark, here| {
            let kind = if e.lot { "lot  " } else { "trial" };
            let role = if here { Role::Strong } else { Role::Text };
            view.line(role, fit(&format!("{mark} {kind} {:12} {}", e.tag, e.about), width))
        })
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

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        vec![Effect::ask(Read::new((), |store, ()| releases(store)).slow())]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(all) = reply.take::<Vec<Entry>>() {
            self.all.fill(all);
        }
        // A signature may come back after the cursor went on: its page is not laid over that of another lot.
        let wanted = |tag: &String| {
            let chosen = self.all.chosen().is_some_and(|e| e.tag == *tag);
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
            None => rows.extend(self.list(rest, width, view)),
        }
        lines(frame, area, rows);
    }
}
