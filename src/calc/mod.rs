//! `meltkin calc`: thin shells over the functions that the tool itself uses. One file per family; each holds
//! a table of its commands: what is said of one, an example, what it takes, what it does.

pub mod answer;
pub mod causes;
pub mod chart;
pub mod charts;
pub mod groups;
pub mod input;
pub mod melt;
pub mod rates;
pub mod regressions;
pub mod sampling;
pub mod table;

pub use crate::calc::answer::Answer;

use clap::error::ErrorKind;
use clap::{Arg, ArgMatches, Args, Command, FromArgMatches, Subcommand, value_parser};

use crate::calc::input::File;
use crate::cli::examples::example;

/// One `calc` command.
pub struct Entry {
    name: &'static str,
    about: &'static str,
    /// When one wants it.
    when: &'static str,
    /// What follows the name in a command line that works.
    line: &'static str,
    takes: Takes,
}

/// What a command takes and does.
enum Takes {
    /// Numbers, each by an option that must be given, for one value.
    Numbers(&'static [Number], Value),
    /// A file and its columns.
    File(fn(&File) -> Result<Answer, String>),
    /// Arguments of its own.
    Own(fn(Command) -> Command, fn(&ArgMatches) -> Result<Answer, String>),
}

/// An option for a number: its name, what stands for the number, what it is with its unit.
type Number = (&'static str, &'static str, &'static str);

/// One value of the numbers, in their order.
pub struct Value {
    formula: &'static str,
    source: &'static str,
    /// Blank: that of the numbers.
    unit: &'static str,
    of: fn(&[f64]) -> Result<f64, String>,
}

/// Arguments of a command that has some of its own.
pub trait Run: Args {
    /// Runs the command.
    ///
    /// # Errors
    /// A sentence that says what is wrong with the input, with file, row and column where there are any.
    fn run(&self) -> Result<Answer, String>;
}

/// What is said of a command: its name, what it does, when one wants it, the rest of a line that works.
type Said = [&'static str; 4];

const fn entry([name, about, when, line]: Said, takes: Takes) -> Entry {
    Entry { name, about, when, line, takes }
}

const fn numbers(said: Said, numbers: &'static [Number], value: Value) -> Entry {
    entry(said, Takes::Numbers(numbers, value))
}

const fn of_file(said: Said, run: fn(&File) -> Result<Answer, String>) -> Entry {
    entry(said, Takes::File(run))
}

const fn own<A: Run>(said: Said) -> Entry {
    entry(said, Takes::Own(A::augment_args, |given| read::<A>(given)?.run()))
}

fn read<A: FromArgMatches>(given: &ArgMatches) -> Result<A, String> {
    A::from_arg_matches(given).map_err(|e| e.to_string())
}

/// Every command, by family.
pub fn entries() -> impl Iterator<Item = &'static Entry> {
    let families = [
        melt::COMMANDS,
        rates::COMMANDS,
        groups::COMMANDS,
        regressions::COMMANDS,
        charts::COMMANDS,
        sampling::COMMANDS,
        causes::COMMANDS,
    ];
    families.into_iter().flatten()
}

impl Entry {
    fn command(&self) -> Command {
        let command = Command::new(self.name);
        let command = match &self.takes {
            Takes::Numbers(numbers, _) => command.args(numbers.iter().map(|(name, value, help)| {
                let number = Arg::new(*name).long(*name).value_name(*value).help(*help);
                number.required(true).value_parser(value_parser!(f64))
            })),
            Takes::File(_) => File::augment_args(command),
            Takes::Own(augment, _) => augment(command),
        };
        // Arguments bring what is said of them as a group along.
        let below = example(self.when, &format!("calc {} {}", self.name, self.line));
        command.about(self.about).long_about(None).after_help(below)
    }

    fn run(&self, given: &ArgMatches) -> Result<Answer, String> {
        match &self.takes {
            Takes::Numbers(numbers, value) => {
                let numbers = numbers.iter().filter_map(|(name, ..)| given.get_one::<f64>(name).copied());
                let answer = Answer::new(value.formula, value.source)
                    .figure("value", (value.of)(&numbers.collect::<Vec<f64>>())?);
                Ok(if value.unit.is_empty() { answer } else { answer.put("unit", value.unit.into()) })
            }
            Takes::File(run) => run(&read(given)?),
            Takes::Own(_, run) => run(given),
        }
    }
}

/// A `calc` command as it was given.
pub struct Calc {
    entry: &'static Entry,
    given: ArgMatches,
}

impl FromArgMatches for Calc {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let of = |(name, given): (&str, &ArgMatches)| {
            let entry = entries().find(|e| e.name == name)?;
            Some(Self { entry, given: given.clone() })
        };
        matches.subcommand().and_then(of).ok_or_else(|| clap::Error::new(ErrorKind::MissingSubcommand))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl Subcommand for Calc {
    fn augment_subcommands(command: Command) -> Command {
        command.subcommands(entries().map(Entry::command))
    }

    fn augment_subcommands_for_update(command: Command) -> Command {
        Self::augment_subcommands(command)
    }

    fn has_subcommand(name: &str) -> bool {
        entries().any(|e| e.name == name)
    }
}

/// Runs one `calc` command.
///
/// # Errors
/// A sentence that names what is wrong with the input, with row and column where there are any.
pub fn run(what: &Calc) -> Result<Answer, String> {
    what.entry.run(&what.given)
}
