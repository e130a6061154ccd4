//! Lots and trials: what may go and what blocks the rest; what a trial says. Esc goes back.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;
use unicode_width::UnicodeWidthStr;

use crate::ui::effect::Ask;
use crate::ui::effect::Effect;
use crate::ui::effect::Open;
use crate::ui::effect::SIZE;
use crate::ui::effect::Told;
use crate::ui::keys;
use crate::ui::keys::Key;
use crate::ui::keys::Press;
use crate::ui::keys::Shown;
use crate::ui::line::Purpose;
use crate::ui::screen::Screen;
use crate::ui::screen::Situation;
use crate::ui::theme::Role;
use crate::ui::view::View;
use crate::ui::view::broken;
use crate::ui::view::caution;
use crate::ui::view::clocks;
use crate::ui::view::fit;
use crate::ui::view::lines;
use crate::ui::view::window;
use records::value::words::counted;

/// A lot or a trial in the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// It is a lot; else a trial.
    pub lot: bool,
    /// Its tag.
    pub tag: String,
    /// What it is, in a few words.
    pub about: String,
}

/// The desk.
#[derive(Default)]
pub struct Release {
    all: Option<Vec<Entry>>,
    at: usize,
    /// The page in sight: of which entry, its lines; and where it is read.
    page: Option<(String, Vec<String>)>,
    waits: bool,
    /// The lot that is to be signed, while it is asked what blocks it.
    signing: Option<String>,
    from: usize,
    side: usize,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Read,
    Sign,
    Why,
    Size,
    Assign,
    New,
    Change,
    Move(isize),
    Side(isize),
}

fn on_lot(desk: &Release) -> bool {
    desk.entry().is_some_and(|e| e.lot)
}

const KEYS: &[Key<Release, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Read,
        label: "read",
        help: "The summary of the lot with what blocks it, or how the trial stands",
        when: |d| d.page.is_none() && d.entry().is_some(),
    },
    Key {
        on: &[Press::Char('g')],
        msg: Msg::Sign,
        label: "sign",
        help: "Sign the summary of a lot that nothing blocks: for quality",
        when: on_lot,
    },
    Key {
        on: &[Press::Char('b')],
        msg: Msg::Why,
        label: "blocks",
        help: "What blocks the lot, reason by reason, and what can be done: decide, concession, hold, trace",
        when: on_lot,
    },
    Key {
        on: &[Press::Char('a')],
        msg: Msg::Assign,
        label: "arms",
        help: "Give moulds their arms at random, before they are poured",
        when: |d| d.entry().is_some_and(|e| !e.lot),
    },
    Key {
        on: &[Press::Char('e')],
        msg: Msg::Change,
        label: "change",
        help: "Change the record: a trial's decision, a lot's order; the old stays visible",
        when: |d| d.entry().is_some(),
    },
    Key {
        on: &[Press::Char('n')],
        msg: Msg::New,
        label: "new",
        help: "A new lot, or a new trial where the cursor is on a trial",
        when: |d| d.all.is_some(),
    },
    Key {
        on: &[Press::Char('z')],
        msg: Msg::Size,
        label: "size",
        help: "How many moulds a trial needs",
        when: keys::always,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "", help: "A line down", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-15), label: "", help: "A page up", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::Move(15), label: "", help: "A page down", when: keys::always },
    Key { on: &[Press::Home], msg: Msg::Move(isize::MIN), label: "", help: "The first", when: keys::always },
    Key { on: &[Press::End], msg: Msg::Move(isize::MAX), label: "", help: "The last", when: keys::always },
    Key {
        on: &[Press::Right],
        msg: Msg::Side(20),
        label: "wider",
        help: "What stands further to the right",
        when: |d| d.page.is_some(),
    },
    Key {
        on: &[Press::Left],
        msg: Msg::Side(-20),
        label: "",
        help: "Back to the left",
        when: |d| d.page.is_some(),
    },
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
];

impl Release {
    fn entry(&self) -> Option<&Entry> {
        self.all.as_ref()?.get(self.at)
    }

    fn read(&mut self, now: &Situation) -> Vec<Effect> {
        let Some(entry) = self.entry() else { return Vec::new() };
        let (lot, tag) = (entry.lot, entry.tag.clone());
        (self.waits, self.from, self.side) = (true, 0, 0);
        vec![Effect::Ask(if lot { Ask::Lot(now.who.clone(), tag) } else { Ask::Trial(tag) })]
    }

    fn list(&self, height: usize, width: usize, view: &View) -> Vec<Line<'static>> {
        let Some(all) = &self.all else { return vec![view.line(Role::Quiet, "reading …")] };
        if all.is_empty() {
            return vec![
                view.line(Role::Quiet, "no lot and no trial is on record; the bench has their forms"),
            ];
        }
        let first = window(self.at, all.len(), height);
        let row = |(i, e): (usize, &Entry)| {
            let mark = if i == self.at { "▸" } else { " " };
            let kind = if e.lot { "lot  " } else { "trial" };
            let role = if i == self.at { Role::Strong } else { Role::Text };
            view.line(role, fit(&format!("{mark} {kind} {:12} {}", e.tag, e.about), width))
        };
        all.iter().enumerate().skip(first).take(height).map(row).collect()
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

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Releases)]
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Back) if self.page.take().is_some() => {}
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Read) => return self.read(now),
            Some(Msg::Sign) => {
                // What blocks the lot is said before anybody is asked for a PIN.
                if let Some(tag) = self.entry().map(|e| e.tag.clone()) {
                    self.signing = Some(tag.clone());
                    let says = format!("looking for what blocks {tag} …");
                    return vec![
                        Effect::Ask(Ask::Reasons(now.who.clone(), tag)),
                        Effect::Say(Role::Look, says),
                    ];
                }
            }
            Some(Msg::Why) => {
                return self
                    .entry()
                    .map(|e| Effect::Open(Open::Reasons(e.tag.clone())))
                    .into_iter()
                    .collect();
            }
            Some(Msg::Size) => return vec![Effect::Open(Open::Line(Purpose::Size))],
            Some(Msg::Assign) => {
                let line = |e: &Entry| Effect::Open(Open::Line(Purpose::Assign(e.tag.clone())));
                return self.entry().map(line).into_iter().collect();
            }
            Some(Msg::Change) => {
                return self.entry().map(|e| Effect::Open(Open::Change(e.tag.clone()))).into_iter().collect();
            }
            Some(Msg::New) => {
                let name = if self.entry().is_some_and(|e| !e.lot) { "trials" } else { "lots" };
                let form = records::catalogue::kind(name).map(|k| Effect::Open(Open::Form(k, Vec::new())));
                return form.into_iter().collect();
            }
            Some(Msg::Move(by)) => match (&self.page, &self.all) {
                (Some((_, text)), _) => {
                    // The end is a page of it, not its last line alone.
                    let most = text.len().saturating_sub(if by == isize::MAX { 15 } else { 1 });
                    self.from = self.from.saturating_add_signed(by).min(most);
                }
                (None, Some(all)) => {
                    self.at = self.at.saturating_add_signed(by).min(all.len().saturating_sub(1));
                }
                (None, None) => {}
            },
            Some(Msg::Side(by)) => self.side = self.side.saturating_add_signed(by).min(400),
            None => {}
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Releases(all) if mine => self.all = Some(all.clone()),
            Told::Release(tag, text)
                if mine || tag == SIZE || self.entry().is_some_and(|e| e.tag == *tag) =>
            {
                self.waits = false;
                // Another page is read from its top.
                if self.page.as_ref().is_none_or(|(shown, _)| shown != tag) {
                    (self.from, self.side) = (0, 0);
                }
                self.page = Some((tag.clone(), text.lines().map(clocks).collect()));
            }
            Told::Reasons(tag, reasons) if mine && self.signing.as_ref() == Some(tag) => {
                self.signing = None;
                if reasons.is_empty() {
                    return vec![Effect::Open(Open::Line(Purpose::Pin(tag.clone())))];
                }
                let n = counted(reasons.len(), "reason");
                let text = format!("{tag} is blocked by {n}; nothing to sign. b shows what blocks it");
                return vec![Effect::Say(Role::Bad, text)];
            }
            Told::Failed { .. } if mine => (self.waits, self.signing) = (false, None),
            Told::Logged(_) | Told::Undone(_) => return vec![Effect::Ask(Ask::Releases)],
            _ => {}
        }
        Vec::new()
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
