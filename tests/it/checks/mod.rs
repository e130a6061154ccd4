//! Every published check of `reference/statistics/checks.json`, each to its own tolerance, against the
//! library. Sources stand beside the figures (`source` of each check) and in `SOURCES.md`.
//!
//! Every id is run by one of the families below or stands in [`LEFT_OUT`] with a reason.

mod charts;
mod distributions;
mod groups;
mod rates;
mod regressions;
mod run_length_of_rules;
mod sampling;

use std::collections::BTreeMap;
use std::path::PathBuf;

use serde_json::Value;

/// One check: its id, and what runs it.
pub type Check = (&'static str, fn(&Value));

/// The families that run checks. A new family adds its `RUN` here.
const FAMILIES: &[&[Check]] =
    &[distributions::RUN, rates::RUN, groups::RUN, regressions::RUN, charts::RUN, sampling::RUN];

/// Checks of methods that nothing in the tool needs, so that they are not built.
const LEFT_OUT: &[&[(&str, &str)]] = &[HERE, charts::LEFT_OUT];

const HERE: &[(&str, &str)] = &[
    ("newcombe-paired-a", "no paired comparison of shares in the tool"),
    ("fisher-rxc-job", "no exact test of larger tables; chi-square is used there"),
    ("chisq-yates", "no continuity correction of chi-square; small tables have the exact test"),
    ("chisq-gof", "no goodness of fit test in the tool"),
    ("mcnemar-r", "no paired comparison of shares in the tool"),
    ("padjust-holm", "multiplicity is handled by the false discovery rate alone"),
    ("poisson-dispersion", "no dispersion test of counts; over-dispersed charts estimate it instead"),
    ("gee-ohio-exchangeable", "no working correlation is fitted; errors by cluster are the sandwich"),
    ("fligner-insectsprays", "spreads are compared by Bartlett's and Levene's tests"),
];

/// Recomputed figures that a double cannot meet to 1e-8, and why.
const RECOMPUTED: &[(&str, f64)] = &[
    // data of 1e12 + 0.1 steps are rounded to 1e-4 on reading; recomputed from the decimals
    ("strd-anova-SmLs08", 0.01),
    // the reference takes its errors from the weights before the last step
    ("logit-challenger-binary", 1e-6),
    ("logit-birthwt", 1e-6),
];

/// Where the checks and their data lie.
pub fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/it/reference/statistics")
}

/// All checks, by id.
pub fn all() -> BTreeMap<String, Value> {
    let text = std::fs::read_to_string(folder().join("checks.json")).unwrap();
    let list: Vec<Value> = serde_json::from_str(&text).unwrap();
    list.into_iter().map(|c| (c["id"].as_str().unwrap().to_string(), c)).collect()
}

/// Runs the checks of a family and names every one that fails.
pub fn run(family: &[Check]) {
    let all = all();
    let mut bad = Vec::new();
    for (id, check) in family {
        let value = all.get(*id).unwrap_or_else(|| panic!("no check {id}"));
        if std::panic::catch_unwind(|| check(value)).is_err() {
            bad.push(*id);
        }
    }
    assert!(bad.is_empty(), "checks that do not hold: {bad:?}");
}

/// Holds a figure against `expected` at a JSON pointer, to the check's own tolerance (the wider of its
/// absolute and relative one), and against `recomputed` at the same pointer, where there is one, to 1e-8
/// or what [`RECOMPUTED`] says.
pub fn holds(check: &Value, pointer: &str, got: f64) {
    let id = &check["id"];
    let expected = check["expected"].pointer(pointer).and_then(Value::as_f64);
    let expected = expected.unwrap_or_else(|| panic!("{id}: nothing expected at {pointer}"));
    let part = |key: &str| check["tolerance"][key].as_f64().unwrap_or(0.0);
    let room = part("abs").max(part("rel") * expected.abs());
    assert!((got - expected).abs() <= room, "{id} {pointer}: {got} instead of {expected} (within {room:e})");
    if let Some(digits) = check["recomputed"].pointer(pointer).and_then(Value::as_f64) {
        let coarse = RECOMPUTED.iter().find(|r| id.as_str() == Some(r.0));
        close(check, pointer, got, digits, coarse.map_or(1e-8, |r| r.1));
    }
}

/// Holds a figure against another within a relative distance (absolute below 1e-6).
pub fn close(check: &Value, what: &str, got: f64, right: f64, rel: f64) {
    let room = rel * right.abs().max(1e-6);
    assert!((got - right).abs() <= room, "{} {what}: {got} instead of {right}", check["id"]);
}

/// A number of a check's data; text counts too.
pub fn number(value: &Value) -> f64 {
    value.as_f64().or_else(|| value.as_str()?.parse().ok()).unwrap_or_else(|| panic!("no number: {value}"))
}

/// A list of numbers.
pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

/// A list of counts.
pub fn counts(value: &Value) -> Vec<u64> {
    value.as_array().unwrap().iter().map(|v| v.as_u64().unwrap()).collect()
}

/// A table of counts.
pub fn count_rows(value: &Value) -> Vec<Vec<u64>> {
    value.as_array().unwrap().iter().map(counts).collect()
}

/// A table of numbers.
pub fn number_rows(value: &Value) -> Vec<Vec<f64>> {
    value.as_array().unwrap().iter().map(numbers).collect()
}

/// The rows of the check's CSV, in the order of the named columns.
pub fn csv_rows(check: &Value, columns: &[&str]) -> Vec<Vec<String>> {
    let mut reader = csv::Reader::from_path(folder().join(check["data"]["csv"].as_str().unwrap())).unwrap();
    let header = reader.headers().unwrap().clone();
    let places: Vec<usize> = columns.iter().map(|c| header.iter().position(|h| h == *c).unwrap()).collect();
    let rows: Vec<Vec<String>> = reader
        .records()
        .map(|r| places.iter().map(|&p| r.as_ref().unwrap()[p].to_string()).collect())
        .collect();
    assert_eq!(rows.len() as u64, check["data"]["rows"].as_u64().unwrap(), "{}", check["id"]);
    rows
}

/// Groups of values of a check's CSV, in the order in which their labels appear.
pub fn csv_groups(check: &Value, group: &str, value: &str) -> Vec<Vec<f64>> {
    let mut names: Vec<String> = Vec::new();
    let mut groups: Vec<Vec<f64>> = Vec::new();
    for row in csv_rows(check, &[group, value]) {
        let place = names.iter().position(|n| *n == row[0]).unwrap_or_else(|| {
            names.push(row[0].clone());
            groups.push(Vec::new());
            names.len() - 1
        });
        groups[place].push(row[1].parse().unwrap());
    }
    groups
}

#[test]
fn every_check_is_run_or_left_out_for_a_reason() {
    let known = all();
    let run: Vec<&str> = FAMILIES.iter().flat_map(|f| f.iter().map(|c| c.0)).collect();
    let mut seen: Vec<&str> =
        run.iter().copied().chain(LEFT_OUT.iter().flat_map(|l| l.iter().map(|l| l.0))).collect();
    seen.sort_unstable();
    let twice = seen.windows(2).find(|w| w[0] == w[1]);
    assert_eq!(twice, None, "named twice");
    for id in &seen {
        assert!(known.contains_key(*id), "{id} is no check");
    }
    for (id, reason) in LEFT_OUT.iter().copied().flatten() {
        assert!(reason.len() > 20, "{id} is left out without a reason");
    }
    let missing: Vec<&String> = known.keys().filter(|id| !seen.contains(&id.as_str())).collect();
    assert!(missing.is_empty(), "neither run nor left out: {missing:?}");
}

#[test]
fn a_wrong_figure_is_caught() {
    let check = serde_json::json!({"id": "x", "expected": {"a": 2.0}, "tolerance": {"rel": 1e-3}});
    holds(&check, "/a", 2.001);
    assert!(std::panic::catch_unwind(|| holds(&check, "/a", 2.01)).is_err());
}
