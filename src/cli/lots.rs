//! Lots: may this lot go, and who signs.

use std::io::{BufRead, IsTerminal};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::{Global, named};
use crate::ops::dispose::{Decided, Decision, dispose};
use crate::ops::output::{Output, Pending};
use crate::ops::{Error, Result, Store, lots, pins};
use crate::report::lot::Summary;
use crate::tui::secret;

/// Commands on lots and signing.
#[derive(Subcommand)]
pub enum Release {
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
    /// The lot acceptance summary: every reason why the lot may not go, else what it stands on
    ///
    /// Exit code 1: the lot is blocked, or its release is void. With --final, quality signs (nobody who poured in the
    /// lot); later changes to any record behind it make the summary void.
    Summary {
        /// The lot
        lot: String,
        /// Write the summary as one HTML page, for reading and for printing on A4
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
        /// A file with the signatory's PIN in its first line, `-` for standard input; without it a
        /// terminal is asked
        #[arg(long, value_name = "FILE", requires = "sign")]
        pin_file: Option<PathBuf>,
    },
}

/// Commands on a PIN.
#[derive(Subcommand)]
pub enum PinWhat {
    /// Set or change your own PIN (--as PERSON): asked on the terminal, else read from standard input
    ///
    /// Without a terminal: the new PIN in one line; to change one, the old PIN first.
    Set {
        /// A file in place of standard input
        #[arg(long, value_name = "FILE")]
        pin_file: Option<PathBuf>,
    },
    /// Take a forgotten PIN away (quality, with its own PIN)
    Clear {
        /// Whose
        #[arg(value_name = "PERSON")]
        whose: String,
        /// A file with your own PIN in place of standard input
        #[arg(long, value_name = "FILE")]
        pin_file: Option<PathBuf>,
    },
}

/// Runs a command.
///
/// # Errors
/// What the operation says.
pub fn run(what: &Release, global: &Global) -> Result<ExitCode> {
    let mut store = global.open()?;
    match what {
        Release::Lot {
            what: LotWhat::Summary { lot, html, xlsx, replace, sign, require_final, pin_file },
        } => {
            let who = global.who(Some(&store))?;
            let place = store.path().to_path_buf();
            let output = |file| Output { file, replace: *replace, store: Some(&place) };
            html.iter().chain(xlsx).try_for_each(|file| output(file).admit())?;
            // Written and on the disk before anything is signed; they get their names after it.
            let mut pending: Vec<Pending> = Vec::new();
            let mut pages = |made: &Summary| -> Result<()> {
                pending.clear();
                if let Some(file) = html {
                    pending.push(Pending::write(output(file), made.html().as_bytes())?);
                }
                if let Some(file) = xlsx {
                    let bytes =
                        crate::report::sheet::xlsx(&made.spreadsheet(), who.now).map_err(Error::input)?;
                    pending.push(Pending::write(output(file), &bytes)?);
                }
                Ok(())
            };
            let made = if *sign {
                let pin = signing_pin(&store, global, pin_file.as_deref())?;
                lots::finalise(&mut store, &who, lot, pin.as_deref(), &mut pages)?
            } else {
                let made = lots::summary(&store, &who, lot)?;
                pages(&made)?;
                made
            };
            let settled: Vec<Result<()>> = pending.into_iter().map(Pending::finish).collect();
            settled.into_iter().collect::<Result<()>>()?;
            global.say(&made, Summary::text);
            let no =
                !made.blocked.is_empty() || made.state == "void" || *require_final && made.state != "final";
            Ok(if no { ExitCode::from(1) } else { ExitCode::SUCCESS })
        }
        Release::Disposition { decision, tags, concession, reason } => {
            let who = global.who(Some(&store))?;
            let what = Decision {
                decision: decision.clone(),
                concession: concession.clone(),
                reason: reason.clone(),
            };
            global.say(&dispose(&mut store, &who, tags, &what)?, Decided::text);
            Ok(ExitCode::SUCCESS)
        }
        Release::Pin { what } => pin(what, global, &mut store),
    }
}

fn pin(what: &PinWhat, global: &Global, store: &mut Store) -> Result<ExitCode> {
    let who = global.who(Some(store))?;
    let me = who.person.clone().unwrap_or_default();
    let said = match what {
        PinWhat::Set { pin_file } => {
            let there = !me.is_empty() && store.has_pin(&me)?;
            let asked: &[&str] = if there { &["old PIN: ", "new PIN: "] } else { &["new PIN: "] };
            let mut lines = read(pin_file.as_deref(), asked, true)?;
            let new = lines.pop().unwrap_or_default();
            let person = pins::set(store, &who, lines.pop().as_deref(), &new)?;
            format!("the PIN of {person} is set")
        }
        PinWhat::Clear { whose, pin_file } => {
            let own = read(pin_file.as_deref(), &["your own PIN: "], false)?.pop();
            pins::clear(store, &who, whose, own.as_deref())?;
            format!("the PIN of {whose} is taken away")
        }
    };
    global.say(&serde_json::json!({ "done": said }), |_| said.clone());
    Ok(ExitCode::SUCCESS)
}

/// The PIN of the one who signs: from a file, else asked where there is one to ask for.
fn signing_pin(store: &Store, global: &Global, file: Option<&Path>) -> Result<Option<String>> {
    if file.is_some() {
        return Ok(read(file, &["PIN: "], false)?.pop());
    }
    let Some(person) = &global.person else { return Ok(None) };
    let known = store.role_of(person)?.is_some();
    if known && std::io::stdin().is_terminal() && store.has_pin(person)? {
        return Ok(read(None, &["PIN: "], false)?.pop());
    }
    Ok(None)
}

/// Reads as many PINs as there are prompts: from a file, standard input, or a terminal without
/// showing them. `twice`: the last one is asked again.
pub(super) fn read(file: Option<&Path>, prompts: &[&str], twice: bool) -> Result<Vec<String>> {
    let at_fault = |e: std::io::Error| Error::input(format!("no PIN could be read: {e}"));
    let first_lines = |r: &mut dyn BufRead| -> Result<Vec<String>> {
        let lines = r.lines().take(prompts.len()).collect::<std::io::Result<Vec<_>>>().map_err(at_fault)?;
        Ok(lines.into_iter().map(|l| l.trim_end_matches('\r').to_string()).collect())
    };
    match file {
        Some(path) if path != Path::new("-") => {
            let text = std::fs::read(path).map_err(|e| Error::input(format!("{}: {e}", named(path))))?;
            first_lines(&mut text.as_slice())
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
        _ => first_lines(&mut std::io::stdin().lock()),
    }
}
