//! Time of a frame on a large store: `cargo bench --bench frames`, or `-- MOULDS` for another size.
//!
//! First frame: from opening the store to the drawn board that shows its moulds. Then 1000 presses, each
//! with the answers that it asks for left to the worker, as in the program: the time from the press to
//! the drawn buffer. Goals at 160,000 blades: first frame 50 ms, 99 of 100 frames within 16 ms.
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench prints, and stops where it cannot go on"
)]
#[allow(dead_code, reason = "other benches use the rest")]
mod measure;
mod presses;

use std::path::PathBuf;

use meltkin::demo::maker::Plan;

use measure::line;
use measure::median;
use measure::percentile;
use presses::charts;
use presses::first;
use presses::presses;

fn main() {
    let asked = std::env::args().skip(1).find(|a| !a.starts_with('-'));
    let moulds = asked.and_then(|a| a.parse().ok()).unwrap_or(20_000);
    let home = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("frames-{moulds}"));
    let store = home.join("store.db");
    if !store.exists() {
        std::fs::create_dir_all(&home).unwrap();
        let bundle = home.join("bundle");
        meltkin::jobs::file::demo::make(&bundle, &Plan { moulds, seed: 1 }).unwrap();
        let program = env!("CARGO_BIN_EXE_meltkin");
        let words = ["--store", store.to_str().unwrap(), "import", bundle.to_str().unwrap()];
        let done = std::process::Command::new(program).args(words).output().unwrap();
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }
    println!("{:<44} {:>14} {:>14} {:>8}", format!("{moulds} moulds"), "figure", "goal", "ratio");
    let firsts: Vec<f64> = (0..11).map(|_| first(&store)).collect();
    line("first frame (median of 11)", median(&firsts) / 1e3, 50.0, "ms");
    let (frames, answers) = presses(&store);
    line("frame, median", median(&frames) / 1e3, 16.0, "ms");
    line("frame, 99 of 100", percentile(&frames, 99) / 1e3, 16.0, "ms");
    line("frame, slowest", percentile(&frames, 100) / 1e3, 16.0, "ms");
    line("answer of the worker, median", median(&answers) / 1e3, 0.0, "ms");
    line("answer of the worker, slowest", percentile(&answers, 100) / 1e3, 0.0, "ms");
    let (frames, answers) = charts(&store);
    line("chart desk: frame, 99 of 100", percentile(&frames, 99) / 1e3, 16.0, "ms");
    line("chart desk: a picture, median", median(&answers) / 1e3, 0.0, "ms");
}
