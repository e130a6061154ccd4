//! Keys that work on every screen that takes no text. The desks' keys stand between those of the two tables.

use crate::ui::app::App;
use crate::ui::keys::{Key, Press, Shown, key, meant, shown};
use crate::ui::screen::{Desk, Offer};

#[derive(Clone, Copy)]
pub(crate) enum GlobalKey {
    Undo,
    Drafts,
    Find,
    Desk(&'static Desk),
    Who,
    Look,
    Scanner,
    Bell,
    Help,
    Quit,
}

const FIRST: &[Key<App, GlobalKey>] = &[
    key(&[Press::Char('u')], GlobalKey::Undo)
        .named("undo", "Take back what was saved last, within a minute")
        .when(|app| app.undo_left_s().is_some()),
    key(&[Press::Char('r')], GlobalKey::Drafts)
        .named("go on", "Go on with a half-filled form")
        .when(|app| !app.drafts.is_empty()),
    key(&[Press::Char('/')], GlobalKey::Find)
        .named("find", "Type any tag and open its record; a scanned code needs no key"),
];

const LAST: &[Key<App, GlobalKey>] = &[
    key(&[Press::Char('w')], GlobalKey::Who).named("who", "Say who works here; a scanned badge needs no key"),
    key(&[Press::Char('t')], GlobalKey::Look).help("Change between dark, light and the dark booth"),
    key(&[Press::F(12)], GlobalKey::Scanner)
        .help("Set up the scanner at this terminal: what it sends is shown and learned"),
    key(&[Press::Ctrl('g')], GlobalKey::Bell).help(
        "The bell on or off: once a minute before a mould's time out of its oven is over, once when it is",
    ),
    key(&[Press::Char('?'), Press::F(1)], GlobalKey::Help).named("help", "What each key does here"),
    key(&[Press::Char('q')], GlobalKey::Quit).named("quit", "Leave; half-filled forms are kept"),
];

impl App {
    fn leads_to(&self, desk: &Desk) -> bool {
        self.layers.last().is_some_and(|l| !matches!(l.screen.offers(desk.name), Offer::None))
    }

    /// What a press means on every screen.
    pub(crate) fn global(&self, press: Press) -> Option<GlobalKey> {
        let desk = || {
            let mut all = self.house.desks.iter();
            all.find(|d| d.on.contains(&press) && self.leads_to(d)).map(GlobalKey::Desk)
        };
        meant(FIRST, self, press).or_else(desk).or_else(|| meant(LAST, self, press))
    }

    pub(crate) fn global_keys(&self) -> Vec<Shown> {
        let desk = |d: &Desk| Shown {
            key: d.on.first().map(|p| p.name()).unwrap_or_default(),
            label: "",
            help: d.help,
            works: self.leads_to(d),
        };
        let mut out = shown(FIRST, self);
        out.extend(self.house.desks.iter().map(desk));
        out.extend(shown(LAST, self));
        out
    }
}
