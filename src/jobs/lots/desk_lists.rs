//! The lists of the lead's desk: lots and trials, and those of what waits for a decision; one is in sight at a time.

use std::collections::HashMap;

use crate::jobs::lots::desk;
use crate::jobs::lots::desk::{LotHead, LotLine, Waits};
use crate::jobs::lots::desk_show;
use crate::show::columns;
use crate::ui::kit::*;
use records::catalogue::Trials;
use records::{Stamp, Store};

/// What each lot comes to, as far as it is known; or why it cannot be read.
pub type Lines = HashMap<String, Result<LotLine, String>>;

/// A line of the first list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Entry {
    Lot(LotHead),
    /// A trial and what it is, in a few words.
    Trial(String, String),
}

impl Entry {
    pub fn tag(&self) -> &str {
        match self {
            Self::Lot(head) => &head.lot,
            Self::Trial(tag, _) => tag,
        }
    }

    /// With what it comes to, as far as that is known.
    pub fn line(
        &self,
        lines: &Lines,
        (mark, here): (&str, bool),
        width: usize,
        view: &View,
    ) -> Line<'static> {
        let strong = if here { Role::Strong } else { Role::Text };
        let head = match self {
            Self::Trial(tag, about) => {
                return view.line(strong, fit(&format!("{mark} trial {tag:12} {about}"), width));
            }
            Self::Lot(head) => head,
        };
        let ordered = head.ordered.map(|n| format!("{n} ordered"));
        let said = [Some(head.part.clone()), Some(head.order.clone()), ordered];
        let about = said.into_iter().flatten().filter(|t| !t.is_empty()).collect::<Vec<_>>().join(" ");
        let (word, role, places) = match lines.get(&head.lot) {
            Some(Err(why)) => ("! unread".into(), Role::Look, format!("{why}; ")),
            Some(Ok(line)) => {
                let role = if line.good() { Role::Good } else { Role::Bad };
                (line.marked(), role, line.places() + "; ")
            }
            None => ("… reading".into(), Role::Quiet, String::new()),
        };
        let first = format!("{mark} lot   {:12} ", head.lot);
        let room = width.saturating_sub(first.chars().count() + 14);
        Line::from(vec![
            view.span(strong, first),
            view.span(role, fit(&word, 14)),
            view.span(strong, fit(&format!("{places}{about}"), room)),
        ])
    }
}

/// Every lot and every trial, the newest first.
pub fn entries(store: &Store) -> records::Result<Vec<Entry>> {
    let mut out: Vec<Entry> = desk::heads(store)?.into_iter().map(Entry::Lot).collect();
    let mut trials = store.rows::<Trials>()?;
    trials.sort_by_key(|r| std::cmp::Reverse(r.own_time().map(Stamp::ms)));
    for trial in trials {
        let (status, question) =
            (trial.cell(Trials::status).to_text(), trial.cell(Trials::question).to_text());
        out.push(Entry::Trial(trial.address(), format!("{status}: {question}")));
    }
    Ok(out)
}

/// A line of one of the other lists: the record that it opens, how it reads.
struct Waiting {
    record: String,
    cells: Vec<String>,
}

/// What the lists are called, the first being that of lots and trials, and what is said where one is empty.
const LISTS: [(&str, &str); 5] = [
    ("lots and trials", "no lot and no trial is on record; the bench has their forms"),
    ("rejected", "no rejected blade waits for a decision"),
    ("holds", "no hold is open"),
    ("returned", "no blade that came back waits for a decision"),
    ("concessions", "no deviation and no concession is on record"),
];

/// The lists of what waits, in the order of their names.
fn waiting(waits: &Waits) -> [Vec<Waiting>; 4] {
    let line = |record: &str, cells| Waiting { record: record.into(), cells };
    [
        waits.rejected.iter().map(|r| line(&r.blade, r.cells())).collect(),
        waits.holds.iter().map(|h| line(&h.hold, desk_show::hold_cells(h))).collect(),
        waits.returned.iter().map(|r| line(&r.blade, r.cells())).collect(),
        waits.concessions.iter().map(|c| line(&c.concession, c.cells())).collect(),
    ]
}

/// Which list is in sight, and those of what waits.
#[derive(Default)]
pub struct Lists {
    /// The first is that of lots and trials.
    at: usize,
    waits: [List<Waiting>; 4],
}

impl Lists {
    /// Lots and trials are in sight.
    pub fn on_lots(&self) -> bool {
        self.at == 0
    }

    fn waiting(&self) -> Option<&List<Waiting>> {
        self.waits.get(self.at.checked_sub(1)?)
    }

    pub fn next(&mut self) -> Vec<Effect> {
        self.at = (self.at + 1) % LISTS.len();
        Vec::new()
    }

    pub fn back(&mut self) -> Vec<Effect> {
        self.at = (self.at + LISTS.len() - 1) % LISTS.len();
        Vec::new()
    }

    pub fn fill(&mut self, waits: &Waits) {
        for (list, rows) in self.waits.iter_mut().zip(waiting(waits)) {
            list.fill(rows);
        }
    }

    /// The record at the cursor of what waits.
    pub fn record(&self) -> Option<&str> {
        Some(self.waiting()?.chosen()?.record.as_str())
    }

    /// Moves the cursor in the list in sight.
    pub fn step(&mut self, lots: &mut List<Entry>, by: isize) -> Vec<Effect> {
        match self.at.checked_sub(1) {
            Some(i) => self.waits[i].step(by),
            None => lots.step(by),
        }
    }

    /// The names of the lists with how many lines each has; the one in sight in brackets.
    pub fn names(&self, lots: &List<Entry>, width: usize, view: &View) -> Vec<Line<'static>> {
        let counts = std::iter::once((lots.is_known(), lots.rows().len()))
            .chain(self.waits.iter().map(|l| (l.is_known(), l.rows().len())));
        let name = |(i, (known, n)): (usize, (bool, usize))| {
            let n = if known { n.to_string() } else { "…".into() };
            let text = format!("{} {n}", LISTS[i].0);
            if i == self.at { format!("[{text}]") } else { format!(" {text} ") }
        };
        let all: Vec<String> = counts.enumerate().map(name).collect();
        vec![view.line(Role::Strong, fit(&all.join(" "), width)), Line::default()]
    }

    /// The list in sight.
    pub fn lines(
        &self,
        lots: &List<Entry>,
        known: &Lines,
        (width, height): (usize, usize),
        view: &View,
    ) -> Vec<Line<'static>> {
        let waiting = self.waiting();
        if !waiting.map_or(lots.is_known(), List::is_known) {
            return vec![view.line(Role::Quiet, "reading …")];
        }
        if waiting.map_or(lots.rows().is_empty(), |l| l.rows().is_empty()) {
            return vec![view.line(Role::Quiet, LISTS[self.at].1)];
        }
        let Some(list) = waiting else {
            return lots.lines(height, |e, mark, here| e.line(known, (mark, here), width, view));
        };
        // Below each other, whichever of them are in sight.
        let cells: Vec<Vec<String>> = list.rows().iter().map(|w| w.cells.clone()).collect();
        let texts: Vec<String> = columns(&cells).lines().map(String::from).collect();
        let row = |i: usize| {
            let role = if i == list.at { Role::Strong } else { Role::Text };
            view.line(role, fit(&format!("{} {}", mark(i == list.at), clocks(&texts[i])), width))
        };
        in_sight(list.at, texts.len(), height).map(row).collect()
    }
}
