//! `calc chart` and `calc rules`.

use serde_json::{Map, Value};

use crate::calc::answer::{Answer, number};
use crate::calc::input::CsvFile;
use knowledge::stats::charts::attributes::Overdispersed;
use knowledge::stats::charts::rules::Rule;
use knowledge::stats::charts::{ChartLine, ControlChart, attributes, cumulative, rules, variables};

/// What `calc chart` takes.
#[derive(clap::Args)]
pub struct ChartOfColumns {
    /// Kind of chart
    #[arg(long = "type", value_enum)]
    kind: ChartType,
    /// The file and its columns
    #[command(flatten)]
    file: CsvFile,
    /// The column that stands for units (u, u-prime); `--n` does too
    #[arg(long, value_name = "NAME")]
    units: Option<String>,
    /// Target of the values (ewma, cusum)
    #[arg(long, allow_negative_numbers = true)]
    target: Option<f64>,
    /// Standard deviation of the values (ewma, cusum)
    #[arg(long, allow_negative_numbers = true)]
    sigma: Option<f64>,
    /// Weight of the newest value (ewma)
    #[arg(long, allow_negative_numbers = true)]
    lambda: Option<f64>,
    /// Width of the limits in sigmas (ewma)
    #[arg(long, allow_negative_numbers = true)]
    width: Option<f64>,
    /// The limits that the exact ones tend to (ewma)
    #[arg(long)]
    steady: bool,
    /// Reference value in units of sigma (cusum)
    #[arg(long, allow_negative_numbers = true)]
    k: Option<f64>,
    /// Decision limit in units of sigma (cusum)
    #[arg(long, allow_negative_numbers = true)]
    h: Option<f64>,
    /// Also Nelson's eight run rules
    #[arg(long)]
    rules: bool,
    /// Also the four run rules of 1956
    #[arg(long, conflicts_with = "rules")]
    rules_1956: bool,
}

/// Kinds of charts.
#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum ChartType {
    /// Shares nonconforming (columns n, x)
    P,
    /// Numbers nonconforming (n, x)
    Np,
    /// Defects on equal areas (x)
    C,
    /// Defects per unit (units, x)
    U,
    /// Shares that vary more than by chance (n, x)
    PPrime,
    /// Defects per unit that vary more than by chance (units, x)
    UPrime,
    /// Individual values and moving ranges (x)
    IMr,
    /// Means and ranges of groups (group, value)
    XbarR,
    /// Means and standard deviations of groups (group, value)
    XbarS,
    /// Exponentially weighted moving average (x)
    Ewma,
    /// Cumulative sums (x)
    Cusum,
}

/// Runs `calc chart`.
pub fn run(args: &ChartOfColumns) -> Result<Answer, String> {
    options_fit(args)?;
    let file = &args.file;
    let table = file.read()?;
    let named = |e: String| format!("{}: {e}", file.file);
    match args.kind {
        ChartType::P | ChartType::Np | ChartType::PPrime => {
            let (x, n) = file.shares(&table)?;
            match args.kind {
                ChartType::P => {
                    let answer = Answer::new("p +- 3 root(p(1-p)/n), p the pooled share", "Shewhart 1931");
                    plain(args, answer, attributes::p(&x, &n).map_err(named)?)
                }
                ChartType::Np => {
                    let answer = Answer::new("np +- 3 root(np(1-p)), p the pooled share", "Shewhart 1931");
                    plain(args, answer, attributes::np(&x, &n).map_err(named)?)
                }
                _ => widened(args, attributes::p_prime(&x, &n).map_err(named)?),
            }
        }
        ChartType::C => {
            let chart = attributes::c(&table.counts(file.x())?).map_err(named)?;
            plain(args, Answer::new("c +- 3 root c, c the mean count", "Shewhart 1931"), chart)
        }
        ChartType::U | ChartType::UPrime => {
            let x = table.counts(file.x())?;
            let units = table.numbers(args.units.as_deref().or(file.n.as_deref()).unwrap_or("units"))?;
            if args.kind == ChartType::UPrime {
                return widened(args, attributes::u_prime(&x, &units).map_err(named)?);
            }
            let answer = Answer::new("u +- 3 root(u/units), u the pooled rate", "Shewhart 1931");
            plain(args, answer, attributes::u(&x, &units).map_err(named)?)
        }
        ChartType::IMr => {
            let chart = variables::individuals(&table.numbers(file.x())?).map_err(named)?;
            let answer = Answer::new(
                "mean +- 3 MR/1.128 and 3.267 MR, MR the mean moving range",
                "NIST/SEMATECH e-Handbook 6.3.2.2; constants as printed",
            )
            .put("individual", json(args, &chart.individual, true)?)
            .put("moving_range", json(args, &chart.moving_range, false)?)
            .figure("sigma", chart.sigma)
            .note("moving range k lies between values k and k+1");
            Ok(narrow(answer, &chart.individual))
        }
        ChartType::XbarR | ChartType::XbarS => {
            let (names, groups) = file.groups(&table)?;
            let (made, formula) = if args.kind == ChartType::XbarR {
                (
                    variables::xbar_r(&groups),
                    "mean of all +- 3 sigma/root n, sigma = R/d2; (d2 +- 3 d3) sigma",
                )
            } else {
                (
                    variables::xbar_s(&groups),
                    "mean of all +- 3 sigma/root n, sigma = s/c4; (c4 +- 3 root(1-c4^2)) sigma",
                )
            };
            let chart = made.map_err(named)?;
            let answer = Answer::new(
                formula,
                "Shewhart 1931; exact constants; unequal sizes weighted after Burr 1969",
            )
            .put("mean", json(args, &chart.mean, true)?)
            .put("spread", json(args, &chart.spread, false)?)
            .figure("sigma", chart.sigma)
            .put("groups", names.into());
            let single = groups.iter().any(|g| g.len() == 1);
            let answer = narrow(answer, &chart.mean);
            Ok(answer.note_where(single, "a group of one value has no spread and stands at 0 there"))
        }
        ChartType::Ewma => {
            let x = table.numbers(file.x())?;
            let (target, sigma) = (need(args.target, "target")?, need(args.sigma, "sigma")?);
            let (lambda, width) = (need(args.lambda, "lambda")?, need(args.width, "width")?);
            let chart = cumulative::ewma(&x, target, sigma, lambda, width, args.steady).map_err(named)?;
            let formula = "z = lambda x + (1-lambda) z; target +- width sigma root(lambda/(2-lambda) (1-(1-lambda)^2i))";
            plain(args, Answer::new(formula, "Roberts 1959"), chart)
        }
        ChartType::Cusum => {
            let x = table.numbers(file.x())?;
            let (target, sigma) = (need(args.target, "target")?, need(args.sigma, "sigma")?);
            let chart = cumulative::cusum(&x, target, sigma, need(args.k, "k")?, need(args.h, "h")?)
                .map_err(named)?;
            let mut found: Vec<(usize, &'static str)> =
                chart.above().into_iter().map(|i| (i, "above")).collect();
            found.extend(chart.below().into_iter().map(|i| (i, "below")));
            found.sort_unstable();
            let formula = "C = max(0, C + distance from the target - k sigma) upwards and downwards; signal above h sigma";
            Ok(Answer::new(formula, "Page 1954")
                .list("upper_sums", &chart.upper_sums)
                .list("lower_sums", &chart.lower_sums)
                .figure("limit", chart.limit)
                .put("signals", signals_json(&found)))
        }
    }
}

/// Runs `calc rules` on standardised points.
pub fn run_rules(z: &[f64], of_1956: bool) -> Result<Answer, String> {
    let (rules, source): (&[Rule], _) = if of_1956 {
        (&rules::OF_1956, "Western Electric, Statistical Quality Control Handbook, 1956")
    } else {
        (&rules::NELSON, "Nelson 1984, J. Quality Technology 16:237")
    };
    let found: Vec<(usize, &'static str)> =
        rules::signals(z, rules).iter().map(|s| (s.index, s.rule.name())).collect();
    let formula =
        "run rules, strict; a signal at every point that completes the pattern and lies in its zone";
    Ok(Answer::new(formula, source).put("signals", signals_json(&found)))
}

/// Refuses an option that another kind of chart takes.
fn options_fit(args: &ChartOfColumns) -> Result<(), String> {
    let (ewma, cusum) = (args.kind == ChartType::Ewma, args.kind == ChartType::Cusum);
    let given = [
        ("target", args.target.is_some(), ewma || cusum),
        ("sigma", args.sigma.is_some(), ewma || cusum),
        ("lambda", args.lambda.is_some(), ewma),
        ("width", args.width.is_some(), ewma),
        ("steady", args.steady, ewma),
        ("k", args.k.is_some(), cusum),
        ("h", args.h.is_some(), cusum),
        ("units", args.units.is_some(), matches!(args.kind, ChartType::U | ChartType::UPrime)),
    ];
    if let Some((name, ..)) = given.iter().find(|(_, given, fits)| *given && !fits) {
        return Err(format!("--{name} says nothing about this type of chart; leave it out"));
    }
    if (args.rules || args.rules_1956) && (ewma || cusum) {
        return Err("run rules take independent points; those of this chart carry their past along".into());
    }
    Ok(())
}

fn need(value: Option<f64>, name: &str) -> Result<f64, String> {
    value.ok_or_else(|| format!("--{name} is needed for this type of chart"))
}

/// A chart whose keys stand at the top.
fn plain(args: &ChartOfColumns, answer: Answer, chart: ControlChart) -> Result<Answer, String> {
    let Value::Object(map) = json(args, &chart, true)? else { return Ok(answer) };
    let answer = map.into_iter().fold(answer, |answer, (key, value)| answer.put(&key, value));
    Ok(narrow(answer, &chart))
}

fn widened(args: &ChartOfColumns, laney: Overdispersed) -> Result<Answer, String> {
    let formula = "centre +- 3 s sigma_z, sigma_z the mean moving range of the z scores over 1.128";
    let answer = Answer::new(formula, "Laney 2002, Quality Engineering 14:531");
    Ok(plain(args, answer, laney.chart)?.figure("sigma_z", laney.sigma_z))
}

/// Says so where the limits have no width.
fn narrow(answer: Answer, chart: &ControlChart) -> Answer {
    if chart.upper.at(0) > chart.centre.at(0) {
        answer
    } else {
        answer.note("the limits have no width: there is no variation to set them by")
    }
}

/// The chart as JSON, with the run rules asked for where they apply.
fn json(args: &ChartOfColumns, chart: &ControlChart, ruled: bool) -> Result<Value, String> {
    let mut found: Vec<(usize, &'static str)> =
        chart.beyond().into_iter().map(|i| (i, "beyond_limits")).collect();
    let rules: &[Rule] = match (args.rules, args.rules_1956) {
        (true, _) => &rules::NELSON,
        (_, true) => &rules::OF_1956,
        _ => &[],
    };
    if ruled && !rules.is_empty() {
        let z = chart.standardised().map_err(|e| format!("{}: no run rules: {e}", args.file.file))?;
        found.extend(rules::signals(&z, rules).iter().map(|s| (s.index, s.rule.name())));
        // stable: at one point the limits come first, then the rules in their order
        found.sort_by_key(|f| f.0);
    }
    let line = |line: &ChartLine| match line {
        ChartLine::Same(v) => number(*v),
        ChartLine::Each(values) => values.iter().map(|v| number(*v)).collect(),
    };
    let mut map = Map::new();
    map.insert("centre".into(), line(&chart.centre));
    map.insert("lower".into(), line(&chart.lower));
    map.insert("upper".into(), line(&chart.upper));
    map.insert("points".into(), chart.points.iter().map(|v| number(*v)).collect());
    map.insert("signals".into(), signals_json(&found));
    Ok(Value::Object(map))
}

fn signals_json(found: &[(usize, &'static str)]) -> Value {
    found.iter().map(|(index, rule)| serde_json::json!({"index": index, "rule": rule})).collect()
}
