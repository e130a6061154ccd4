//! Commands on single records.

use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::cli::voice;
use crate::jobs::records::ask::Logged;
use crate::jobs::records::proposals::{DecidedProposal, List};
use crate::jobs::records::show::{Listed, Shown};
use crate::jobs::records::suggested::SuggestedFields;
use crate::jobs::records::{ask, look, proposals, suggested, undo};
use records::catalogue;
use records::catalogue::{OwnFields, YesNo};
use records::value::tag::shown;
use records::write::draft::Draft;
use records::{Error, Result, Store, Who};

/// Commands that keep records.
#[derive(Subcommand)]
pub enum RecordCommand {
    /// Write one record
    ///
    /// What has happened can always be recorded: a value outside its plausible range asks for --reason, and is never
    /// refused. Tags of what it belongs to must be known; near ones are offered.
    ///
    /// A time may be written as people do: 9:05, "31.12. 14:00", "2031-03-04 09:05", "-10 min", now. The answer says what
    /// was understood.
    #[command(after_help = example(
        "From a script or without the screens; `meltkin help fields` lists kinds and fields. A value outside \
         its plausible range needs --reason; it is never refused.",
        "log filter_lots filter_lot=FL31-09 material=zirconia ppi=10 received_at=2031-05-26T07:30:00+00:00 \
         --as OP-07",
    ))]
    Log {
        /// Record kind, such as pours
        kind: String,
        /// The fields; blank, n/a, illegible and <5 are four different things
        #[arg(value_name = "FIELD=VALUE")]
        fields: Vec<String>,
        /// Why a value outside its plausible range is right all the same
        #[arg(long)]
        reason: Option<String>,
    },
    /// A record, what fences it, whether a reading is suspect
    ///
    /// With the name of a record kind (defect_terms) it lists the newest of that kind.
    #[command(after_help = example(
        "Before you rely on a record, or to see who changed it and why.",
        "show M31-041 --history",
    ))]
    Show {
        /// Tag or address; or a record kind
        tag: String,
        /// With every change, who made it, when and why
        #[arg(long)]
        history: bool,
    },
    /// Change a record; the old values stay visible
    #[command(after_help = example(
        "When something was typed in wrong and more than a minute has gone by. Nothing is overwritten.",
        "correct FL31-09 ppi=20 --reason \"read the wrong box\" --as OP-07",
    ))]
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
    /// Take back your last entry, within a minute
    ///
    /// Both the entry and its taking back stay in the journal. Of a hold, of a rejecting inspection and of its findings
    /// and values it is a lift: quality does it, with a reason; by anybody else it is kept as a proposal.
    #[command(after_help = example(
        "Right after a slip; it takes back what --as PERSON wrote last.",
        "undo --as OP-07",
    ))]
    Undo {
        /// Why, where it is a lift
        #[arg(long)]
        reason: Option<String>,
    },
    /// What somebody proposed and quality decides
    ///
    /// A change that would take something out from under a hold, or soften a rejection, is kept as a proposal where
    /// somebody else than quality makes it: nothing is changed yet.
    #[command(after_help = example(
        "To see what waits for quality: changes that would take something out from under a hold, or soften a \
         rejection.",
        "proposals",
    ))]
    Proposals,
    /// Accept or decline a proposal (quality)
    #[command(after_help = example(
        "Quality, after looking at the record and at what was proposed.",
        "decide 1204 --decline --reason \"the film was read twice\" --as OP-51",
    ))]
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
        what: FieldCommand,
    },
    /// Fence a record and everything that comes out of it
    ///
    /// A hold blocks the next step (pour, release); what happens all the same can still be recorded. On an
    /// instrument it fences the blades of its suspect readings.
    #[command(after_help = example(
        "Something is in doubt. Everything below it is fenced at once, and asks for quality to be let go.",
        "hold FL31-09 --reason \"two of ten cracked\" --as OP-07",
    ))]
    Hold {
        /// Tag
        tag: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
    /// Lift a hold (quality)
    #[command(after_help = example(
        "When the doubt is settled. Only a person whose role is quality may.",
        "lift FL31-09 --reason \"all looked at again\" --as OP-51",
    ))]
    Lift {
        /// The hold, or what it lies on where only one is open
        tag: String,
        /// Why
        #[arg(long)]
        reason: String,
    },
}

/// Commands on own fields.
#[derive(Subcommand)]
pub enum FieldCommand {
    /// Add a field to a record kind
    #[command(after_help = example(
        "When your card has a box that no kind has. With --cause it is tried among the causes of defects.",
        "field add moulds.hook_colour --type text --as OP-51",
    ))]
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
    /// Fields worth adding: what known causes act through, and no kind has
    #[command(after_help = example(
        "When a defect has a cause that nobody writes down. The list says what to measure, how, and the line that adds it.",
        "field suggested",
    ))]
    Suggested,
}

/// Runs a command.
pub fn run(what: &RecordCommand, global: &Global) -> Result<ExitCode> {
    match what {
        RecordCommand::Show { tag, history } => show(global, tag, *history)?,
        RecordCommand::Proposals => global.say(&proposals::list(&global.open()?)?, List::text),
        RecordCommand::Decide { entry, accept, reason, .. } => {
            let decide =
                |store: &mut Store, who: &Who| proposals::decide(store, who, *entry, *accept, reason);
            global.say(&write(global, decide)?, DecidedProposal::text);
        }
        RecordCommand::Undo { reason } => {
            let undone = write(global, |store, who| store.undo(who, reason.as_deref()))?;
            global.say(&undo::json(&undone), |_| undo::text(&undone));
        }
        RecordCommand::Log { kind, fields, reason } => {
            logged(global, |store, who| ask::log(store, who, kind, fields, reason.as_deref()))?;
        }
        RecordCommand::Correct { tag, fields, reason } => {
            let changes = ask::pairs(fields)?;
            logged(global, |store, who| ask::correct(store, who, tag, &changes, reason))?;
        }
        RecordCommand::Hold { tag, reason } => {
            logged(global, |store, who| ask::hold(store, who, tag, reason))?
        }
        RecordCommand::Lift { tag, reason } => {
            logged(global, |store, who| Ok(Logged::new(&store.lift(who, tag, reason)?)))?;
        }
        RecordCommand::Field { what: FieldCommand::Suggested } => {
            global.say(&suggested::list()?, SuggestedFields::text);
        }
        RecordCommand::Field { what: FieldCommand::Add { name, ty, min, max, cause } } => {
            let draft = own_field(name, ty, [*min, *max], *cause)?;
            logged(global, |store, who| ask::log_texts(store, who, OwnFields::KIND, draft.texts(), None))?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn write<T>(global: &Global, act: impl Fn(&mut Store, &Who) -> Result<T>) -> Result<T> {
    global.acting(&mut global.open_unchecked()?, act)
}

fn logged(global: &Global, act: impl Fn(&mut Store, &Who) -> Result<Logged>) -> Result<()> {
    let logged = write(global, act)?;
    global.say(&logged, Logged::text);
    // A script that keeps the answer alone is to hear of it too.
    if let Some(late) = &logged.late {
        voice::err(&format!("! late: {late}"));
    }
    Ok(())
}

fn show(global: &Global, tag: &str, history: bool) -> Result<()> {
    let store = global.open()?;
    match catalogue::find(tag) {
        Ok(kind) if !history && store.look_up(tag)?.is_none() => {
            global.say(&look::list(&store, kind)?, Listed::text);
        }
        _ => global.say(&look::show(&store, tag, history)?, Shown::text),
    }
    Ok(())
}

fn own_field(name: &str, ty: &str, [min, max]: [Option<f64>; 2], cause: bool) -> Result<Draft<OwnFields>> {
    let Some((kind, field)) = name.split_once('.') else {
        return Err(Error::input(format!("{} is not KIND.FIELD, as moulds.tilt_deg is", shown(name))));
    };
    let cause = if cause { YesNo::Yes } else { YesNo::No };
    Ok(Draft::default()
        .with(OwnFields::record, kind)
        .with(OwnFields::field, field)
        .with(OwnFields::r#type, ty)
        .with(OwnFields::cause, cause.word())
        .with_some(OwnFields::min, min.map(|v| v.to_string()))
        .with_some(OwnFields::max, max.map(|v| v.to_string())))
}
