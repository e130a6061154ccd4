//! Charts over time, and tables by position and zone.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::causes::command::Question;
use crate::jobs::charts::ask;
use crate::jobs::charts::ask::{By, ChartAsk, ChartKind, Of};
use crate::jobs::charts::kinds::KINDS;
use crate::jobs::charts::show::Chart;
use crate::jobs::charts::show_places::Rates;
use crate::jobs::file::output;
use crate::jobs::file::output::Output;
use crate::show::picture;
use crate::show::picture::Picture;
use records::{Error, Result, Store};

/// Commands that chart.
#[derive(Subcommand)]
pub enum ChartCommands {
    /// A control chart, with what changed in those days
    ///
    /// Of a rate of blades (--defect), a reading (--field) or a measured characteristic. Below it stand changes,
    /// checks that were missed or failed, and entries filled in afterwards.
    #[command(after_help = example(
        "Since when? Points, limits, signals; below them what changed in those days.",
        "chart --defect misrun --zone TE --against pours.indicated_c",
    ))]
    Chart(Box<ChartArgs>),
    /// Rates by position on the tree
    #[command(after_help = example(
        "Is it always the same place on the tree?",
        "positions --defect misrun",
    ))]
    Positions(Box<PlaceArgs>),
    /// Rates by zone of the blade
    #[command(after_help = example(
        "Where on the blade is it?",
        "zones --defect inclusion",
    ))]
    Zones(Box<PlaceArgs>),
}

/// A question alone.
#[derive(clap::Args)]
pub struct PlaceArgs {
    #[command(flatten)]
    question: Question,
    /// Write it as a picture, too
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Replace the file, if it is there
    #[arg(long, requires = "svg")]
    replace: bool,
}

/// What `chart` takes.
#[derive(clap::Args)]
pub struct ChartArgs {
    #[command(flatten)]
    question: Question,
    /// A reading, such as `pours.indicated_c` or `heat.N`
    #[arg(long, value_name = "KIND.FIELD", conflicts_with_all = ["defect", "characteristic"])]
    field: Option<String>,
    /// A measured characteristic
    #[arg(long, value_name = "NAME", conflicts_with = "defect")]
    characteristic: Option<String>,
    /// Kind of chart; without it chosen from the data
    #[arg(long = "type", value_parser = kinds())]
    kind: Option<&'static ChartKind>,
    /// What a point is; without it chosen from the data
    #[arg(long, value_parser = bys())]
    by: Option<By>,
    /// Also patterns inside the limits (run rules after Nelson, 1984)
    #[arg(long)]
    rules: bool,
    /// A reading to show beside the points, and to hold a rate against: slope, interval, the heat that carries it
    #[arg(long, value_name = "KIND.FIELD")]
    against: Option<String>,
    /// Write it as a picture, too
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
    /// Replace the file, if it is there
    #[arg(long, requires = "svg")]
    replace: bool,
    /// What the picture shows; without it heats or moulds as points with `--against`, else the points in time
    #[arg(long, value_enum, requires = "svg")]
    picture: Option<PictureWord>,
}

#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PictureWord {
    /// The points in time, with limits and changes
    Time,
    /// Heats or moulds as points against the reading
    Points,
    /// The rate in parts of the reading, with intervals
    Parts,
}

impl PictureWord {
    fn of(self, chart: &Chart) -> Result<Picture> {
        match (self, &chart.relation) {
            (Self::Time, _) => Ok(chart.picture()),
            (Self::Points, Some(relation)) => Ok(relation.scatter(None)),
            (Self::Parts, Some(relation)) => Ok(relation.bars(None)),
            (_, None) => Err(Error::input(
                "such a picture holds a rate against a reading of moulds or heats: give --defect and --against",
            )),
        }
    }
}

/// One of a list of words, each with what it means; gives what stands behind the word.
fn one_of<T: Clone + Send + Sync + 'static>(
    all: impl IntoIterator<Item = (&'static str, &'static str, T)>,
) -> impl TypedValueParser<Value = T> {
    let all: Vec<(&str, &str, T)> = all.into_iter().collect();
    let words = all.iter().map(|(word, about, _)| PossibleValue::new(*word).help(*about));
    PossibleValuesParser::new(words).try_map(move |given| {
        let found = all.iter().find(|(word, ..)| *word == given);
        found.map(|(.., of)| of.clone()).ok_or_else(|| format!("there is no {given}"))
    })
}

fn kinds() -> impl TypedValueParser<Value = &'static ChartKind> {
    one_of(KINDS.iter().map(|k| (k.word, k.about, *k)))
}

fn bys() -> impl TypedValueParser<Value = By> {
    one_of(By::ALL.map(|(by, word, about)| (word, about, by)))
}

/// Runs a command.
pub fn run(what: &ChartCommands, global: &Global) -> Result<ExitCode> {
    let store = global.open()?;
    let asked = output(what, global, &store);
    asked.iter().try_for_each(Output::admit)?;
    match what {
        ChartCommands::Chart(args) => {
            let of = match (&args.field, &args.characteristic) {
                (Some(field), _) => Of::Field(field.clone()),
                (None, Some(name)) => Of::Characteristic(name.clone()),
                (None, None) => Of::Defect,
            };
            let question = ChartAsk {
                of,
                ask: args.question.ask(global, &store)?,
                by: args.by,
                kind: args.kind,
                rules: args.rules,
                against: args.against.clone(),
            };
            let chart = ask::chart(&store, &question)?;
            if args.svg.is_some() {
                let points = if chart.relation.is_some() { PictureWord::Points } else { PictureWord::Time };
                let picture = args.picture.unwrap_or(points).of(&chart)?;
                write(asked, || picture)?;
            }
            global.say(&chart, Chart::text);
        }
        ChartCommands::Positions(args) => {
            let rates = ask::positions(&store, &args.question.ask(global, &store)?)?;
            write(asked, || rates.picture())?;
            global.say(&rates, Rates::text);
        }
        ChartCommands::Zones(args) => {
            let rates = ask::zones(&store, &args.question.ask(global, &store)?)?;
            write(asked, || rates.picture())?;
            global.say(&rates, Rates::text);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The file that is asked for, beside the answer.
fn output<'a>(what: &'a ChartCommands, global: &Global, store: &'a Store) -> Option<Output<'a>> {
    let (svg, replace) = match what {
        ChartCommands::Chart(args) => (&args.svg, args.replace),
        ChartCommands::Positions(args) | ChartCommands::Zones(args) => (&args.svg, args.replace),
    };
    svg.as_deref().map(|file| global.output(file, replace, store))
}

fn write(output: Option<Output>, of: impl FnOnce() -> Picture) -> Result<()> {
    output.map_or(Ok(()), |output| output::write(output, picture::svg::svg(&of()).as_bytes()))
}
