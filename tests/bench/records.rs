//! Import, traces, containment, verification, writing: each with its floor.

use std::path::Path;
use std::time::Instant;

use records::Stamp;
use records::{Store, Who};

use crate::PROGRAM;
use crate::floor;
use crate::measure::{Goal, Spent, cpu, held, line, median, micros, percentile, process_cpu, run};

/// A blade of a mould somewhere in the history; the same sequence in every run.
pub fn blades(moulds: u32, n: u32) -> impl Iterator<Item = String> {
    (1..=n).map(move |i| {
        let mould = (u64::from(i) * 2_654_435_761 % u64::from(moulds)) as u32 + 1;
        format!("M{mould:06}-{}", i % 8 + 1)
    })
}

pub fn import(bundle: &Path, store: &Path, home: &Path, times: usize) {
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
    let (cpu_s, floor_s) = (of(&ours, |s| s.cpu_s), of(&bare, |s| s.cpu_s));
    held("full import, CPU (floor: sqlite3 .import)", cpu_s, floor_s, "s", &[Goal::Times(1.0)]);
    line("full import, elapsed", of(&ours, |s| s.elapsed_s), of(&bare, |s| s.elapsed_s), "s");
    let (peak, floor_peak) = (of(&ours, |s| s.peak_mb), of(&bare, |s| s.peak_mb));
    held("full import, peak memory", peak, floor_peak, "MB", &[Goal::Most(300.0)]);
    let size = |p: &Path| std::fs::metadata(p).unwrap().len() as f64 / 1e6;
    let bundle_mb = csv as f64 / 1e6;
    held("file (floor: the CSV bundle)", size(store), bundle_mb, "MB", &[Goal::Times(1.0)]);
    let _ = std::fs::remove_file(copy);
}

/// A connection with the program's settings and nothing else.
pub fn bare(path: &Path) -> rusqlite::Connection {
    let db = rusqlite::Connection::open(path).unwrap();
    db.execute_batch("PRAGMA cache_size = -16384; PRAGMA mmap_size = 0").unwrap();
    db.set_prepared_statement_cache_capacity(64);
    db
}

pub fn trace(path: &Path, moulds: u32) {
    let (store, db) = (Store::open(path).unwrap(), bare(path));
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for warm in [false, true] {
        for blade in blades(moulds, 2_000) {
            let begun = Instant::now();
            let traced = meltkin::jobs::trace::ask::trace(&store, &blade).unwrap();
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
    let (p50, floor) = (percentile(&ours, 50), percentile(&bare, 50));
    held("trace of a blade, p50 (floor: bare queries)", p50, floor, "µs", &[Goal::Most(60.0)]);
    let spend = |ask: &mut dyn FnMut(&str)| {
        let begun = cpu();
        blades(moulds, 4_000).for_each(|b| ask(&b));
        (cpu() - begun) / 4_000.0
    };
    let ours_cpu = spend(&mut |b| assert!(meltkin::jobs::trace::ask::trace(&store, b).is_ok()));
    let bare_cpu = spend(&mut |b| assert!(floor::trace(&db, b).is_ok()));
    held("trace of a blade, CPU, mean", ours_cpu, bare_cpu, "µs", &[Goal::Times(1.3)]);
    let (p99, floor) = (percentile(&ours, 99), percentile(&bare, 99));
    held("trace of a blade, p99", p99, floor, "µs", &[Goal::Most(200.0)]);
}

pub fn contain(path: &Path) {
    let (store, db) = (Store::open(path).unwrap(), bare(path));
    for (what, tag) in [
        ("slurry batch", floor::largest(&db, "slurry_batches").unwrap()),
        ("stucco lot", floor::nearest(&db, 50_000).unwrap()),
        ("ingot lot", floor::largest(&db, "ingot_lots").unwrap()),
        ("heat", floor::largest(&db, "heats").unwrap()),
    ] {
        let n = meltkin::jobs::trace::ask::contain(&store, &tag).unwrap().blades.len();
        assert_eq!(floor::contain(&db, what, &tag).unwrap(), n);
        // Small ones are asked until the scheduler's tick does not matter.
        let times = (400_000 / n.max(1)).max(5);
        let begun = cpu();
        for _ in 0..times {
            assert_eq!(meltkin::jobs::trace::ask::contain(&store, &tag).unwrap().blades.len(), n);
        }
        let ours = cpu() - begun;
        let begun = cpu();
        for _ in 0..times {
            assert_eq!(floor::contain(&db, what, &tag).unwrap(), n);
        }
        let bare = cpu() - begun;
        let each = |spent: f64| spent / (times * n.max(1)) as f64;
        let goals: &[Goal] = if what == "ingot lot" { &[Goal::Most(0.6)] } else { &[] };
        held(&format!("containment of a {what}, {n} blades, CPU each"), each(ours), each(bare), "µs", goals);
        if what == "stucco lot" {
            let of = |spent: f64| each(spent) * 50.0;
            held(
                "the same for 50,000 blades (floor: tags alone)",
                of(ours),
                of(bare),
                "ms",
                &[Goal::Most(30.0)],
            );
        }
    }
}

pub fn from_shell(store: &Path, moulds: u32) {
    let timed = |command: &mut std::process::Command| {
        let begun = Instant::now();
        assert!(command.stdout(std::process::Stdio::null()).status().unwrap().success());
        micros(begun) / 1e3
    };
    let (mut warm, mut cold, mut bare) = (Vec::new(), Vec::new(), Vec::new());
    for blade in blades(moulds, 41) {
        let mut trace = std::process::Command::new(PROGRAM);
        trace.arg("--store").arg(store).arg("trace").arg(blade);
        warm.push(timed(&mut trace));
        bare.push(timed(&mut std::process::Command::new("true")));
        // The system is asked to let go of the file's pages.
        let mut drop = std::process::Command::new("dd");
        drop.arg(format!("if={}", store.display())).args(["iflag=nocache", "count=0", "status=none"]);
        timed(&mut drop);
        cold.push(timed(&mut trace));
    }
    let floor = median(&bare);
    held("trace TAG from the shell, warm (floor: true)", median(&warm), floor, "ms", &[Goal::Most(5.0)]);
    held("trace TAG from the shell, file not in cache", median(&cold), floor, "ms", &[Goal::Most(15.0)]);
}

pub fn verify(path: &Path) {
    let store = Store::open(path).unwrap();
    let (mut ours, mut bare, mut spent, mut spent_bare) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut alone = Vec::new();
    let mut rows = 0;
    for _ in 0..3 {
        let (begun, before) = (Instant::now(), process_cpu());
        let found = store.verify(None, &mut |_| {}).unwrap();
        ours.push(micros(begun) / 1e6);
        spent.push(process_cpu() - before);
        assert!(found.faults.is_empty());
        rows = found.rows;
        let before = cpu();
        assert!(store.verify_records().unwrap().faults.is_empty());
        alone.push((cpu() - before) / 1e6);
        let (begun, before) = (Instant::now(), process_cpu());
        floor::scan(&rusqlite::Connection::open(path).unwrap()).unwrap();
        bare.push(micros(begun) / 1e6);
        spent_bare.push(process_cpu() - before);
    }
    let (figure, floor) = (median(&ours), median(&bare));
    held(&format!("verify, {rows} rows (floor: plain scan)"), figure, floor, "s", &[Goal::Times(1.6)]);
    line("verify, CPU of both threads", median(&spent), median(&spent_bare), "s");
    let what = "journal and record digests alone, CPU (floor: plain scan)";
    held(what, median(&alone), median(&spent_bare), "s", &[]);
    held("- rows a second of CPU", rows as f64 / median(&alone) / 1e6, 0.0, "M/s", &[Goal::Least(2.0)]);
    held("verify, rows a second", rows as f64 / figure / 1e6, 0.0, "M/s", &[Goal::Least(2.0)]);
}

pub fn export(path: &Path, home: &Path) {
    let store = Store::open(path).unwrap();
    let folder = home.join("export");
    let begun = Instant::now();
    meltkin::jobs::file::bundle::export(&store, &folder, &mut |_, _, _| {}).unwrap();
    let ours = micros(begun) / 1e6;
    let begun = Instant::now();
    floor::scan(&rusqlite::Connection::open(path).unwrap()).unwrap();
    line("export (floor: plain scan)", ours, micros(begun) / 1e6, "s");
    let _ = std::fs::remove_dir_all(folder);
}

pub fn log(path: &Path, home: &Path) {
    let mut store = Store::open(path).unwrap();
    let who = Who::new(None, Stamp::parse("2041-01-01T08:00:00+00:00").unwrap());
    let at = "2041-01-01T07:55:00+00:00";
    let words = |text: &str| text.split(' ').map(String::from).collect::<Vec<_>>();
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for i in 0..200 {
        let mould = words(&format!("mould=NEW-{i} part=PT-A running_system=RS-B8 assembled_at={at}"));
        meltkin::jobs::records::ask::log(&mut store, &who, "moulds", &mould, None).unwrap();
        let pour =
            words(&format!("mould=NEW-{i} heat=H000001 poured_at={at} indicated_c=1470 pyrometer=PY-1"));
        let begun = Instant::now();
        meltkin::jobs::records::ask::log(&mut store, &who, "pours", &pour, None).unwrap();
        ours.push(micros(begun));
        bare.push(floor::sync(home).unwrap());
    }
    let (p50, floor) = (percentile(&ours, 50), percentile(&bare, 50));
    held("one pour logged, p50 (floor: fdatasync)", p50, floor, "µs", &[Goal::Times(1.5)]);
    line("one pour logged, p99", percentile(&ours, 99), percentile(&bare, 99), "µs");
}

/// Writers that log one record after the other for some seconds, each on a connection of its own.
pub fn writers(path: &Path) {
    for (n, goal) in [(4, 0.25), (16, 0.5)] {
        let until = Instant::now() + std::time::Duration::from_secs(6);
        let one = |w: u32| {
            let mut store = Store::open(path).unwrap();
            let who = Who::new(None, Stamp::parse("2041-01-02T08:00:00+00:00").unwrap());
            let mut waits = Vec::new();
            while Instant::now() < until {
                let words = [
                    format!("mould=W{n}-{w}-{}", waits.len()),
                    "part=PT-A".into(),
                    "running_system=RS-B8".into(),
                    "assembled_at=2041-01-02T07:55:00+00:00".into(),
                ];
                let begun = Instant::now();
                meltkin::jobs::records::ask::log(&mut store, &who, "moulds", &words, None).unwrap();
                waits.push(micros(begun) / 1e6);
            }
            waits
        };
        let waits: Vec<f64> = std::thread::scope(|s| {
            let started: Vec<_> = (0..n).map(|w| s.spawn(move || one(w))).collect();
            started.into_iter().flat_map(|t| t.join().unwrap()).collect()
        });
        let what = format!("{n} writers, {} writes in 6 s, none failed: worst wait", waits.len());
        held(&what, percentile(&waits, 100), 0.0, "s", &[Goal::Most(goal)]);
    }
}
