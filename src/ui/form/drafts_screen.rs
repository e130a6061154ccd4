//! Half-filled forms, with whose they are: only their owner goes on with one.

use ratatui::Frame;
use ratatui::layout::Rect;

use crate::ui::effect::Effect;
use crate::ui::form::drafts::Draft;
use crate::ui::keys;
use crate::ui::keys::{Key, Press, Shown, close};
use crate::ui::list::{in_sight, mark, step};
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use crate::ui::view::{View, clock, dialog, fit};
use records::value::tag::folded;

pub(crate) struct DraftList {
    drafts: Vec<Draft>,
    at: usize,
}

type K = Key<DraftList>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], DraftList::go_on).named("go on", "Go on with the chosen form, where it is yours"),
    K::on(&[Press::Up], |d, _| d.step(-1)).help("The form above"),
    K::on(&[Press::Down], |d, _| d.step(1)).help("The form below"),
    K::on(&[Press::Esc], close).named("back", "Leave them; they are kept"),
];

impl DraftList {
    pub(crate) fn new(drafts: Vec<Draft>) -> Self {
        Self { at: drafts.len().saturating_sub(1), drafts }
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.drafts.len());
        Vec::new()
    }

    fn go_on(&mut self, now: &Context) -> Vec<Effect> {
        let Some(draft) = self.drafts.get(self.at) else { return vec![Effect::Close] };
        let who = now.who.person.as_deref().map(folded);
        match draft.owner.as_deref() {
            Some(owner) if Some(folded(owner)) != who => {
                vec![Effect::say(Role::Look, format!("this form is {owner}'s; {owner}'s badge opens it"))]
            }
            _ => vec![Effect::Close, Effect::GoOn(draft.clone())],
        }
    }
}

/// What a draft is, in a line: the record, what is in it, whose it is, since when.
pub fn told(draft: &Draft) -> String {
    let noun = records::catalogue::kind(&draft.kind).map_or(draft.kind.as_str(), |k| k.noun);
    let about = draft.address.clone().unwrap_or_else(|| {
        let typed = draft.fields.iter().filter(|(_, text, _)| !text.is_empty());
        typed.take(2).map(|(_, text, _)| text.as_str()).collect::<Vec<_>>().join(" ")
    });
    let owner = draft.owner.as_deref().map_or("nobody named".to_string(), |o| format!("{o}'s"));
    format!("{noun} {about} · {owner} · {}", clock(&draft.touched))
}

impl Screen for DraftList {
    fn title(&self) -> String {
        "Half-filled forms".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
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
        let height = usize::from(area.height).saturating_sub(6).max(1);
        let row = |i: usize| {
            let text = format!("  {} {}", mark(i == self.at), told(&self.drafts[i]));
            view.line(view.row(i == self.at), fit(&text, width))
        };
        let body = in_sight(self.at, self.drafts.len(), height).map(row).collect();
        dialog(frame, area, view, "Half-filled forms are kept here, each for its owner", body);
    }
}
