//! The switch from the command line to the screens.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use crate::cli::context;
use crate::cli::context::Global;
use crate::cli::settings;
use crate::jobs::desks;
use crate::ui;
use crate::ui::screen::House;
use records::Stamp;
use records::{CLOCK, Error, Result, Store};

/// Keys can be read and screens shown.
pub fn on_a_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
}

/// Opens the screens on the store.
///
/// # Errors
/// The store cannot be opened, or the terminal cannot be used.
pub fn open(global: &Global) -> Result<ExitCode> {
    open_on(global, &desks::HOUSE)
}

/// Opens the screens on the store, beginning with those of a house.
///
/// # Errors
/// As [`open`].
pub fn open_on(global: &Global, house: &'static House) -> Result<ExitCode> {
    let path = global.path("meltkin.db")?;
    let store = global.open_unchecked()?;
    begin(global, path, store, house)
}

/// Opens the screens on an open store.
///
/// # Errors
/// The terminal cannot be used.
pub fn run(global: &Global, path: PathBuf, store: Store) -> Result<ExitCode> {
    begin(global, path, store, &desks::HOUSE)
}

fn begin(global: &Global, path: PathBuf, store: Store, house: &'static House) -> Result<ExitCode> {
    let first = context::now(Some(&store))?;
    let demo = store.setting(CLOCK)?.is_some();
    let clock_given = store.clock_given()?;
    let given = context::given_clock()?.map(|_| context::machine());
    let fixed = demo || given.is_some();
    let clock: Box<dyn Fn() -> Stamp> =
        Box::new(move || if fixed { first } else { context::now(None).unwrap_or(first).max(first) });
    let who = global.person.clone();
    let zone = context::zone(first);
    let start = ui::Start {
        path,
        store,
        who,
        clock,
        zone,
        demo,
        clock_given,
        given,
        habits: context::own_file(settings::SCANNER),
        look: settings::variable,
        house,
    };
    match ui::run(start) {
        Ok(ui::End::Quit) => Ok(ExitCode::SUCCESS),
        Ok(ui::End::Signal(n)) => Ok(ExitCode::from(u8::try_from(128 + n).unwrap_or(1))),
        Ok(ui::End::Fault) => {
            Err(Error::untrusted("a fault of the program ended it; what was saved is on the disk"))
        }
        Err(e) => Err(Error::untrusted(format!("the terminal: {e}"))),
    }
}
