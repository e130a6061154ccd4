//! Summaries of values, groups of values against each other, gauge study.

use serde_json::{Map, Value};

use crate::calc::answer::{Answer, number};
use crate::calc::input::CsvFile;
use knowledge::stats::ranks::Test;
use knowledge::stats::{anova, gauge, ranks, spread, summary};

/// Commands on measured values.
#[derive(clap::Subcommand)]
pub enum Groups {
    /// Number, mean, standard deviation and lag-1 autocorrelation (column y)
    #[command(
        after_help = "A column at a glance; lag-1 near 0 says that neighbours are independent.\n\n  meltkin calc summary values.csv"
    )]
    Summary {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// One-way analysis of variance (columns group, value)
    #[command(after_help = "Do the means of several groups differ?\n\n  meltkin calc anova groups.csv")]
    Anova {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// Kruskal and Wallis's rank test (columns group, value)
    #[command(
        after_help = "The same by ranks, where values are skewed.\n\n  meltkin calc kruskal groups.csv"
    )]
    Kruskal {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// Bartlett's test of equal variances (columns group, value)
    #[command(after_help = "Do the spreads of normal groups differ?\n\n  meltkin calc bartlett groups.csv")]
    Bartlett {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// Levene's test of equal spreads, about the median (columns group, value)
    #[command(after_help = "Do spreads differ, whatever the shape?\n\n  meltkin calc levene groups.csv")]
    Levene {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// Gauge study, every person reads every part (columns part, person, value)
    #[command(
        after_help = "How much of the spread is the gauge, how much the people?\n\n  meltkin calc gauge gauge.csv"
    )]
    Gauge {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
}

pub fn run(what: &Groups) -> Result<Answer, String> {
    match what {
        Groups::Summary { file } => summarise(file),
        Groups::Anova { file } => one_way(file),
        Groups::Kruskal { file } => {
            let t = tell(file, ranks::kruskal_wallis)?;
            let answer =
                Answer::new("Kruskal-Wallis H with ties, chi-square on k - 1", "Kruskal and Wallis 1952");
            Ok(tested(answer, t, "no statistic: all values are the same"))
        }
        Groups::Bartlett { file } => {
            let t = tell(file, spread::bartlett)?;
            let answer = Answer::new("Bartlett's K^2, chi-square on k - 1", "Bartlett 1937");
            Ok(tested(answer, t, "no statistic: the values of a group are all the same"))
        }
        Groups::Levene { file } => levene(file),
        Groups::Gauge { file } => gauge_study(file),
    }
}

/// Reads the groups and hands them on; a fault names the file, and the group by its label.
fn tell<T>(file: &CsvFile, f: impl Fn(&[Vec<f64>]) -> Result<T, String>) -> Result<T, String> {
    let (names, groups) = file.groups(&file.read()?)?;
    f(&groups).map_err(|e| format!("{}: {e} (groups in order: {})", file.file, names.join(", ")))
}

fn tested(answer: Answer, t: Test, why: &str) -> Answer {
    let answer = answer.maybe("statistic", t.statistic).put("df", t.df.into()).maybe("p", t.p);
    answer.note_where(t.statistic.is_none(), why)
}

fn summarise(file: &CsvFile) -> Result<Answer, String> {
    let s = summary::summarise(&file.read()?.numbers(file.y())?);
    let answer = Answer::new(
        "mean; sd with n - 1; lag-1 autocorrelation, sum of products of neighbours about the mean over sum of squares",
        "common practice, no source",
    )
    .put("n", s.n.into())
    .maybe("mean", s.mean)
    .maybe("sd", s.sd)
    .maybe("lag1", s.lag1);
    Ok(match s {
        _ if s.n < 2 => answer.note("one value has no spread"),
        _ if s.mean.is_none() || s.sd.is_none() => answer.note("the values are too large to be squared"),
        _ if s.lag1.is_none() => answer.note("no autocorrelation: all values are the same"),
        _ => answer,
    })
}

fn one_way(file: &CsvFile) -> Result<Answer, String> {
    let a = tell(file, anova::one_way)?;
    let answer = Answer::new("F = (SSB/(k-1))/(SSW/(N-k))", "Fisher 1925")
        .maybe("f", a.f)
        .maybe("p", a.p)
        .put("df_between", a.df_between.into())
        .put("df_within", a.df_within.into())
        .figure("ms_between", a.ms_between)
        .maybe("ms_within", a.ms_within);
    Ok(answer.note_where(a.f.is_none(), "no F: nothing varies within the groups"))
}

fn levene(file: &CsvFile) -> Result<Answer, String> {
    let a = tell(file, spread::levene)?;
    let answer = Answer::new(
        "analysis of variance of |y - median of its group|",
        "Levene 1960; Brown and Forsythe 1974",
    )
    .maybe("statistic", a.f)
    .put("df_between", a.df_between.into())
    .put("df_within", a.df_within.into())
    .maybe("p", a.p);
    Ok(answer.note_where(a.f.is_none(), "no statistic: the distances from the medians do not vary"))
}

fn gauge_study(file: &CsvFile) -> Result<Answer, String> {
    let table = file.read()?;
    let (part, person) = (table.texts("part")?, table.texts("person")?);
    let value = table.numbers(file.value())?;
    let g = gauge::study(&part, &person, &value).map_err(|e| format!("{}: {e}", file.file))?;
    let figures = [
        ("repeatability", g.repeatability),
        ("reproducibility", g.reproducibility),
        ("interaction", g.interaction),
        ("part", g.part),
        ("total", g.total),
    ];
    let mut answer = Answer::new(
        "two-way analysis of variance with interaction, all random; components by the method of moments, cut at 0",
        "Houf and Berman 1988; Montgomery, Introduction to Statistical Quality Control",
    );
    for (key, v) in figures {
        answer = answer.figure(key, v);
    }
    let shares: Map<String, Value> =
        figures.iter().map(|(key, v)| ((*key).to_string(), number(v / g.total))).collect();
    answer = answer.put("share", Value::Object(shares));
    let cut = [("reproducibility", g.cut.0), ("interaction", g.cut.1), ("part", g.cut.2)];
    for (name, _) in cut.iter().filter(|c| c.1) {
        answer = answer.note(format!("the variance of {name} came out negative and is cut at 0"));
    }
    Ok(answer.note_where(g.total == 0.0, "no shares: all readings are the same"))
}
