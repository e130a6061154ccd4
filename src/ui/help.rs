//! What each key does, made from the key tables; and the guide, page by page.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::show::guide;
use crate::show::guide::Look;
use crate::show::guide::TOPICS;
use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown};
use crate::ui::list::{mark, step};
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, lines, window, wrap};

pub struct Help {
    of: String,
    own: Vec<Shown>,
    general: Vec<Shown>,
    shows: Shows,
    from: usize,
    topic: usize,
}

/// What is on it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Shows {
    Keys,
    Topics,
    Topic,
}

/// A page of the guide is wrapped at this, or at the window where that is narrower.
const WIDEST: usize = 96;

type K = Key<Help>;

const KEYS: &[K] = &[
    K::on(&[Press::Tab, Press::Char('g')], |h, _| h.turn(Shows::Topics))
        .named("guide", "")
        .when(|h| h.shows == Shows::Keys),
    K::on(&[Press::Enter], |h, _| h.turn(Shows::Topic)).named("read", "").when(|h| h.shows == Shows::Topics),
    K::on(&[Press::Esc, Press::Enter, Press::Char('?'), Press::F(1)], |h, _| h.back()).named("back", ""),
    K::on(&[Press::Up], |h, _| h.step(-1)).named("up", ""),
    K::on(&[Press::Down], |h, _| h.step(1)).named("down", ""),
    K::on(&[Press::PageUp], |h, _| h.step(-15)),
    K::on(&[Press::PageDown], |h, _| h.step(15)),
];

impl Help {
    /// For a screen, with the keys that work everywhere.
    pub fn new(of: String, own: Vec<Shown>, general: Vec<Shown>) -> Self {
        Self { of, own, general, shows: Shows::Keys, from: 0, topic: 0 }
    }

    fn turn(&mut self, to: Shows) -> Vec<Effect> {
        (self.shows, self.from) = (to, 0);
        Vec::new()
    }

    /// One step back: from a page to the topics, to the keys, to the screen.
    fn back(&mut self) -> Vec<Effect> {
        match self.shows {
            Shows::Keys => vec![Effect::Close],
            Shows::Topics => self.turn(Shows::Keys),
            Shows::Topic => self.turn(Shows::Topics),
        }
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        match self.shows {
            Shows::Topics => self.topic = step(self.topic, by, TOPICS.len()),
            _ => self.from = step(self.from, by, self.last() + 1),
        }
        Vec::new()
    }

    /// The last row that may stand at the top.
    fn last(&self) -> usize {
        match self.shows {
            // As many as a narrow window may make of them.
            Shows::Keys => 3 * (self.own.len() + self.general.len()) + 12,
            Shows::Topics => 0,
            Shows::Topic => guide::rows(TOPICS[self.topic].markdown, WIDEST).len().saturating_sub(1),
        }
    }

    fn key_rows(&self, view: &View, width: usize) -> Vec<Line<'static>> {
        let mut rows = Vec::new();
        for (title, table) in [("Here", &self.own), ("On every screen", &self.general)] {
            if table.is_empty() {
                continue;
            }
            rows.push(view.line(Role::Strong, title));
            for k in table {
                let role = if k.works { Role::Text } else { Role::Quiet };
                let now = if k.works { "" } else { " (not now)" };
                for (i, part) in
                    wrap(&format!("{}{now}", k.help), width.saturating_sub(13)).iter().enumerate()
                {
                    let key = if i == 0 { k.key.as_str() } else { "" };
                    rows.push(view.line(role, fit(&format!("  {key:10} {part}"), width)));
                }
            }
            rows.push(Line::default());
        }
        for text in [
            "A scanner needs no key: a code goes to the field that fits it, or opens its record.",
            "A code never presses a button. A badge says who works here.",
            "✓ as it should be   ✗ not   ! look at this   ○ not yet   ▸ the chosen line",
            "Decision support: approved specifications, qualified people and local law prevail.",
        ] {
            rows.extend(view.wrapped(Role::Quiet, text, width));
        }
        rows
    }

    fn topic_rows(&self, view: &View, width: usize) -> Vec<Line<'static>> {
        let row = |(i, t): (usize, &guide::Topic)| {
            let here = i == self.topic;
            view.line(view.row(here), fit(&format!("{} {:10} {}", mark(here), t.name, t.about), width))
        };
        TOPICS.iter().enumerate().map(row).collect()
    }

    fn page_rows(&self, view: &View, width: usize) -> Vec<Line<'static>> {
        let role = |look| match look {
            Look::Title | Look::Heading => Role::Strong,
            Look::Text => Role::Text,
            Look::Typed => Role::Look,
        };
        let rows = guide::rows(TOPICS[self.topic].markdown, width.min(WIDEST));
        rows.iter().map(|r| view.line(role(r.look), fit(&r.text, width))).collect()
    }
}

impl Screen for Help {
    fn title(&self) -> String {
        match self.shows {
            Shows::Keys => format!("Help: {}", self.of),
            Shows::Topics => "The guide".into(),
            Shows::Topic => format!("The guide: {}", TOPICS[self.topic].name),
        }
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn is_help(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let rows = match self.shows {
            Shows::Keys => self.key_rows(view, width),
            Shows::Topics => self.topic_rows(view, width),
            Shows::Topic => self.page_rows(view, width),
        };
        let from = match self.shows {
            Shows::Topics => window(self.topic, rows.len(), usize::from(area.height)),
            _ => self.from.min(rows.len().saturating_sub(1)),
        };
        lines(frame, area, rows.into_iter().skip(from).collect());
    }
}
