//! How often the ranking of causes is right, on invented histories: `cargo bench --bench calibration`.
//!
//! Options: `--histories N` per setting (default 60), `--threads N`, `--only WORD` (quiet, single, drift,
//! two, large, counts), `--knowledge WORD`: weights of what the trade knows, that is `right` about what was planted, `absent`
//! on it, `wrong` (others alone are named as primary) or `reversed` (named with harm on the other side).

#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "foundry.rs"]
mod foundry;

use std::sync::atomic::AtomicUsize;
use std::sync::atomic::Ordering;

use foundry::Drift;
use foundry::Plant;
use foundry::Recipe;
use foundry::SINGLE;
use foundry::Truth;
use foundry::make;
use knowledge::causes::Direction;
use knowledge::causes::History;
use knowledge::causes::Ranking;
use knowledge::causes::Records;
use knowledge::causes::Settings;
use knowledge::causes::rank;

/// What one history gave.
#[derive(Clone, Debug, Default)]
struct Outcome {
    stopped: bool,
    plant: Option<Plant>,
    strength: f64,
    flagged: usize,
    false_flagged: usize,
    /// A wrong factor stands first, and is shown.
    wrong_first: bool,
    place: Option<usize>,
    level: bool,
    shown: bool,
    shortlisted: bool,
    second_place: Option<usize>,
    second_shown: bool,
    both_shown: bool,
}

/// Gives columns the weights that a signed table would: 3 for a primary cause, 1.5 for a contributing one. Whatever is
/// known of the planted cause, every fourth other column is a contributing one, as tables name many that are innocent.
fn know(records: &mut Records, truths: &[Truth]) {
    let args: Vec<String> = std::env::args().collect();
    let Some(word) = args.iter().position(|a| a == "--knowledge").and_then(|i| args.get(i + 1)) else {
        return;
    };
    let planted = |name: &str| truths.iter().any(|t| t.factor == name);
    for (i, column) in records.columns.iter_mut().enumerate() {
        column.bonus = if i % 4 == 0 { 1.5 } else { 1.0 };
        match (word.as_str(), planted(&column.name)) {
            ("right", true) => (column.bonus, column.expects) = (3.0, None),
            ("reversed", true) => (column.bonus, column.expects) = (3.0, Some(Direction::Lower)),
            (_, true) => column.bonus = 1.0,
            ("wrong", false) if i % 8 == 1 => column.bonus = 3.0,
            _ => {}
        }
    }
}

fn one(recipe: &Recipe, settings: Settings) -> Outcome {
    let (mut records, truths) = make(recipe);
    know(&mut records, &truths);
    let Ok(history) = History::new(records) else { return Outcome { stopped: true, ..Outcome::default() } };
    // a pair is looked at where it is asked for
    let pair = truths.iter().find_map(|t| t.factor.split_once(" with ")).map(|(a, b)| [a, b]);
    let ranking: Ranking = rank(&history, Settings { pair, ..settings });
    let mut outcome = Outcome {
        stopped: ranking.causes.is_empty(),
        plant: recipe.plants.first().copied(),
        strength: recipe.strength,
        flagged: ranking.causes.iter().filter(|c| c.flagged).count(),
        ..Outcome::default()
    };
    outcome.wrong_first = ranking.causes.first().is_some_and(|c| {
        c.flagged && c.explained_by.is_none() && truths.iter().all(|t| t.factor != c.factor)
    });
    outcome.false_flagged = ranking
        .causes
        .iter()
        .filter(|c| c.flagged && c.explained_by.is_none() && truths.iter().all(|t| t.factor != c.factor))
        .count();
    let mut found: Vec<(usize, bool)> = Vec::new();
    for truth in &truths {
        let rows = if truth.factor.contains(" with ") { &ranking.pairs } else { &ranking.causes };
        if let Some(cause) = rows.iter().find(|c| c.factor == truth.factor) {
            if found.is_empty() {
                outcome.level = truth.level.is_none() || cause.level == truth.level;
                outcome.shortlisted = cause.shortlisted;
            }
            found.push((cause.rank, cause.flagged));
        }
    }
    if settings_verbose() {
        if let (Some(truth), Some(top)) = (truths.first(), ranking.causes.first()) {
            let mine = ranking.causes.iter().find(|c| c.factor == truth.factor);
            println!(
                "{} {:?} z {:.1} asked {} e {:.1} rank {:?} T {:?} p {:?} level {:?}/{:?} ratio {:?}; top {} {:?} {} T {:.2}; rate {:.3} rho {:.2} heat {:.2} drift {:.2} n {:.1}",
                recipe.moulds,
                recipe.plants,
                truth.strength,
                recipe.strength,
                truth.expected,
                mine.map(|c| c.rank),
                mine.map(|c| c.evidence),
                mine.map(|c| c.p),
                truth.level,
                mine.and_then(|c| c.level.clone()),
                mine.and_then(|c| c.ratio),
                top.factor,
                top.level,
                top.kind,
                top.evidence,
                recipe.rate,
                recipe.inside_mould,
                recipe.heat_sd,
                recipe.drift_sd,
                ranking.blades.inspected as f64 / ranking.moulds as f64,
            );
        }
    }
    // a cause that these records cannot test is no miss
    outcome.stopped |= found.is_empty() && !truths.is_empty();
    found.sort_unstable();
    if let Some(&(place, shown)) = found.first() {
        outcome.place = Some(place);
        outcome.shown = shown;
    }
    if let Some(&(place, shown)) = found.get(1) {
        outcome.second_place = Some(place);
        outcome.second_shown = shown;
    }
    outcome.both_shown = found.len() == 2 && found.iter().all(|f| f.1);
    outcome
}

/// Whether each history is told.
fn settings_verbose() -> bool {
    std::env::args().any(|a| a == "--verbose")
}

/// Runs the histories of a setting, spread over threads, each on one.
fn run(recipes: &[Recipe], threads: usize, draws: Option<usize>) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let work = || {
        let mut done = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(recipe) = recipes.get(i) else { return done };
            let settings = Settings { threads: 1, draws, ..Settings::default() };
            done.push((i, one(recipe, settings)));
        }
    };
    let mut all: Vec<(usize, Outcome)> = std::thread::scope(|scope| {
        let running: Vec<_> = (0..threads).map(|_| scope.spawn(work)).collect();
        running.into_iter().flat_map(|t| t.join().unwrap_or_default()).collect()
    });
    all.sort_by_key(|(i, _)| *i);
    all.into_iter().map(|(_, outcome)| outcome).filter(|o| !o.stopped).collect()
}

/// A share in per cent with its standard error.
fn share(outcomes: &[Outcome], of: impl Fn(&Outcome) -> bool) -> String {
    let n = outcomes.len() as f64;
    let p = outcomes.iter().filter(|o| of(o)).count() as f64 / n.max(1.0);
    format!("{:5.1} ± {:3.1} %", 100.0 * p, 100.0 * (p * (1.0 - p) / n.max(1.0)).sqrt())
}

fn quiet_line(name: &str, outcomes: &[Outcome]) {
    println!(
        "{name:<34} {:>5}   false flag {}   wrong first and shown {}",
        outcomes.len(),
        share(outcomes, |o| o.flagged > 0),
        share(outcomes, |o| o.wrong_first)
    );
}

fn single_line(name: &str, outcomes: &[Outcome]) {
    println!(
        "{name:<34} {:>5}   first {}   level {}   first three {}   shortlist {}   q<0.1 {}   another stays {}   wrong first and shown {}",
        outcomes.len(),
        share(outcomes, |o| o.place == Some(1)),
        share(outcomes, |o| o.place == Some(1) && o.level),
        share(outcomes, |o| o.place.is_some_and(|p| p <= 3)),
        share(outcomes, |o| o.shortlisted),
        share(outcomes, |o| o.shown),
        share(outcomes, |o| o.false_flagged > 0),
        share(outcomes, |o| o.wrong_first)
    );
}

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let value = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).cloned();
    let number = |name: &str, or: usize| value(name).and_then(|v| v.parse().ok()).unwrap_or(or);
    let (each, threads) = (number("--histories", 60), number("--threads", 2));
    let draws: Option<usize> = value("--draws").and_then(|v| v.parse().ok());
    let only = value("--only");
    let wanted = |name: &str| only.as_ref().is_none_or(|o| o.split(',').any(|o| o == name));
    let sizes: Vec<usize> = value("--sizes")
        .map(|list| list.split(',').filter_map(|s| s.parse().ok()).collect())
        .unwrap_or_else(|| vec![60, 100, 200, 600, 2_000, 6_000]);
    let recipes = |first: u64,
                   count: usize,
                   moulds: usize,
                   plants: &dyn Fn(u64) -> Vec<Plant>,
                   change: &dyn Fn(&mut Recipe)| {
        (0..count as u64)
            .map(|i| {
                let mut recipe = Recipe::drawn(first + i, moulds, &plants(i));
                change(&mut recipe);
                recipe
            })
            .collect::<Vec<_>>()
    };
    if wanted("quiet") {
        println!("quiet histories (specified: false flag at most 5 % at each size)");
        let mut all = Vec::new();
        for moulds in sizes.iter().copied() {
            let s = moulds as u64;
            let count = if moulds > 2_000 { each / 2 } else { each };
            let outcomes = run(&recipes(1_000 * s, count, moulds, &|_| vec![], &|_| {}), threads, draws);
            quiet_line(&format!("{moulds} moulds"), &outcomes);
            all.extend(outcomes);
        }
        quiet_line("all", &all);
        let drifts =
            if value("--sizes").is_some() { vec![] } else { vec![(0.0, 0.15), (0.25, 0.4), (0.6, 0.8)] };
        for (low, high) in drifts {
            let outcomes = run(
                &recipes(9_000, each, 2_000, &|_| vec![], &|r| {
                    r.drift_sd = low + (high - low) * (r.seed % 7) as f64 / 6.0
                }),
                threads,
                draws,
            );
            quiet_line(&format!("2000 moulds, drift sd {low} to {high}"), &outcomes);
        }
    }
    if wanted("single") {
        println!(
            "one planted cause (specified, first / three / q<0.1: 88/97/83 at 200 moulds, 92/98/82 at 600, 90/98/87 at 2,000)"
        );
        let mut all: Vec<Outcome> = Vec::new();
        for moulds in sizes.iter().copied() {
            let s = moulds as u64;
            let count = if moulds > 2_000 { each / 2 } else { each };
            let plant = |i: u64| SINGLE[i as usize % SINGLE.len()];
            let list = recipes(20_000 + 1_000 * s, count, moulds, &|i| vec![plant(i)], &|_| {});
            let outcomes = run(&list, threads, draws);
            single_line(&format!("{moulds} moulds"), &outcomes);
            all.extend(outcomes);
        }
        let only = |plant: Plant| all.iter().filter(|o| o.plant == Some(plant)).cloned().collect::<Vec<_>>();
        single_line("all", &all);
        for strength in [3.5, 5.0, 7.0] {
            let of: Vec<Outcome> = all.iter().filter(|o| o.strength == strength).cloned().collect();
            single_line(&format!("  {strength} standard errors"), &of);
        }
        for plant in SINGLE {
            single_line(&format!("  {plant:?}"), &only(plant));
        }
        let pair = recipes(26_000, each, 2_000, &|_| vec![Plant::Pair], &|r| r.strength = 7.0);
        single_line("a pair, 2000 moulds", &run(&pair, threads, draws));
    }
    if wanted("drift") {
        println!("time of another shape, or strong");
        for (drift, sd) in [(Drift::Wander, 0.8), (Drift::Steps, 0.6), (Drift::Season, 0.5)] {
            for moulds in [200, 600, 2_000] {
                let change = |r: &mut Recipe| {
                    r.drift = drift;
                    r.drift_sd = sd;
                };
                let first = 30_000 + moulds as u64;
                let outcomes = run(&recipes(first, each, moulds, &|_| vec![], &change), threads, draws);
                quiet_line(&format!("{drift:?} sd {sd}, {moulds} moulds, quiet"), &outcomes);
            }
            let change = |r: &mut Recipe| {
                r.drift = drift;
                r.drift_sd = sd;
            };
            let plant = |i: u64| vec![SINGLE[i as usize % SINGLE.len()]];
            let outcomes = run(&recipes(31_000, each, 600, &plant, &change), threads, draws);
            single_line(&format!("{drift:?} sd {sd}, 600 moulds, one cause"), &outcomes);
        }
    }
    if wanted("two") {
        println!("two causes at once, 2,000 moulds");
        let plant = |i: u64| {
            let (a, b) =
                (i as usize % SINGLE.len(), (i as usize / SINGLE.len() + i as usize + 1) % SINGLE.len());
            let b = if SINGLE[a] == SINGLE[b] { (b + 1) % SINGLE.len() } else { b };
            vec![SINGLE[a], SINGLE[b]]
        };
        let outcomes = run(&recipes(40_000, each, 2_000, &plant, &|_| {}), threads, draws);
        single_line("the better of the two", &outcomes);
        println!(
            "{:<34} {:>5}   in the first three {}   q<0.1 {}   both q<0.1 {}",
            "the other",
            outcomes.len(),
            share(&outcomes, |o| o.second_place.is_some_and(|p| p <= 3)),
            share(&outcomes, |o| o.second_shown),
            share(&outcomes, |o| o.both_shown)
        );
    }
    if wanted("large") {
        println!("20,000 moulds");
        let count = each / 3;
        let outcomes = run(&recipes(50_000, count, 20_000, &|_| vec![], &|_| {}), threads, draws);
        quiet_line("quiet", &outcomes);
        let plant = |i: u64| vec![SINGLE[i as usize % SINGLE.len()]];
        let outcomes = run(&recipes(51_000, count, 20_000, &plant, &|_| {}), threads, draws);
        single_line("one planted cause", &outcomes);
    }
    if wanted("counts") {
        println!("findings counted, 2,000 moulds");
        let change = |r: &mut Recipe| r.counts = true;
        let outcomes = run(&recipes(60_000, each, 2_000, &|_| vec![], &change), threads, draws);
        quiet_line("quiet", &outcomes);
        let plant = |i: u64| vec![SINGLE[i as usize % SINGLE.len()]];
        let outcomes = run(&recipes(61_000, each, 2_000, &plant, &change), threads, draws);
        single_line("one planted cause", &outcomes);
    }
}
