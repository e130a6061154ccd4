//! What every command needs: the store, the person, the clock, and how to speak.

use std::io::{BufRead, BufReader, IsTerminal, Read};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use serde::Serialize;

use crate::cli::{settings, sheet_hints, voice};
use crate::jobs::file::output::{Output, open_plain};
use crate::jobs::records::ask::read_as;
use crate::jobs::records::pins;
use crate::show;
use crate::show::laid::{Layout, laid};
use crate::ui::secret;
use records::Stamp;
use records::value::tag::shown;
use records::value::time_text;
use records::value::time_text::{Offsets, TimeZone};
use records::{CLOCK, Error, ErrorKind, FieldInfo, Hint, Result, Store, Type, Who};

/// What the help calls the options of [`Global`].
const EVERYWHERE: &str = "With any command";

/// Columns of text that goes into a pipe or a file.
const PIPED: usize = 100;
/// COLUMNS below this is no width to read by.
const NARROWEST: usize = 40;

/// Options that stand before or after any command.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct Global {
    /// The store (else MELTKIN_STORE, else your data folder)
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "FILE", env = settings::STORE, hide_env = true)]
    pub store: Option<PathBuf>,
    /// Who you are, by tag (else MELTKIN_AS); a claim only
    #[arg(long = "as", global = true, help_heading = EVERYWHERE, value_name = "PERSON", env = settings::PERSON, hide_env = true)]
    pub person: Option<String>,
    /// Print JSON on standard output
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub json: bool,
    /// Tables with tabs, lines as long as they are
    ///
    /// Else text in a pipe takes 100 columns, or as many as COLUMNS says.
    #[arg(long, global = true, help_heading = EVERYWHERE)]
    pub plain: bool,
    /// Your PIN: a file with it, - for standard input
    #[arg(long, global = true, help_heading = EVERYWHERE, value_name = "FILE", alias = "pin-file")]
    pub pin_from: Option<PathBuf>,
    /// What stood on the command line itself.
    #[arg(skip)]
    pub given: Given,
}

/// Which of the options that may also be set elsewhere stood on the command line.
#[derive(Clone, Copy, Debug, Default)]
pub struct Given {
    pub store: bool,
    pub person: bool,
}

impl Global {
    /// The file of the store: named, else in the user's data folder.
    pub fn path(&self, name: &str) -> Result<PathBuf> {
        if let Some(path) = &self.store {
            return Ok(path.clone());
        }
        use etcetera::BaseStrategy;
        let base = etcetera::choose_base_strategy()
            .map_err(|_| Error::untrusted("there is no home folder; name the store: --store FILE"))?;
        Ok(base.data_dir().join("meltkin").join(name))
    }

    /// Opens the store to answer from it: checked once a day.
    pub fn open(&self) -> Result<Store> {
        let store = self.open_unchecked()?;
        // The day on the clock itself: one that went back is another day, whatever the newest entry says.
        store.check_of_the_day(clock(&store)?)?;
        Ok(store)
    }

    /// Opens the store to write to it, which waits for no check, or to check it.
    pub fn open_unchecked(&self) -> Result<Store> {
        Store::open(&self.path("meltkin.db")?)
    }

    /// Who writes, and when: the clock is fixed by MELTKIN_NOW, else by a demo store, else it runs.
    pub fn who(&self, store: Option<&Store>) -> Result<Who> {
        let given = given_clock()?.map(|_| machine());
        let now = now(store)?;
        Ok(Who { given, zone: zone(now), ..Who::new(self.person.clone(), now) })
    }

    /// Does what may need the PIN of who does it: given by --pin-from, else asked for where there is a terminal, once
    /// it shows that it is needed. It is asked for each time.
    ///
    /// # Errors
    /// What the act says; a PIN that is wrong, or could not be read.
    pub fn acting<T>(&self, store: &mut Store, act: impl Fn(&mut Store, &Who) -> Result<T>) -> Result<T> {
        let mut who = self.who(Some(store))?;
        match (&self.pin_from, &self.person) {
            (Some(_), None) => return Err(Error::input("say whose PIN it is").hint(Hint::Person)),
            (Some(file), Some(person)) => {
                let pin = secrets(Some(file), &["PIN: "], false)?.pop().unwrap_or_default();
                who.proof = Some(pins::check(store, &who, person, &pin)?);
            }
            (None, _) => who.asks = std::io::stdin().is_terminal(),
        }
        match act(store, &who) {
            Err(early) if early.wants_pin() && who.asks => {
                let Some(person) = &self.person else { return Err(early) };
                voice::err(&early.to_string());
                let pin = secrets(None, &["PIN: "], false)?.pop().unwrap_or_default();
                who.proof = Some(pins::check(store, &who, person, &pin)?);
                who.asks = false;
                act(store, &who)
            }
            done => done,
        }
    }

    /// A bound in time as people write it, in full; a date stays a date. What was filled up is said beside the answer.
    pub fn bound(&self, store: &Store, name: &str, text: Option<&String>) -> Result<Option<String>> {
        let Some(text) = text else { return Ok(None) };
        let field = FieldInfo::new("", Type::Moment);
        // What is neither is named by who asks for it.
        let Ok(Some((full, read))) = time_text::in_full(&field, text, self.who(Some(store))?.clock()) else {
            return Ok(Some(text.clone()));
        };
        voice::err(&read_as(name, text, &read));
        Ok(Some(full))
    }

    /// A file to be written, held against the store in use.
    pub fn output<'a>(&self, file: &'a Path, replace: bool, store: &'a Store) -> Output<'a> {
        Output { file, replace, store: Some(store.path()) }
    }

    /// Prints an answer as JSON or as text.
    pub fn say<T: Serialize>(&self, answer: &T, text: impl FnOnce(&T) -> String) {
        if self.json {
            self.say_as_it_is(&show::json(answer));
        } else {
            voice::out(laid(&text(answer), self.layout()).as_bytes());
        }
    }

    /// Prints what was drawn: no line of it may be broken.
    pub fn say_as_it_is(&self, drawn: &str) {
        voice::out(format!("{}\n", drawn.strip_suffix('\n').unwrap_or(drawn)).as_bytes());
    }

    /// How text is laid out: with tabs where asked for, else as wide as COLUMNS says, or the terminal, where it is wider
    /// than a page that is piped.
    pub fn layout(&self) -> Layout {
        if self.plain {
            return Layout::Tabs;
        }
        let given = std::env::var("COLUMNS").ok().and_then(|c| c.parse().ok()).filter(|c| *c >= NARROWEST);
        let terminal = || match std::io::stdout().is_terminal() {
            true => crossterm::terminal::size().map_or(PIPED, |size| usize::from(size.0)),
            false => PIPED,
        };
        Layout::Within(given.unwrap_or_else(|| terminal().max(PIPED)))
    }
}

/// Reads as many PINs as there are prompts: from a file, standard input, or a terminal without
/// showing them. `twice`: the last one is asked again.
pub fn secrets(file: Option<&Path>, prompts: &[&str], twice: bool) -> Result<Vec<String>> {
    let at_fault = |e: std::io::Error| Error::input(format!("no PIN could be read: {e}"));
    match file {
        Some(path) if path != Path::new("-") => {
            let of_file = |e: std::io::Error| Error::input(format!("--pin-from {}: {e}", named(path)));
            first_lines(&mut BufReader::new(open_plain(path).map_err(of_file)?), prompts.len())
                .map_err(of_file)
        }
        None if std::io::stdin().is_terminal() => {
            let mut out = Vec::new();
            for prompt in prompts {
                out.push(secret::ask(prompt).map_err(at_fault)?);
            }
            if twice && secret::ask("again: ").map_err(at_fault)? != *out.last().unwrap_or(&String::new()) {
                return Err(Error::input("the two PINs differ; nothing was changed"));
            }
            Ok(out)
        }
        _ => first_lines(&mut std::io::stdin().lock(), prompts.len())
            .map_err(|e| Error::input(format!("standard input: {e}"))),
    }
}

/// More bytes than this are no PINs, each on a line.
const PIN_BYTES: u64 = 4096;

/// The first lines of what holds PINs, which may have no end.
fn first_lines(from: &mut dyn BufRead, n: usize) -> std::io::Result<Vec<String>> {
    let mut bounded = from.take(PIN_BYTES);
    let lines = bounded.by_ref().lines().take(n).collect::<std::io::Result<Vec<_>>>()?;
    if bounded.limit() == 0 {
        return Err(std::io::Error::other(format!(
            "has more than {PIN_BYTES} bytes in its first lines; PINs belong here, each on a line of its own"
        )));
    }
    Ok(lines.into_iter().map(|l| l.trim_end_matches('\r').to_string()).collect())
}

/// The variable that gives the time in place of a running clock.
pub const NOW: &str = "MELTKIN_NOW";

/// The time that [`NOW`] gives.
pub fn given_clock() -> Result<Option<Stamp>> {
    let Ok(fixed) = std::env::var(NOW) else { return Ok(None) };
    Stamp::parse(&fixed).map(Some).map_err(|e| Error::input(format!("MELTKIN_NOW = {}: {e}", shown(&fixed))))
}

/// What the machine's own clock says, to the second: what a person can read back; in the offset of this place, where one
/// was set.
pub fn machine() -> Stamp {
    let now = chrono::Local::now();
    let own = now.offset().local_minus_utc() / 60;
    Stamp::new(now.timestamp() * 1000, settings::offset().unwrap_or(own))
}

/// How this place keeps its time. A clock that was given, or is a store's own, may be that of another place: then its
/// offset counts for every day, as one that was set does.
pub fn zone(now: Stamp) -> TimeZone {
    if settings::offset().is_some() {
        return TimeZone::default();
    }
    let here = chrono::DateTime::from_timestamp_millis(now.ms());
    let offset = here.map(|at| at.with_timezone(&chrono::Local).offset().local_minus_utc() / 60);
    if offset == Some(now.offset_min()) { TimeZone::known(offsets) } else { TimeZone::default() }
}

/// What the clock of this place is called: its zone where the machine's own clock shows this, else its offset.
pub fn clock_name(now: Stamp) -> String {
    let here = given_clock().is_ok_and(|given| given.is_none()) && machine().offset_min() == now.offset_min();
    let zone = iana_time_zone::get_timezone()
        .ok()
        .filter(|zone| here && zone.contains('/') && !zone.starts_with("Etc/"));
    let (sign, minutes) = (if now.offset_min() < 0 { '-' } else { '+' }, now.offset_min().abs());
    zone.unwrap_or_else(|| format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60))
}

/// What a clock of this place that shows so many milliseconds since 1970 has for an offset.
fn offsets(local_ms: i64) -> Offsets {
    use chrono::TimeZone as _;
    let minutes = |at: &chrono::DateTime<chrono::Local>| at.offset().local_minus_utc() / 60;
    let Some(shown) = chrono::DateTime::from_timestamp_millis(local_ms) else { return Offsets::Never };
    match chrono::Local.from_local_datetime(&shown.naive_utc()) {
        chrono::LocalResult::Single(at) => Offsets::One(minutes(&at)),
        chrono::LocalResult::Ambiguous(a, b) => Offsets::Twice(minutes(&a), minutes(&b)),
        chrono::LocalResult::None => Offsets::Never,
    }
}

/// The clock, no earlier than the store's newest entry.
pub fn now(store: Option<&Store>) -> Result<Stamp> {
    let Some(store) = store else { return Ok(given_clock()?.unwrap_or_else(machine)) };
    store.later(clock(store)?)
}

/// What the clock says, whatever the store's newest entry says: given from outside, by the store, or the machine's own.
fn clock(store: &Store) -> Result<Stamp> {
    match (given_clock()?, store.setting(CLOCK)?) {
        (Some(given), _) => Ok(given),
        (None, Some(clock)) => {
            Stamp::parse(&clock).map_err(|e| Error::untrusted(format!("the store's clock: {e}")))
        }
        (None, None) => Ok(machine()),
    }
}

/// Progress on standard error, only on a terminal.
pub struct Bar(Option<indicatif::ProgressBar>);

impl Bar {
    /// A bar that shows itself only on a terminal.
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

/// An error as the command line says it: what would help is an option or a command.
fn phrased(error: &Error) -> String {
    error.sentence.clone() + &error.hints.iter().map(helping).collect::<String>()
}

/// What would help, behind a sentence.
pub fn helping(hint: &Hint) -> String {
    match hint {
        Hint::Reason => ": --reason TEXT".to_string(),
        Hint::ReasonIfRight => ". If it is right, say why: --reason TEXT".into(),
        Hint::Person => ": --as PERSON".into(),
        Hint::Pin => ": --pin-from FILE".into(),
        Hint::SetPin(person) => format!("; set one with: meltkin pin set --as {}", shown(person)),
        Hint::Correct(address) => {
            format!("; to change it: meltkin correct {} FIELD=VALUE --reason TEXT", shown(address))
        }
        Hint::Ahead => "; for a tag that is not recorded yet: --new".into(),
        Hint::Older => ". To go back all the same (quality): --older".into(),
        Hint::Elsewhere(copy) => {
            format!(". To look at it, restore it under a name of its own: meltkin --store NEW restore {copy}")
        }
        Hint::NameKind => {
            "; for another name: --kind KIND; a sheet of your own: meltkin sheet take FILE".into()
        }
        Hint::MakeMapping => "; it is made with: meltkin sheet take FILE, or meltkin sheet map".into(),
        Hint::EmptyFirst(address, field) => {
            format!("; first: meltkin correct {} {field}= --reason TEXT", shown(address))
        }
        Hint::Sheet(hint) => sheet_hints::helping(hint),
        Hint::Retag(old, new) => {
            format!(": meltkin log retags old_tag={} new_tag={} changed_at=TIME", shown(old), shown(new))
        }
    }
}

/// Prints an error and gives the exit code that belongs to it. As JSON it is one object on standard output, beside the
/// sentence on standard error; behind an answer that says the same it would be a second one.
pub fn fail(error: &Error, json: bool) -> ExitCode {
    // Parts that came from outside are escaped where the sentence is made; newlines stay ours.
    let text: Vec<String> = phrased(error).lines().map(|l| shown(l).into_owned()).collect();
    voice::err(&format!("meltkin: {}", text.join("\n")));
    let (code, kind) = match &error.kind {
        ErrorKind::Refused(_) => (1, "refused"),
        ErrorKind::Input => (2, "input"),
        ErrorKind::Untrusted => (3, "store"),
        ErrorKind::Damaged => (3, "damaged"),
    };
    if json && !voice::has_answered() {
        let said = match &error.kind {
            ErrorKind::Refused(needs) => serde_json::json!({ "refused": phrased(error), "needs": needs }),
            _ => fault(&phrased(error), kind, error.field.as_deref()),
        };
        voice::out(format!("{}\n", show::json(&said)).as_bytes());
    }
    ExitCode::from(code)
}

/// An error as JSON: the sentence, in which of the ways, and the field where it is one's.
pub fn fault(sentence: &str, kind: &str, field: Option<&str>) -> serde_json::Value {
    let mut said = serde_json::json!({ "error": sentence, "kind": kind });
    if let Some(field) = field {
        said["field"] = field.into();
    }
    said
}

/// The path as given, for messages and for JSON.
pub fn named(path: &Path) -> String {
    crate::jobs::file::output::named(path)
}

/// A file of the person's own, in the folder for settings; none where there is no home folder.
pub fn own_file(name: &str) -> Option<PathBuf> {
    use etcetera::BaseStrategy;
    Some(etcetera::choose_base_strategy().ok()?.config_dir().join("meltkin").join(name))
}
