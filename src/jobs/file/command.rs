//! Commands on the file of the store, and on files that records come from or go to.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Subcommand;
use serde_json::json;

use crate::cli::context::{Bar, Global, given_clock, named, secrets};
use crate::cli::examples::example;
use crate::cli::{screens, voice};
use crate::jobs::file::bundle::Imported;
use crate::jobs::file::verified::VerifyReport;
use crate::jobs::file::{bundle, demo, restore};
use crate::jobs::sheets;
use crate::jobs::sheets::ask::KeptMapping;
use records::{Error, Result, Store, Who};

/// Commands on files.
#[derive(Subcommand)]
pub enum FileCommand {
    /// The demo foundry, all invented: screens, or one blade's trace
    ///
    /// It is made where it isn't there yet. On a terminal the screens open on it; else, or with --no-screen,
    /// one rejected blade is traced down to what goes along with its defect.
    ///
    /// With --moulds it writes the bundle of an invented foundry of that size instead: eight blades
    /// a mould, five inspections a blade, about ten years of records at 125,000 moulds. The same
    /// seed gives the same bytes. Read it with: meltkin import FOLDER
    #[command(after_help = example(
        "To see everything before a record of your own is typed.",
        "demo --no-screen",
    ))]
    Demo {
        /// Print instead of opening the screens
        #[arg(long)]
        no_screen: bool,
        /// Write a bundle with so many moulds instead
        #[arg(long, value_name = "N", requires = "bundle")]
        moulds: Option<u32>,
        /// Seed of the invented history
        #[arg(long, value_name = "S", default_value_t = 1, requires = "moulds")]
        seed: u64,
        /// The new or empty folder for the bundle
        #[arg(long, value_name = "FOLDER", requires = "moulds")]
        bundle: Option<PathBuf>,
    },
    /// An empty store with starter alloys, defect terms, known causes
    #[command(after_help = example(
        "Once, before the first record of a foundry of your own.",
        "new --store own.db",
    ))]
    New {
        /// Without the starter definitions
        #[arg(long)]
        bare: bool,
    },
    /// Take in CSV files: one of a kind, or a folder (a bundle)
    ///
    /// A bundle is a folder with one CSV for each record kind, named after it (pours.csv). Everything is
    /// checked first; then all of it is written, or nothing. Rows that are there already count as unchanged.
    #[command(after_help = example(
        "To take over a bundle of another site, one file of a kind, or with --mapping a sheet of your own. \
         Try --check first: it names file, line, column and what would be right.",
        "import filter_lots.csv --check",
    ))]
    Import {
        /// The folder, or one file named after its kind
        #[arg(required_unless_present = "known_causes")]
        path: Option<PathBuf>,
        /// Only say what is wrong; nothing is written
        #[arg(long)]
        check: bool,
        /// The record kind, for a file of another name
        #[arg(long, value_name = "KIND")]
        kind: Option<String>,
        /// A sheet of your own (XLSX, XLS, ODS, CSV), by what `meltkin sheet map` learnt of it
        #[arg(long, value_name = "NAME", conflicts_with = "kind")]
        mapping: Option<String>,
        /// The sheet, in place of the mapping's
        #[arg(long, requires = "mapping")]
        sheet: Option<String>,
        /// The table of the sheet, in place of the mapping's: its name or number
        #[arg(long, requires = "mapping")]
        table: Option<String>,
        /// What the trade knows of causes, as the program carries it: the rows that the store does not have
        #[arg(long, conflicts_with_all = ["path", "kind", "mapping"])]
        known_causes: bool,
    },
    /// Write all records as CSV files, or some as a spreadsheet
    #[command(after_help = example(
        "To hand records over. Without --xlsx a folder with one CSV for each kind, which import takes again.",
        "export --xlsx records.xlsx heats pours",
    ))]
    Export {
        /// A new or empty folder; with --xlsx the record kinds (none: all)
        #[arg(value_name = "FOLDER|KIND")]
        what: Vec<PathBuf>,
        /// Write a spreadsheet instead, a sheet for each kind
        #[arg(long, value_name = "FILE")]
        xlsx: Option<PathBuf>,
        /// Replace the spreadsheet, if it is there
        #[arg(long, requires = "xlsx")]
        replace: bool,
    },
    /// Is the file whole? Every row against its seal and the journal
    ///
    /// The journal holds every write with a hash over itself and the hash before it. Whatever was changed, put in
    /// or taken out without this program is named. With --anchor: everything before that hash is unchanged.
    #[command(after_help = example(
        "Every morning, and whenever the machine or the disk did something odd. Exit code 1: do not trust \
         the file.",
        "verify",
    ))]
    Verify {
        /// A journal head that was printed earlier
        #[arg(long, value_name = "HASH")]
        anchor: Option<String>,
    },
    /// Copy the store while it is in use, and check the copy
    ///
    /// The copy gets the rights of the store.
    #[command(after_help = example(
        "Every day, while people go on working; the copy is checked before it gets its name.",
        "backup copy.db",
    ))]
    Backup {
        /// The new file
        file: PathBuf,
        /// Replace an earlier copy of this store
        #[arg(long)]
        replace: bool,
    },
    /// Put a copy, checked again, in the place of the store
    ///
    /// What it replaces is kept beside the store. A copy of another history is refused, and an older one asks for
    /// --older: what was written since is dropped then, every lot signed since is void, and the journal says so.
    #[command(after_help = example(
        "When the store is lost or damaged; close the screens first.",
        "restore copy.db --replace",
    ))]
    Restore {
        /// The copy
        file: PathBuf,
        /// Put it in the place of a store that is there
        #[arg(long)]
        replace: bool,
        /// Also one that is older than that store (quality, with a PIN once anybody of quality has one)
        #[arg(long, requires = "replace")]
        older: bool,
    },
}

/// Runs a command.
pub fn run(what: &FileCommand, global: &Global) -> Result<ExitCode> {
    match what {
        FileCommand::Demo { moulds: Some(moulds), seed, bundle: Some(folder), .. } => {
            make_bundle(global, folder, *moulds, *seed)?;
        }
        FileCommand::Demo { no_screen, .. } => return show_demo(global, *no_screen),
        FileCommand::New { bare } => new(global, *bare)?,
        FileCommand::Import { path: None, check, .. } => return known_causes(global, *check),
        FileCommand::Import { path: Some(path), check, kind, mapping, sheet, table, .. } => {
            let by = mapping.as_deref().map(|name| KeptMapping {
                name,
                sheet: sheet.as_deref(),
                table: table.as_deref(),
            });
            return import(global, path, *check, kind.as_deref(), by);
        }
        FileCommand::Export { what, xlsx: Some(file), replace } => spreadsheet(global, file, *replace, what)?,
        FileCommand::Export { what, .. } => match what.as_slice() {
            [folder] => export(global, folder)?,
            _ => return Err(Error::input("export takes one folder; kinds are named with --xlsx FILE")),
        },
        FileCommand::Verify { anchor } => return verify(global, anchor.as_deref()),
        FileCommand::Backup { file, replace } => backup(global, file, *replace)?,
        FileCommand::Restore { file, replace, older } => restore(global, file, *replace, *older)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn backup(global: &Global, file: &Path, replace: bool) -> Result<()> {
    let store = global.open_unchecked()?;
    let bar = Bar::new();
    let target = global.output(file, replace, &store);
    let checked = store.backup(target, &mut |done, total| bar.at(done, total, "copying"))?;
    bar.clear();
    let (file, entries, head) = (named(file), checked.entries, checked.head);
    global.say(&json!({"file": file, "entries": entries, "head": head}), |_| {
        format!("backed up to {file}, checked: {entries} journal entries, head {head}")
    });
    Ok(())
}

fn restore(global: &Global, file: &Path, replace: bool, older: bool) -> Result<()> {
    let place = global.path("meltkin.db")?;
    let ask = restore::RestoreRequest { file, place: &place, replace, older };
    let pin = || match &global.pin_from {
        None if !std::io::stdin().is_terminal() => Ok(None),
        file => Ok(secrets(file.as_deref(), &["PIN: "], false)?.pop()),
    };
    let bar = Bar::new();
    let told = &mut |done, total| bar.at(done, total, "copying");
    let done = restore::restore(&ask, &|store| global.who(store), &pin, told);
    bar.clear();
    global.say(&done?, restore::RestoreReport::text);
    Ok(())
}

fn new(global: &Global, bare: bool) -> Result<()> {
    let path = global.path("meltkin.db")?;
    let mut store = Store::create_for_load(&path)?;
    if let Some(given) = given_clock()? {
        store.mark_clock_given(given)?;
    }
    let mut n = 0;
    if !bare {
        let who = global.who(Some(&store))?;
        n = bundle::starter(&mut store, &who)?;
    }
    if !store.settle()? {
        return Err(Error::input(format!(
            "{}: another program has made it meanwhile; it was left as it is",
            named(&path)
        )));
    }
    let path = named(&path);
    global.say(&json!({"store": path, "records": n}), |_| format!("made {path} with {n} starter records"));
    Ok(())
}

/// Takes in a bundle, a file of one kind, or a sheet by its mapping.
fn import(
    global: &Global,
    path: &Path,
    check: bool,
    kind: Option<&str>,
    by: Option<KeptMapping>,
) -> Result<ExitCode> {
    let file = global.path("meltkin.db")?;
    // A mapping stands in a store that is there.
    let fresh = by.is_none() && std::fs::symlink_metadata(&file).is_err();
    if !path.exists() {
        return Err(Error::input(format!("{}: there is no such file or folder", named(path))));
    }
    let mut store = match (fresh, check) {
        (true, true) => Store::memory()?,
        (true, false) => Store::create_for_load(&file)?,
        (false, _) => Store::open(&file)?,
    };
    // A store without records takes the clock of the bundle.
    let clock = match given_clock()? {
        None if store.takes_a_clock()? => bundle::clock_of(path)?,
        _ => None,
    };
    let bar = Bar::new();
    let done = global.acting(&mut store, |store, who| {
        // A store that is only being made was not made by a running clock.
        let given = who.given.filter(|_| !fresh);
        let who = Who { now: clock.unwrap_or(who.now), given, ..who.clone() };
        let mut told = |at: u64, total: u64, what: &str| bar.at(at, total, what);
        match by {
            Some(by) => sheets::ask::import(store, &who, path, by, check, &mut told),
            None => bundle::import(store, &who, path, kind, check, &mut told),
        }
    });
    bar.clear();
    let failed = done.as_ref().map_or(true, |d| !d.faults.is_empty());
    if let (true, false, Some(given)) = (fresh, failed, given_clock()?) {
        store.mark_clock_given(given)?;
    }
    if fresh && !check {
        // All or nothing: the file gets its name only now.
        if failed {
            store.abandon();
        } else if !store.settle()? {
            // Another program has made the store meanwhile: this one goes into it.
            return import(global, path, check, kind, by);
        }
    }
    Ok(imported(global, &done?, check))
}

/// Says what an import came to.
fn imported(global: &Global, done: &Imported, check: bool) -> ExitCode {
    for fault in done.faults.iter().take(200) {
        voice::err(&fault.text());
    }
    if done.faults.len() > 200 {
        voice::err(&format!("… and {} more", done.faults.len() - 200));
    }
    global.say(done, |d| d.text(check));
    if done.faults.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(2) }
}

/// Takes in what the trade knows, into a store that is there.
fn known_causes(global: &Global, check: bool) -> Result<ExitCode> {
    let mut store = global.open()?;
    let done =
        global.acting(&mut store, |store, who| bundle::knowledge(store, who, check, &mut |_, _, _| {}))?;
    Ok(imported(global, &done, check))
}

fn export(global: &Global, folder: &Path) -> Result<()> {
    let store = global.open()?;
    let bar = Bar::new();
    let counts = bundle::export(&store, folder, &mut |at, total, what| bar.at(at, total, what))?;
    bar.clear();
    let (folder, n) = (named(folder), counts.values().sum::<usize>());
    global.say(&json!({"folder": folder, "records": counts}), |_| format!("wrote {n} records to {folder}"));
    Ok(())
}

fn spreadsheet(global: &Global, file: &Path, replace: bool, kinds: &[PathBuf]) -> Result<()> {
    let store = global.open()?;
    let kinds: Vec<String> = kinds.iter().map(|k| k.to_string_lossy().into_owned()).collect();
    let output = global.output(file, replace, &store);
    let counts = sheets::spreadsheet::export(&store, global.who(Some(&store))?.now, output, &kinds)?;
    let (file, n) = (named(file), counts.values().sum::<usize>());
    global.say(&json!({"file": file, "records": counts}), |_| format!("wrote {n} records to {file}"));
    Ok(())
}

fn verify(global: &Global, anchor: Option<&str>) -> Result<ExitCode> {
    let store = global.open_unchecked()?;
    let bar = Bar::new();
    let mut step = 0;
    let found = store.verify(anchor, &mut |what| {
        step += 1;
        bar.at(step, 60, what);
    })?;
    bar.clear();
    let verified = VerifyReport::new(found, store.clock_given().unwrap_or(false));
    global.say(&verified, VerifyReport::text);
    Ok(if verified.ok { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn show_demo(global: &Global, no_screen: bool) -> Result<ExitCode> {
    let path = global.path("demo.db")?;
    let bar = Bar::new();
    let store = demo::open(&path, &mut |at, total, what| bar.at(at, total, what))?;
    bar.clear();
    if !no_screen && !global.json && screens::on_a_terminal() {
        return screens::run(global, path, store);
    }
    let told = demo::tell(&store)?;
    global.say(&told, demo::DemoStory::text);
    voice::err(&format!("the demo store is {}; use it with --store", named(&path)));
    Ok(ExitCode::SUCCESS)
}

fn make_bundle(global: &Global, folder: &Path, moulds: u32, seed: u64) -> Result<()> {
    let made = demo::make(folder, &crate::demo::maker::Plan { moulds, seed })?;
    let answer = json!({
        "folder": named(folder), "moulds": made.moulds, "blades": made.blades, "heats": made.heats,
        "inspections": made.inspections, "findings": made.findings,
    });
    global.say(&answer, |_| {
        format!(
            "Invented data. Wrote to {}: {} moulds, {} blades, {} heats, {} inspections, {} findings",
            named(folder),
            made.moulds,
            made.blades,
            made.heats,
            made.inspections,
            made.findings
        )
    });
    Ok(())
}
