//! The trace desk: who asks where a blade came from, what else came from there, and where it all is.
//! Enter opens the chosen record; the siblings of a chosen parent are one key away.

pub(crate) mod draw;
pub mod tree;

use records::catalogue::Blades;
use std::collections::HashSet;

use crate::jobs::bench::progress::Way;
use crate::jobs::bench::progress_screen;
use crate::jobs::causes::ask::Ask;
use crate::jobs::desks;
use crate::jobs::records::orders::{hold, lift};
use crate::jobs::trace::ask;
use crate::jobs::trace::screen::tree::{Below, Row};
use crate::jobs::trace::show::{Contain, Siblings, Trace};
use crate::jobs::trace::siblings;
use crate::ui::kit::*;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Face {
    #[default]
    Into,
    Out,
    Siblings,
}

#[derive(Default)]
pub struct TraceDesk {
    tag: String,
    face: Face,
    trace: Option<Trace>,
    way: Option<Way>,
    folded: HashSet<String>,
    rows: Vec<Row>,
    at: usize,
    out: Option<Contain>,
    opened: HashSet<usize>,
    all_open: bool,
    below: Vec<Below>,
    below_at: usize,
    parent: Option<String>,
    siblings: Option<Siblings>,
    sibling_at: usize,
    defect: Option<String>,
    defects: Vec<String>,
    trouble: bool,
}

fn any(desk: &TraceDesk) -> bool {
    desk.chosen().is_some()
}

fn compares(desk: &TraceDesk) -> bool {
    desk.face == Face::Siblings
}

type K = Key<TraceDesk>;

const KEYS: &[K] = &[
    K::on(&[Press::Esc], |d, _| d.back()).named("back", "Back"),
    K::on(&[Press::Tab], |d, _| d.turn())
        .named("in/out", "Change between what went into it and what came out of it"),
    K::on(&[Press::Enter, Press::Char('o')], |d, _| d.act(Effect::Show))
        .named("open", "Open the chosen record with its history")
        .when(any),
    K::on(&[Press::Char('s')], |d, _| d.compare())
        .named("siblings", "The blades that share the chosen parent, and how they compare")
        .when(|d| d.face == Face::Into && d.is_blade() && d.at > 0),
    K::on(&[Press::Char('d')], |d, _| d.next_defect())
        .named("defect", "Ask about the next defect that was found among the siblings")
        .when(|d| compares(d) && !d.defects.is_empty()),
    K::on(&[Press::Char('y')], |d, _| vec![desks::causes(d.question())])
        .named("causes", "Ask the cause desk about this defect, over all blades")
        .when(compares),
    K::on(&[Press::F(9)], |d, _| d.working())
        .named("working", "Show the working of the rates: formula, inputs, records, source, assumptions")
        .when(|d| compares(d) && d.siblings.is_some()),
    K::on(&[Press::Char('k')], |d, now| d.start_here(now))
        .named("from here", "Trace the chosen record instead")
        .when(|d| d.chosen().is_some_and(|t| t != d.tag)),
    K::on(&[Press::Char('h')], |d, _| d.act(hold))
        .named("hold", "Fence the chosen record and everything that came out of it")
        .when(any),
    K::on(&[Press::Char('l')], |d, _| d.act(lift))
        .named("lift", "Lift the hold on the chosen record (quality)")
        .when(|d| d.holds() > 0),
    K::on(&[Press::Left], |d, _| d.fold(false)).named("fold", "Fold it").when(TraceDesk::folds),
    K::on(&[Press::Right], |d, _| d.fold(true)).help("Unfold it").when(TraceDesk::folds),
    K::on(&[Press::Char('f')], |d, _| d.fold_all()).help("Fold or unfold all").when(TraceDesk::folds),
    K::on(&[Press::Up], |d, _| d.step(-1)).help("A line up"),
    K::on(&[Press::Down], |d, _| d.step(1)).help("A line down"),
    K::on(&[Press::PageUp], |d, _| d.step(-15)).help("A page up"),
    K::on(&[Press::PageDown], |d, _| d.step(15)).help("A page down"),
    K::on(&[Press::Home], |d, _| d.step(isize::MIN)).help("The first line"),
    K::on(&[Press::End], |d, _| d.step(isize::MAX)).help("The last line"),
];

impl TraceDesk {
    pub fn new(tag: String) -> Self {
        Self { tag, ..Self::default() }
    }

    fn is_blade(&self) -> bool {
        self.trace.as_ref().is_some_and(|t| t.kind == Blades::NAME)
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

    fn step(&mut self, by: isize) -> Vec<Effect> {
        let (at, n) = self.list();
        *at = step(*at, by, n);
        Vec::new()
    }

    fn act(&self, act: fn(String) -> Effect) -> Vec<Effect> {
        self.chosen().map(|tag| act(tag.to_string())).into_iter().collect()
    }

    fn back(&mut self) -> Vec<Effect> {
        if !compares(self) {
            return vec![Effect::Close];
        }
        self.face = Face::Into;
        Vec::new()
    }

    fn turn(&mut self) -> Vec<Effect> {
        self.face = if self.face == Face::Into { Face::Out } else { Face::Into };
        if self.out.is_some() { Vec::new() } else { self.ask_face() }
    }

    fn compare(&mut self) -> Vec<Effect> {
        let Some(tag) = self.chosen().map(String::from) else { return Vec::new() };
        if self.parent.as_ref() != Some(&tag) {
            (self.siblings, self.defect) = (None, None);
            self.defects.clear();
        }
        (self.parent, self.face, self.sibling_at) = (Some(tag), Face::Siblings, 0);
        self.ask_face()
    }

    fn next_defect(&mut self) -> Vec<Effect> {
        let next = match &self.defect {
            None => 0,
            Some(d) => self.defects.iter().position(|x| x == d).map_or(0, |i| i + 1),
        };
        self.defect = self.defects.get(next).cloned();
        self.ask_face()
    }

    /// The question that other desks start from: about the defect, where it is in sight.
    fn question(&self) -> Ask {
        Ask { defect: self.defect.clone().filter(|_| compares(self)), ..Ask::default() }
    }

    fn working(&self) -> Vec<Effect> {
        let all = self.siblings.as_ref().map(|s| s.workings()).unwrap_or_default();
        vec![Effect::open(Page::working(&all))]
    }

    fn start_here(&mut self, now: &Context) -> Vec<Effect> {
        let Some(tag) = self.chosen().map(String::from) else { return Vec::new() };
        self.from(tag, now)
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
    fn fold(&mut self, open: bool) -> Vec<Effect> {
        match self.face {
            Face::Into => {
                let Some(row) = self.rows.get(self.at).cloned() else { return Vec::new() };
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
        Vec::new()
    }

    fn fold_all(&mut self) -> Vec<Effect> {
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
        Vec::new()
    }

    fn ask_face(&self) -> Vec<Effect> {
        match (self.face, &self.parent) {
            (Face::Out, _) => vec![Effect::read(self.tag.clone(), |store, tag| {
                Ok((tag.clone(), ask::contain(store, tag)?))
            })],
            (Face::Siblings, Some(parent)) => {
                let of = (self.tag.clone(), parent.clone(), self.defect.clone());
                vec![Effect::read(of, |store, (blade, parent, defect)| {
                    siblings::siblings(store, blade, parent, defect.as_deref(), None, None)
                })]
            }
            _ => Vec::new(),
        }
    }

    fn from(&mut self, tag: String, now: &Context) -> Vec<Effect> {
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

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        let trace = Effect::read(self.tag.clone(), |store, tag| ask::trace(store, tag));
        vec![trace, progress_screen::ask(&self.tag)]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, found: Lead, now: &Context) -> Vec<Effect> {
        match found {
            Some((_, tag)) => self.from(tag, now),
            None => unknown(code),
        }
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(way) = reply.take() {
            self.way = way;
        } else if let Some(siblings) = reply.take::<Siblings>() {
            if siblings.defect.is_none() {
                self.defects = defects_of(&siblings);
            }
            self.sibling_at = self.sibling_at.min(siblings.siblings.len().saturating_sub(1));
            self.siblings = Some(siblings);
        } else if let Some(trace) = reply.take::<Trace>() {
            self.tag.clone_from(&trace.tag);
            self.trace = Some(trace);
            self.again();
        } else if let Some((asked, out)) = reply.take::<(String, Contain)>() {
            // One of the tag that stood here before is late.
            if asked == self.tag || out.tag == self.tag {
                self.out = Some(out);
                self.again();
            }
        }
        Vec::new()
    }

    fn failed(&mut self, _failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.trouble = self.trace.is_none();
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        // Where it is not in sight, it is read anew when it is asked for.
        if self.face != Face::Out {
            self.out = None;
        }
        let mut effects = self.begin(now);
        effects.extend(self.ask_face());
        effects
    }

    fn offers(&self, desk: &str) -> Offer {
        match desk {
            desks::TRACE => Offer::None,
            desks::CHARTS => Offer::From(Box::new(self.question())),
            _ => Offer::Plain,
        }
    }

    fn bar(&self, view: &View) -> Option<Line<'static>> {
        self.way.as_ref().map(|w| progress_screen::bar(w, view))
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        draw::draw(self, frame, area, view);
    }
}

/// Held and suspect, as a sign with its word.
fn marks(view: &View, held: bool, suspect: bool) -> Vec<Span<'static>> {
    let mut out = Vec::new();
    if held {
        out.push(view.span(Role::Bad, " ✗ held"));
    }
    if suspect {
        out.push(view.span(Role::Look, " ! suspect"));
    }
    out
}
