//! The trace desk: who asks where a blade came from, what else came from there, and where it all is.
//! Enter opens the chosen record; the siblings of a chosen parent are one key away.

pub(crate) mod draw;
pub mod tree;

use std::collections::HashSet;
use std::sync::Arc;

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::jobs::bench::progress::Way;
use crate::jobs::trace::show::{Contain, Siblings, Trace};
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::line::Purpose;
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::View;

use crate::jobs::trace::screen::tree::{Below, Row};

/// What the desk shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Face {
    Into,
    Out,
    Siblings,
}

/// The desk.
pub struct TraceDesk {
    tag: String,
    face: Face,
    trace: Option<Box<Trace>>,
    way: Option<Way>,
    folded: HashSet<String>,
    rows: Vec<Row>,
    at: usize,
    out: Option<Arc<Contain>>,
    opened: HashSet<usize>,
    all_open: bool,
    below: Vec<Below>,
    below_at: usize,
    parent: Option<String>,
    siblings: Option<Box<Siblings>>,
    sibling_at: usize,
    defect: Option<String>,
    defects: Vec<String>,
    trouble: bool,
}

#[derive(Clone, Copy)]
enum Msg {
    Back,
    Other,
    Open,
    Siblings,
    Defect,
    Causes,
    Working,
    From,
    Hold,
    Lift,
    Fold,
    Unfold,
    All,
    Move(isize),
    First,
    Last,
}

const KEYS: &[Key<TraceDesk, Msg>] = &[
    Key { on: &[Press::Esc], msg: Msg::Back, label: "back", help: "Back", when: keys::always },
    Key {
        on: &[Press::Tab],
        msg: Msg::Other,
        label: "in/out",
        help: "Change between what went into it and what came out of it",
        when: keys::always,
    },
    Key {
        on: &[Press::Enter, Press::Char('o')],
        msg: Msg::Open,
        label: "open",
        help: "Open the chosen record with its history",
        when: |d| d.chosen().is_some(),
    },
    Key {
        on: &[Press::Char('s')],
        msg: Msg::Siblings,
        label: "siblings",
        help: "The blades that share the chosen parent, and how they compare",
        when: |d| d.face == Face::Into && d.is_blade() && d.at > 0,
    },
    Key {
        on: &[Press::Char('d')],
        msg: Msg::Defect,
        label: "defect",
        help: "Ask about the next defect that was found among the siblings",
        when: |d| d.face == Face::Siblings && !d.defects.is_empty(),
    },
    Key {
        on: &[Press::Char('y')],
        msg: Msg::Causes,
        label: "causes",
        help: "Ask the cause desk about this defect, over all blades",
        when: |d| d.face == Face::Siblings,
    },
    Key {
        on: &[Press::F(9)],
        msg: Msg::Working,
        label: "working",
        help: "Show the working of the rates: formula, inputs, records, source, assumptions",
        when: |d| d.face == Face::Siblings && d.siblings.is_some(),
    },
    Key {
        on: &[Press::Char('k')],
        msg: Msg::From,
        label: "from here",
        help: "Trace the chosen record instead",
        when: |d| d.chosen().is_some_and(|t| t != d.tag),
    },
    Key {
        on: &[Press::Char('h')],
        msg: Msg::Hold,
        label: "hold",
        help: "Fence the chosen record and everything that came out of it",
        when: |d| d.chosen().is_some(),
    },
    Key {
        on: &[Press::Char('l')],
        msg: Msg::Lift,
        label: "lift",
        help: "Lift the hold on the chosen record (quality)",
        when: |d| d.holds() > 0,
    },
    Key { on: &[Press::Left], msg: Msg::Fold, label: "fold", help: "Fold it", when: TraceDesk::folds },
    Key { on: &[Press::Right], msg: Msg::Unfold, label: "", help: "Unfold it", when: TraceDesk::folds },
    Key {
        on: &[Press::Char('f')],
        msg: Msg::All,
        label: "",
        help: "Fold or unfold all",
        when: TraceDesk::folds,
    },
    Key { on: &[Press::Up], msg: Msg::Move(-1), label: "", help: "A line up", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Move(1), label: "", help: "A line down", when: keys::always },
    Key { on: &[Press::PageUp], msg: Msg::Move(-15), label: "", help: "A page up", when: keys::always },
    Key { on: &[Press::PageDown], msg: Msg::Move(15), label: "", help: "A page down", when: keys::always },
    Key { on: &[Press::Home], msg: Msg::First, label: "", help: "The first line", when: keys::always },
    Key { on: &[Press::End], msg: Msg::Last, label: "", help: "The last line", when: keys::always },
];

impl TraceDesk {
    /// For a tag.
    #[must_use]
    pub fn new(tag: String) -> Self {
        Self {
            tag,
            face: Face::Into,
            trace: None,
            way: None,
            folded: HashSet::new(),
            rows: Vec::new(),
            at: 0,
            out: None,
            opened: HashSet::new(),
            all_open: false,
            below: Vec::new(),
            below_at: 0,
            parent: None,
            siblings: None,
            sibling_at: 0,
            defect: None,
            defects: Vec::new(),
            trouble: false,
        }
    }

    fn is_blade(&self) -> bool {
        self.trace.as_ref().is_some_and(|t| t.kind == "blades")
    }

    fn folds(&self) -> bool {
        self.face != Face::Siblings
    }

    fn chosen(&self) -> Option<&str> {
        match self.face {
            Face::Into => {
                let node = self.rows.get(self.at)?.node;
                Some(self.trace.as_ref()?.nodes.get(node)?.tag.as_str())
            }
            Face::Out => {
                let out = self.out.as_ref()?;
                match *self.below.get(self.below_at)? {
                    Below::Mould(from, ..) => out.blades.get(from)?.mould.as_deref(),
                    Below::Blade(i) => out.blades.get(i).map(|b| b.tag.as_str()),
                }
            }
            Face::Siblings => self.siblings.as_ref()?.siblings.get(self.sibling_at).map(|s| s.blade.as_str()),
        }
    }

    fn holds(&self) -> usize {
        let Some(trace) = self.trace.as_ref().filter(|_| self.face == Face::Into) else { return 0 };
        self.rows.get(self.at).and_then(|r| trace.nodes.get(r.node)).map_or(0, |n| n.holds)
    }

    fn list(&mut self) -> (&mut usize, usize) {
        match self.face {
            Face::Into => (&mut self.at, self.rows.len()),
            Face::Out => (&mut self.below_at, self.below.len()),
            Face::Siblings => {
                let n = self.siblings.as_ref().map_or(0, |s| s.siblings.len());
                (&mut self.sibling_at, n)
            }
        }
    }

    fn step(&mut self, by: isize) {
        let (at, n) = self.list();
        *at = at.saturating_add_signed(by).min(n.saturating_sub(1));
    }

    fn again(&mut self) {
        if let Some(trace) = &self.trace {
            self.rows = tree::rows(trace, &self.folded);
        }
        if let Some(out) = &self.out {
            self.below = tree::below(out, &self.opened, self.all_open);
        }
        self.at = self.at.min(self.rows.len().saturating_sub(1));
        self.below_at = self.below_at.min(self.below.len().saturating_sub(1));
    }

    /// Folds the chosen row, or goes to the row that it hangs on.
    fn fold(&mut self, open: bool) {
        match self.face {
            Face::Into => {
                let Some(row) = self.rows.get(self.at).cloned() else { return };
                let tag = self.chosen().unwrap_or_default().to_string();
                if row.open.is_some_and(|now| now != open) {
                    if open {
                        self.folded.remove(&tag);
                    } else {
                        self.folded.insert(tag);
                    }
                    self.again();
                } else if !open {
                    let up = self.rows[..self.at].iter().rposition(|r| r.depth < row.depth);
                    self.at = up.unwrap_or(self.at);
                }
            }
            Face::Out => match self.below.get(self.below_at).copied() {
                Some(Below::Mould(from, _, now)) if now != open => {
                    if !self.opened.remove(&from) {
                        self.opened.insert(from);
                    }
                    self.again();
                }
                Some(Below::Blade(_)) if !open => {
                    let up = self.below[..self.below_at].iter().rposition(|b| matches!(b, Below::Mould(..)));
                    self.below_at = up.unwrap_or(self.below_at);
                }
                _ => {}
            },
            Face::Siblings => {}
        }
    }

    fn fold_all(&mut self) {
        if self.face == Face::Out {
            self.all_open = !self.all_open;
            self.opened.clear();
        } else if self.folded.is_empty() {
            let all = self.rows.iter().skip(1).filter(|r| r.open.is_some());
            if let Some(trace) = &self.trace {
                self.folded = all.map(|r| trace.nodes[r.node].tag.clone()).collect();
            }
        } else {
            self.folded.clear();
        }
        self.again();
    }

    fn ask_siblings(&self) -> Vec<Effect> {
        let Some(parent) = self.parent.clone() else { return Vec::new() };
        vec![Effect::Ask(Ask::Siblings(self.tag.clone(), parent, self.defect.clone()))]
    }

    fn ask_face(&self) -> Vec<Effect> {
        match self.face {
            Face::Into => Vec::new(),
            Face::Out => vec![Effect::Ask(Ask::Contain(self.tag.clone()))],
            Face::Siblings => self.ask_siblings(),
        }
    }

    fn from(&mut self, tag: String, now: &Situation) -> Vec<Effect> {
        *self = Self::new(tag);
        self.begin(now)
    }
}

/// Defects by how often they were found among siblings, the most frequent first.
fn defects_of(siblings: &Siblings) -> Vec<String> {
    let mut counts: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for s in &siblings.siblings {
        let found: HashSet<&str> = s.findings.iter().map(|f| f.defect.as_str()).collect();
        for defect in found {
            *counts.entry(defect).or_default() += 1;
        }
    }
    let mut all: Vec<(&str, usize)> = counts.into_iter().collect();
    all.sort_by_key(|&(_, n)| std::cmp::Reverse(n));
    all.into_iter().map(|(d, _)| d.to_string()).collect()
}

impl Screen for TraceDesk {
    fn title(&self) -> String {
        format!("Trace {}", self.tag)
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Trace(self.tag.clone())), Effect::Ask(Ask::Way(self.tag.clone()))]
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        let Some(msg) = keys::dispatch(KEYS, self, press) else { return Vec::new() };
        let chosen = self.chosen().map(String::from);
        match (msg, chosen) {
            (Msg::Back, _) if self.face == Face::Siblings => self.face = Face::Into,
            (Msg::Back, _) => return vec![Effect::Close],
            (Msg::Other, _) => {
                self.face = if self.face == Face::Into { Face::Out } else { Face::Into };
                if self.face == Face::Out && self.out.is_none() {
                    return self.ask_face();
                }
            }
            (Msg::Open, Some(tag)) => return vec![Effect::Open(Open::Record(tag))],
            (Msg::Siblings, Some(tag)) => {
                if self.parent.as_ref() != Some(&tag) {
                    (self.siblings, self.defect) = (None, None);
                    self.defects.clear();
                }
                (self.parent, self.face, self.sibling_at) = (Some(tag), Face::Siblings, 0);
                return self.ask_siblings();
            }
            (Msg::Causes, _) => {
                let ask = crate::jobs::causes::ask::Ask { defect: self.defect.clone(), ..Default::default() };
                return vec![Effect::Open(Open::Causes(ask))];
            }
            (Msg::Working, _) => {
                let all = self.siblings.as_ref().map(|s| s.workings()).unwrap_or_default();
                return vec![Effect::Open(Open::Working(all))];
            }
            (Msg::Defect, _) => {
                let next = match &self.defect {
                    None => 0,
                    Some(d) => self.defects.iter().position(|x| x == d).map_or(0, |i| i + 1),
                };
                self.defect = self.defects.get(next).cloned();
                return self.ask_siblings();
            }
            (Msg::From, Some(tag)) => return self.from(tag, now),
            (Msg::Hold, Some(tag)) => return vec![Effect::Open(Open::Line(Purpose::Hold(tag)))],
            (Msg::Lift, Some(tag)) => return vec![Effect::Open(Open::Line(Purpose::Lift(tag)))],
            (Msg::Fold, _) => self.fold(false),
            (Msg::Unfold, _) => self.fold(true),
            (Msg::All, _) => self.fold_all(),
            (Msg::Move(by), _) => self.step(by),
            (Msg::First, _) => *self.list().0 = 0,
            (Msg::Last, _) => self.step(isize::MAX),
            _ => {}
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, now: &Situation) -> Vec<Effect> {
        match found {
            Some((_, tag)) => self.from(tag, now),
            None => vec![crate::ui::screen::unknown(code)],
        }
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Trace(trace) if mine => {
                self.tag.clone_from(&trace.tag);
                self.trace = Some(trace.clone());
                self.again();
            }
            Told::Way(way) if mine => self.way.clone_from(way),
            Told::Contain(out) if mine => {
                self.out = Some(out.clone());
                self.again();
            }
            Told::Siblings(siblings) if mine => {
                if siblings.defect.is_none() {
                    self.defects = defects_of(siblings);
                }
                self.sibling_at = self.sibling_at.min(siblings.siblings.len().saturating_sub(1));
                self.siblings = Some(siblings.clone());
            }
            Told::Failed { .. } if mine => self.trouble = self.trace.is_none(),
            Told::Logged(_) | Told::Undone(_) => {
                // Where it is not in sight, it is read anew when it is asked for.
                if self.face != Face::Out {
                    self.out = None;
                }
                let mut effects =
                    vec![Effect::Ask(Ask::Trace(self.tag.clone())), Effect::Ask(Ask::Way(self.tag.clone()))];
                effects.extend(self.ask_face());
                return effects;
            }
            _ => {}
        }
        Vec::new()
    }

    fn charts(&self) -> Option<(crate::jobs::causes::ask::Ask, Option<String>)> {
        let defect = self.defect.clone().filter(|_| self.face == Face::Siblings);
        Some((crate::jobs::causes::ask::Ask { defect, ..Default::default() }, None))
    }

    fn traces(&self) -> bool {
        true
    }

    fn way(&self) -> Option<&Way> {
        self.way.as_ref()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        draw::draw(self, frame, area, view);
    }
}

/// Held and suspect, as a sign with its word.
fn marks(view: &View, held: bool, suspect: bool) -> Vec<ratatui::text::Span<'static>> {
    let mut out = Vec::new();
    if held {
        out.push(view.span(Role::Bad, " ✗ held"));
    }
    if suspect {
        out.push(view.span(Role::Look, " ! suspect"));
    }
    out
}
