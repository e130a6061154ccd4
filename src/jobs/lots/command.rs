//! Lots: may this lot go, and who signs.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::{Global, secrets};
use crate::cli::examples::example;
use crate::jobs::file::output::{Output, Pending};
use crate::jobs::lots::ask;
use crate::jobs::lots::desk;
use crate::jobs::lots::desk::Desk;
use crate::jobs::lots::dispose::{Disposal, Disposed, dispose};
use crate::jobs::lots::summary::LotSummary;
use crate::jobs::records::pins;
use records::{Error, Result, Store};

/// Commands on lots and signing.
#[derive(Subcommand)]
pub enum LotCommand {
    /// May this lot go? Every reason why not, and the signature
    Lot {
        #[command(subcommand)]
        what: LotWhat,
    },
    /// One decision on many blades (quality)
    ///
    /// accept, rework, repair, scrap, hold or concession.
    ///
    /// A blade stands for itself, a mould or lot for its blades, a heat for those of its own moulds (not of moulds
    /// that its revert went into); scrapped ones are left as they are. All of them are written, or none; `undo`
    /// takes back the last one alone.
    #[command(after_help = example(
        "After inspection, or once a concession is granted; a mould stands for those of its blades that are not scrapped.",
        "disposition accept M31-041-6 --reason \"looked at again\" --as OP-51",
    ))]
    Disposition {
        /// What is decided
        decision: String,
        /// Blades, moulds, heats, lots
        #[arg(value_name = "TAG", required = true)]
        tags: Vec<String>,
        /// The concession that the blades go to
        #[arg(long, value_name = "TAG")]
        concession: Option<String>,
        /// Why
        #[arg(long)]
        reason: Option<String>,
    },
    /// PINs for signing
    Pin {
        #[command(subcommand)]
        what: PinWhat,
    },
}

/// Commands on a lot.
#[derive(Subcommand)]
pub enum LotWhat {
    /// Every lot with what blocks it in a word, and what waits for a decision
    ///
    /// Rejected and returned blades that nobody has decided on since, open holds, concessions with what is left of them.
    #[command(after_help = example(
        "In the morning: what may go, and what waits for quality.",
        "lot list",
    ))]
    List,
    /// The lot acceptance summary: every reason why the lot may not go, else what it stands on
    ///
    /// Exit code 1: the lot is blocked, or its release is void. With --final, quality signs (nobody who poured in the
    /// lot); later changes to any record behind it make the summary void.
    #[command(after_help = example(
        "Lot day. `meltkin help lotday` goes through it; `meltkin help signing` says what a signature proves.",
        "lot summary L31-02 --html lot.html",
    ))]
    Summary {
        /// The lot
        lot: String,
        /// Write the summary as one HTML page, for reading and for printing on the shop's paper (A4 or Letter)
        #[arg(long, value_name = "FILE")]
        html: Option<PathBuf>,
        /// Write its tables as a spreadsheet
        #[arg(long, value_name = "FILE")]
        xlsx: Option<PathBuf>,
        /// Replace these files, if they are there
        #[arg(long)]
        replace: bool,
        /// Sign it (quality, --as PERSON): refused while anything blocks it
        #[arg(long = "final")]
        sign: bool,
        /// Exit code 1 unless the lot is released, and the release stands
        #[arg(long)]
        require_final: bool,
    },
}

/// Commands on a PIN.
#[derive(Subcommand)]
pub enum PinWhat {
    /// Set or change your own PIN (--as PERSON): asked on the terminal, else read from standard input
    ///
    /// Without a terminal, or with --pin-from: each on a line of its own, the PIN of --by where it is needed, the old
    /// PIN where there is one, the new PIN. A quality person's first PIN needs that of another one, once one has one.
    #[command(after_help = example(
        "Before you sign for the first time; have somebody stand by.",
        "pin set --as OP-51",
    ))]
    Set {
        /// Another quality person, who gives their PIN for it
        #[arg(long, value_name = "PERSON")]
        by: Option<String>,
    },
    /// Take a forgotten PIN away (another quality person, with its own PIN once any quality person has one)
    #[command(after_help = example(
        "When another quality person has forgotten theirs.",
        "pin clear OP-52 --as OP-51",
    ))]
    Clear {
        /// Whose
        #[arg(value_name = "PERSON")]
        whose: String,
    },
}

/// Runs a command.
pub fn run(what: &LotCommand, global: &Global) -> Result<ExitCode> {
    let mut store = global.open()?;
    match what {
        LotCommand::Lot { what: LotWhat::List } => {
            let who = global.who(Some(&store))?;
            global.say(&desk::desk(&store, &who)?, Desk::text);
            Ok(ExitCode::SUCCESS)
        }
        LotCommand::Lot { what: LotWhat::Summary { lot, html, xlsx, replace, sign, require_final } } => {
            let who = global.who(Some(&store))?;
            let place = store.path().to_path_buf();
            let output = |file| Output { file, replace: *replace, store: Some(&place) };
            html.iter().chain(xlsx).try_for_each(|file| output(file).admit())?;
            // Written and on the disk before anything is signed; they get their names after it.
            let mut pending: Vec<Pending> = Vec::new();
            let mut pages = |made: &LotSummary| -> Result<()> {
                pending.clear();
                if let Some(file) = html {
                    pending.push(Pending::write(output(file), made.html().as_bytes())?);
                }
                if let Some(file) = xlsx {
                    let bytes = crate::show::xlsx::xlsx(&made.spreadsheet(), who.now, made.paper())
                        .map_err(Error::input)?;
                    pending.push(Pending::write(output(file), &bytes)?);
                }
                Ok(())
            };
            let made = if *sign {
                let pin = signing_pin(&store, global)?;
                ask::finalise(&mut store, &who, lot, pin.as_deref(), &mut pages)?
            } else {
                let made = ask::summary(&store, &who, lot)?;
                pages(&made)?;
                made
            };
            let settled: Vec<Result<()>> = pending.into_iter().map(Pending::finish).collect();
            settled.into_iter().collect::<Result<()>>()?;
            global.say(&made, LotSummary::text);
            // What blocked a signature may be put right before its draft is made: nothing blocks then, and it is no release.
            let must_be_final = *require_final || *sign;
            let no =
                !made.blocked.is_empty() || made.state == "void" || must_be_final && made.state != "final";
            Ok(if no { ExitCode::from(1) } else { ExitCode::SUCCESS })
        }
        LotCommand::Disposition { decision, tags, concession, reason } => {
            let what = Disposal {
                decision: decision.clone(),
                concession: concession.clone(),
                reason: reason.clone(),
            };
            let decided = global.acting(&mut store, |store, who| dispose(store, who, tags, &what))?;
            global.say(&decided, Disposed::text);
            Ok(ExitCode::SUCCESS)
        }
        LotCommand::Pin { what } => pin(what, global, &mut store),
    }
}

fn pin(what: &PinWhat, global: &Global, store: &mut Store) -> Result<ExitCode> {
    let who = global.who(Some(store))?;
    let me = who.person.clone().unwrap_or_default();
    let file = global.pin_from.as_deref();
    let said = match what {
        PinWhat::Set { by } => {
            let known = !me.is_empty();
            let needs_by = known && store.first_pin_needs_another(&me)?;
            let by = by.as_deref().filter(|_| needs_by);
            let there = known && store.has_pin(&me)?;
            let of_by = by.map(|by| format!("PIN of {by}: "));
            let asked = of_by.as_deref().into_iter().chain(there.then_some("old PIN: ")).chain(["new PIN: "]);
            let mut lines = secrets(file, &asked.collect::<Vec<_>>(), true)?.into_iter();
            let by_pin = by.map(|_| lines.next().unwrap_or_default());
            let old = there.then(|| lines.next().unwrap_or_default());
            let new = lines.next().unwrap_or_default();
            let given = pins::Given { by: by.zip(by_pin.as_deref()), old: old.as_deref() };
            let person = pins::set(store, &who, &given, &new)?;
            format!("the PIN of {person} is set")
        }
        PinWhat::Clear { whose } => {
            // Who has none is told so, and asked for nothing.
            let has_one = store.role_of(&me)?.is_some() && store.has_pin(&me)?;
            let own = if has_one { secrets(file, &["your own PIN: "], false)?.pop() } else { None };
            pins::clear(store, &who, whose, own.as_deref())?;
            format!("the PIN of {whose} is taken away")
        }
    };
    global.say(&serde_json::json!({ "done": said }), |_| said.clone());
    Ok(ExitCode::SUCCESS)
}

/// The PIN of the one who signs: from a file, else asked where there is one to ask for.
fn signing_pin(store: &Store, global: &Global) -> Result<Option<String>> {
    if let Some(file) = &global.pin_from {
        return Ok(secrets(Some(file), &["PIN: "], false)?.pop());
    }
    let Some(person) = &global.person else { return Ok(None) };
    let known = store.role_of(person)?.is_some();
    if known && std::io::stdin().is_terminal() && store.has_pin(person)? {
        return Ok(secrets(None, &["PIN: "], false)?.pop());
    }
    Ok(None)
}
