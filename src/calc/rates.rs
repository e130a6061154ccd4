//! Proportions, rates, tables, strata, trend, agreement, discovery rate.

use serde_json::{Map, Value};

use crate::calc::answer::{Answer, number};
use crate::calc::input::{CsvFile, confidence, count, count_rows, exposure, places, probability};
use knowledge::stats::clustered::Cluster;
use knowledge::stats::kappa::Weights;
use knowledge::stats::{
    clustered, contingency, fdr, kappa, poisson, proportion, strata, trend, two_proportions,
};

/// Commands on counts.
#[derive(clap::Subcommand)]
pub enum Counts {
    /// A share, x of n, with its Wilson and Clopper-Pearson intervals
    #[command(after_help = "7 bad of 16: how sure is the rate?\n\n  meltkin calc proportion 7 16")]
    Proportion {
        /// Pieces with the mark
        #[arg(value_parser = count)]
        x: u64,
        /// Pieces
        #[arg(value_parser = count)]
        n: u64,
        /// Exact two-sided test against this share
        #[arg(long, value_name = "P0", value_parser = probability)]
        against: Option<f64>,
        /// Confidence of the intervals
        #[arg(long, default_value = "0.95", value_parser = confidence)]
        conf: f64,
    },
    /// Two shares against each other
    #[command(
        after_help = "11 of 53 against 2 of 46: is that more than chance? Only where blades are independent.\n\n  meltkin calc rates 11 53 2 46"
    )]
    Rates {
        /// Pieces with the mark in the first group
        #[arg(value_parser = count)]
        x1: u64,
        /// Pieces in the first group
        #[arg(value_parser = count)]
        n1: u64,
        /// Pieces with the mark in the second group
        #[arg(value_parser = count)]
        x2: u64,
        /// Pieces in the second group
        #[arg(value_parser = count)]
        n2: u64,
        /// Confidence of the intervals
        #[arg(long, default_value = "0.95", value_parser = confidence)]
        conf: f64,
    },
    /// A rate of events over an exposure, or two against each other
    #[command(
        after_help = "Events in a time: run-outs a month, before and after.\n\n  meltkin calc poisson 6 12 2 12"
    )]
    Poisson {
        /// Events
        #[arg(value_parser = count)]
        x1: u64,
        /// Exposure
        #[arg(value_parser = exposure)]
        t1: f64,
        /// Events of the second
        #[arg(value_parser = count, requires = "t2")]
        x2: Option<u64>,
        /// Exposure of the second
        #[arg(value_parser = exposure)]
        t2: Option<f64>,
        /// Confidence of the interval
        #[arg(long, default_value = "0.95", value_parser = confidence)]
        conf: f64,
    },
    /// Chi-square of a table of counts (the header row is not counted)
    #[command(
        after_help = "Counts in rows and columns: do they go together?\n\n  meltkin calc table counts.csv"
    )]
    Table {
        /// CSV of counts; `-` reads standard input
        file: String,
    },
    /// Groups whose pieces come in clusters (columns group, n, x: a row per cluster)
    #[command(
        after_help = "Blades come in moulds: a test that allows for it.\n\n  meltkin calc clustered moulds.csv"
    )]
    Clustered {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// 2 x 2 tables in strata (columns a, b, c, d: a row per stratum of a table with rows a b and c d)
    #[command(
        after_help = "The same comparison within each heat, put together.\n\n  meltkin calc strata heats.csv"
    )]
    Strata {
        /// CSV with a header row; `-` reads standard input
        file: String,
        /// Confidence of the interval
        #[arg(long, default_value = "0.95", value_parser = confidence)]
        conf: f64,
    },
    /// A trend in shares (columns score, x, n)
    #[command(after_help = "Does the share rise with a level?\n\n  meltkin calc trend levels.csv")]
    Trend {
        /// The file and its columns
        #[command(flatten)]
        file: CsvFile,
    },
    /// Agreement of readers beyond chance
    #[command(group = clap::ArgGroup::new("kind").required(true))]
    #[command(
        after_help = "Two readers, the same films: agreement beyond chance.\n\n  meltkin calc kappa readers.csv --cohen"
    )]
    Kappa {
        /// CSV of counts; `-` reads standard input
        file: String,
        /// Columns are categories; a row per subject counts its readers
        #[arg(long, group = "kind")]
        fleiss: bool,
        /// A square table, reader by reader
        #[arg(long, group = "kind")]
        cohen: bool,
    },
    /// Adjusted p values that control the false discovery rate
    #[command(after_help = "Many tests at once: q from p.\n\n  meltkin calc fdr 0.001 0.02 0.03 0.2")]
    Fdr {
        /// The p values
        #[arg(required = true, value_parser = probability)]
        p: Vec<f64>,
    },
}

pub fn run(what: &Counts) -> Result<Answer, String> {
    match what {
        Counts::Proportion { x, n, against, conf } => one(*x, *n, *against, *conf),
        Counts::Rates { x1, n1, x2, n2, conf } => two((*x1, *n1), (*x2, *n2), *conf),
        Counts::Poisson { x1, t1, x2, t2, conf } => match x2.zip(*t2) {
            None => events(*x1, *t1, *conf),
            Some(second) => events_against((*x1, *t1), second, *conf),
        },
        Counts::Table { file } => chi_square(file),
        Counts::Clustered { file } => by_cluster(file),
        Counts::Strata { file, conf } => by_stratum(file, *conf),
        Counts::Trend { file } => rising(file),
        Counts::Kappa { file, cohen, .. } => {
            let rows = count_rows(&crate::calc::table::Table::read(file)?)?;
            if *cohen { cohen_kappa(&rows) } else { fleiss_kappa(&rows) }
        }
        Counts::Fdr { p } => {
            let answer = Answer::new(
                "Benjamini-Hochberg step-up: q(i) = min over j >= i of m p(j)/j",
                "Benjamini and Hochberg 1995, JRSS B 57:289",
            );
            Ok(answer.list("q", &fdr::benjamini_hochberg(p)?))
        }
    }
}

fn one(x: u64, n: u64, against: Option<f64>, conf: f64) -> Result<Answer, String> {
    let answer = Answer::new(
        "Wilson score interval; Clopper-Pearson from beta quantiles; exact two-sided test by small p values",
        "Wilson 1927; Clopper and Pearson 1934; Newcombe 1998, Stat. Med. 17:857",
    );
    let wilson = proportion::wilson(x, n, conf)?;
    let exact = proportion::clopper_pearson(x, n, conf)?;
    let estimate = (n > 0).then(|| x as f64 / n as f64);
    let answer =
        answer.maybe("estimate", estimate).interval("wilson", wilson).interval("clopper_pearson", exact);
    let answer = match against {
        Some(p0) => answer.figure("p", proportion::exact_test(x, n, p0)?),
        None => answer,
    };
    Ok(answer.note_where(n == 0, "0 of 0 says nothing about the share: any share is possible"))
}

fn two(one: (u64, u64), two: (u64, u64), conf: f64) -> Result<Answer, String> {
    let t = two_proportions::compare(one, two, conf)?;
    let mut answer = Answer::new(
        "p1 - p2 with Newcombe's hybrid score interval; p1/p2 with log interval; Fisher's exact test, two-sided; \
         pooled z, chi-square without continuity correction",
        "Newcombe 1998, Stat. Med. 17:873 (method 10); Katz and others 1978; Fisher 1935; Pearson 1900",
    )
    .maybe("difference", t.difference)
    .maybe_interval("newcombe", t.newcombe)
    .maybe("ratio", t.ratio)
    .maybe_interval("ratio_interval", t.ratio_interval)
    .figure("fisher_p", t.fisher_p)
    .maybe("z", t.z)
    .maybe("chi2", t.chi2)
    .maybe("chi2_p", t.chi2_p)
    .maybe("odds_ratio", t.odds_ratio);
    if one.1 == 0 || two.1 == 0 {
        answer = answer.note("a group without pieces has no share to compare");
        return Ok(answer);
    }
    if t.ratio.is_none() {
        answer = answer.note("no ratio: nothing in the second group has the mark");
    } else if t.ratio_interval.is_none() {
        answer = answer.note("no interval of the ratio: nothing in the first group has the mark");
    }
    answer = answer.note_where(
        t.ratio_interval.is_some_and(|(low, high)| low == high),
        "the interval of the ratio has no width, as all pieces have the mark; see that of the difference",
    );
    answer = answer.note_where(t.odds_ratio.is_none(), "no odds ratio: its lower product is 0");
    answer = answer.note_where(t.z.is_none(), "no z or chi-square: all pieces have the mark, or none has");
    Ok(answer)
}

fn events(x: u64, t: f64, conf: f64) -> Result<Answer, String> {
    let interval = poisson::interval(x, t, conf)?;
    let answer =
        Answer::new("x/t with the exact interval from gamma quantiles", "Garwood 1936, Biometrika 28:437");
    Ok(answer.figure("rate", x as f64 / t).interval("interval", interval))
}

fn events_against(one: (u64, f64), two: (u64, f64), conf: f64) -> Result<Answer, String> {
    let r = poisson::compare(one, two, conf)?;
    let limit = |v: Option<f64>| v.map_or(Value::Null, number);
    let answer = Answer::new(
        "(x1/t1)/(x2/t2); x1 given x1 + x2 is binomial: exact interval and exact two-sided test by small p values",
        "Przyborowski and Wilenski 1940, Biometrika 31:313; Clopper and Pearson 1934",
    )
    .maybe("ratio", r.ratio)
    .put("interval", Value::Array(vec![limit(r.interval.0), limit(r.interval.1)]))
    .figure("p", r.p);
    Ok(if r.ratio.is_none() {
        answer.note("no ratio and no upper limit: the second has no events")
    } else if r.interval.1.is_none() {
        answer.note("the ratio has no upper limit within the range of numbers")
    } else {
        answer
    })
}

fn chi_square(file: &str) -> Result<Answer, String> {
    let rows = count_rows(&crate::calc::table::Table::read(file)?)?;
    let t = contingency::chi_square(&rows).map_err(|e| format!("{file}: {e}"))?;
    let answer =
        Answer::new("Pearson's chi-square, sum of (O - E)^2/E, no continuity correction", "Pearson 1900")
            .figure("chi2", t.chi2)
            .put("df", t.df.into())
            .figure("p", t.p);
    let full = (rows.len() - 1) * (rows[0].len() - 1);
    let answer = answer.note_where(t.df < full, "rows or columns without counts are left out");
    Ok(if t.least_expected < 5.0 {
        answer.note(format!("the smallest expected count is {:.2}, under 5: p is rough", t.least_expected))
    } else {
        answer
    })
}

fn by_cluster(file: &CsvFile) -> Result<Answer, String> {
    let table = file.read()?;
    let labels = table.texts(file.group())?;
    let (x, n) = file.shares(&table)?;
    let (names, places) = places(&labels);
    let clusters: Vec<Cluster> =
        places.iter().zip(n.iter().zip(&x)).map(|(&group, (&n, &x))| Cluster { group, n, x }).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let r = clustered::compare(&clusters, &names).map_err(|e| format!("{}: {e}", file.file))?;
    let effects: Map<String, Value> = names
        .iter()
        .zip(&r.design_effects)
        .map(|(name, d)| ((*name).to_string(), d.map_or(Value::Null, number)))
        .collect();
    let answer = Answer::new(
        "Rao-Scott: chi-square on x/d, n/d; intracluster correlation by analysis of variance; Donner: each group's \
         chi-square term over 1 + (m - 1) icc, weighted",
        "Rao and Scott 1992, Biometrics 48:577; Donner and Klar 1993, 2000",
    )
    .maybe("rao_scott_chi2", r.rao_scott.map(|t| t.0))
    .put("df", r.df.into())
    .maybe("p", r.rao_scott.map(|t| t.1))
    .put("design_effects", Value::Object(effects))
    .maybe("icc", r.icc)
    .maybe("donner_chi2", r.donner.map(|t| t.0))
    .maybe("donner_p", r.donner.map(|t| t.1));
    Ok(answer.notes(r.notes))
}

fn by_stratum(file: &str, conf: f64) -> Result<Answer, String> {
    let table = crate::calc::table::Table::read(file)?;
    let columns: Vec<Vec<u64>> =
        ["a", "b", "c", "d"].iter().map(|c| table.counts(c)).collect::<Result<_, _>>()?;
    let tables: Vec<[[u64; 2]; 2]> =
        (0..table.len()).map(|r| [[columns[0][r], columns[1][r]], [columns[2][r], columns[3][r]]]).collect();
    let s = strata::mantel_haenszel(&tables, conf)?;
    let mut answer = Answer::new(
        "Mantel-Haenszel common odds ratio, Robins-Breslow-Greenland interval, Cochran-Mantel-Haenszel test, \
         Breslow-Day test of equal odds ratios",
        "Mantel and Haenszel 1959; Robins, Breslow and Greenland 1986; Breslow and Day 1980",
    )
    .maybe("mh_odds_ratio", s.odds_ratio)
    .maybe_interval("mh_interval", s.interval)
    .maybe("cmh_chi2", s.cmh.map(|t| t.0))
    .maybe("cmh_p", s.cmh.map(|t| t.1))
    .maybe("cmh_chi2_corrected", s.cmh_corrected.map(|t| t.0))
    .maybe("cmh_p_corrected", s.cmh_corrected.map(|t| t.1))
    .maybe("breslow_day_chi2", s.breslow_day.map(|t| t.0))
    .maybe("breslow_day_p", s.breslow_day.map(|t| t.1));
    if s.silent > 0 {
        answer = answer
            .note(format!("strata with an empty row or column say nothing and are left out: {}", s.silent));
    }
    if s.odds_ratio.is_none() {
        answer = answer.note("no common odds ratio: every b c is 0");
    } else if s.interval.is_none() {
        answer = answer.note("no interval of the odds ratio: every a d is 0");
    }
    answer =
        answer.note_where(s.cmh.is_none(), "no test: no stratum has counts in both rows and both columns");
    answer = answer.note_where(
        s.breslow_day.is_none(),
        "no Breslow-Day test: it needs two strata that say something and a common odds ratio above 0",
    );
    Ok(answer)
}

fn rising(file: &CsvFile) -> Result<Answer, String> {
    let table = file.read()?;
    let scores = table.numbers("score")?;
    let (x, n) = file.shares(&table)?;
    let t = trend::cochran_armitage(&scores, &x, &n).map_err(|e| format!("{}: {e}", file.file))?;
    let answer = Answer::new(
        "Cochran-Armitage: sum of s (x - n p) over the root of p (1-p) sum of n (s - mean s)^2",
        "Cochran 1954; Armitage 1955",
    )
    .maybe("z", t.map(|t| t.z))
    .maybe("chi2", t.map(|t| t.chi2))
    .maybe("p", t.map(|t| t.p));
    Ok(answer.note_where(
        t.is_none(),
        "no trend to test: all pieces have the mark, or none has, or all scores are the same",
    ))
}

fn cohen_kappa(rows: &[Vec<u64>]) -> Result<Answer, String> {
    let mut answer = Answer::new(
        "Cohen's kappa (po - pe)/(1 - pe); weights 1 - |i-j|/(k-1) and 1 - (i-j)^2/(k-1)^2",
        "Cohen 1960, 1968; Fleiss, Cohen and Everitt 1969",
    );
    let mut silent = false;
    let kinds = [
        ("kappa", Weights::None),
        ("kappa_linear", Weights::Linear),
        ("kappa_quadratic", Weights::Quadratic),
    ];
    for (key, weights) in kinds {
        let k = kappa::cohen(rows, weights)?;
        silent |= k.is_none();
        answer = answer.maybe(key, k.map(|k| k.kappa));
    }
    Ok(answer.note_where(silent, "no kappa: both readers put everything into one same category"))
}

fn fleiss_kappa(rows: &[Vec<u64>]) -> Result<Answer, String> {
    let k = kappa::fleiss(rows)?;
    let answer =
        Answer::new("Fleiss's kappa (P - Pe)/(1 - Pe)", "Fleiss 1971, Psychological Bulletin 76:378")
            .maybe("kappa", k.as_ref().map(|k| k.kappa));
    Ok(answer.note_where(k.is_none(), "no kappa: every reading is the same category"))
}
