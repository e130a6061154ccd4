//! What made these blades bad, from the store.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::cli::voice;
use crate::jobs::causes::answers::Kept;
use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::{answers, ask, hunt};
use crate::jobs::file::output::Pending;
use crate::jobs::trials;
use crate::jobs::trials::compare;
use crate::jobs::trials::compare::ArmsCompared;
use knowledge::causes::Settings;
use knowledge::causes::random::SEED;
use records::value::tag::shown;
use records::{Error, Result, Store};

/// Commands that rank causes.
#[derive(Subcommand)]
pub enum Why {
    /// What goes along with a defect, ranked; what cannot be told
    ///
    /// Every record upstream of the moulds is tried: lots, people, readings, and what they come to. Nothing is
    /// called found unless it holds against the number tried (q below 0.1). Association is not cause.
    #[command(after_help = example(
        "A defect is too frequent, and everybody blames something else. `meltkin help evidence` explains each figure.",
        "causes --defect misrun --zone TE",
    ))]
    Causes(Box<CausesArgs>),
    /// Answers that were kept, or one of them by its number
    ///
    /// `causes --keep NOTE` keeps one, with its question and its note.
    #[command(after_help = example(
        "What was asked before, and what was known then; keep one with `causes --keep NOTE`.",
        "answers",
    ))]
    Answers {
        /// Its number
        answer: Option<i64>,
    },
    /// Two levels of one factor, or the arms of a trial, side by side
    ///
    /// A factor is what differs from mould to mould (filter_lot, pour.person); a level is one of its values.
    /// The mould, within its heat, is the piece of evidence.
    #[command(after_help = example(
        "Two filter lots, two dies, two operators: is one better? Names of factors are those that `causes` prints.",
        "compare --defect misrun filter_lot=FL31-02 filter_lot=FL31-03",
    ))]
    Compare(Box<CompareArgs>),
}

/// What `compare` takes.
#[derive(clap::Args)]
pub struct CompareArgs {
    /// The arms of this trial, by its response
    #[arg(long, conflicts_with_all = ["one", "two", "defect", "zone", "method", "part", "since", "until", "within", "rejected"])]
    trial: Option<String>,
    #[command(flatten)]
    question: Question,
    /// The factor and its first level, as `causes` names them
    #[arg(value_name = "FACTOR=A", required_unless_present = "trial")]
    one: Option<String>,
    /// The same factor and its second level
    #[arg(value_name = "FACTOR=B", required_unless_present = "trial")]
    two: Option<String>,
    /// The seed of the draws; without it that of the trial, else a fixed one
    #[arg(long)]
    seed: Option<u64>,
}

/// The question.
#[derive(clap::Args, Clone)]
pub struct Question {
    /// Defect, by its term; without it every rejection counts
    #[arg(long)]
    defect: Option<String>,
    /// Zone of the finding
    #[arg(long)]
    zone: Option<String>,
    /// Inspection method; without it the one under which the defect is found most
    #[arg(long)]
    method: Option<String>,
    /// One part only
    #[arg(long)]
    part: Option<String>,
    /// Moulds poured from this date or time on
    #[arg(long, value_name = "DATE", allow_hyphen_values = true)]
    since: Option<String>,
    /// Moulds poured until this date (the whole day) or time
    #[arg(long, value_name = "DATE", allow_hyphen_values = true)]
    until: Option<String>,
    /// Only moulds that this record went into
    #[arg(long, value_name = "TAG")]
    within: Option<String>,
    /// Rounds of inspection: 1, the first alone, or all
    #[arg(long, value_parser = ["1", "all"], default_value = "1")]
    round: String,
    /// Only findings of a rejecting inspection
    #[arg(long)]
    rejected: bool,
}

impl Question {
    /// As the operations take it.
    pub fn ask(&self, global: &Global, store: &Store) -> Result<Ask> {
        Ok(Ask {
            defect: self.defect.clone(),
            zone: self.zone.clone(),
            method: self.method.clone(),
            part: self.part.clone(),
            since: global.bound(store, "since", self.since.as_ref())?,
            until: global.bound(store, "until", self.until.as_ref())?,
            within: self.within.clone(),
            all_rounds: self.round == "all",
            rejected: self.rejected,
            picked: Vec::new(),
            pair: None,
        })
    }
}

/// What `causes` takes.
#[derive(clap::Args)]
pub struct CausesArgs {
    #[command(flatten)]
    question: Question,
    /// The blades in question by tag, instead of those with a defect
    #[arg(long, value_name = "BLADE,…", value_delimiter = ',', conflicts_with = "defect")]
    blades: Vec<String>,
    /// Two factors to be looked at together: what they do beyond what each does singly
    #[arg(long, value_name = "FACTOR,FACTOR", value_delimiter = ',')]
    pair: Vec<String>,
    /// The seed of the draws
    #[arg(long, default_value_t = SEED)]
    seed: u64,
    /// Keep the answer with this note; `answers` finds it again
    #[arg(long, value_name = "NOTE")]
    keep: Option<String>,
    /// Write the answer as one HTML page with its pictures, for reading and for printing on A4
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Replace the file, if it is there
    #[arg(long, requires = "html")]
    replace: bool,
    /// Threads to work on; the answer is the same on any number
    #[arg(long)]
    threads: Option<usize>,
}

/// Runs a command.
pub fn run(what: &Why, global: &Global) -> Result<ExitCode> {
    let mut store = global.open()?;
    match what {
        Why::Causes(args) => {
            let pair = match args.pair.as_slice() {
                [] => None,
                [a, b] => Some([a.clone(), b.clone()]),
                _ => return Err(Error::input("a pair is two factors with a comma between them")),
            };
            let ask = Ask { picked: args.blades.clone(), pair, ..args.question.ask(global, &store)? };
            let threads = args
                .threads
                .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, std::num::NonZero::get));
            let settings = Settings { seed: args.seed, threads, ..Settings::default() };
            let (answer, page) = match &args.html {
                Some(file) => {
                    let output = global.output(file, args.replace, &store);
                    output.admit()?;
                    let (answer, page) = hunt::page(&store, &ask, settings)?;
                    (answer, Some(Pending::write(output, page.html().as_bytes())?))
                }
                None => (ask::causes(&store, &ask, settings)?, None),
            };
            if let Some(note) = &args.keep {
                let who = global.who(Some(&store))?;
                voice::err(&format!("kept as answer {}", answers::keep(&mut store, &who, &answer, note)?));
            }
            page.map_or(Ok(()), Pending::finish)?;
            let page = answer.text();
            global.say(&answer.json(), |_| page);
        }
        Why::Answers { answer: Some(answer) } => global.say(&answers::one(&store, *answer)?, Kept::text),
        Why::Answers { answer: None } => {
            let all = answers::kept(&store)?;
            global.say(&all, |all| match all.is_empty() {
                true => "no answer is kept yet".into(),
                false => all.iter().map(Kept::line).collect::<Vec<_>>().join("\n"),
            });
        }
        Why::Compare(args) => {
            if let Some(trial) = &args.trial {
                return arms(store, global, trial, args.seed);
            }
            let (one, two) = (args.one.as_deref().unwrap_or(""), args.two.as_deref().unwrap_or(""));
            let seed = args.seed.unwrap_or(SEED);
            let found = ask::compare(&store, &args.question.ask(global, &store)?, one, two, seed)?;
            let mut answer = ArmsCompared::new(&found.comparison, &found.ask.words(), "rate", seed);
            answer.in_both = found.in_both;
            [answer.a.arm, answer.b.arm] = found.levels.map(|l| format!("{}={l}", found.factor));
            answer.cautions.push(
                "Association, not cause: the levels were not dealt at random, and what else changed with them is \
                 not looked at here. meltkin causes holds every factor against the same question."
                    .into(),
            );
            global.say(&answer, ArmsCompared::text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The arms of a trial; a result before its planned size is a look, and is journalled.
fn arms(mut store: Store, global: &Global, trial: &str, seed: Option<u64>) -> Result<ExitCode> {
    let mut answer = compare::of_trial(&store, trial, seed)?;
    let who = global.who(Some(&store))?;
    if let Some(sentence) = trials::ask::look(&mut store, &who, trial)? {
        voice::err(&shown(&sentence));
        answer.cautions.insert(0, sentence);
    }
    global.say(&answer, ArmsCompared::text);
    Ok(ExitCode::SUCCESS)
}
