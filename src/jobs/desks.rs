//! The screens as they lead to each other, and what the terminal kit is handed of them at the start.

use crate::jobs::bench::position_map_screen;
use crate::jobs::bench::position_map_screen::TreeMap;
use crate::jobs::bench::run::analysis_screen::Table;
use crate::jobs::board::screen::Board;
use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::screen::CauseDesk;
use crate::jobs::charts::screen::ChartDesk;
use crate::jobs::furnace::clock_screen::Clocks;
use crate::jobs::furnace::screen::Furnace;
use crate::jobs::lots::screen::Release;
use crate::jobs::records::form_screen::Entry;
use crate::jobs::records::orders::{Undo, label};
use crate::jobs::records::pins;
use crate::jobs::records::screen::RecordView;
use crate::jobs::trace::screen::TraceDesk;
use crate::ui::kit::*;
use crate::ui::screen::{Desk, House};
use records::Kind;

/// What the kit is handed.
pub static HOUSE: House = house(|| Box::new(Furnace::default()));

/// The same where the board is what everything begins on.
pub static BOARD: House = house(|| Box::new(Board::default()));

const fn house(first: fn() -> Box<dyn Screen>) -> House {
    House {
        first,
        desks: &[
            Desk {
                name: TRACE,
                on: &[Press::Char('k')],
                help: "Type any tag and trace it: what went into it, what came out of it",
                open: |_| {
                    let hint = "A blade, a mould, a heat, a lot or batch";
                    Box::new(
                        Prompt::new("Trace", "Trace which tag?", hint, |t, _| Ok(vec![trace(t)])).of_a_tag(),
                    )
                },
            },
            Desk {
                name: CHARTS,
                on: &[Press::Char('v')],
                help: "The chart desk: in time, against a reading, where on tree and blade",
                open: |start| {
                    let ask = start.and_then(|s| s.downcast::<Ask>().ok()).map(|a| *a);
                    Box::new(ChartDesk::new(ask.unwrap_or_default(), None))
                },
            },
        ],
        record: |tag| Box::new(RecordView::new(tag)),
        draft: |draft| match draft.kind.as_str() {
            position_map_screen::DRAFT => Some(Box::new(TreeMap::from_draft(draft)?)),
            _ => match Table::from_draft(draft) {
                Some(table) => Some(Box::new(table)),
                None => Some(Box::new(Entry::from_draft(draft)?)),
            },
        },
        undo: |who| Box::new(Undo(who)),
        label: |written| label(written),
        check_pin: pins::check,
        strip: || Box::new(Clocks::default()),
    }
}

/// The names of the desks that every screen leads to.
pub const TRACE: &str = "trace";
pub const CHARTS: &str = "charts";

pub fn trace(tag: String) -> Effect {
    Effect::open(TraceDesk::new(tag))
}

pub fn causes(ask: Ask) -> Effect {
    Effect::open(CauseDesk::new(ask))
}

/// The chart desk with a question and a reading to hold it against.
pub fn charts(ask: Ask, reading: Option<String>) -> Effect {
    Effect::open(ChartDesk::new(ask, reading))
}

pub fn releases() -> Effect {
    Effect::open(Release::default())
}

/// The form of a new record, with what is known already.
pub fn form(kind: &'static Kind, given: Vec<(String, String)>) -> Vec<Effect> {
    vec![Effect::open(Entry::new(kind, &given))]
}

/// The form that changes a record.
pub fn change(address: String) -> Effect {
    Effect::open(Entry::change(address))
}
