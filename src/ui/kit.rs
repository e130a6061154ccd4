//! What a screen is written with, under one name: `use crate::ui::kit::*`.

pub use ratatui::Frame;
pub use ratatui::layout::Rect;
pub use ratatui::text::{Line, Span};

pub use crate::ui::confirm::Question;
pub use crate::ui::effect::Effect;
pub use crate::ui::keys;
pub use crate::ui::keys::{Key, Press, Shown, close};
pub use crate::ui::list::{List, Narrowing, Pick, in_sight, mark, step};
pub use crate::ui::order::{AnyOrder, Failure, Lead, Order, Read, Reply, Said, Sort, Written};
pub use crate::ui::page::Page;
pub use crate::ui::prompt::Prompt;
pub use crate::ui::reason::{Asked, Reason};
pub use crate::ui::screen::{Change, Context, Offer, Screen, shown_record, unknown, unused};
pub use crate::ui::strip::Strip;
pub use crate::ui::theme::Role;
pub use crate::ui::view::{View, broken, caution, clock, clocks, dialog, fit, lines, split, window, wrap};
pub use crate::ui::worker::Worker;
