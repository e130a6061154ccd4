//! Time and memory of the ranking of causes: `cargo bench --bench causes` (`--profile quick` builds faster).
//!
//! Prints, for each size, the median of some runs: columns laid out, one score pass, the whole ranking
//! with its draws on two threads, with nothing planted and with one cause planted; and the peak memory.
//! The floor is a plain pass over as many codes as the factors hold.

#![allow(clippy::print_stdout, reason = "a bench prints its figures")]

#[path = "foundry.rs"]
#[allow(dead_code, reason = "the calibration uses all of it")]
mod foundry;

use std::hint::black_box;
use std::time::Instant;

use foundry::Plant;
use foundry::Recipe;
use foundry::make;
use meltkin::causes::At;
use meltkin::causes::Column;
use meltkin::causes::History;
use meltkin::causes::Records;
use meltkin::causes::Settings;
use meltkin::causes::Values;
use meltkin::causes::random::Chance;
use meltkin::causes::rank;

/// A history of so many moulds of eight blades and sixty factors.
fn records(moulds: usize, plants: &[Plant]) -> Records {
    let mut recipe = Recipe::drawn(5, moulds, plants);
    recipe.rate = 0.04;
    recipe.inside_mould = 0.2;
    recipe.strength = 7.0;
    if moulds == 125_000 {
        // ten thousand heats in a decade
        recipe.heat_moulds = Some(12.5);
    }
    let (mut records, _) = make(&recipe);
    let mut chance = Chance::of_draw(11, 0);
    let mut lot = 0;
    while records.columns.len() < 60 {
        // lots of all sizes, down to one for every fifth mould
        let size = [5.0, 20.0, 80.0, 40.0][lot % 4];
        let codes: Vec<u32> =
            (0..moulds).map(|m| ((m as f64 + size * chance.normal()).max(0.0) / size) as u32).collect();
        let levels = (0..=codes.iter().max().copied().unwrap_or(0)).map(|l| l.to_string()).collect();
        let name = format!("lot {lot}");
        records.columns.push(Column {
            name,
            at: At::Mould,
            values: Values::Words { codes, levels },
            below_detection: 0,
            weight: 1.0,
        });
        lot += 1;
    }
    records.columns.truncate(60);
    records
}

fn median(runs: usize, mut work: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..runs)
        .map(|_| {
            let start = Instant::now();
            work();
            start.elapsed().as_secs_f64()
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[runs / 2]
}

/// CPU seconds of this process so far, user and system.
fn cpu() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = stat.split(' ').filter_map(|f| f.parse().ok()).collect();
    // of the numbers: pid, then 12th and 13th after the state
    match (fields.get(11), fields.get(12)) {
        (Some(user), Some(system)) => (user + system) / 100.0,
        _ => 0.0,
    }
}

fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches(" kB").trim().parse::<f64>().ok()).unwrap_or(0.0) / 1024.0
}

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let value = |name: &str| args.iter().position(|a| a == name).and_then(|i| args.get(i + 1)).cloned();
    let only: Option<usize> = value("--moulds").and_then(|v| v.parse().ok());
    let threads = value("--threads").and_then(|v| v.parse().ok()).unwrap_or(2);
    for (moulds, goal) in [
        (200, None),
        (600, None),
        (2_000, Some(0.2)),
        (6_000, None),
        (20_000, Some(1.5)),
        (125_000, Some(6.0)),
    ] {
        if only.is_some_and(|o| o != moulds) {
            continue;
        }
        for (what, plants) in [("nothing planted", vec![]), ("one cause planted", vec![Plant::SlurryBatch])] {
            let input = records(moulds, &plants);
            let levels: usize = input
                .columns
                .iter()
                .map(|c| match &c.values {
                    Values::Words { levels, .. } => levels.len(),
                    _ => 20,
                })
                .sum();
            let codes: Vec<u32> = input.blade_mould.clone();
            let floor = median(5, || {
                for _ in 0..60 {
                    black_box(codes[..moulds].iter().map(|&c| u64::from(c)).sum::<u64>());
                }
            });
            // the peak counts from here: the input as the store gives it, and all that is made of it
            let _ = std::fs::write("/proc/self/clear_refs", "5");
            let start = Instant::now();
            let Ok(history) = History::new(input) else { continue };
            let laid = start.elapsed().as_secs_f64();
            let runs = if moulds > 10_000 { 3 } else { 5 };
            let score = median(runs, || {
                black_box(meltkin::causes::score_pass(&history, threads));
            });
            let settings = Settings { threads, ..Settings::default() };
            let before = cpu();
            let whole = median(runs, || {
                black_box(rank(&history, settings));
            });
            let used = (cpu() - before) / runs as f64;
            let goal = goal.map_or(String::new(), |g| format!(", goal {g} s"));
            println!(
                "{moulds} moulds, 60 factors, {levels} levels, {what}: ranking {whole:.3} s ({used:.3} s CPU{goal}); score pass {:.1} ms, {:.0} times the plain pass; columns laid in {:.0} ms; peak {:.0} MB",
                1e3 * score,
                score / floor,
                1e3 * laid,
                peak_mb()
            );
        }
    }
}
