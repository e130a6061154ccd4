//! The position map. The assembler scans the pattern run at each position; F2 opens all blades at once.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::jobs::bench::position_map::Tree;
use crate::jobs::bench::position_map::mirrored;
use crate::ui::effect::Ask;
use crate::ui::effect::Effect;
use crate::ui::effect::Told;
use crate::ui::keys;
use crate::ui::keys::Key;
use crate::ui::keys::Press;
use crate::ui::keys::Shown;
use crate::ui::screen::Screen;
use crate::ui::screen::Situation;
use crate::ui::theme::Role;
use crate::ui::view::View;
use crate::ui::view::fit;
use crate::ui::view::lines;
use crate::ui::view::window;
use crate::ui::view::wrap;

/// The map while it is made.
#[derive(Default)]
pub struct TreeMap {
    asked: String,
    tree: Option<Tree>,
    runs: Vec<Option<String>>,
    at: usize,
    last: Option<String>,
    saving: bool,
    /// The person has looked again at a map that is mirrored.
    sure: bool,
    /// Why a pattern run that does not fit is right, where that is asked, and what was asked.
    reason: Option<String>,
    why: String,
}

#[derive(Clone, Copy)]
enum Msg {
    Repeat,
    Save,
    Clear,
    Up,
    Down,
    Back,
}

const KEYS: &[Key<TreeMap, Msg>] = &[
    Key {
        on: &[Press::Char(' '), Press::Char('=')],
        msg: Msg::Repeat,
        label: "same again",
        help: "The same pattern run at this position as at the one before",
        when: |t| t.last.is_some() && t.free(t.at),
    },
    Key {
        on: &[Press::Enter, Press::F(2)],
        msg: Msg::Save,
        label: "save the map",
        help: "Open the blades of all positions at once; a map that reads mirrored asks twice",
        when: |t| !t.saving && t.runs.iter().any(Option::is_some),
    },
    Key {
        on: &[Press::Backspace, Press::Delete],
        msg: Msg::Clear,
        label: "clear",
        help: "Empty this position, or the one before where this is empty",
        when: |t| t.runs.iter().any(Option::is_some),
    },
    Key { on: &[Press::Up], msg: Msg::Up, label: "", help: "The position before", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Down, label: "", help: "The next position", when: keys::always },
    Key {
        on: &[Press::Esc],
        msg: Msg::Back,
        label: "back",
        help: "Leave it; nothing is recorded",
        when: keys::always,
    },
];

impl TreeMap {
    /// Of this mould; blank where it is scanned first.
    #[must_use]
    pub fn new(mould: String) -> Self {
        Self { asked: mould, ..Self::default() }
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
        self.sure = false;
        self.at = (place + 1).min(self.runs.len());
        vec![Effect::Say(Role::Good, format!("position {}: {run}", place + 1))]
    }

    fn save(&mut self, now: &Situation) -> Vec<Effect> {
        let Some(tree) = &self.tree else { return Vec::new() };
        self.saving = true;
        let why = self.reason.clone().filter(|r| !r.trim().is_empty());
        vec![Effect::Ask(Ask::TreeWrite(now.who.clone(), tree.mould.clone(), self.runs.clone(), why))]
    }

    fn press_reason(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        let Some(reason) = &mut self.reason else { return Vec::new() };
        match press {
            Press::Char(c) if reason.chars().count() < 500 => reason.push(c),
            Press::Backspace => {
                reason.pop();
            }
            Press::Enter | Press::F(2) if reason.trim().is_empty() => {
                let text = "a reason is needed, or Esc to change the map";
                return vec![Effect::Say(Role::Look, text.into())];
            }
            Press::Enter | Press::F(2) if !self.saving => return self.save(now),
            Press::Esc => self.reason = None,
            _ => {}
        }
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
            let key = |key: &str, label: &'static str, help: &'static str| Shown {
                key: key.into(),
                label,
                help,
                works: true,
            };
            return vec![
                key(
                    "Enter",
                    "save with this reason",
                    "Save the map; the reason stands in each blade's record",
                ),
                key("Esc", "change the map", "Back to the map"),
            ];
        }
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Situation) -> Vec<Effect> {
        if self.asked.is_empty() { Vec::new() } else { vec![Effect::Ask(Ask::TreeOf(self.asked.clone()))] }
    }

    fn press(&mut self, press: Press, now: &Situation) -> Vec<Effect> {
        if self.reason.is_some() {
            return self.press_reason(press, now);
        }
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Repeat) => {
                if let Some(run) = self.last.clone() {
                    return self.put(run);
                }
            }
            Some(Msg::Save) => {
                if self.mirrored() && !self.sure {
                    self.sure = true;
                    let text =
                        "this map is the last one mirrored: look at the flat on the cup, then save again";
                    return vec![Effect::Say(Role::Look, text.into())];
                }
                return self.save(now);
            }
            Some(Msg::Clear) => {
                let here = self.runs.get(self.at).is_some_and(Option::is_some);
                let place = if here { self.at } else { self.at.saturating_sub(1) };
                if let Some(slot) = self.runs.get_mut(place) {
                    *slot = None;
                    self.at = place;
                }
            }
            Some(Msg::Up) => self.at = self.at.saturating_sub(1),
            Some(Msg::Down) => self.at = (self.at + 1).min(self.runs.len().saturating_sub(1)),
            Some(Msg::Back) => return vec![Effect::Close],
            None => {}
        }
        Vec::new()
    }

    fn code(&mut self, code: &str, found: Option<(&'static str, String)>, _now: &Situation) -> Vec<Effect> {
        if let Some(reason) = &mut self.reason {
            reason.push_str(code);
            return Vec::new();
        }
        match found {
            Some(("moulds", tag)) if self.runs.iter().all(Option::is_none) => {
                self.asked.clone_from(&tag);
                vec![Effect::Ask(Ask::TreeOf(tag))]
            }
            Some(("pattern_runs", tag)) => self.put(tag),
            Some((_, tag)) => {
                vec![Effect::Say(Role::Look, format!("{tag} is no pattern run; nothing was changed"))]
            }
            None => vec![crate::ui::screen::unknown(code)],
        }
    }

    fn told(&mut self, told: &Told, mine: bool, _now: &Situation) -> Vec<Effect> {
        match told {
            Told::Tree(tree) if mine => {
                self.runs = vec![None; tree.positions];
                self.at =
                    (0..tree.positions).find(|i| tree.taken.iter().all(|(p, _)| *p != i + 1)).unwrap_or(0);
                self.tree = Some(tree.clone());
            }
            Told::Logged(_) if mine => return vec![Effect::Close],
            Told::Failed { sentence, wants_reason } if mine => {
                self.saving = false;
                if *wants_reason {
                    self.why.clone_from(sentence);
                    self.reason = Some(String::new());
                }
            }
            _ => {}
        }
        Vec::new()
    }

    fn takes_text(&self) -> bool {
        true
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
        let mut put =
            |role: Role, text: &str| rows.extend(wrap(text, width).into_iter().map(|l| view.line(role, l)));
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
            put(Role::Look, &format!("! {}", self.why));
            put(Role::Field, &format!("Why is it right? {reason}_"));
        }
        rows.push(Line::default());
        let height = usize::from(area.height).saturating_sub(rows.len());
        let from = window(self.at, tree.positions, height);
        for i in (from..tree.positions).take(height) {
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
            let mark = if here { "▸" } else { " " };
            let role = if here { Role::Chosen } else { Role::Text };
            rows.push(
                view.line(role, fit(&format!("{mark} {:>3}  {}  {remark}", i + 1, fit(run, 20)), width)),
            );
        }
        lines(frame, area, rows);
    }
}
