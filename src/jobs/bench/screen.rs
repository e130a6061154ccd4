//! The bench: the forms of every station. Whoever stands there picks a kind of record; Enter opens its form.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::jobs::furnace::board::{Drying, stations};
use crate::jobs::furnace::dry_screen;
use crate::ui::big_digits::big;
use crate::ui::effect::{Ask, Effect, Open, Told};
use crate::ui::form::label;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::screen::{Screen, Situation};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, lines, window, wrap};
use records::catalogue::kind::Kind;

/// What the bench knows.
pub struct Bench {
    kinds: Vec<(&'static str, &'static Kind)>,
    at: usize,
    drying: Vec<Drying>,
}

impl Default for Bench {
    fn default() -> Self {
        let kinds = stations().into_iter().flat_map(|(s, ks)| ks.into_iter().map(move |k| (s, k))).collect();
        Self { kinds, at: 0, drying: Vec::new() }
    }
}

#[derive(Clone, Copy)]
enum Msg {
    Causes,
    Lots,
    Form,
    Back,
    Up,
    Down,
    Before,
    After,
    Map,
    Station(usize),
}

const fn station(on: &'static [Press], n: usize) -> Key<Bench, Msg> {
    Key { on, msg: Msg::Station(n), label: "", help: "The station with this digit", when: keys::always }
}

const KEYS: &[Key<Bench, Msg>] = &[
    Key {
        on: &[Press::Enter],
        msg: Msg::Form,
        label: "form",
        help: "Open the form of the chosen kind",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('l')],
        msg: Msg::Lots,
        label: "lots",
        help: "Lots and trials: what may go, what blocks the rest; what a trial says",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('y')],
        msg: Msg::Causes,
        label: "causes",
        help: "What made blades bad: the cause desk",
        when: keys::always,
    },
    Key {
        on: &[Press::Char('m')],
        msg: Msg::Map,
        label: "position map",
        help: "Which pattern stands at which position of a tree: all blades are opened at once",
        when: keys::always,
    },
    station(&[Press::Char('1')], 0),
    station(&[Press::Char('2')], 1),
    station(&[Press::Char('3')], 2),
    station(&[Press::Char('4')], 3),
    station(&[Press::Char('5')], 4),
    station(&[Press::Char('6')], 5),
    station(&[Press::Char('7')], 6),
    station(&[Press::Char('8')], 7),
    station(&[Press::Char('9')], 8),
    Key { on: &[Press::Up], msg: Msg::Up, label: "", help: "The kind above", when: keys::always },
    Key { on: &[Press::Down], msg: Msg::Down, label: "", help: "The kind below", when: keys::always },
    Key {
        on: &[Press::Left, Press::PageUp],
        msg: Msg::Before,
        label: "",
        help: "The station before",
        when: keys::always,
    },
    Key {
        on: &[Press::Right, Press::PageDown],
        msg: Msg::After,
        label: "next station",
        help: "The next station",
        when: keys::always,
    },
    Key {
        on: &[Press::Esc],
        msg: Msg::Back,
        label: "back",
        help: "Back to the furnace desk",
        when: keys::always,
    },
];

impl Bench {
    fn kind(&self) -> Option<&'static Kind> {
        self.kinds.get(self.at).map(|(_, k)| *k)
    }

    fn station(&mut self, on: bool) {
        let here = self.kinds.get(self.at).map(|(s, _)| *s);
        let first_of = |s: &str| self.kinds.iter().position(|(t, _)| *t == s).unwrap_or(0);
        let to = if on {
            self.kinds.iter().skip(self.at).position(|(s, _)| Some(*s) != here).map(|n| self.at + n)
        } else {
            let first = here.map_or(0, first_of);
            Some(if self.at > first {
                first
            } else {
                first.checked_sub(1).and_then(|i| self.kinds.get(i)).map_or(0, |(s, _)| first_of(s))
            })
        };
        self.at = to.unwrap_or(self.at);
    }
}

impl Screen for Bench {
    fn title(&self) -> String {
        "Bench".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Situation) -> Vec<Effect> {
        vec![Effect::Ask(Ask::Drying(now.now))]
    }

    fn press(&mut self, press: Press, _now: &Situation) -> Vec<Effect> {
        match keys::dispatch(KEYS, self, press) {
            Some(Msg::Form) => match self.kind() {
                Some(kind) if dry_screen::asks(kind) => {
                    return vec![Effect::Open(Open::Dry(kind, Vec::new()))];
                }
                Some(kind) => return vec![Effect::Open(Open::Form(kind, Vec::new()))],
                None => {}
            },
            Some(Msg::Causes) => {
                return vec![Effect::Open(Open::Causes(crate::jobs::causes::ask::Ask::default()))];
            }
            Some(Msg::Lots) => return vec![Effect::Open(Open::Releases)],
            Some(Msg::Back) => return vec![Effect::Close],
            Some(Msg::Up) => self.at = self.at.saturating_sub(1),
            Some(Msg::Down) => self.at = (self.at + 1).min(self.kinds.len().saturating_sub(1)),
            Some(Msg::Before) => self.station(false),
            Some(Msg::After) => self.station(true),
            Some(Msg::Map) => return vec![Effect::Open(Open::Tree(String::new()))],
            Some(Msg::Station(n)) => {
                let mut seen = 0;
                let mut last = "";
                for (i, (station, _)) in self.kinds.iter().enumerate() {
                    if *station != last {
                        if seen == n {
                            self.at = i;
                        }
                        (seen, last) = (seen + 1, station);
                    }
                }
            }
            None => {}
        }
        Vec::new()
    }

    fn told(&mut self, told: &Told, mine: bool, now: &Situation) -> Vec<Effect> {
        match told {
            Told::Drying(drying) if mine => self.drying.clone_from(drying),
            Told::Logged(_) | Told::Undone(_) => return vec![Effect::Ask(Ask::Drying(now.now))],
            _ => {}
        }
        Vec::new()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let left = Rect { width: (area.width / 3).clamp(1, 30), ..area };
        let right =
            Rect { x: area.x + left.width + 2, width: area.width.saturating_sub(left.width + 2), ..area };
        let width = usize::from(left.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        let (mut chosen, mut last, mut digit) = (0, "", 0);
        for (i, (station, kind)) in self.kinds.iter().enumerate() {
            if *station != last {
                digit += 1;
                let head = if digit < 10 { format!("{digit} {station}") } else { (*station).to_string() };
                rows.push(view.line(Role::Quiet, fit(&head, width)));
                last = station;
            }
            let here = i == self.at;
            if here {
                chosen = rows.len();
            }
            let mark = if here { "▸" } else { " " };
            let role = if here { Role::Chosen } else { Role::Text };
            rows.push(view.line(role, fit(&format!("{mark} {}", kind.noun), width)));
        }
        let from = window(chosen, rows.len(), usize::from(left.height));
        lines(frame, left, rows.into_iter().skip(from).collect());
        let Some(kind) = self.kind() else { return };
        let width = usize::from(right.width);
        let mut rows = vec![view.line(Role::Strong, fit(kind.noun, width))];
        rows.extend(wrap(kind.about, width).into_iter().map(|l| view.line(Role::Text, l)));
        rows.push(Line::default());
        if kind.name == "coats" {
            self.drying(&mut rows, width, view);
        }
        let names: Vec<String> = kind.fields.iter().map(label).collect();
        rows.push(view.line(Role::Quiet, "its form asks for"));
        rows.extend(wrap(&names.join(" · "), width).into_iter().map(|l| view.line(Role::Text, l)));
        lines(frame, right, rows);
    }
}

impl Bench {
    /// How long each coat has to dry still.
    fn drying(&self, rows: &mut Vec<Line<'static>>, width: usize, view: &View) {
        rows.push(view.line(Role::Strong, "drying"));
        if self.drying.is_empty() {
            rows.push(view.line(Role::Quiet, "no coat is drying by the records"));
        }
        // The one that is dry next, to be read across the room: hours and minutes.
        let left = |d: &Drying| d.least_h.map(|h| h * 60.0 - view.now.minutes_since(d.since));
        let next = self.drying.iter().filter_map(|d| Some((d, left(d).filter(|l| *l > 0.0)?)));
        if let Some((d, left)) = next.min_by(|a, b| a.1.total_cmp(&b.1)) {
            let minutes = left.ceil() as i64;
            for row in big(&format!("{}:{:02}", minutes / 60, minutes % 60), view.theme.ascii) {
                rows.push(view.line(Role::Strong, fit(&row, width)));
            }
            rows.push(
                view.line(
                    Role::Strong,
                    fit(&format!("h:min, then {} coat {} is dry", d.mould, d.coat), width),
                ),
            );
        }
        for d in self.drying.iter().take(8) {
            let since = view.now.minutes_since(d.since);
            let (role, left) = match d.least_h.map(|h| h * 60.0 - since) {
                Some(left) if left > 0.0 => {
                    let left = left.ceil() as i64;
                    (Role::Look, format!("! {} h {:02} min to go", left / 60, left % 60))
                }
                Some(_) => (Role::Good, "✓ dry by the recipe".to_string()),
                None => (Role::Text, format!("for {:.1} h; no recipe says how long", since / 60.0)),
            };
            rows.push(view.line(role, fit(&format!("{} coat {}  {left}", d.mould, d.coat), width)));
        }
        rows.push(Line::default());
    }
}
