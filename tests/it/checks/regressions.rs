//! Linear and logistic regression.

use knowledge::stats::design::Design;
use knowledge::stats::linear;
use knowledge::stats::logistic;
use serde_json::Value;

use super::Check;
use super::close;
use super::csv_rows;
use super::holds;
use super::number_rows;
use super::numbers;

pub const RUN: &[Check] = &[
    ("strd-linreg-NOINT1", through_zero),
    ("strd-linreg-WAMPLER3", wampler),
    ("strd-linreg-NORRIS", norris),
    ("logit-challenger-binary", challenger),
    ("logit-birthwt", birth_weight),
    ("cluster-robust-logit-ohio", clustered),
    ("glm-quasibinomial-seeds", seeds),
];

#[test]
fn regressions_hold() {
    super::run(RUN);
}

fn line(c: &Value, constant: bool, degree: u32) {
    let rows = number_rows(&c["data"]["y_x"]);
    let (y, x): (Vec<f64>, Vec<f64>) = rows.iter().map(|r| (r[0], r[1])).unzip();
    let design = Design::new(y.len());
    let design = if constant { design.constant() } else { design };
    let fit = linear::fit(&y, &design.powers("x", &x, degree).unwrap()).unwrap();
    let errors = fit.std_errors.unwrap();
    for (i, (b, s)) in fit.coefficients.iter().zip(&errors).enumerate() {
        holds(c, &format!("/coef/{i}"), *b);
        holds(c, &format!("/se/{i}"), *s);
    }
    holds(c, "/residual_sd", fit.residual_sd.unwrap());
    holds(c, "/r2", fit.r2.unwrap());
}

fn through_zero(c: &Value) {
    line(c, false, 1);
}

fn wampler(c: &Value) {
    line(c, true, 5);
}

fn norris(c: &Value) {
    line(c, true, 1);
}

fn challenger(c: &Value) {
    let x = numbers(&c["data"]["temperature_F"]);
    let y: Vec<u64> = numbers(&c["data"]["distress"]).iter().map(|v| *v as u64).collect();
    let ones = vec![1; y.len()];
    let design = Design::new(y.len()).constant();
    let null = logistic::fit(&y, &ones, &design, None).unwrap();
    holds(c, "/null_deviance", null.deviance);
    let fit = logistic::fit(&y, &ones, &design.column("temperature", &x).unwrap(), None).unwrap();
    holds(c, "/intercept", fit.coefficients[0]);
    holds(c, "/slope", fit.coefficients[1]);
    holds(c, "/se_intercept", fit.std_errors[0]);
    holds(c, "/se_slope", fit.std_errors[1]);
    holds(c, "/residual_deviance", fit.deviance);
}

fn column(rows: &[Vec<String>], i: usize) -> Vec<f64> {
    rows.iter().map(|r| r[i].parse().unwrap()).collect()
}

fn birth_weight(c: &Value) {
    let names = ["low", "age", "lwt", "race", "smoke", "ptl", "ht", "ui"];
    let rows = csv_rows(c, &names);
    let y: Vec<u64> = column(&rows, 0).iter().map(|v| *v as u64).collect();
    let ones = vec![1; y.len()];
    let mut design = Design::new(y.len()).constant();
    let null = logistic::fit(&y, &ones, &design, None).unwrap();
    for (i, name) in names.iter().enumerate().skip(1) {
        design = if *name == "race" {
            let labels: Vec<&str> = rows.iter().map(|r| r[i].as_str()).collect();
            design.category(name, &labels).unwrap()
        } else {
            design.column(name, &column(&rows, i)).unwrap()
        };
    }
    let fit = logistic::fit(&y, &ones, &design, None).unwrap();
    holds(c, "/loglik", fit.loglik);
    holds(c, "/lr_chi2", 2.0 * (fit.loglik - null.loglik));
    for (i, b) in fit.coefficients.iter().enumerate() {
        holds(c, &format!("/coef/{i}"), *b);
        holds(c, &format!("/se/{i}"), fit.std_errors[i]);
        if i > 0 {
            holds(c, &format!("/odds_ratios/{}", i - 1), b.exp());
        }
    }
}

fn clustered(c: &Value) {
    let rows = csv_rows(c, &["resp", "id", "age", "smoke"]);
    let y: Vec<u64> = column(&rows, 0).iter().map(|v| *v as u64).collect();
    let (age, smoke) = (column(&rows, 2), column(&rows, 3));
    let both: Vec<f64> = age.iter().zip(&smoke).map(|(a, s)| a * s).collect();
    let clusters: Vec<usize> = column(&rows, 1).iter().map(|v| *v as usize).collect();
    let design = Design::new(y.len()).constant().column("age", &age).unwrap();
    let design = design.column("smoke", &smoke).unwrap().column("age:smoke", &both).unwrap();
    let ones = vec![1; y.len()];
    let naive = logistic::fit(&y, &ones, &design, None).unwrap();
    let robust = logistic::fit(&y, &ones, &design, Some(&clusters)).unwrap();
    for i in 0..4 {
        holds(c, &format!("/coef/{i}"), robust.coefficients[i]);
        holds(c, &format!("/se_robust/{i}"), robust.std_errors[i]);
        holds(c, &format!("/se_naive/{i}"), naive.std_errors[i]);
    }
}

/// Seed by root with their interaction; over-dispersion is Pearson's chi-square over its degrees of
/// freedom.
fn seeds(c: &Value) {
    let rows = csv_rows(c, &["seed", "root", "n", "y"]);
    let n: Vec<u64> = column(&rows, 2).iter().map(|v| *v as u64).collect();
    let y: Vec<u64> = column(&rows, 3).iter().map(|v| *v as u64).collect();
    let labels = |i: usize| -> Vec<&str> { rows.iter().map(|r| r[i].as_str()).collect() };
    let both: Vec<f64> =
        rows.iter().map(|r| f64::from(u8::from(r[0] == "O75" && r[1] == "CUCUMBER"))).collect();
    let design = Design::new(y.len()).constant().category("seed", &labels(0)).unwrap();
    let design = design.category("root", &labels(1)).unwrap().column("both", &both).unwrap();
    let fit = logistic::fit(&y, &n, &design, None).unwrap();
    holds(c, "/deviance", fit.deviance);
    holds(c, "/df", fit.df as f64);
    holds(c, "/pearson_dispersion", fit.pearson / fit.df as f64);
    for (i, b) in fit.coefficients.iter().enumerate() {
        close(c, "coefficient", *b, c["recomputed"]["coef"][i].as_f64().unwrap(), 1e-9);
        close(c, "error", fit.std_errors[i], c["recomputed"]["se"][i].as_f64().unwrap(), 1e-7);
    }
}
