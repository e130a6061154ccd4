//! Columns, scores, rankings, charts.

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use knowledge::causes::{History, Settings, rank, score_pass};
use knowledge::stats::charts::{attributes, cumulative};
use meltkin::jobs::causes::ask;
use records::Store;

use crate::foundry::Plant;
use crate::measure::{Goal, cpu, held, line, median, micros, run};
use crate::{PROGRAM, floor, sixty_factors};

/// The tables that the columns are read from.
const BEHIND: [&str; 8] =
    ["pours", "moulds", "heats", "blades", "coats", "oven_loads", "treatment_loads", "analysis_values"];

pub fn columns(path: &Path) {
    let kept = {
        let mut name = path.as_os_str().to_owned();
        name.push(".columns");
        std::path::PathBuf::from(name)
    };
    let store = Store::open(path).unwrap();
    let (mut anew, mut again, mut scan, mut bytes) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut factors = 0;
    for _ in 0..3 {
        let _ = std::fs::remove_file(&kept);
        for times in [&mut anew, &mut again] {
            let begun = cpu();
            factors = ask::columns(&store).unwrap().columns.len();
            times.push((cpu() - begun) / 1e6);
        }
        let begun = cpu();
        floor::scan_of(&rusqlite::Connection::open(path).unwrap(), &BEHIND.map(String::from)).unwrap();
        scan.push((cpu() - begun) / 1e6);
        let begun = cpu();
        black_box(std::fs::read(&kept).map_or(0, |b| b.len()));
        bytes.push((cpu() - begun) / 1e6);
    }
    let what = format!("{factors} factor columns from tables, CPU (floor: plain scan)");
    held(&what, median(&anew), median(&scan), "s", &[Goal::Most(0.5)]);
    let (ms, floor_ms) = (median(&again) * 1e3, median(&bytes) * 1e3);
    held("the same from the snapshot (floor: its bytes read)", ms, floor_ms, "ms", &[Goal::Most(30.0)]);
    drop(store);
    let _ = std::fs::remove_file(&kept);
    let command =
        format!("'{PROGRAM}' --store '{}' causes --defect misrun --threads 2 > /dev/null", path.display());
    for what in ["a whole question on the store, the first: peak memory", "the same from the snapshot"] {
        let spent = run(&command);
        held(what, spent.peak_mb, 0.0, "MB", &[Goal::Most(150.0)]);
        line("- its CPU, both threads", spent.cpu_s, 0.0, "s");
    }
}

/// Sixty factors, at this size and the smaller ones that have a goal.
pub fn ranking(most: u32) {
    for (moulds, goal) in [(2_000, 0.2), (20_000, 1.5), (125_000, 6.0)] {
        if moulds > most as usize {
            continue;
        }
        for (what, plants) in [("nothing planted", vec![]), ("one cause planted", vec![Plant::SlurryBatch])] {
            let input = sixty_factors::records(moulds, &plants);
            let codes: Vec<u32> = input.blade_mould[..moulds].to_vec();
            let timed = |runs: usize, work: &mut dyn FnMut()| {
                let times: Vec<f64> = (0..runs)
                    .map(|_| {
                        let begun = Instant::now();
                        work();
                        micros(begun) / 1e6
                    })
                    .collect();
                median(&times)
            };
            let floor = timed(5, &mut || {
                for _ in 0..60 {
                    black_box(black_box(&codes).iter().map(|&c| u64::from(c)).sum::<u64>());
                }
            });
            let history = History::new(input).unwrap();
            if plants.is_empty() {
                let score = timed(5, &mut || {
                    black_box(score_pass(&history, 2));
                });
                let goals: &[Goal] = if moulds == 125_000 { &[Goal::Most(60.0)] } else { &[] };
                let what = format!("score pass, 60 factors, {moulds} moulds (floor: sums)");
                held(&what, score * 1e3, floor * 1e3, "ms", goals);
            }
            let settings = Settings { threads: 2, ..Settings::default() };
            let whole = timed(3, &mut || {
                black_box(rank(&history, settings));
            });
            held(&format!("ranking, {moulds} moulds, {what}"), whole, 0.0, "s", &[Goal::Most(goal)]);
        }
    }
}

/// A p chart and an EWMA over 125,000 moulds.
pub fn charts() {
    let n = vec![8_u64; 125_000];
    let x: Vec<u64> = (0..125_000_u64).map(|i| i * 2_654_435_761 % 1_000 / 900).collect();
    let shares: Vec<f64> = x.iter().map(|&x| x as f64 / 8.0).collect();
    // Asked until the scheduler's tick does not matter.
    let spent = |work: &mut dyn FnMut()| {
        let begun = cpu();
        for _ in 0..100 {
            work();
        }
        (cpu() - begun) / 1e5
    };
    let ms = spent(&mut || {
        black_box(attributes::p(black_box(&x), black_box(&n)).unwrap());
        black_box(cumulative::ewma(black_box(&shares), 0.0125, 0.04, 0.2, 3.0, false).unwrap());
    });
    let floor = spent(&mut || {
        black_box(black_box(&x).iter().sum::<u64>());
        black_box(black_box(&shares).iter().sum::<f64>());
    });
    held("p chart and EWMA over 125,000 moulds (floor: sums)", ms, floor, "ms", &[Goal::Most(1.5)]);
}
