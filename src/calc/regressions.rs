//! Linear and logistic regression.

use serde_json::Value;

use crate::calc::answer::Answer;
use crate::calc::input::{above, places};
use crate::calc::table::Table;
use knowledge::stats::design::Design;
use knowledge::stats::{linear, logistic};

/// Commands that fit a response to columns.
#[derive(clap::Subcommand)]
pub enum Regressions {
    /// Linear least squares (column y; every other column explains)
    #[command(
        after_help = "A line through measured values.\n\n  meltkin calc regress heats.csv --y porosity"
    )]
    Regress {
        /// CSV with a header row; `-` reads standard input
        file: String,
        /// The column that stands for y
        #[arg(long, value_name = "NAME", default_value = "y")]
        y: String,
        /// The columns that explain, instead of all others
        #[arg(long, value_name = "NAME", value_delimiter = ',')]
        x: Vec<String>,
        /// Through zero
        #[arg(long)]
        no_constant: bool,
        /// Powers of every explaining column up to this one
        #[arg(long, value_name = "D", default_value = "1", value_parser = clap::value_parser!(u32).range(1..=20))]
        polynomial: u32,
    },
    /// Logistic regression (column y of 0 and 1, or y of n; every other column explains)
    #[command(
        after_help = "Odds of a defect against several readings at once.\n\n  meltkin calc logistic blades.csv --y misrun"
    )]
    Logistic {
        /// CSV with a header row; `-` reads standard input
        file: String,
        /// The column that stands for y
        #[arg(long, value_name = "NAME", default_value = "y")]
        y: String,
        /// The columns that explain, instead of all others
        #[arg(long, value_name = "NAME", value_delimiter = ',')]
        x: Vec<String>,
        /// The column that stands for n
        #[arg(long, value_name = "NAME")]
        n: Option<String>,
        /// Columns of numbers that are codes of a category
        #[arg(long, value_name = "A,B", value_delimiter = ',')]
        category: Vec<String>,
        /// Standard errors by the clusters of this column
        #[arg(long, value_name = "COLUMN")]
        cluster: Option<String>,
    },
}

pub fn run(what: &Regressions) -> Result<Answer, String> {
    match what {
        Regressions::Regress { file, y, x, no_constant, polynomial } => {
            let table = Table::read(file)?;
            let response = table.numbers(y)?;
            let mut design = Design::new(table.len());
            if !no_constant {
                design = design.constant();
            }
            for name in explaining(&table, x, &[y])? {
                design = design.powers(&name, &table.numbers(&name)?, *polynomial).map_err(in_file(file))?;
            }
            line(&response, &design).map_err(in_file(file))
        }
        Regressions::Logistic { file, y, x, n, category, cluster } => {
            let table = Table::read(file)?;
            let n = match n {
                Some(n) => Some(n.as_str()),
                None => table.header().iter().any(|h| h == "n").then_some("n"),
            };
            let (hits, sizes) = outcomes(&table, y, n)?;
            let mut taken = vec![y.as_str()];
            taken.extend(n);
            taken.extend(cluster.as_deref());
            for name in category {
                table.column(name)?;
            }
            let mut design = Design::new(table.len()).constant();
            let mut notes = Vec::new();
            for name in explaining(&table, x, &taken)? {
                design = explain(design, &table, &name, category, &mut notes)?;
            }
            let clusters =
                cluster.as_ref().map(|c| table.texts(c)).transpose()?.map(|labels| places(&labels).1);
            let fit = logistic::fit(&hits, &sizes, &design, clusters.as_deref()).map_err(in_file(file))?;
            let answer = Answer::new(
                "logistic regression by maximum likelihood; errors from the information matrix, or the sandwich over clusters \
                 without a small-sample factor",
                "McCullagh and Nelder 1989; Liang and Zeger 1986",
            );
            let answer = terms(answer, &design)
                .list("coefficients", &fit.coefficients)
                .list("std_errors", &fit.std_errors)
                .figure("loglik", fit.loglik)
                .figure("deviance", fit.deviance);
            Ok(answer.notes(notes))
        }
    }
}

/// Puts the file before a sentence that does not name it.
fn in_file(file: &str) -> impl Fn(String) -> String {
    move |e| format!("{file}: {e}")
}

fn terms(answer: Answer, design: &Design) -> Answer {
    answer.put("terms", Value::Array(design.names().iter().map(|n| Value::from(n.as_str())).collect()))
}

/// The columns that explain, in file order: the chosen ones, or all but those taken.
fn explaining(table: &Table, chosen: &[String], taken: &[&str]) -> Result<Vec<String>, String> {
    for name in chosen {
        table.column(name)?;
        if taken.contains(&name.as_str()) {
            return Err(format!("column {name:?} cannot explain: it has another part already"));
        }
    }
    let free = table.header().iter().filter(|h| !taken.contains(&h.as_str()));
    Ok(free.filter(|h| chosen.is_empty() || chosen.contains(h)).cloned().collect())
}

fn line(response: &[f64], design: &Design) -> Result<Answer, String> {
    let fit = linear::fit(response, design)?;
    let answer =
        Answer::new("least squares, b = (X'X)^-1 X'y; Var b = s^2 (X'X)^-1", "Gauss; Golub and Van Loan");
    let answer = terms(answer, design).list("coefficients", &fit.coefficients);
    let answer = match &fit.std_errors {
        Some(errors) => answer.list("std_errors", errors),
        None => answer.put("std_errors", Value::Null),
    };
    let answer = answer.maybe("residual_sd", fit.residual_sd).maybe("r2", fit.r2);
    let answer = answer.note_where(
        fit.df == 0,
        "no errors: there are as many coefficients as rows, so the fit goes through every point",
    );
    Ok(answer.note_where(fit.r2.is_none(), "no r2: y does not vary"))
}

fn outcomes(table: &Table, y: &str, n: Option<&str>) -> Result<(Vec<u64>, Vec<u64>), String> {
    let hits = table.counts(y)?;
    if let Some(n) = n {
        let sizes = table.counts(n)?;
        above(table, y, &hits, &sizes)?;
        return Ok((hits, sizes));
    }
    if let Some(r) = hits.iter().position(|v| *v > 1) {
        let what = format!("holds {}; without a column n it is 0 or 1", hits[r]);
        return Err(table.fault(r, table.column(y)?, &what));
    }
    let ones = vec![1; hits.len()];
    Ok((hits, ones))
}

fn explain(
    design: Design,
    table: &Table,
    name: &str,
    category: &[String],
    notes: &mut Vec<String>,
) -> Result<Design, String> {
    let labels = table.texts(name)?;
    let numbers = labels.iter().filter(|l| l.parse::<f64>().is_ok()).count();
    if numbers == labels.len() && !category.iter().any(|c| c == name) {
        return design.column(name, &table.numbers(name)?).map_err(in_file(table.path()));
    }
    if numbers > 0 && numbers < labels.len() {
        notes.push(format!("column {name} holds words and numbers; it is taken as a category"));
    }
    design.category(name, &labels).map_err(in_file(table.path()))
}
