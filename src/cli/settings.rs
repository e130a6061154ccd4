//! What a person or a place has set once: by an option, by the environment, in `config.toml`, or not at all. The first of
//! these counts.

use std::io::Read;
use std::path::PathBuf;
use std::sync::OnceLock;

use serde::Serialize;
use toml::de::{DeTable, DeValue};

use crate::cli::context;
use crate::cli::context::{Global, named, own_file};
use crate::show;
use crate::ui::scan::Habits;
use crate::ui::terminal::known_habits;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Stamp};

/// The file's name, in the person's folder for settings.
const FILE: &str = "config.toml";
/// Beside it: how the scanner at this terminal sends, as the screens learned it.
pub const SCANNER: &str = "scanner.json";
/// A larger file is none of settings.
const MOST_BYTES: u64 = 100_000;

/// The store, where no option names one.
pub const STORE: &str = "MELTKIN_STORE";
/// Who works here.
pub const PERSON: &str = "MELTKIN_AS";
/// Where labels go when a record is saved.
pub const LABELS: &str = "MELTKIN_LABELS";

/// A thing that can be set.
struct Key {
    name: &'static str,
    option: Option<&'static str>,
    variable: Option<&'static str>,
    /// What holds where nobody set it.
    built_in: &'static str,
    about: &'static str,
    holds: Holds,
}

enum Holds {
    Text,
    Path,
    OneOf(&'static [&'static str]),
    YesNo,
    Offset,
}

const KEYS: &[Key] = &[
    Key {
        name: "store",
        option: Some("--store"),
        variable: Some(STORE),
        built_in: "",
        about: "the store",
        holds: Holds::Path,
    },
    Key {
        name: "person",
        option: Some("--as"),
        variable: Some(PERSON),
        built_in: "nobody",
        about: "who works here, by tag; a claim, not a proof",
        holds: Holds::Text,
    },
    Key {
        name: "offset",
        option: None,
        variable: None,
        built_in: "that of the machine's clock, day by day",
        about: "the clock's distance to UTC on every day, such as +01:00",
        holds: Holds::Offset,
    },
    Key {
        name: "theme",
        option: None,
        variable: Some("MELTKIN_THEME"),
        built_in: "dark",
        about: "the room that the screen stands in",
        holds: Holds::OneOf(&["dark", "light", "booth"]),
    },
    Key {
        name: "ascii",
        option: None,
        variable: Some("MELTKIN_ASCII"),
        built_in: "false, but where the locale is not UTF-8",
        about: "letters alone on the screen",
        holds: Holds::YesNo,
    },
    Key {
        name: "bell",
        option: None,
        variable: Some("MELTKIN_BELL"),
        built_in: "false",
        about: "a sound where a scan fits nothing",
        holds: Holds::YesNo,
    },
    Key {
        name: "labels",
        option: None,
        variable: Some(LABELS),
        built_in: "none",
        about: "a folder or a printer's device that takes a label of each record saved on a screen",
        holds: Holds::Path,
    },
];

/// A line of the file.
struct Line {
    key: &'static Key,
    value: String,
    line: usize,
}

/// The file of settings, read once.
#[derive(Default)]
struct Settings {
    lines: Vec<Line>,
}

impl Settings {
    fn line(&self, key: &str) -> Option<&Line> {
        self.lines.iter().find(|l| l.key.name == key)
    }
}

/// The file as this run of the program found it.
///
/// # Errors
/// It cannot be read, or a line of it is wrong: in words, with the line.
fn settings() -> Result<&'static Settings> {
    static READ: OnceLock<Result<Settings>> = OnceLock::new();
    READ.get_or_init(|| own_file(FILE).map_or_else(|| Ok(Settings::default()), read))
        .as_ref()
        .map_err(Clone::clone)
}

fn read(path: PathBuf) -> Result<Settings> {
    if std::fs::symlink_metadata(&path).is_err() {
        return Ok(Settings::default());
    }
    let at_fault = |why: String| Error::input(format!("{}: {why}", named(&path)));
    let mut text = String::new();
    let mut file = records::file::paths::open_plain(&path).map_err(|e| at_fault(e.to_string()))?;
    file.by_ref().take(MOST_BYTES).read_to_string(&mut text).map_err(|e| at_fault(e.to_string()))?;
    parsed(&text).map_err(|(line, why)| Error::input(format!("{}, line {line}: {why}", named(&path))))
}

/// The settings of a text; or what is wrong, with its line.
fn parsed(text: &str) -> std::result::Result<Settings, (usize, String)> {
    let line_of =
        |at: usize| 1 + text.as_bytes()[..at.min(text.len())].iter().filter(|b| **b == b'\n').count();
    let table = DeTable::parse(text)
        .map_err(|e| (line_of(e.span().map_or(0, |s| s.start)), shown(e.message()).into_owned()))?;
    let mut lines = Vec::new();
    for (name, value) in table.get_ref() {
        let line = line_of(name.span().start);
        let (key, value) = set(name.get_ref(), value.get_ref()).map_err(|why| (line, why))?;
        lines.push(Line { key, value, line });
    }
    Ok(Settings { lines })
}

/// One setting, held against what it may be.
fn set(name: &str, value: &DeValue) -> std::result::Result<(&'static Key, String), String> {
    let names = || KEYS.iter().map(|k| k.name);
    let key = KEYS.iter().find(|k| k.name == name).ok_or_else(|| {
        let close = near(name, names());
        let all: Vec<&str> = names().collect();
        let all = if close.is_empty() { format!("; there are {}", all.join(", ")) } else { String::new() };
        format!("there is no setting {}{}{all}", shown(name), hint(&close))
    })?;
    let wrong = |what: &str| Err(format!("{name}: {what}"));
    match (&key.holds, value) {
        (Holds::YesNo, DeValue::Boolean(v)) => Ok((key, v.to_string())),
        (Holds::YesNo, _) => wrong("true or false belongs here"),
        (_, DeValue::String(text)) if text.trim().is_empty() => wrong("it is empty; leave the line out"),
        (Holds::Text, DeValue::String(text)) => Ok((key, text.to_string())),
        (Holds::OneOf(words), DeValue::String(text)) if words.contains(&text.as_ref()) => {
            Ok((key, text.to_string()))
        }
        (Holds::OneOf(words), DeValue::String(text)) => {
            wrong(&format!("{} is none of {}", shown(text), words.join(", ")))
        }
        (Holds::Offset, DeValue::String(text)) if offset_min(text).is_some() => Ok((key, text.to_string())),
        (Holds::Offset, DeValue::String(_)) => wrong("an offset to UTC is written +01:00"),
        (Holds::Path, DeValue::String(text)) => match whole_path(text) {
            Some(path) => Ok((key, path)),
            None => wrong("a whole path belongs here, from / or ~/ on: it holds in every folder"),
        },
        _ => wrong("a text in quotation marks belongs here"),
    }
}

fn whole_path(text: &str) -> Option<String> {
    match text.strip_prefix("~/") {
        Some(rest) => Some(etcetera::home_dir().ok()?.join(rest).to_string_lossy().into_owned()),
        None => std::path::Path::new(text).is_absolute().then(|| text.to_string()),
    }
}

fn offset_min(text: &str) -> Option<i32> {
    Stamp::parse(&format!("2031-01-01T00:00:00{text}")).ok().map(Stamp::offset_min)
}

/// Reads the file, and fills in what neither an option nor the environment gave.
///
/// # Errors
/// The file is at fault.
pub fn fill(global: &mut Global) -> Result<()> {
    let file = settings()?;
    let value = |key: &str| file.line(key).map(|l| l.value.clone());
    // An empty variable says nothing; an empty option is somebody's mistake, which is told where it is used.
    if !global.given.person {
        global.person = global.person.take().filter(|p| !p.is_empty()).or_else(|| value("person"));
    }
    if !global.given.store {
        let given = global.store.take().filter(|s| !s.as_os_str().is_empty());
        global.store = given.or_else(|| value("store").map(Into::into));
    }
    Ok(())
}

/// What the environment says under a name, or else the file under the setting that stands for it.
pub fn variable(name: &str) -> Option<String> {
    let given = std::env::var(name).ok().filter(|v| !v.is_empty());
    given.or_else(|| {
        let key = KEYS.iter().find(|k| k.variable == Some(name))?;
        let value = settings().ok()?.line(key.name)?.value.clone();
        // In the environment a variable is there or not.
        (!matches!(key.holds, Holds::YesNo) || value == "true").then_some(value)
    })
}

/// The variables of the environment, each with what it sets.
pub fn variables() -> impl Iterator<Item = (&'static str, String)> {
    KEYS.iter()
        .filter_map(|k| Some((k.variable?, format!("{}{}.", k.about[..1].to_uppercase(), &k.about[1..]))))
}

/// The offset in minutes that was set for this place.
pub fn offset() -> Option<i32> {
    offset_min(&settings().ok()?.line("offset")?.value)
}

/// Every setting, and where its value is from.
#[derive(Serialize)]
pub struct Shown {
    file: String,
    /// The file is there.
    there: bool,
    settings: Vec<Setting>,
}

#[derive(Serialize)]
struct Setting {
    name: &'static str,
    value: String,
    /// `option`, `environment`, `file`, `built in`, `screens`.
    from: &'static str,
    /// The option, the variable, the line.
    #[serde(rename = "where")]
    place: Option<String>,
    about: &'static str,
}

/// Where each value comes from. `given`: what the command line itself said, by option.
///
/// # Errors
/// The file is at fault.
pub fn shown_all(global: &Global) -> Result<Shown> {
    let file = settings()?;
    let path = own_file(FILE).ok_or_else(|| Error::untrusted("there is no home folder for settings"))?;
    let mut all = Vec::new();
    for key in KEYS {
        let by_option = match key.option {
            Some("--store") if global.given.store => global.store.as_ref().map(|s| named(s)),
            Some("--as") if global.given.person => global.person.clone(),
            _ => None,
        };
        let by_variable = key.variable.and_then(|v| std::env::var(v).ok()).filter(|v| !v.is_empty());
        let (value, from, place) = match (by_option, by_variable, file.line(key.name)) {
            (Some(value), ..) => (value, "option", key.option.map(String::from)),
            (None, Some(value), _) => (value, "environment", key.variable.map(String::from)),
            (None, None, Some(line)) => (line.value.clone(), "file", Some(format!("line {}", line.line))),
            (None, None, None) if key.name == "store" => {
                (named(&global.path("meltkin.db")?), "built in", None)
            }
            (None, None, None) => (key.built_in.to_string(), "built in", None),
        };
        all.push(Setting { name: key.name, value, from, place, about: key.about });
    }
    let clock = context::given_clock()?;
    all.push(Setting {
        name: "clock",
        from: if clock.is_some() { "environment" } else { "built in" },
        value: clock.map_or_else(|| "runs; that of a demo store stands still".into(), Stamp::text),
        place: clock.map(|_| context::NOW.into()),
        about: "what the time is",
    });
    let scanner = own_file(SCANNER);
    let learned = scanner.as_deref().and_then(known_habits);
    let habits = learned.clone().unwrap_or_default();
    all.push(Setting {
        name: "scanner",
        value: told(&habits),
        from: if learned.is_some() { "screens" } else { "built in" },
        place: scanner.filter(|_| learned.is_some()).map(|s| named(&s)),
        about: "how the scanner here sends; set up on a screen, under ?",
    });
    Ok(Shown { there: path.exists(), file: named(&path), settings: all })
}

fn told(habits: &Habits) -> String {
    let around = |what: &str, text: &str| match text {
        "" => String::new(),
        text => format!(", {what} {}", shown(text)),
    };
    let (before, behind) = (around("before each code", &habits.prefix), around("behind it", &habits.suffix));
    format!("{} ms between two characters at most{before}{behind}", habits.wait_ms)
}

impl Shown {
    /// The table, and where the file is.
    pub fn text(&self) -> String {
        let mut rows = vec![show::head(["setting", "value", "from"])];
        for s in &self.settings {
            let from = match &s.place {
                Some(place) => format!("{}: {place}", s.from),
                None => s.from.to_string(),
            };
            rows.push(vec![s.name.into(), show::cell(&s.value), show::cell(&from)]);
        }
        let file = match self.there {
            true => format!("The file: {}", self.file),
            false => format!("The file is not there: {}", self.file),
        };
        format!("{}\n{file}\n", show::columns(&rows))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wrong(text: &str) -> (usize, String) {
        parsed(text).err().unwrap()
    }

    #[test]
    fn each_line_is_held_against_what_it_may_be() {
        let read = parsed("# mine\nperson = \"OP-11\"\noffset = \"-03:30\"\n\nbell = true\n").unwrap();
        let said: Vec<(&str, &str, usize)> =
            read.lines.iter().map(|l| (l.key.name, l.value.as_str(), l.line)).collect();
        assert_eq!(said, [("bell", "true", 5), ("offset", "-03:30", 3), ("person", "OP-11", 2)]);
        assert_eq!(offset_min("-03:30"), Some(-210));
        for (text, line, says) in [
            ("person = \"OP-11\"\n\ntheem = \"dark\"", 3, "there is no setting theem; did you mean theme ?"),
            ("theme = \"purple\"", 1, "purple is none of dark, light, booth"),
            ("bell = \"yes\"", 1, "true or false"),
            ("\nstore = \"here.db\"", 2, "a whole path"),
            ("person = 11", 1, "a text in quotation marks"),
            ("person = \"\"", 1, "leave the line out"),
            ("offset = \"CET\"", 1, "+01:00"),
            ("[scanner]\nwait_ms = 30", 1, "there is no setting scanner"),
            ("bell = true\nbell = false", 2, "duplicate"),
            ("person = \"OP", 1, ""),
        ] {
            let (at, why) = wrong(text);
            assert!(at == line && why.contains(says), "{text}: line {at}: {why}");
        }
    }
}
