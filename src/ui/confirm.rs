//! A question over the screen: what is meant stands there. What writes is confirmed by F2 alone; Esc says no.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::ui::effect::Effect;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown, close};
use crate::ui::list::step;
use crate::ui::order::{Lead, Sort};
use crate::ui::screen::{Context, Screen, unused};
use crate::ui::theme::Role;
use crate::ui::view::{View, dialog, wrap};
use records::Stamp;
use records::value::words::counted;

pub struct Question {
    title: String,
    body: Vec<String>,
    /// What is said above it, as it is at this moment: a question may stand open while a limit passes.
    live: Option<Live>,
    yes: Vec<Effect>,
    /// A yes writes something.
    writes: bool,
    /// Why there is no yes.
    refused: Option<String>,
    from: usize,
}

type Live = Box<dyn Fn(Stamp) -> Vec<String>>;

type K = Key<Question>;

const KEYS: &[K] = &[
    K::on(&[Press::F(2)], |q, _| q.refused.iter().map(|why| Effect::Say(Role::Bad, why.clone())).collect())
        .when(|q| q.refused.is_some()),
    K::on(&[Press::F(2)], Question::yes).named("yes, save it", "Do it").when(|q| q.writes),
    K::on(&[Press::Enter, Press::F(2)], Question::yes)
        .named("yes", "Do it")
        .when(|q| !q.writes && q.refused.is_none()),
    K::on(&[Press::Esc], close).named("no", "Leave it"),
    K::on(&[Press::Up], |q, _| q.step(-1)).help("A line up"),
    K::on(&[Press::Down], |q, _| q.step(1)).help("A line down"),
];

impl Question {
    /// With what follows a yes.
    pub fn new(title: String, body: Vec<String>, yes: Vec<Effect>) -> Self {
        let writes = yes.iter().any(|e| matches!(e, Effect::Ask(order) if order.sort() == Sort::Write));
        Self { title, body, live: None, yes, writes, refused: None, from: 0 }
    }

    /// There is no yes to it, for this reason: F2 says so.
    pub fn refused(self, why: String) -> Self {
        let body = std::iter::once(format!("✗ {why}")).chain(self.body).collect();
        Self { body, yes: Vec::new(), writes: false, refused: Some(format!("not saved: {why}")), ..self }
    }

    /// With lines that go with the clock.
    pub fn watching(self, live: impl Fn(Stamp) -> Vec<String> + 'static) -> Self {
        Self { live: Some(Box::new(live)), ..self }
    }

    fn yes(&mut self, _: &Context) -> Vec<Effect> {
        std::iter::once(Effect::Close).chain(self.yes.drain(..)).collect()
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.from = step(self.from, by, 201);
        Vec::new()
    }
}

impl Screen for Question {
    fn title(&self) -> String {
        "A question".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, _found: Lead, _now: &Context) -> Vec<Effect> {
        unused(code, "a question is open")
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn types(&self) -> bool {
        false
    }

    fn is_dialog(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width).saturating_sub(4);
        let mut body = Vec::new();
        let live = self.live.as_ref().map_or_else(Vec::new, |live| live(view.now));
        for text in live.iter().chain(&self.body) {
            let role = if text.starts_with('✗') { Role::Bad } else { Role::Text };
            body.extend(wrap(text, width).into_iter().map(|l| view.line(role, format!("  {l}"))));
        }
        // What does not fit is counted, never dropped in silence.
        let room = usize::from(area.height).saturating_sub(3 + wrap(&self.title, width).len()).max(2);
        if body.len() > room {
            let from = self.from.min(body.len() - (room - 1));
            let below = body.len() - (room - 1) - from;
            body = body.into_iter().skip(from).take(room - 1).collect();
            let said = match below {
                0 => "  ↑ the end of it".to_string(),
                n => format!("  ↓ {} below", counted(n, "more line")),
            };
            body.push(view.line(Role::Look, said));
        }
        dialog(frame, area, view, &self.title, body);
    }
}
