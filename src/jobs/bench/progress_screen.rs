//! How far a mould, a blade or a heat has come: asked for by the screens, drawn as the bar above them.

use crate::jobs::bench::progress;
use crate::jobs::bench::progress::{Stop, Way};
use crate::ui::kit::*;

/// Asks for the way of a record; the reply is `Option<Way>`, none where it is no mould, blade or heat.
pub fn ask(tag: &str) -> Effect {
    Effect::read(tag.to_string(), |store, tag| progress::way(store, tag))
}

/// A tick where it has been, a ring where no record says so.
pub fn bar(way: &Way, view: &View) -> Line<'static> {
    let mut spans = Vec::new();
    for (i, (name, stop)) in way.stops.iter().enumerate() {
        spans.push(view.span(Role::Quiet, if i == 0 { " " } else { " › " }));
        let (role, mark) = match stop {
            Stop::Done => (Role::Good, "✓"),
            Stop::Open => (Role::Look, "○"),
            Stop::Unknown => (Role::Quiet, ""),
            Stop::Ended => (Role::Bad, "✗"),
        };
        spans.push(view.span(role, format!("{mark}{name}")));
    }
    Line::from(spans)
}
