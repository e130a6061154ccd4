//! Time and memory of the ranking of causes: `cargo bench --bench causes` (`--profile quick` builds faster).
//!
//! Prints, for each size, the median of some runs: columns laid out, one score pass, the whole ranking
//! with its draws on two threads, with nothing planted and with one cause planted; and the peak memory.
//! The floor is a plain pass over as many codes as the factors hold.

#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    reason = "a bench prints its figures, and stops where it cannot go on"
)]

#[path = "foundry.rs"]
#[allow(dead_code, reason = "the calibration uses all of it")]
mod foundry;
#[allow(dead_code, reason = "other benches use the rest")]
mod measure;
mod sixty_factors;

use std::hint::black_box;
use std::time::Instant;

use foundry::Plant;
use knowledge::causes::History;
use knowledge::causes::Settings;
use knowledge::causes::Values;
use knowledge::causes::rank;
use measure::peak_mb;
use measure::process_cpu;
use sixty_factors::records;

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
                black_box(knowledge::causes::score_pass(&history, threads));
            });
            let settings = Settings { threads, ..Settings::default() };
            let before = process_cpu();
            let whole = median(runs, || {
                black_box(rank(&history, settings));
            });
            let used = (process_cpu() - before) / runs as f64;
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
