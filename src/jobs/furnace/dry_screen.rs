//! Before a charge or a preheat: is it dry, is it inspected? Both are ticked by hand; nothing hurries.

use crate::jobs::records::form_screen::Entry;
use crate::ui::form::ANSWERED;
use crate::ui::kit::*;
use records::catalogue::kind::Kind;
use records::catalogue::{Charges, OvenLoads, OvenRuns};
use records::value::words::articled;

/// Opens what follows, with what was answered.
type Then = Box<dyn Fn(&[(String, String)]) -> Effect>;

/// The two ticks, and the form or the run that follows.
pub struct Dry {
    kind: &'static Kind,
    given: Vec<(String, String)>,
    dry: bool,
    inspected: bool,
    /// It is asked once for all that a run takes: the answer says so, as nobody looks at a scan.
    run: bool,
    then: Then,
}

type K = Key<Dry>;

const KEYS: &[K] = &[
    K::on(&[Press::Char('d')], |s, _| Dry::tick(&mut s.dry)).named("it is dry", "Tick: it is dry"),
    K::on(&[Press::Char('i')], |s, _| Dry::tick(&mut s.inspected))
        .named("it is inspected", "Tick: it is inspected"),
    K::on(&[Press::Enter], Dry::go_on)
        .named("go on", "Go on, once both are ticked")
        .when(|s| s.dry && s.inspected),
    K::on(&[Press::Esc], close).named("back", "Leave it"),
];

/// Kinds whose form is opened only after the two ticks.
pub fn asks(kind: &Kind) -> bool {
    matches!(kind.name, Charges::NAME | OvenRuns::NAME | OvenLoads::NAME)
}

impl Dry {
    /// Before the form of this kind.
    pub fn new(kind: &'static Kind, given: Vec<(String, String)>) -> Self {
        let then: Then = Box::new(move |given| Effect::open(Entry::new(kind, given)));
        Self { kind, given, dry: false, inspected: false, run: false, then }
    }

    /// Before a run whose lines are of this kind.
    pub fn before_a_run(kind: &'static Kind, then: Then) -> Self {
        Self { kind, given: Vec::new(), dry: false, inspected: false, run: true, then }
    }

    fn tick(which: &mut bool) -> Vec<Effect> {
        *which = !*which;
        Vec::new()
    }

    fn go_on(&mut self, now: &Context) -> Vec<Effect> {
        // The answer stands in the record's note, with who gave it and when.
        let by = now.who.person.as_deref().unwrap_or("no person given");
        let whom = if self.run { "said once for the whole run, before its first scan, " } else { "" };
        let text = format!("dry: yes, inspected: yes ({whom}{by}, {})", clock(&now.now.to_string()));
        self.given.push((ANSWERED.into(), text));
        vec![Effect::Close, (self.then)(&self.given)]
    }
}

impl Screen for Dry {
    fn title(&self) -> String {
        "Dry? Inspected?".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn code(&mut self, code: &str, _found: Lead, _now: &Context) -> Vec<Effect> {
        unused(code, "two questions are open")
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
        let what = match (self.kind.is::<Charges>(), self.run) {
            (true, _) => "charge, crucible and tools",
            (false, false) => "mould and oven",
            (false, true) => "the oven and every mould of this run",
        };
        let tick = |on: bool, text: &str| {
            let mark = if on { view.span(Role::Good, "✓") } else { view.span(Role::Look, "○") };
            Line::from(vec![view.span(Role::Text, "  "), mark, view.span(Role::Strong, format!(" {text}"))])
        };
        let body = vec![
            Line::default(),
            tick(self.dry, "d  dry"),
            tick(self.inspected, "i  inspected"),
            Line::default(),
            view.line(Role::Text, format!("  For {what}. Water and liquid metal explode.")),
            view.line(Role::Text, "  Site rules and qualified people decide. There is no hurry."),
        ];
        dialog(frame, area, view, &format!("Before {}: dry? inspected?", articled(self.kind.noun)), body);
    }
}
