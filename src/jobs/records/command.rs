//! Keeping records: stores, files, single records, checks of the file.

use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Subcommand;
use serde::Serialize;

use crate::cli::context::{Bar, Global, given_clock, named};
use crate::cli::voice;
use crate::jobs::file::{bundle, demo, restore};
use crate::jobs::furnace::shift;
use crate::jobs::records::ask;
use crate::jobs::records::ask::Logged;
use crate::jobs::records::proposals;
use crate::jobs::sheets;
use records::Who;
use records::catalogue;
use records::value::tag::shown;
use records::{Error, Result, Store};

/// Commands that keep records.
#[derive(Subcommand)]
pub enum Keep {
    /// The demo foundry, all invented: screens, or one blade's trace
    ///
    /// It is made where it isn't there yet. On a terminal the screens open on it; else, or with --no-screen,
    /// one rejected blade is traced down to what goes along with its defect.
    ///
    /// With --moulds it writes the bundle of an invented foundry of that size instead: eight blades
    /// a mould, five inspections a blade, about ten years of records at 125,000 moulds. The same
    /// seed gives the same bytes. Read it with: meltkin import FOLDER
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
    /// An empty store with starter definitions: alloys, defect terms
    New {
        /// Without the starter definitions
        #[arg(long)]
        bare: bool,
    },
    /// Take in CSV files: one of a kind, or a folder (a bundle)
    ///
    /// A bundle is a folder with one CSV for each record kind, named after it (pours.csv). Everything is
    /// checked first; then all of it is written, or nothing. Rows that are there already count as unchanged.
    Import {
        /// The folder, or one file named after its kind
        path: PathBuf,
        /// Only say what is wrong; nothing is written
        #[arg(long)]
        check: bool,
        /// The record kind, for a file of another name
        #[arg(long, value_name = "KIND")]
        kind: Option<String>,
        /// A sheet of your own (XLSX, CSV), by what `meltkin sheet map` learnt of it
        #[arg(long, value_name = "NAME", conflicts_with = "kind")]
        mapping: Option<String>,
        /// The sheet, in place of the mapping's
        #[arg(long, requires = "mapping")]
        sheet: Option<String>,
    },
    /// Write all records as CSV files, or some as a spreadsheet
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
    /// Write one record
    ///
    /// What has happened can always be recorded: a value outside its typing guard asks for --reason, and is never
    /// refused. Tags of what it belongs to must be known; near ones are offered.
    Log {
        /// Record kind, such as pours
        kind: String,
        /// The fields; blank, n/a, illegible and <5 are four different things
        #[arg(value_name = "FIELD=VALUE")]
        fields: Vec<String>,
        /// Why a value outside its typing guard is right all the same
        #[arg(long)]
        reason: Option<String>,
    },
    /// Take back your last entry, within a minute
    ///
    /// Both the entry and its taking back stay in the journal. Of a hold, of a rejecting inspection and of its findings
    /// and values it is a lift: quality does it, with a reason; by anybody else it is kept as a proposal.
    Undo {
        /// Why, where it is a lift
        #[arg(long)]
        reason: Option<String>,
    },
    /// Change a record; the old values stay visible
    Correct {
        /// Tag, or address of what has none (coats:M31-070/4)
        tag: String,
        /// What changes
        #[arg(value_name = "FIELD=VALUE", required = true)]
        fields: Vec<String>,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// A record, what fences it, whether a reading is suspect
    ///
    /// With the name of a record kind (defect_terms) it lists the newest of that kind.
    Show {
        /// Tag or address; or a record kind
        tag: String,
        /// With every change, who made it, when and why
        #[arg(long)]
        history: bool,
    },
    /// Fence a record and everything that comes out of it
    ///
    /// A hold blocks the next step (pour, release); what happens all the same can still be recorded. On an
    /// instrument it fences the blades of its suspect readings.
    Hold {
        /// Tag
        tag: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Lift a hold (quality)
    Lift {
        /// The hold, or what it lies on where only one is open
        tag: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// What somebody proposed and quality decides
    ///
    /// A change that would take something out from under a hold, or soften a rejection, is kept as a proposal where
    /// somebody else than quality makes it: nothing is changed yet.
    Proposals,
    /// Accept or decline a proposal (quality)
    Decide {
        /// Its number, as `proposals` lists it
        entry: i64,
        /// Do what was proposed
        #[arg(long, required_unless_present = "decline", conflicts_with = "decline")]
        accept: bool,
        /// Leave everything as it is
        #[arg(long)]
        decline: bool,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Fields of your own, for what your card has and no kind has
    Field {
        #[command(subcommand)]
        what: FieldWhat,
    },
    /// What the next shift must know
    ///
    /// Open holds, checks of instruments that are due or failed, how many heats each crucible has seen, moulds not
    /// poured, and entries that came late or were filled in afterwards.
    Shift,
    /// Is the file whole? Every row against its seal and the journal
    ///
    /// The journal holds every write with a hash over itself and the hash before it. Whatever was changed, put in
    /// or taken out without this program is named. With --anchor: everything before that hash is unchanged.
    Verify {
        /// A journal head that was printed earlier
        #[arg(long, value_name = "HASH")]
        anchor: Option<String>,
    },
    /// Copy the store while it is in use, and check the copy
    ///
    /// The copy gets the rights of the store.
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

/// Commands on own fields.
#[derive(Subcommand)]
pub enum FieldWhat {
    /// Add a field to a record kind
    Add {
        /// Record kind and new field
        #[arg(value_name = "KIND.FIELD")]
        name: String,
        /// number, text, time or yes_no
        #[arg(long = "type", value_name = "T")]
        ty: String,
        /// Below it a reason is asked for
        #[arg(long, allow_negative_numbers = true)]
        min: Option<f64>,
        /// Above it a reason is asked for
        #[arg(long, allow_negative_numbers = true)]
        max: Option<f64>,
        /// It may be a cause of defects, and is tried as one
        #[arg(long)]
        cause: bool,
    },
}

/// Runs a command.
pub fn run(what: &Keep, global: &Global) -> Result<ExitCode> {
    match what {
        Keep::Demo { moulds: Some(moulds), seed, bundle: Some(folder), .. } => {
            make_bundle(global, folder, *moulds, *seed)?;
        }
        Keep::Demo { no_screen, .. } => return show_demo(global, *no_screen),
        Keep::New { bare } => new(global, *bare)?,
        Keep::Import { path, check, kind, mapping, sheet } => {
            let by = mapping.as_deref().map(|name| (name, sheet.as_deref()));
            return import(global, path, *check, kind.as_deref(), by);
        }
        Keep::Export { what, xlsx: Some(file), replace } => spreadsheet(global, file, *replace, what)?,
        Keep::Export { what, .. } => match what.as_slice() {
            [folder] => export(global, folder)?,
            _ => return Err(Error::input("export takes one folder; kinds are named with --xlsx FILE")),
        },
        Keep::Restore { .. } => restore(global, what)?,
        Keep::Verify { anchor } => return verify(global, anchor.as_deref()),
        Keep::Show { .. } | Keep::Shift | Keep::Proposals => one_record(what, &mut global.open()?, global)?,
        other => {
            let mut store = global.open_unchecked()?;
            one_record(other, &mut store, global)?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn one_record(what: &Keep, store: &mut Store, global: &Global) -> Result<()> {
    let logged = match what {
        Keep::Log { kind, fields, reason } => {
            global.acting(store, |store, who| ask::log(store, who, kind, fields, reason.as_deref()))?
        }
        Keep::Correct { tag, fields, reason } => {
            let changes = ask::pairs(fields)?;
            global.acting(store, |store, who| Ok(Logged::new(&store.correct(who, tag, &changes, reason)?)))?
        }
        Keep::Hold { tag, reason } => {
            global.acting(store, |store, who| ask::hold(store, who, tag, reason))?
        }
        Keep::Lift { tag, reason } => {
            global.acting(store, |store, who| Ok(Logged::new(&store.lift(who, tag, reason)?)))?
        }
        Keep::Proposals => {
            global.say(&proposals::list(store)?, proposals::List::text);
            return Ok(());
        }
        Keep::Decide { entry, accept, reason, .. } => {
            let decided =
                global.acting(store, |store, who| proposals::decide(store, who, *entry, *accept, reason))?;
            global.say(&decided, proposals::Decision::text);
            return Ok(());
        }
        Keep::Field { what: FieldWhat::Add { name, ty, min, max, cause } } => {
            let Some((kind, field)) = name.split_once('.') else {
                return Err(Error::input(format!("{} is no KIND.FIELD, as moulds.tilt_deg is", shown(name))));
            };
            let mut fields = vec![
                format!("record={kind}"),
                format!("field={field}"),
                format!("type={ty}"),
                format!("cause={}", if *cause { "yes" } else { "no" }),
            ];
            fields.extend(min.map(|v| format!("min={v}")));
            fields.extend(max.map(|v| format!("max={v}")));
            global.acting(store, |store, who| ask::log(store, who, "own_fields", &fields, None))?
        }
        Keep::Undo { reason } => {
            let undone = global.acting(store, |store, who| store.undo(who, reason.as_deref()))?;
            let proposal = !undone.frees.is_empty();
            let mut answer = serde_json::json!({
                "undone": undone.entry.tag, "action": undone.entry.action, "entry": undone.seq,
            });
            if let (true, Some(object)) = (proposal, answer.as_object_mut()) {
                object.insert("proposal".into(), true.into());
                object.insert("frees".into(), undone.frees.clone().into());
            }
            global.say(&answer, |_| match proposal {
                true => format!(
                    "kept as proposal {}, nothing is changed: it {}; quality decides: meltkin proposals",
                    undone.seq,
                    shown(&undone.frees.join(", and "))
                ),
                false => format!(
                    "took back: {} of {}",
                    undone.entry.action,
                    shown(undone.entry.tag.as_deref().unwrap_or(""))
                ),
            });
            return Ok(());
        }
        Keep::Show { tag, history: false }
            if store.look_up(tag)?.is_none() && catalogue::find(tag).is_ok() =>
        {
            let kind = catalogue::find(tag).map_err(Error::input)?;
            global.say(&ask::list(store, kind)?, crate::jobs::records::show::Listed::text);
            return Ok(());
        }
        Keep::Show { tag, history } => {
            global.say(&ask::show(store, tag, *history)?, crate::jobs::records::show::Shown::text);
            return Ok(());
        }
        Keep::Shift => {
            let now = global.who(Some(store))?.now;
            global.say(&shift::shift(store, now)?, shift::Shift::text);
            return Ok(());
        }
        Keep::Backup { file, replace } => {
            let bar = Bar::new();
            let target = global.output(file, *replace, store);
            let checked = store.backup(target, &mut |done, total| bar.at(done, total, "copying"))?;
            bar.clear();
            let answer =
                serde_json::json!({"file": named(file), "entries": checked.entries, "head": checked.head});
            global.say(&answer, |_| {
                format!(
                    "backed up to {}, checked: {} journal entries, head {}",
                    named(file),
                    checked.entries,
                    checked.head
                )
            });
            return Ok(());
        }
        _ => return Ok(()),
    };
    global.say(&logged, Logged::text);
    Ok(())
}

fn restore(global: &Global, what: &Keep) -> Result<()> {
    let Keep::Restore { file, replace, older } = what else { return Ok(()) };
    let place = global.path("meltkin.db")?;
    let ask = restore::Ask { file, place: &place, replace: *replace, older: *older };
    let pin = || match &global.pin_from {
        None if !std::io::stdin().is_terminal() => Ok(None),
        file => Ok(crate::cli::context::secrets(file.as_deref(), &["PIN: "], false)?.pop()),
    };
    let bar = Bar::new();
    let told = &mut |done, total| bar.at(done, total, "copying");
    let done = restore::restore(&ask, &|store| global.who(store), &pin, told);
    bar.clear();
    global.say(&done?, restore::Restored::text);
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
    let answer = serde_json::json!({"store": named(&path), "records": n});
    global.say(&answer, |_| format!("made {} with {n} starter records", named(&path)));
    Ok(())
}

/// Takes in a bundle, a file of one kind, or a sheet by its mapping.
fn import(
    global: &Global,
    path: &Path,
    check: bool,
    kind: Option<&str>,
    by: Option<(&str, Option<&str>)>,
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
    let done = done?;
    for fault in done.faults.iter().take(200) {
        voice::err(&fault.text());
    }
    if done.faults.len() > 200 {
        voice::err(&format!("… and {} more", done.faults.len() - 200));
    }
    global.say(&done, |d| {
        let n: usize = d.records.values().sum();
        let verdict = match (d.faults.len(), check) {
            (0, true) => "nothing is wrong; nothing was written (--check)".to_string(),
            (0, false) if d.proposals > 0 => format!(
                "wrote {n} records; {} kept as proposals, which quality decides: meltkin proposals",
                d.proposals
            ),
            (0, false) => format!("wrote {n} records"),
            (f, _) => format!("{f} faults; nothing was written"),
        };
        let kinds: Vec<Vec<String>> =
            d.records.iter().map(|(k, n)| vec![format!("  {k}"), n.to_string()]).collect();
        let remarks: String = d.remarks.iter().map(|r| format!("  {}\n", shown(r))).collect();
        format!("{}{remarks}{verdict}, {} unchanged", crate::show::columns(&kinds), d.unchanged)
    });
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

fn export(global: &Global, folder: &Path) -> Result<()> {
    let store = global.open()?;
    let bar = Bar::new();
    let counts = bundle::export(&store, folder, &mut |at, total, what| bar.at(at, total, what))?;
    bar.clear();
    let answer = serde_json::json!({"folder": named(folder), "records": counts});
    global.say(&answer, |_| format!("wrote {} records to {}", counts.values().sum::<usize>(), named(folder)));
    Ok(())
}

fn spreadsheet(global: &Global, file: &Path, replace: bool, kinds: &[PathBuf]) -> Result<()> {
    let store = global.open()?;
    let kinds: Vec<String> = kinds.iter().map(|k| k.to_string_lossy().into_owned()).collect();
    let output = global.output(file, replace, &store);
    let counts = sheets::spreadsheet::export(&store, global.who(Some(&store))?.now, output, &kinds)?;
    let answer = serde_json::json!({"file": named(file), "records": counts});
    global.say(&answer, |_| format!("wrote {} records to {}", counts.values().sum::<usize>(), named(file)));
    Ok(())
}

/// What `verify` prints.
#[derive(Serialize)]
struct Verdict {
    ok: bool,
    entries: i64,
    head: String,
    rows: u64,
    anchored_at: Option<i64>,
    clock_given: bool,
    derived: Vec<&'static str>,
    faults: Vec<serde_json::Value>,
    /// Tags of earlier rules that would be refused today.
    odd_tags: Vec<serde_json::Value>,
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
    let verdict = Verdict {
        ok: found.faults.is_empty(),
        entries: found.entries,
        head: found.head,
        rows: found.rows,
        anchored_at: found.anchored_at,
        clock_given: store.clock_given().unwrap_or(false),
        derived: Vec::new(),
        faults: found
            .faults
            .iter()
            .map(|f| serde_json::json!({"table": f.table, "tag": f.tag, "message": f.message}))
            .collect(),
        odd_tags: found
            .odd_tags
            .iter()
            .map(|o| serde_json::json!({"kind": o.kind, "tag": o.tag, "message": o.why}))
            .collect(),
    };
    global.say(&verdict, |v| {
        let mut out = String::new();
        for f in &found.faults {
            let tag = f.tag.as_deref().map(|t| format!(" {}", shown(t))).unwrap_or_default();
            out.push_str(&format!("FAULT {}{tag}: {}\n", f.table, shown(&f.message)));
        }
        for odd in &found.odd_tags {
            out.push_str(&format!("tag refused today: {}\n", odd.text()));
        }
        out.push_str(&format!(
            "{}: {} journal entries, {} rows compared\nhead {}\n",
            if v.ok { "whole" } else { "NOT TO BE TRUSTED" },
            v.entries,
            v.rows,
            v.head
        ));
        if v.clock_given {
            out.push_str(&format!("{}\n", records::CLOCK_SAID));
        }
        if let Some(at) = v.anchored_at {
            out.push_str(&format!("the anchor is entry {at}: everything before it is unchanged\n"));
        }
        out
    });
    Ok(if verdict.ok { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn show_demo(global: &Global, no_screen: bool) -> Result<ExitCode> {
    let path = global.path("demo.db")?;
    let bar = Bar::new();
    let store = demo::open(&path, &mut |at, total, what| bar.at(at, total, what))?;
    bar.clear();
    if !no_screen && !global.json && crate::cli::screens::on_a_terminal() {
        return crate::cli::screens::run(global, path, store);
    }
    let told = demo::tell(&store)?;
    global.say(&told, demo::Told::text);
    voice::err(&format!("the demo store is {}; use it with --store", named(&path)));
    Ok(ExitCode::SUCCESS)
}

fn make_bundle(global: &Global, folder: &Path, moulds: u32, seed: u64) -> Result<()> {
    let made = demo::make(folder, &crate::demo::maker::Plan { moulds, seed })?;
    let answer = serde_json::json!({
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
