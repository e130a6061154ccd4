//! Control charts, run rules, run lengths, constants, capability, tolerance factors.

use crate::calc::answer::Answer;
use crate::calc::chart::ChartOfColumns;
use crate::calc::input::{confidence, count, places};
use crate::calc::table::Table;
use knowledge::stats::capability::{Process, Tolerance};
use knowledge::stats::charts::constants::Constants;
use knowledge::stats::run_length::Scheme;
use knowledge::stats::{capability, normality, run_length, summary, tolerance};

/// Commands on processes over time.
#[derive(clap::Subcommand)]
pub enum Charts {
    /// Control chart: points, limits, signals
    #[command(
        after_help = "A control chart of any column you have.\n\n  meltkin calc chart --type p counts.csv"
    )]
    Chart(Box<ChartOfColumns>),
    /// Run rules on standardised points (column z)
    #[command(after_help = "Patterns in points that lie inside the limits.\n\n  meltkin calc rules z.csv")]
    Rules {
        /// CSV with a header row; `-` reads standard input
        file: String,
        /// The column that stands for z
        #[arg(long, visible_alias = "value", value_name = "NAME", default_value = "z")]
        z: String,
        /// The four rules of 1956 instead of Nelson's eight
        #[arg(long)]
        rules_1956: bool,
    },
    /// Average run length of a chart, up to its first signal
    #[command(
        after_help = "How long until a chart notices a shift; how often it cries for nothing.\n\n  meltkin calc arl --type ewma --lambda 0.2 --width 2.86 --shift 1"
    )]
    Arl(ArlArgs),
    /// Control chart constants for groups of N values
    #[command(after_help = "d2, c4, A2 and the rest.\n\n  meltkin calc constants 5")]
    Constants {
        /// Values in a group
        #[arg(value_parser = count)]
        n: u64,
    },
    /// Process capability, from a mean and sd or a file (value[, group])
    #[command(
        after_help = "Cp and Cpk with their intervals.\n\n  meltkin calc capability --mean 0.62 --sd 0.02 --n 60 --lower 0.55 --upper 0.70"
    )]
    Capability(CapabilityArgs),
    /// Factors of normal tolerance intervals
    #[command(
        after_help = "Limits that hold a share of all parts, with a confidence.\n\n  meltkin calc tolerance --n 30 --coverage 0.95 --confidence 0.95"
    )]
    Tolerance {
        /// Number of values
        #[arg(long, value_parser = count)]
        n: u64,
        /// The share of all values to cover
        #[arg(long)]
        coverage: f64,
        /// How sure to be of it
        #[arg(long)]
        confidence: f64,
    },
}

/// What `calc arl` takes.
#[derive(clap::Args)]
pub struct ArlArgs {
    /// Kind of chart
    #[arg(long = "type", value_enum)]
    kind: ArlKind,
    /// Width of the limits in sigmas (shewhart, ewma)
    #[arg(long, allow_negative_numbers = true)]
    width: Option<f64>,
    /// Weight of the newest point (ewma)
    #[arg(long, allow_negative_numbers = true)]
    lambda: Option<f64>,
    /// Reference value in sigmas (cusum)
    #[arg(long, allow_negative_numbers = true)]
    k: Option<f64>,
    /// Decision limit in sigmas (cusum)
    #[arg(long, allow_negative_numbers = true)]
    h: Option<f64>,
    /// Watch falls as well as rises (cusum)
    #[arg(long)]
    two_sided: bool,
    /// What the sums start from, in sigmas; h/2 where no number follows (cusum)
    #[arg(long, value_name = "SIGMAS", allow_negative_numbers = true)]
    headstart: Option<Option<f64>>,
    /// Shift of the mean in sigmas
    #[arg(long, default_value_t = 0.0, allow_negative_numbers = true)]
    shift: f64,
}

/// Charts with a run length.
#[derive(Clone, Copy, clap::ValueEnum)]
enum ArlKind {
    Shewhart,
    Ewma,
    Cusum,
}

/// What `calc capability` takes.
#[derive(clap::Args)]
pub struct CapabilityArgs {
    /// CSV with a header row; `-` reads standard input
    #[arg(conflicts_with_all = ["mean", "sd", "n"])]
    file: Option<String>,
    /// Mean of the values
    #[arg(long, allow_negative_numbers = true)]
    mean: Option<f64>,
    /// Standard deviation
    #[arg(long, allow_negative_numbers = true)]
    sd: Option<f64>,
    /// Number of values
    #[arg(long, value_parser = count)]
    n: Option<u64>,
    /// Lower limit of the drawing
    #[arg(long, allow_negative_numbers = true)]
    lower: Option<f64>,
    /// Upper limit of the drawing
    #[arg(long, allow_negative_numbers = true)]
    upper: Option<f64>,
    /// The column that stands for value
    #[arg(long, value_name = "NAME", default_value = "value")]
    value: String,
    /// The column that stands for group; `group` is taken where the file has it
    #[arg(long, value_name = "NAME")]
    group: Option<String>,
    /// Confidence of the intervals
    #[arg(long, default_value_t = 0.95, value_parser = confidence)]
    conf: f64,
}

pub fn run(what: &Charts) -> Result<Answer, String> {
    match what {
        Charts::Chart(args) => crate::calc::chart::run(args),
        Charts::Rules { file, z, rules_1956 } => {
            crate::calc::chart::run_rules(&Table::read(file)?.numbers(z)?, *rules_1956)
        }
        Charts::Arl(args) => arl(args),
        Charts::Constants { n } => constants(*n),
        Charts::Capability(args) => capability_of(args),
        Charts::Tolerance { n, coverage, confidence } => {
            let answer = Answer::new(
                "one-sided: quantile of the non-central t over root n (exact); two-sided: Howe's approximation",
                "NIST/SEMATECH e-Handbook 7.2.6.3; Howe 1969",
            )
            .figure("k_one_sided", tolerance::one_sided(*n, *coverage, *confidence)?)
            .figure("k_two_sided", tolerance::two_sided(*n, *coverage, *confidence)?);
            let few = *n < 6;
            let tried = (0.9..=0.99).contains(coverage) && (0.5..=0.99).contains(confidence);
            let answer = answer.note_where(
                few && tried,
                "below 6 values Howe's two-sided factor is too high, by up to 7 % at 2: it covers more than asked; from \
                 6 on, at coverages of 0.9 to 0.99 and confidences of 0.5 to 0.99, it is within 1 % of the exact one",
            );
            Ok(answer.note_where(
                !tried,
                "Howe's two-sided factor was held against the exact one at coverages of 0.9 to 0.99 and confidences of 0.5 \
                 to 0.99 only; outside them it may be off by more than 1 %, most where values are few",
            ))
        }
    }
}

fn arl(args: &ArlArgs) -> Result<Answer, String> {
    let need = |value: Option<f64>, name: &str| {
        value.ok_or_else(|| format!("--{name} is needed for this type of chart"))
    };
    let given = [
        ("width", args.width.is_some()),
        ("lambda", args.lambda.is_some()),
        ("k", args.k.is_some()),
        ("h", args.h.is_some()),
        ("two-sided", args.two_sided),
        ("headstart", args.headstart.is_some()),
    ];
    let takes: &[&str] = match args.kind {
        ArlKind::Shewhart => &["width"],
        ArlKind::Ewma => &["lambda", "width"],
        ArlKind::Cusum => &["k", "h", "two-sided", "headstart"],
    };
    if let Some((name, _)) = given.iter().find(|(name, given)| *given && !takes.contains(name)) {
        return Err(format!(
            "--{name} says nothing about this type of chart, which takes --{}",
            takes.join(", --")
        ));
    }
    match args.kind {
        ArlKind::Shewhart => {
            let arl = run_length::shewhart(need(args.width, "width")?, args.shift)?;
            Ok(Answer::new("1 over the chance that a point lies outside", "Shewhart 1931").figure("arl", arl))
        }
        ArlKind::Ewma => {
            let arl = run_length::ewma(need(args.lambda, "lambda")?, need(args.width, "width")?, args.shift)?;
            let formula = "integral equation of the run length, two-sided, steady limits, from the target";
            Ok(Answer::new(formula, "Crowder 1987").figure("arl", arl))
        }
        ArlKind::Cusum => {
            let h = need(args.h, "h")?;
            let headstart = args.headstart.map_or(0.0, |head| head.unwrap_or(0.5 * h));
            let scheme = Scheme { k: need(args.k, "k")?, h, headstart, two_sided: args.two_sided };
            let formula = "integral equation of the run length with its own state for a sum of 0";
            let answer =
                Answer::new(formula, "Goel and Wu 1971; two sides and headstart: Lucas and Crosier 1982");
            Ok(answer.figure("arl", run_length::cusum(scheme, args.shift)?))
        }
    }
}

fn constants(n: u64) -> Result<Answer, String> {
    let k = Constants::of(n)?;
    Ok(Answer::new(
        "d2, d3: moments of the range of n normal values; c4: mean of their standard deviation; the others from these",
        "Tippett 1925; computed, good to 1e-9",
    )
    .figure("d2", k.d2)
    .figure("d3", k.d3)
    .figure("c4", k.c4)
    .figure("A2", k.a2(n))
    .figure("A3", k.a3(n))
    .figure("B3", k.b3())
    .figure("B4", k.b4())
    .figure("D3", k.lower_range())
    .figure("D4", k.upper_range()))
}

fn capability_of(args: &CapabilityArgs) -> Result<Answer, String> {
    let limits = Tolerance { lower: args.lower, upper: args.upper };
    let answer = |c: &capability::Capability| {
        let answer = Answer::new(
            "cp = (U-L)/6s, chi-square interval; cpk = least distance to a limit over 3s, interval after Bissell",
            "NIST/SEMATECH e-Handbook 6.1.6; Bissell 1990",
        )
        .maybe("cp", c.cp)
        .figure("cpk", c.cpk);
        let answer =
            answer.maybe_interval("cp_interval", c.cp_interval).interval("cpk_interval", c.cpk_interval);
        answer.note_where(c.cp.is_none(), "no cp: it takes both limits")
    };
    let Some(path) = &args.file else {
        let missing = "give --mean, --sd and --n, or a file with a value column";
        let (Some(mean), Some(sd), Some(n)) = (args.mean, args.sd, args.n) else {
            return Err(missing.into());
        };
        let process = Process { mean, sd, n, df: n.saturating_sub(1) };
        let answer = answer(&capability::capability(process, limits, args.conf)?);
        return Ok(few(answer, n)
            .note("a mean and an sd do not show whether the values are normal, which cp and cpk rest on"));
    };
    let table = Table::read(path)?;
    let values = table.numbers(&args.value)?;
    let all = summary::summarise(&values);
    let (Some(mean), Some(sd)) = (all.mean, all.sd) else {
        return Err(format!("{path}: {} value(s) have no spread to measure; more are needed", all.n));
    };
    let n = values.len() as u64;
    let overall = Process { mean, sd, n, df: n - 1 };
    let group =
        args.group.as_deref().or_else(|| table.header().iter().any(|h| h == "group").then_some("group"));
    let mut rest = values.clone();
    let within = match group {
        Some(name) => {
            let labels = table.texts(name)?;
            let (names, places) = places(&labels);
            let mut groups = vec![Vec::new(); names.len()];
            for (place, value) in places.into_iter().zip(&values) {
                groups[place].push(*value);
            }
            rest = capability::about_groups(&groups);
            let (sd, df) = capability::within(&groups).map_err(|e| format!("{path}: {e}"))?;
            Process { mean, sd, n, df }
        }
        None => overall,
    };
    let told =
        |process| capability::capability(process, limits, args.conf).map_err(|e| format!("{path}: {e}"));
    let whole = told(overall)?;
    let answer = answer(&told(within)?)
        .maybe("pp", whole.cp)
        .figure("ppk", whole.cpk)
        .figure("mean", mean)
        .figure("sd_within", within.sd)
        .figure("sd", sd);
    let answer = shape(few(answer, n), &rest);
    Ok(match group {
        Some(_) => {
            answer.note("cp and cpk take the pooled spread within groups, pp and ppk that of all values")
        }
        None => answer.note("without groups there is one spread, so cp is pp and cpk is ppk"),
    })
}

/// Values below which capability is called rough. Common practice, no source.
const FEW: u64 = 30;

fn few(answer: Answer, n: u64) -> Answer {
    answer.note_where(
        n < FEW,
        format!("few values: from {n} the interval says more than the figure; 30 or more are usual (common practice, no source)"),
    )
}

/// Whether the values look normal: cp and cpk of skewed ones promise what the tails do not keep.
fn shape(answer: Answer, values: &[f64]) -> Answer {
    let found = normality::anderson_darling(values);
    let answer = answer.maybe("normal_p", found.map(|t| t.1));
    match found {
        Some((_, p)) if p < 0.05 => answer.note(format!(
            "the values do not look normal (Anderson-Darling p {}): cp, cpk and the shares outside that are read \
             from them are not to be trusted",
            if p < 0.001 { "< 0.001".to_string() } else { format!("{p:.3}") }
        )),
        Some(_) => answer,
        None => answer.note("too few values to see whether they are normal, which cp and cpk rest on"),
    }
}
