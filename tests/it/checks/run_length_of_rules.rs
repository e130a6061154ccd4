//! The average run length of run rules in control, from the rules as the library applies them: a Markov
//! chain over what the rules of 1956 remember, with one point standing for each zone.

use std::collections::HashMap;

use knowledge::stats::charts::rules;
use knowledge::stats::charts::rules::Rule;
use knowledge::stats::dist::normal_cdf;
use serde_json::Value;

use super::holds;

/// One point in each zone, and the zone's borders.
const ZONES: [(f64, f64, f64); 8] = [
    (-3.5, f64::NEG_INFINITY, -3.0),
    (-2.5, -3.0, -2.0),
    (-1.5, -2.0, -1.0),
    (-0.5, -1.0, 0.0),
    (0.5, 0.0, 1.0),
    (1.5, 1.0, 2.0),
    (2.5, 2.0, 3.0),
    (3.5, 3.0, f64::INFINITY),
];

/// What of the past can still matter: the run on one side, and which of the last points lay far out.
fn memory(past: &[f64]) -> (i32, Vec<i32>, Vec<i32>) {
    let side = past.last().map_or(0.0, |z| z.signum());
    let run = past.iter().rev().take_while(|z| z.signum() == side).take(8).count() as i32;
    let zones = |limit: f64, last: usize| {
        let far = past.iter().rev().take(last).map(|z| if z.abs() > limit { z.signum() as i32 } else { 0 });
        let mut far: Vec<i32> = far.collect();
        far.resize(last, 0);
        far
    };
    (run * side as i32, zones(2.0, 2), zones(1.0, 4))
}

fn run_length(rules: &[Rule]) -> f64 {
    let mut known = HashMap::from([(memory(&[]), 0)]);
    let mut pasts: Vec<Vec<f64>> = vec![Vec::new()];
    let mut moves: Vec<Vec<(usize, f64)>> = Vec::new();
    while moves.len() < pasts.len() {
        let past = pasts[moves.len()].clone();
        let mut out = Vec::new();
        for (z, from, to) in ZONES {
            let mut next = past.clone();
            next.push(z);
            if rules::signals(&next, rules).iter().any(|s| s.index == next.len()) {
                continue;
            }
            let next = next[next.len().saturating_sub(9)..].to_vec();
            let state = *known.entry(memory(&next)).or_insert_with(|| {
                pasts.push(next);
                pasts.len() - 1
            });
            out.push((state, normal_cdf(to) - normal_cdf(from)));
        }
        moves.push(out);
    }
    // L = 1 + P L, by sweeps
    let mut length = vec![1.0; moves.len()];
    for _ in 0..20_000 {
        let mut change: f64 = 0.0;
        for (i, out) in moves.iter().enumerate() {
            let next = 1.0 + out.iter().map(|(j, p)| p * length[*j]).sum::<f64>();
            change = change.max((next - length[i]).abs() / next);
            length[i] = next;
        }
        if change < 1e-15 {
            break;
        }
    }
    length[0]
}

pub fn check(c: &Value) {
    let (beyond, two, four, eight) = (
        Rule::Beyond3Sigma,
        Rule::TwoOfThreeBeyond2Sigma,
        Rule::FourOfFiveBeyond1Sigma,
        Rule::EightOnOneSide,
    );
    let sets: [(&str, &[Rule]); 6] = [
        ("1", &[beyond]),
        ("1+2of3", &[beyond, two]),
        ("1+4of5", &[beyond, four]),
        ("1+8same", &[beyond, eight]),
        ("1+2of3+4of5", &[beyond, two, four]),
        ("all four", &rules::OF_1956),
    ];
    assert_eq!(sets.len(), c["expected"].as_object().unwrap().len());
    for (key, rules) in sets {
        holds(c, &format!("/{key}"), run_length(rules));
    }
}
