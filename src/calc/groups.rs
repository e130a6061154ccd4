//! Summaries of values, groups of values against each other, gauge study.

use serde_json::Map;
use serde_json::Value;

use crate::calc::answer::Answer;
use crate::calc::answer::number;
use crate::calc::input::File;
use crate::calc::{Entry, of_file};
use knowledge::stats::anova;
use knowledge::stats::gauge;
use knowledge::stats::ranks;
use knowledge::stats::ranks::Test;
use knowledge::stats::spread;
use knowledge::stats::summary;

/// Commands on measured values.
pub(crate) static COMMANDS: &[Entry] = &[
    of_file(
        [
            "summary",
            "Number, mean, standard deviation and lag-1 autocorrelation (column y)",
            "A column at a glance; lag-1 near 0 says that neighbours are independent.",
            "values.csv",
        ],
        summarise,
    ),
    of_file(
        [
            "anova",
            "One-way analysis of variance (columns group, value)",
            "Do the means of several groups differ?",
            "groups.csv",
        ],
        one_way,
    ),
    of_file(
        [
            "kruskal",
            "Kruskal and Wallis's rank test (columns group, value)",
            "The same by ranks, where values are skewed.",
            "groups.csv",
        ],
        |file| {
            let answer =
                Answer::new("Kruskal-Wallis H with ties, chi-square on k - 1", "Kruskal and Wallis 1952");
            let why = "no statistic: all values are the same";
            Ok(tested(answer, tell(file, ranks::kruskal_wallis)?, why))
        },
    ),
    of_file(
        [
            "bartlett",
            "Bartlett's test of equal variances (columns group, value)",
            "Do the spreads of normal groups differ?",
            "groups.csv",
        ],
        |file| {
            let answer = Answer::new("Bartlett's K^2, chi-square on k - 1", "Bartlett 1937");
            let why = "no statistic: the values of a group are all the same";
            Ok(tested(answer, tell(file, spread::bartlett)?, why))
        },
    ),
    of_file(
        [
            "levene",
            "Levene's test of equal spreads, about the median (columns group, value)",
            "Do spreads differ, whatever the shape?",
            "groups.csv",
        ],
        levene,
    ),
    of_file(
        [
            "gauge",
            "Gauge study, every person reads every part (columns part, person, value)",
            "How much of the spread is the gauge, how much the people?",
            "gauge.csv",
        ],
        gauge_study,
    ),
];

/// Reads the groups and hands them on; a fault names the file, and the group by its label.
fn tell<T>(file: &File, f: impl Fn(&[Vec<f64>]) -> Result<T, String>) -> Result<T, String> {
    let (names, groups) = file.groups(&file.read()?)?;
    f(&groups).map_err(|e| format!("{}: {e} (groups in order: {})", file.file, names.join(", ")))
}

fn tested(answer: Answer, t: Test, why: &str) -> Answer {
    let answer = answer.maybe("statistic", t.statistic).put("df", t.df.into()).maybe("p", t.p);
    if t.statistic.is_none() { answer.note(why) } else { answer }
}

fn summarise(file: &File) -> Result<Answer, String> {
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

fn one_way(file: &File) -> Result<Answer, String> {
    let a = tell(file, anova::one_way)?;
    let answer = Answer::new("F = (SSB/(k-1))/(SSW/(N-k))", "Fisher 1925")
        .maybe("f", a.f)
        .maybe("p", a.p)
        .put("df_between", a.df_between.into())
        .put("df_within", a.df_within.into())
        .figure("ms_between", a.ms_between)
        .maybe("ms_within", a.ms_within);
    Ok(if a.f.is_none() { answer.note("no F: nothing varies within the groups") } else { answer })
}

fn levene(file: &File) -> Result<Answer, String> {
    let a = tell(file, spread::levene)?;
    let answer = Answer::new(
        "analysis of variance of |y - median of its group|",
        "Levene 1960; Brown and Forsythe 1974",
    )
    .maybe("statistic", a.f)
    .put("df_between", a.df_between.into())
    .put("df_within", a.df_within.into())
    .maybe("p", a.p);
    Ok(if a.f.is_none() {
        answer.note("no statistic: the distances from the medians do not vary")
    } else {
        answer
    })
}

fn gauge_study(file: &File) -> Result<Answer, String> {
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
    Ok(if g.total == 0.0 { answer.note("no shares: all readings are the same") } else { answer })
}
