//! Every figure that the program is held to, each with its floor of the same machine in the same run,
//! their ratio, its goal, and whether it is met.
//!
//! `cargo bench --bench decade` runs at M (20,000 moulds, 160,000 blades); `-- S`, `-- L` (125,000 moulds,
//! a million blades, a decade of a small foundry) or `-- MOULDS` at another size. A second word runs one
//! part: import, trace, contain, shell, verify, export, lists, frames, columns, ranking, charts, log,
//! writers. `MELTKIN_BENCH_BUNDLE=FOLDER` takes a bundle that is there, `MELTKIN_BENCH_STORE=FILE` a copy of
//! its store. The floor is what cannot be had for less: the bare queries, a process that does nothing,
//! `sqlite3 .import` of the same files, a plain scan, an `fdatasync`. Absolute times are this machine's; CPU
//! time and ratios are what to compare.
#![allow(clippy::disallowed_types, reason = "the floor of a query is the query itself")]
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench prints, and stops where it cannot go on"
)]

mod analysis;
mod floor;
#[allow(dead_code, reason = "the calibration uses all of it")]
mod foundry;
mod measure;
#[allow(dead_code, reason = "the frames bench uses all of it")]
mod presses;
mod records;
mod screens;
mod sixty_factors;

use std::path::PathBuf;
use std::sync::atomic::Ordering;
use std::time::Instant;

use meltkin::demo::maker::Plan;

use measure::{MET, MISSED, head, run};

const PROGRAM: &str = env!("CARGO_BIN_EXE_meltkin");

fn main() {
    let mut words = std::env::args().skip(1).filter(|a| !a.starts_with('-'));
    let (asked, part) = (words.next(), words.next());
    if asked.as_deref() == Some(screens::ALONE) {
        return screens::alone(&PathBuf::from(part.unwrap()));
    }
    let part = |name: &str| part.as_deref().is_none_or(|p| p == name);
    let moulds = match asked.as_deref().unwrap_or("M") {
        "S" => 1_000,
        "M" => 20_000,
        "L" => 125_000,
        other => other.parse().unwrap_or_else(|_| {
            eprintln!("{other} is no size: S, M, L or a number of moulds");
            std::process::exit(2)
        }),
    };
    let home = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("bench-{moulds}"));
    let _ = std::fs::remove_dir_all(&home);
    std::fs::create_dir_all(&home).unwrap();
    let bundle = match std::env::var_os("MELTKIN_BENCH_BUNDLE") {
        Some(there) => PathBuf::from(there),
        None => {
            let bundle = home.join("bundle");
            let begun = Instant::now();
            let made = meltkin::jobs::file::demo::make(&bundle, &Plan { moulds, seed: 1 }).unwrap();
            println!(
                "invented foundry: {} moulds, {} blades, {} heats, {} inspections, {} findings; made in {:.1} s",
                made.moulds,
                made.blades,
                made.heats,
                made.inspections,
                made.findings,
                begun.elapsed().as_secs_f64()
            );
            bundle
        }
    };
    head();
    let store = home.join("store.db");
    if part("import") {
        records::import(&bundle, &store, &home, if moulds > 50_000 { 1 } else { 3 });
    } else if let Some(there) = std::env::var_os("MELTKIN_BENCH_STORE") {
        std::fs::copy(there, &store).unwrap();
    } else {
        let (at, from) = (store.display(), bundle.display());
        run(&format!("'{PROGRAM}' --store '{at}' import '{from}' > /dev/null"));
    }
    let parts: [(&str, &dyn Fn()); 12] = [
        ("trace", &|| records::trace(&store, moulds)),
        ("contain", &|| records::contain(&store)),
        ("shell", &|| records::from_shell(&store, moulds)),
        ("verify", &|| records::verify(&store)),
        ("export", &|| records::export(&store, &home)),
        ("lists", &|| screens::lists(&store, moulds)),
        ("frames", &|| screens::frames(&store)),
        ("columns", &|| analysis::columns(&store)),
        ("ranking", &|| analysis::ranking(moulds)),
        ("charts", &analysis::charts),
        ("log", &|| records::log(&store, &home)),
        ("writers", &|| records::writers(&store)),
    ];
    for (name, work) in parts {
        if part(name) {
            work();
        }
    }
    println!("{} goals met, {} missed", MET.load(Ordering::Relaxed), MISSED.load(Ordering::Relaxed));
    let _ = std::fs::remove_dir_all(&home);
}
