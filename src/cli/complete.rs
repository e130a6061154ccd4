//! What Tab knows: record kinds and their fields, tags, people, defects, words of a choice. The shell asks the program at
//! each Tab; the store is looked into, never written.

use std::ffi::{OsStr, OsString};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Arg, Command};
use clap_complete::engine::{ArgValueCompleter, CompletionCandidate};
use clap_complete::env::{CompleteEnv, Shells};

use crate::cli::context::Global;
use crate::cli::{page, settings, voice};
use crate::show::guide::TOPICS;
use records::catalogue;
use records::catalogue::field::{FieldInfo, Type};
use records::catalogue::kind::Kind;
use records::catalogue::{
    Blades, DefectTerms, Heats, Inspections, KindType, Lots, Moulds, Parts, People, Trials,
};
use records::{Error, Result, Store};

/// The variable by which a shell asks for completions.
const ASKED: &str = "MELTKIN_COMPLETE";
/// More words than this help nobody.
const MOST: usize = 200;
/// Of each kind, where any tag will do.
const MOST_OF_A_KIND: usize = 25;

/// Where the shell asked for completions, they were printed.
pub fn answered() -> Option<ExitCode> {
    std::env::var_os(ASKED).filter(|shell| !shell.is_empty())?;
    let here = std::env::current_dir().ok();
    match CompleteEnv::with_factory(knowing).var(ASKED).try_complete(std::env::args_os(), here.as_deref()) {
        Ok(true) => Some(ExitCode::SUCCESS),
        Ok(false) => None,
        Err(e) => {
            voice::err(&format!("meltkin: {e}"));
            Some(ExitCode::from(2))
        }
    }
}

/// What a shell reads to ask from then on.
///
/// # Errors
/// No script can be written for it.
pub fn script(shell: clap_complete::Shell) -> Result<Vec<u8>> {
    let named = shell.to_string();
    let completer = Shells::builtins();
    let completer = completer
        .completer(&named)
        .ok_or_else(|| Error::input(format!("{named} asks for no completions")))?;
    let mut out = Vec::new();
    let written = completer.write_registration(ASKED, "meltkin", "meltkin", "meltkin", &mut out);
    written.map_err(|e| Error::input(e.to_string()))?;
    Ok(out)
}

/// The command line, each of its arguments with what may stand there.
fn knowing() -> Command {
    known(crate::cli::program())
}

fn known(command: Command) -> Command {
    let command = command.mut_args(|arg| match of(&arg) {
        // Words that clap knows itself are finished by it.
        Some(what) if arg.get_possible_values().is_empty() => arg.add(ArgValueCompleter::new(what)),
        _ => arg,
    });
    command.mut_subcommands(known)
}

type Finish = fn(&OsStr) -> Vec<CompletionCandidate>;

/// What finishes an argument, by the name that its value bears in the help.
fn of(arg: &Arg) -> Option<Finish> {
    let name = page::value(arg);
    Some(match name.as_str() {
        "KIND" => |start| kinds(text(start)),
        "TAG" if arg.get_id() == "analysis" => return None,
        "TAG" | "OF" => |start| any(text(start)),
        "BLADE" => |start| tags::<Blades>(text(start)),
        "MOULD" => |start| tags::<Moulds>(text(start)),
        "H" => |start| tags::<Heats>(text(start)),
        "LOT" => |start| tags::<Lots>(text(start)),
        "PART" => |start| tags::<Parts>(text(start)),
        "TRIAL" => |start| tags::<Trials>(text(start)),
        "PERSON" => |start| tags::<People>(text(start)),
        "DEFECT" => |start| tags::<DefectTerms>(text(start)),
        "METHOD" => {
            |start| matching(text(start), words(&Inspections::KIND.fields[Inspections::method.index]))
        }
        "KIND.FIELD" => |start| readings(text(start)),
        "FIELD=VALUE" => |start| fields(text(start)),
        "TOPIC|COMMAND|KIND" => |start| pages(text(start)),
        _ => return None,
    })
}

fn text(start: &OsStr) -> &str {
    start.to_str().unwrap_or("")
}

/// The words of the line before the one that is being finished, and those behind it.
fn line() -> Vec<String> {
    let words = std::env::args_os().skip_while(|a| a != "--").skip(1);
    let words: Vec<String> = words.map(|w: OsString| w.to_string_lossy().into_owned()).collect();
    let at = std::env::var("_CLAP_COMPLETE_INDEX").ok().and_then(|i| i.parse().ok()).unwrap_or(words.len());
    words.into_iter().take(at).collect()
}

/// The store that the line is about, where one of today's schema is there.
fn store() -> Option<Store> {
    let words = line();
    let named = words.iter().position(|w| w == "--store").and_then(|i| words.get(i + 1).cloned());
    let named = named.or_else(|| words.iter().find_map(|w| w.strip_prefix("--store=").map(String::from)));
    let named = named.or_else(|| settings::variable(settings::STORE)).map(PathBuf::from);
    let global = Global {
        store: named,
        person: None,
        json: false,
        pin_from: None,
        given: Default::default(),
        plain: false,
    };
    Store::look(&global.path("meltkin.db").ok()?).ok()
}

fn matching<'a>(start: &str, words: impl IntoIterator<Item = &'a &'a str>) -> Vec<CompletionCandidate> {
    words.into_iter().filter(|w| w.starts_with(start)).map(CompletionCandidate::new).collect()
}

fn told(word: impl Into<OsString>, what: &str) -> CompletionCandidate {
    CompletionCandidate::new(word).help(Some(what.to_string().into()))
}

fn kinds(start: &str) -> Vec<CompletionCandidate> {
    catalogue::all().filter(|k| k.name.starts_with(start)).map(|k| told(k.name, k.noun)).collect()
}

fn tags<K: KindType>(start: &str) -> Vec<CompletionCandidate> {
    tags_of(&[K::KIND], start)
}

fn tags_of(kinds: &[&'static Kind], start: &str) -> Vec<CompletionCandidate> {
    let Some(store) = store() else { return Vec::new() };
    let most = if kinds.len() > 3 { MOST_OF_A_KIND } else { MOST };
    let mut out = Vec::new();
    for kind in kinds {
        let found = store.tags_from(kind, start, most).unwrap_or_default();
        out.extend(found.into_iter().map(|tag| told(tag, kind.noun)));
    }
    out.truncate(MOST);
    out
}

/// A tag of any record; where nothing begins so, a kind.
fn any(start: &str) -> Vec<CompletionCandidate> {
    let all: Vec<&'static Kind> = catalogue::all().filter(|k| k.tagged()).collect();
    let mut out = tags_of(&all, start);
    // `show` takes a kind as well.
    if line().iter().any(|w| w == "show") && !start.is_empty() {
        out.extend(kinds(start));
    }
    out
}

/// Fields that hold numbers.
fn readings(start: &str) -> Vec<CompletionCandidate> {
    let all = catalogue::all().flat_map(|k| k.fields.iter().filter(|f| f.is_numeric()).map(move |f| (k, f)));
    let named = all.map(|(k, f)| (format!("{}.{}", k.name, f.name), k.noun));
    named.filter(|(name, _)| name.starts_with(start)).map(|(name, noun)| told(name, noun)).collect()
}

fn pages(start: &str) -> Vec<CompletionCandidate> {
    let topics = TOPICS.iter().map(|t| (t.name.to_string(), t.about.to_string()));
    let program = crate::cli::program();
    let commands: Vec<(String, String)> = program
        .get_subcommands()
        .map(|c| (c.get_name().to_string(), c.get_about().map(ToString::to_string).unwrap_or_default()))
        .collect();
    let mut out: Vec<CompletionCandidate> =
        topics.chain(commands).filter(|(n, _)| n.starts_with(start)).map(|(n, a)| told(n, &a)).collect();
    if !start.is_empty() {
        out.extend(kinds(start));
    }
    out
}

/// `FIELD=VALUE` of the record that the line writes: the field's name, then what may stand in it.
fn fields(start: &str) -> Vec<CompletionCandidate> {
    let before = line();
    let Some(kind) = kind_of_line(&before) else { return Vec::new() };
    if let Some((field, value)) = start.split_once('=') {
        let all = kind.field(field).map(|f| values(f, value)).unwrap_or_default();
        return all.into_iter().map(|c| c.add_prefix(format!("{field}="))).collect();
    }
    // Some shells part words at `=`, and some leave it out behind which nothing stands yet.
    let last = before.last().map_or("", String::as_str);
    let parted = if last == "=" { before.iter().rev().nth(1).map_or("", String::as_str) } else { last };
    if let Some(field) =
        kind.field(parted).filter(|_| !before.iter().rev().nth(1).is_some_and(|w| w.starts_with("--")))
    {
        return values(field, start);
    }
    let there = |name: &str| before.iter().any(|w| w.split('=').next() == Some(name));
    let own = store().and_then(|s| s.own_fields().ok()).unwrap_or_default();
    let own = own.into_iter().filter(|o| o.record == kind.name).map(|o| (o.name, "an own field".to_string()));
    kind.all_fields()
        .map(|f| (f.name.to_string(), f.unit().to_string()))
        .chain(own)
        .filter(|(name, _)| name.starts_with(start) && !there(name))
        .map(|(name, what)| told(format!("{name}="), &what))
        .collect()
}

/// The kind that `log` or `correct` is about.
fn kind_of_line(words: &[String]) -> Option<&'static Kind> {
    let at = words.iter().position(|w| ["log", "correct", "map"].contains(&w.as_str()))?;
    let named = words.get(at + 1)?;
    match words[at].as_str() {
        "log" => catalogue::kind(named),
        "correct" => match named.split_once(':') {
            Some((kind, _)) => catalogue::kind(kind),
            None => catalogue::kind(store()?.look_up(named).ok()??.0),
        },
        _ => catalogue::kind(words.get(at + 2)?),
    }
}

fn words(field: &FieldInfo) -> &'static [&'static str] {
    match field.ty {
        Type::Choice(words) => words,
        _ => &[],
    }
}

/// What may stand in a field.
fn values(field: &FieldInfo, start: &str) -> Vec<CompletionCandidate> {
    match field.ty {
        Type::Choice(words) => matching(start, words),
        Type::Ref(kinds) => {
            let kinds: Vec<&'static Kind> = kinds.iter().filter_map(|k| catalogue::kind(k)).collect();
            tags_of(&kinds, start)
        }
        Type::AnyTag => any(start),
        Type::Time | Type::Moment | Type::Date => matching(start, &["now"]),
        _ if field.names_person() => tags::<People>(start),
        _ => Vec::new(),
    }
}
