//! What every command needs: the store, the person, the clock, and how to speak.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use serde::Serialize;

use crate::cli::voice;
use crate::domain::Stamp;
use crate::domain::tag::shown;
use crate::ops::output::Output;
use crate::ops::{Error, Result, Store, Who};
use crate::report;

/// What the help calls the options of [`Global`].
const EVERYWHERE: &str = "With any command";

/// Options that stand before or after any command.
#[derive(clap::Args, Clone, Debug)]
pub struct Global {
    /// The store (else MELTKIN_STORE, else your data folder)
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "FILE", env = "MELTKIN_STORE", hide_env = true)]
    pub store: Option<PathBuf>,
    /// Who you are: the tag of a person (a claim, not a proof)
    #[arg(long = "as", global = true, help_heading = EVERYWHERE, value_name = "PERSON")]
    pub person: Option<String>,
    /// Print JSON on standard output
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
}

impl Global {
    /// The file of the store: named, else in the user's data folder.
    ///
    /// # Errors
    /// No home folder.
    pub fn path(&self, name: &str) -> Result<PathBuf> {
        if let Some(path) = &self.store {
            return Ok(path.clone());
        }
        use etcetera::BaseStrategy;
        let base = etcetera::choose_base_strategy()
            .map_err(|_| Error::Untrusted("there is no home folder; name the store: --store FILE".into()))?;
        Ok(base.data_dir().join("meltkin").join(name))
    }

    /// Opens the store to answer from it: checked once a day.
    ///
    /// # Errors
    /// It cannot be opened, or not be trusted.
    pub fn open(&self) -> Result<Store> {
        let store = self.open_unchecked()?;
        store.check_of_the_day(now(Some(&store))?)?;
        Ok(store)
    }

    /// Opens the store to write to it, which waits for no check, or to check it.
    ///
    /// # Errors
    /// It cannot be opened.
    pub fn open_unchecked(&self) -> Result<Store> {
        Store::open(&self.path("meltkin.db")?)
    }

    /// Who writes, and when: the clock is fixed by MELTKIN_NOW, else by a demo store, else it runs.
    ///
    /// # Errors
    /// MELTKIN_NOW is no time.
    pub fn who(&self, store: Option<&Store>) -> Result<Who> {
        Ok(Who { person: self.person.clone(), now: now(store)? })
    }

    /// A file to be written, held against the store in use.
    #[must_use]
    pub fn output<'a>(&self, file: &'a Path, replace: bool, store: &'a Store) -> Output<'a> {
        Output { file, replace, store: Some(store.path()) }
    }

    /// Prints an answer as JSON or as text.
    pub fn say<T: Serialize>(&self, answer: &T, text: impl FnOnce(&T) -> String) {
        let mut out = if self.json { report::json(answer) } else { text(answer) };
        if !out.ends_with('\n') {
            out.push('\n');
        }
        voice::out(out.as_bytes());
    }
}

/// The clock.
///
/// # Errors
/// MELTKIN_NOW is no time.
pub fn now(store: Option<&Store>) -> Result<Stamp> {
    if let Ok(fixed) = std::env::var("MELTKIN_NOW") {
        return Stamp::parse(&fixed)
            .map_err(|e| Error::Input(format!("MELTKIN_NOW = {}: {e}", shown(&fixed))));
    }
    if let Some(clock) = store.map(|s| s.about("clock")).transpose()?.flatten() {
        return Stamp::parse(&clock).map_err(|e| Error::Untrusted(format!("the store's clock: {e}")));
    }
    let now = chrono::Local::now();
    // To the second: what a person can read back.
    Ok(Stamp::new(now.timestamp() * 1000, now.offset().local_minus_utc() / 60))
}

/// Progress on standard error, only on a terminal.
pub struct Bar(Option<indicatif::ProgressBar>);

impl Bar {
    /// A bar that shows itself only on a terminal.
    #[must_use]
    pub fn new() -> Self {
        if !std::io::stderr().is_terminal() {
            return Self(None);
        }
        let bar = indicatif::ProgressBar::new(0);
        if let Ok(style) = indicatif::ProgressStyle::with_template("{wide_bar} {percent:>3} % {msg}") {
            bar.set_style(style.progress_chars("#- "));
        }
        Self(Some(bar))
    }

    /// Tells how far the work is.
    pub fn at(&self, done: u64, total: u64, what: &str) {
        if let Some(bar) = &self.0 {
            bar.set_length(total);
            bar.set_position(done);
            bar.set_message(what.to_string());
        }
    }

    /// Takes the bar away.
    pub fn clear(&self) {
        if let Some(bar) = &self.0 {
            bar.finish_and_clear();
        }
    }
}

/// Prints an error and gives the exit code that belongs to it.
pub fn fail(error: &Error, json: bool) -> ExitCode {
    // Parts that came from outside are escaped where the sentence is made; newlines stay ours.
    let text: Vec<String> = error.to_string().lines().map(|l| shown(l).into_owned()).collect();
    voice::err(&format!("meltkin: {}", text.join("\n")));
    match error {
        Error::Refused { sentence, needs } => {
            if json {
                let said = report::json(&serde_json::json!({ "refused": sentence, "needs": needs }));
                voice::out(format!("{said}\n").as_bytes());
            }
            ExitCode::from(1)
        }
        Error::Input(_) => ExitCode::from(2),
        Error::Untrusted(_) => ExitCode::from(3),
    }
}

/// The path as given, for messages and for JSON.
#[must_use]
pub fn named(path: &Path) -> String {
    crate::ops::output::named(path)
}
