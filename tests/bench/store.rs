//! The store's figures, each with the floor of the same machine in the same run and their ratio.
//!
//! `cargo bench --bench store` runs at M; `cargo bench --bench store -- S` (or L, or a number of
//! moulds; or MELTKIN_BENCH=L) at another size. The floor is what cannot be had for less: the bare
//! queries, a process that does nothing, `sqlite3 .import` of the same files, a plain scan, an
//! `fdatasync`. A second word runs one part: import, trace, contain, shell, verify, export, log.
//! Figures are medians where several runs are quick. Absolute times are this machine's; CPU time and
//! ratios are what to compare.
#![allow(clippy::disallowed_types, reason = "the floor of a query is the query itself")]
#![allow(
    clippy::print_stdout,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a bench prints, and stops where it cannot go on"
)]

mod floor;
mod measure;

use std::path::{Path, PathBuf};
use std::time::Instant;

use meltkin::domain::Stamp;
use meltkin::ops::{self, Plan, Store, Who};

use measure::{Spent, cpu, line, median, micros, percentile, run};

const PROGRAM: &str = env!("CARGO_BIN_EXE_meltkin");

fn main() {
    let mut words = std::env::args().skip(1).filter(|a| !a.starts_with('-'));
    let (asked, part) = (words.next(), words.next());
    let part = |name: &str| part.as_deref().is_none_or(|p| p == name);
    let asked = asked.or_else(|| std::env::var("MELTKIN_BENCH").ok()).unwrap_or_else(|| "M".into());
    let moulds = match asked.as_str() {
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
    let bundle = home.join("bundle");
    let begun = Instant::now();
    let made = ops::demo::make(&bundle, &Plan { moulds, seed: 1 }).unwrap();
    println!(
        "invented foundry: {} moulds, {} blades, {} heats, {} inspections, {} findings; made in {:.1} s",
        made.moulds,
        made.blades,
        made.heats,
        made.inspections,
        made.findings,
        begun.elapsed().as_secs_f64()
    );
    println!("{:<44} {:>14} {:>14} {:>8}", "what", "figure", "floor", "ratio");
    let store = home.join("store.db");
    if part("import") {
        import(&bundle, &store, &home, if moulds > 50_000 { 1 } else { 3 });
    } else {
        let command =
            format!("'{PROGRAM}' --store '{}' import '{}' > /dev/null", store.display(), bundle.display());
        run(&command);
    }
    if part("trace") {
        trace(&store, moulds);
    }
    if part("contain") {
        contain(&store);
    }
    if part("shell") {
        from_shell(&store, moulds);
    }
    if part("verify") {
        verify(&store);
    }
    if part("export") {
        export(&store, &home);
    }
    if part("log") {
        log(&store, &home);
    }
    let _ = std::fs::remove_dir_all(&home);
}

/// A blade of a mould somewhere in the history; the same sequence in every run.
fn blades(moulds: u32, n: u32) -> impl Iterator<Item = String> {
    (1..=n).map(move |i| {
        let mould = (u64::from(i) * 2_654_435_761 % u64::from(moulds)) as u32 + 1;
        format!("M{mould:06}-{}", i % 8 + 1)
    })
}

fn import(bundle: &Path, store: &Path, home: &Path, times: usize) {
    let (mut ours, mut bare): (Vec<Spent>, Vec<Spent>) = (Vec::new(), Vec::new());
    let copy = home.join("bare.db");
    let mut script = String::new();
    let mut csv = 0;
    for file in std::fs::read_dir(bundle).unwrap().map(Result::unwrap) {
        let name = file.file_name().into_string().unwrap();
        script.push_str(&format!(".import --csv '{}' {}\n", file.path().display(), name.replace(".csv", "")));
        csv += file.metadata().unwrap().len();
    }
    let list = home.join("import.sql");
    std::fs::write(&list, script).unwrap();
    for _ in 0..times {
        for file in [store, &copy] {
            let _ = std::fs::remove_file(file);
        }
        let (at, from) = (store.display(), bundle.display());
        ours.push(run(&format!("'{PROGRAM}' --store '{at}' import '{from}' > /dev/null")));
        bare.push(run(&format!("sqlite3 '{}' < '{}' > /dev/null", copy.display(), list.display())));
    }
    let of = |v: &[Spent], f: fn(&Spent) -> f64| median(&v.iter().map(f).collect::<Vec<_>>());
    line("full import, CPU (floor: sqlite3 .import)", of(&ours, |s| s.cpu_s), of(&bare, |s| s.cpu_s), "s");
    line("full import, elapsed", of(&ours, |s| s.elapsed_s), of(&bare, |s| s.elapsed_s), "s");
    line("full import, peak memory", of(&ours, |s| s.peak_mb), of(&bare, |s| s.peak_mb), "MB");
    let size = |p: &Path| std::fs::metadata(p).unwrap().len() as f64 / 1e6;
    line("file (floor: the CSV bundle)", size(store), csv as f64 / 1e6, "MB");
    let _ = std::fs::remove_file(copy);
}

fn bare(path: &Path) -> rusqlite::Connection {
    let db = rusqlite::Connection::open(path).unwrap();
    db.execute_batch("PRAGMA cache_size = -16384; PRAGMA mmap_size = 0").unwrap();
    db.set_prepared_statement_cache_capacity(64);
    db
}

fn trace(path: &Path, moulds: u32) {
    let (store, db) = (Store::open(path).unwrap(), bare(path));
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for warm in [false, true] {
        for blade in blades(moulds, 2_000) {
            let begun = Instant::now();
            let traced = ops::lineage::trace(&store, &blade).unwrap();
            let spent = micros(begun);
            assert!(traced.nodes.len() > 10);
            let begun = Instant::now();
            assert!(floor::trace(&db, &blade).unwrap() > 10);
            if warm {
                ours.push(spent);
                bare.push(micros(begun));
            }
        }
    }
    line("trace of a blade, p50 (floor: bare queries)", percentile(&ours, 50), percentile(&bare, 50), "µs");
    let spend = |ask: &mut dyn FnMut(&str)| {
        let begun = cpu();
        blades(moulds, 4_000).for_each(|b| ask(&b));
        (cpu() - begun) / 4_000.0
    };
    let ours_cpu = spend(&mut |b| assert!(ops::lineage::trace(&store, b).is_ok()));
    let bare_cpu = spend(&mut |b| assert!(floor::trace(&db, b).is_ok()));
    line("trace of a blade, CPU, mean", ours_cpu, bare_cpu, "µs");
    line("trace of a blade, p99", percentile(&ours, 99), percentile(&bare, 99), "µs");
}

fn contain(path: &Path) {
    let (store, db) = (Store::open(path).unwrap(), bare(path));
    for (what, tag) in [
        ("slurry batch", floor::largest(&db, "slurry_batches").unwrap()),
        ("ingot lot", floor::largest(&db, "ingot_lots").unwrap()),
        ("heat", floor::largest(&db, "heats").unwrap()),
    ] {
        let n = ops::lineage::contain(&store, &tag).unwrap().blades.len();
        assert_eq!(floor::contain(&db, what, &tag).unwrap(), n);
        // Small ones are asked until the scheduler's tick does not matter.
        let times = (200_000 / n.max(1)).max(5);
        let begun = cpu();
        for _ in 0..times {
            assert_eq!(ops::lineage::contain(&store, &tag).unwrap().blades.len(), n);
        }
        let ours = cpu() - begun;
        let begun = cpu();
        for _ in 0..times {
            assert_eq!(floor::contain(&db, what, &tag).unwrap(), n);
        }
        let bare = cpu() - begun;
        let each = |spent: f64| spent / (times * n.max(1)) as f64;
        line(&format!("containment of a {what}, {n} blades, CPU each"), each(ours), each(bare), "µs");
    }
}

fn from_shell(store: &Path, moulds: u32) {
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for blade in blades(moulds, 41) {
        let mut traced = std::process::Command::new(PROGRAM);
        traced.arg("--store").arg(store).arg("trace").arg(blade).stdout(std::process::Stdio::null());
        let begun = Instant::now();
        assert!(traced.status().unwrap().success());
        ours.push(micros(begun) / 1e3);
        let begun = Instant::now();
        assert!(std::process::Command::new("true").status().unwrap().success());
        bare.push(micros(begun) / 1e3);
    }
    line("trace TAG from the shell, warm (floor: true)", median(&ours), median(&bare), "ms");
}

fn verify(path: &Path) {
    let store = Store::open(path).unwrap();
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    let mut rows = 0;
    for _ in 0..3 {
        let begun = Instant::now();
        let found = store.verify(None, &mut |_| {}).unwrap();
        ours.push(micros(begun) / 1e6);
        assert!(found.faults.is_empty());
        rows = found.rows;
        let begun = Instant::now();
        floor::scan(&rusqlite::Connection::open(path).unwrap()).unwrap();
        bare.push(micros(begun) / 1e6);
    }
    line(&format!("verify, {rows} rows (floor: plain scan)"), median(&ours), median(&bare), "s");
    println!("{:<44} {:>11.2} M/s", "verify, rows a second", rows as f64 / median(&ours) / 1e6);
}

fn export(path: &Path, home: &Path) {
    let store = Store::open(path).unwrap();
    let folder = home.join("export");
    let begun = Instant::now();
    ops::bundle::export(&store, &folder, &mut |_, _, _| {}).unwrap();
    let ours = micros(begun) / 1e6;
    let begun = Instant::now();
    floor::scan(&rusqlite::Connection::open(path).unwrap()).unwrap();
    line("export (floor: plain scan)", ours, micros(begun) / 1e6, "s");
    let _ = std::fs::remove_dir_all(folder);
}

fn log(path: &Path, home: &Path) {
    let mut store = Store::open(path).unwrap();
    let who = Who { person: None, now: Stamp::parse("2041-01-01T08:00:00+00:00").unwrap() };
    let at = "2041-01-01T07:55:00+00:00";
    let words = |text: &str| text.split(' ').map(String::from).collect::<Vec<_>>();
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for i in 0..200 {
        let mould = words(&format!("mould=NEW-{i} part=PT-A running_system=RS-B8 assembled_at={at}"));
        ops::records::log(&mut store, &who, "moulds", &mould, None).unwrap();
        let pour =
            words(&format!("mould=NEW-{i} heat=H000001 poured_at={at} indicated_c=1470 pyrometer=PY-1"));
        let begun = Instant::now();
        ops::records::log(&mut store, &who, "pours", &pour, None).unwrap();
        ours.push(micros(begun));
        bare.push(floor::sync(home).unwrap());
    }
    line("one pour logged, p50 (floor: fdatasync)", percentile(&ours, 50), percentile(&bare, 50), "µs");
    line("one pour logged, p99", percentile(&ours, 99), percentile(&bare, 99), "µs");
}
