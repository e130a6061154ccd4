//! The position map. The assembler scans the pattern run at each position; F2 opens all blades at once.

use crate::jobs::bench::position_map;
use crate::jobs::bench::position_map::{Tree, mirrored};
use crate::jobs::records::orders::together;
use crate::ui::form::drafts::{Draft, DropDraft, KeepDraft};
use crate::ui::kit::*;
use records::catalogue::{Moulds, PatternRuns};
use records::value::words::counted;

/// The map while it is made.
#[derive(Default)]
pub struct TreeMap {
    tree: Option<Tree>,
    runs: Vec<Option<String>>,
    at: usize,
    last: Option<String>,
    saving: bool,
    /// The person has looked again at a map that is mirrored, or has empty positions.
    sure: bool,
    /// Why a pattern run that does not fit is right, where that is asked.
    reason: Option<Reason>,
    /// The number of its draft, and whether what is on the disk is older than what is seen.
    id: u64,
    unkept: bool,
    /// What a draft said stands at each position, until the tree is read.
    kept: Vec<Option<String>>,
    of: Option<String>,
    written: bool,
}

/// The name under which a half-made map is kept.
pub const DRAFT: &str = "position map";

type K = Key<TreeMap>;

const KEYS: &[K] = &[
    K::on(&[Press::Char(' '), Press::Char('=')], |t, _| t.repeat())
        .named("same again", "The same pattern run at this position as at the one before")
        .when(|t| t.last.is_some() && t.free(t.at)),
    K::on(&[Press::F(2)], TreeMap::look_and_save)
        .named(
            "save the map",
            "Open the blades of all positions at once; a map that reads mirrored, or has empty positions, asks twice",
        )
        .when(|t| !t.saving && t.runs.iter().any(Option::is_some)),
    K::on(&[Press::Backspace, Press::Delete], |t, _| t.clear())
        .named("clear", "Empty this position, or the one before where this is empty")
        .when(|t| t.runs.iter().any(Option::is_some)),
    K::on(&[Press::Up], |t, _| t.step(-1)).help("The position before"),
    K::on(&[Press::Down], |t, _| t.step(1)).help("The next position"),
    K::on(&[Press::Esc], close).named("back", "Leave it; nothing is recorded"),
];

impl TreeMap {
    /// A map that was left half-made.
    pub fn from_draft(draft: &Draft) -> Option<Self> {
        let (_, mould, _) = draft.fields.iter().find(|(name, ..)| name == Moulds::NAME)?;
        let place = |text: &str| text.parse::<usize>().ok().filter(|p| (1..=1000).contains(p));
        let runs = draft.fields.iter().filter_map(|(name, run, _)| Some((place(name)?, run.clone())));
        let mut kept = Vec::new();
        for (place, run) in runs {
            if kept.len() < place {
                kept.resize(place, None);
            }
            kept[place - 1] = Some(run);
        }
        Some(Self { id: draft.id, kept, of: Some(mould.clone()), ..Self::default() })
    }

    fn free(&self, i: usize) -> bool {
        i < self.runs.len() && self.tree.as_ref().is_some_and(|t| t.taken.iter().all(|(p, _)| *p != i + 1))
    }

    fn put(&mut self, run: String) -> Vec<Effect> {
        if self.tree.is_none() {
            return vec![Effect::Say(Role::Look, "scan the mould first".into())];
        }
        let from = self.at.min(self.runs.len());
        let Some(place) = (from..self.runs.len()).find(|&i| self.free(i)) else {
            return vec![Effect::Say(Role::Look, format!("every position from {} on is filled", from + 1))];
        };
        self.runs[place] = Some(run.clone());
        self.last = Some(run.clone());
        (self.sure, self.unkept) = (false, true);
        self.at = (place + 1).min(self.runs.len());
        vec![Effect::Say(Role::Good, format!("position {}: {run}", place + 1))]
    }

    fn save(&mut self, now: &Context) -> Vec<Effect> {
        let Some(tree) = &self.tree else { return Vec::new() };
        if self.saving {
            return Vec::new();
        }
        self.saving = true;
        let why = self.reason.as_ref().map(|r| r.text.clone()).filter(|r| !r.trim().is_empty());
        let map = (tree.mould.clone(), self.runs.clone(), why);
        vec![Effect::write(now, map, |store, who, (mould, runs, why)| {
            Ok(together(position_map::write(store, who, mould, runs, why.as_deref())?))
        })]
    }

    fn look_and_save(&mut self, now: &Context) -> Vec<Effect> {
        let mirrored =
            self.mirrored().then(|| "this map is the last one mirrored: look at the flat on the cup".into());
        let doubts: Vec<String> = mirrored.into_iter().chain(self.stay_empty()).collect();
        if !doubts.is_empty() && !self.sure {
            self.sure = true;
            return vec![Effect::Say(Role::Look, format!("{}: F2 once more saves", doubts.join("; ")))];
        }
        self.save(now)
    }

    /// Positions without a pattern, counted, while some have one.
    fn stay_empty(&self) -> Option<String> {
        let empty = (0..self.runs.len()).filter(|&i| self.free(i) && self.runs[i].is_none()).count();
        let stay = if empty == 1 { "stays" } else { "stay" };
        (empty > 0).then(|| format!("{} {stay} empty", counted(empty, "position")))
    }

    fn repeat(&mut self) -> Vec<Effect> {
        self.last.clone().map_or_else(Vec::new, |run| self.put(run))
    }

    fn clear(&mut self) -> Vec<Effect> {
        let here = self.runs.get(self.at).is_some_and(Option::is_some);
        let place = if here { self.at } else { self.at.saturating_sub(1) };
        if let Some(slot) = self.runs.get_mut(place) {
            *slot = None;
            (self.at, self.sure, self.unkept) = (place, false, true);
        }
        Vec::new()
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.runs.len());
        Vec::new()
    }

    fn mirrored(&self) -> bool {
        self.tree.as_ref().is_some_and(|t| mirrored(&self.runs, &t.before))
    }
}

impl Screen for TreeMap {
    fn title(&self) -> String {
        match &self.tree {
            Some(t) => format!("Position map of {}", t.mould),
            None => "Position map".into(),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        if self.reason.is_some() {
            let save = "Save the map; the reason stands in each blade's record";
            return Reason::keys(save, "change the map", "Back to the map");
        }
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        match self.reason.as_mut().map(|reason| reason.press(press, "change the map")) {
            None => keys::dispatch(KEYS, self, press, now),
            Some(Asked::Still(effects)) => effects,
            Some(Asked::Given) => self.save(now),
            Some(Asked::Left) => {
                self.reason = None;
                Vec::new()
            }
        }
    }

    fn code(&mut self, code: &str, found: Lead, _now: &Context) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            reason.text.push_str(code);
            return Vec::new();
        }
        match found {
            Some((Moulds::NAME, tag)) if self.runs.iter().all(Option::is_none) => {
                vec![Effect::read(tag, |store, mould| position_map::of(store, mould))]
            }
            Some((PatternRuns::NAME, tag)) => self.put(tag),
            Some((_, tag)) => {
                vec![Effect::say(Role::Look, format!("{tag} is no pattern run; nothing was changed"))]
            }
            None => unknown(code),
        }
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(tree) = reply.take::<Tree>() {
            self.runs = vec![None; tree.positions];
            self.at = (0..tree.positions).find(|i| tree.taken.iter().all(|(p, _)| *p != i + 1)).unwrap_or(0);
            self.tree = Some(tree);
            for (place, run) in std::mem::take(&mut self.kept).into_iter().enumerate() {
                if self.free(place) {
                    self.runs[place] = run;
                }
            }
        }
        Vec::new()
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        if self.id == 0 {
            self.id = now.layer;
        }
        let of = self.of.take().into_iter();
        of.map(|mould| Effect::read(mould, |store, mould| position_map::of(store, mould))).collect()
    }

    fn changed(&mut self, _change: &Change, mine: bool, _now: &Context) -> Vec<Effect> {
        if !mine {
            return Vec::new();
        }
        self.written = true;
        vec![Effect::ask(DropDraft(self.id)), Effect::Close]
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        if !std::mem::take(&mut self.unkept) {
            return Vec::new();
        }
        self.draft(now).map(|d| Effect::ask(KeepDraft(d))).into_iter().collect()
    }

    fn draft(&self, now: &Context) -> Option<Draft> {
        let tree = self.tree.as_ref().filter(|_| !self.written && self.runs.iter().any(Option::is_some))?;
        let runs = self.runs.iter().enumerate();
        let runs = runs.filter_map(|(i, run)| Some(((i + 1).to_string(), run.clone()?, String::new())));
        let mould = (Moulds::NAME.to_string(), tree.mould.clone(), String::new());
        Some(Draft {
            id: self.id,
            kind: DRAFT.into(),
            address: None,
            fields: std::iter::once(mould).chain(runs).collect(),
            at: self.at,
            touched: now.now.to_string(),
            owner: now.who.person.clone(),
        })
    }

    fn failed(&mut self, failure: &Failure, _now: &Context) -> Vec<Effect> {
        self.saving = false;
        if failure.wants_reason {
            self.reason = Some(Reason::new(vec![failure.sentence.clone()]));
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn types(&self) -> bool {
        self.reason.is_some()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let Some(tree) = &self.tree else {
            return lines(
                frame,
                area,
                vec![view.line(Role::Strong, fit("Scan the mould whose tree is assembled.", width))],
            );
        };
        let mut rows: Vec<Line<'static>> = Vec::new();
        let mut put = |role: Role, text: &str| rows.extend(view.wrapped(role, text, width));
        put(Role::Strong, "Scan the pattern run at each position; Space is the same again.");
        put(
            Role::Text,
            "Position 1 stands at the flat on the cup; count the way the drawing does, from above.",
        );
        if tree.positions == 0 {
            put(Role::Bad, "✗ STOP: its running system has no positions on record");
        } else if self.runs.iter().all(Option::is_none) && tree.taken.is_empty() {
            put(Role::Bad, "✗ STOP: the map is empty; the tree does not go on to the shell without it");
        } else if self.mirrored() {
            put(Role::Look, "! This map is the last one mirrored. Is position 1 at the flat?");
        } else {
            let n = self.runs.iter().flatten().count() + tree.taken.len();
            let (role, mark) = if n == tree.positions { (Role::Good, "✓") } else { (Role::Look, "!") };
            put(role, &format!("{mark} {n} of {} positions", tree.positions));
        }
        let mut kinds: Vec<&String> = self.runs.iter().flatten().collect();
        kinds.sort();
        kinds.dedup();
        if kinds.len() > 1 {
            put(Role::Look, &format!("! {} pattern runs on one tree", kinds.len()));
        }
        if let Some(reason) = &self.reason {
            put(Role::Look, &format!("! {}", reason.why.join("; ")));
            put(Role::Field, &format!("Why is it right? {}_", reason.text));
        }
        rows.push(Line::default());
        let height = usize::from(area.height).saturating_sub(rows.len());
        for i in in_sight(self.at, tree.positions, height) {
            let taken = tree.taken.iter().find(|(p, _)| *p == i + 1);
            let before = tree.before.get(i).and_then(Option::as_deref).unwrap_or("");
            let (run, remark) = match (taken, self.runs[i].as_deref()) {
                (Some((_, run)), _) => (run.as_str(), "on record".to_string()),
                (None, Some(run)) => (run, String::new()),
                _ => (
                    "·",
                    if before.is_empty() { String::new() } else { format!("on the tree before: {before}") },
                ),
            };
            let here = i == self.at;
            let text = format!("{} {:>3}  {}  {remark}", mark(here), i + 1, fit(run, 20));
            rows.push(view.line(view.row(here), fit(&text, width)));
        }
        lines(frame, area, rows);
    }
}
