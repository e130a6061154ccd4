//! `sheet take`: asks on a terminal, else goes by its options.

use std::io::IsTerminal;
use std::path::Path;
use std::process::ExitCode;

use serde::Serialize;

use crate::cli::context::{Bar, Global, clock_name};
use crate::cli::voice;
use crate::jobs::file::bundle::Imported;
use crate::jobs::sheets::ask;
use crate::jobs::sheets::ask::{Mapping, SheetFile, SheetLook, take_over};
use crate::jobs::sheets::command::options::SheetOptions;
use crate::jobs::sheets::show::as_command;
use crate::jobs::sheets::take::dialog::Terminal;
use crate::jobs::sheets::take::plan::{Choices, Plan, plan};
use records::value::tag;
use records::{Error, Hint, Result, Store};

/// What the command line says.
pub(crate) struct TakeRequest<'a> {
    pub(crate) file: &'a Path,
    pub(crate) kind: Option<&'a str>,
    pub(crate) columns: &'a [String],
    pub(crate) name: Option<&'a str>,
    pub(crate) check: bool,
    pub(crate) of: &'a SheetOptions,
}

/// What came of a sheet.
#[derive(Serialize)]
struct SheetTaken<'a> {
    /// The name that the mapping is kept under; none where nothing was written.
    name: Option<&'a str>,
    look: &'a SheetLook,
    fits: &'a [(String, String)],
    mapping: &'a Mapping,
    unsure: &'a [(String, String)],
    first: &'a [Vec<(String, String)>],
    #[serde(flatten)]
    imported: Imported,
}

/// Takes a sheet.
///
/// # Errors
/// The sheet or the store cannot be read, something is open and nobody can be asked, or it cannot be written.
pub(crate) fn run(request: &TakeRequest, global: &Global) -> Result<ExitCode> {
    let file = SheetFile::read(request.file)?;
    let mut store = global.open()?;
    let mut said = Choices {
        kind: request.kind.map(str::to_string),
        name: request.name.map(str::to_string),
        header: request.of.header,
        by: request.of.mapping("", request.columns)?,
        unsure: false,
    };
    if std::io::stdin().is_terminal() && std::io::stderr().is_terminal() && !global.json {
        let clock = clock_name(global.who(Some(&store))?.now);
        let (mut input, mut output) = (std::io::stdin().lock(), std::io::stderr());
        let mut terminal = Terminal {
            input: &mut input,
            output: &mut output,
            clock,
            check: request.check,
            shown: (String::new(), String::new()),
        };
        let check = &mut |store: &mut Store, plan: &Plan| {
            let done = over(store, global, &file, plan, true)?;
            Ok(done.faults.iter().take(FAULTS).map(|f| f.text()).collect())
        };
        let free = |store: &Store, plan: &Plan| free_name(store, &file.name, &plan.mapping);
        let Some((answers, plan)) = terminal.ask(&mut store, &file, said, &free, check)? else {
            voice::err("left; nothing was written");
            return Ok(ExitCode::SUCCESS);
        };
        let name = answers.name.unwrap_or_default();
        return written(&mut store, global, &file, (&name, &plan), request.check);
    }
    let plan = plan(&store, &file, &said)?;
    if !plan.open.is_empty() {
        let all: Vec<String> = plan.open.iter().map(|o| o.sentence() + &o.option()).collect();
        global.say(&plan, |p| p.text() + &p.records());
        return Err(Error::input(format!(
            "{}: nothing was written; open is\n  {}",
            file.name,
            all.join("\n  ")
        )));
    }
    let name = said.name.take().unwrap_or_else(|| free_name(&store, &file.name, &plan.mapping));
    if !global.json {
        voice::out((plan.text() + &plan.records()).as_bytes());
    }
    written(&mut store, global, &file, (&name, &plan), request.check)
}

/// So many faults are shown.
const FAULTS: usize = 20;

/// Tries it, keeps the mapping, writes. With `check` nothing is written.
fn written(
    store: &mut Store,
    global: &Global,
    file: &SheetFile,
    (name, plan): (&str, &Plan),
    check: bool,
) -> Result<ExitCode> {
    tag::check(name).map_err(|e| Error::input(format!("{}: {e}", tag::shown(name))))?;
    let there = ask::mapping(store, name).ok();
    let keep =
        |store: &mut Store| global.acting(store, |store, who| ask::learn(store, who, name, &plan.mapping));
    // Another mapping of that name is replaced by who may, before anything else is written and not without it.
    let replaces = there.as_ref().is_some_and(|m| *m != plan.mapping);
    let mut done = over(store, global, file, plan, check || replaces)?;
    let kept = !check && done.faults.is_empty();
    if kept && there.as_ref() != Some(&plan.mapping) {
        keep(store)?;
    }
    if kept && replaces {
        done = over(store, global, file, plan, false)?;
    }
    for fault in done.faults.iter().take(FAULTS) {
        voice::err(&fault.text());
    }
    if done.faults.len() > FAULTS {
        voice::err(&format!("… and {} more", done.faults.len() - FAULTS));
    }
    let failed = !done.faults.is_empty();
    let answer = SheetTaken {
        name: kept.then_some(name),
        look: &plan.look,
        fits: &plan.fits,
        mapping: &plan.mapping,
        unsure: &plan.unsure,
        first: &plan.first,
        imported: done,
    };
    global.say(&answer, |a| {
        let next = format!("the next such sheet: meltkin import FILE --mapping {name}\n");
        let kept = if kept { format!("{}\n{next}", as_command(name, &plan.mapping)) } else { String::new() };
        let brief = Imported { remarks: Vec::new(), ..a.imported.clone() };
        format!("{}\n{kept}", brief.text(check))
    });
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

fn over(store: &mut Store, global: &Global, file: &SheetFile, plan: &Plan, check: bool) -> Result<Imported> {
    let kind = ask::kind_of(&plan.mapping)?;
    let bar = Bar::new();
    let done = global.acting(store, |store, who| {
        let mut told = |at: u64, total: u64, what: &str| bar.at(at, total, what);
        take_over(store, who, (&file.name, kind, &plan.all), check, &mut told)
    });
    bar.clear();
    done
}

/// The file's name without its ending, or with a number where another mapping has that name.
fn free_name(store: &Store, file: &str, mapping: &Mapping) -> String {
    let stem = file.rsplit_once('.').map_or(file, |f| f.0);
    let plain: String = stem.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).take(30).collect();
    let stem = Some(plain.trim_matches('-').to_lowercase())
        .filter(|s| !s.is_empty())
        .unwrap_or_else(|| "sheet".into());
    let all = std::iter::once(stem.clone()).chain((2..).map(|n| format!("{stem}-{n}")));
    let free = |name: &String| match ask::mapping(store, name) {
        Ok(kept) => kept == *mapping,
        Err(e) => e.hints.contains(&Hint::MakeMapping),
    };
    all.take(1000).find(free).unwrap_or(stem)
}
