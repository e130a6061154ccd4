//! Lists and screens.

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Instant;

use records::Store;

use crate::measure::{Goal, held, median, micros, peak_mb, percentile};
use crate::presses::{first, presses};

/// Said to this program so that it runs the screens in a process of their own.
pub const ALONE: &str = "screens-alone";

/// A page of a list, a tag looked up, against the bare queries.
pub fn lists(path: &Path, moulds: u32) {
    let store = Store::open(path).unwrap();
    let db = crate::records::bare(path);
    let blades = records::catalogue::kind("blades").unwrap();
    let (mut page, mut bare_page, mut found, mut bare_found) = (vec![], vec![], vec![], vec![]);
    for tag in crate::records::blades(moulds, 500) {
        let begun = Instant::now();
        assert_eq!(store.latest(blades, 40).unwrap().len(), 40);
        page.push(micros(begun));
        let begun = Instant::now();
        let mut q = db.prepare_cached("SELECT * FROM blades ORDER BY id DESC LIMIT 40").unwrap();
        let n = q.query_map([], |r| r.get::<_, String>(1)).unwrap().count();
        assert_eq!(n, 40);
        bare_page.push(micros(begun));
        let begun = Instant::now();
        assert!(store.look_up(&tag).unwrap().is_some());
        found.push(micros(begun));
        let begun = Instant::now();
        let mut q =
            db.prepare_cached("SELECT id, blade FROM blades WHERE blade = +?1 COLLATE NOCASE").unwrap();
        assert!(q.exists([&tag]).unwrap());
        bare_found.push(micros(begun));
    }
    let goals = &[Goal::Most(100.0)];
    held("a list page of 40 blades (floor: bare query)", median(&page), median(&bare_page), "µs", goals);
    for (name, time) in [("pours", "poured_at"), ("coats", "in_at"), ("moulds", "assembled_at")] {
        let kind = records::catalogue::kind(name).unwrap();
        let (mut page, mut bare) = (Vec::new(), Vec::new());
        for _ in 0..200 {
            let begun = Instant::now();
            assert_eq!(store.latest(kind, 40).unwrap().len(), 40);
            page.push(micros(begun));
            let begun = Instant::now();
            let sql = format!("SELECT * FROM {name} ORDER BY {time} DESC LIMIT 40");
            let mut q = db.prepare_cached(&sql).unwrap();
            assert_eq!(q.query_map([], |r| r.get::<_, i64>(0)).unwrap().count(), 40);
            bare.push(micros(begun));
        }
        let what = format!("the latest 40 {name} by time (floor: bare query)");
        held(&what, median(&page), median(&bare), "µs", goals);
    }
    held(
        "a tag looked up over all kinds (floor: one table)",
        median(&found),
        median(&bare_found),
        "µs",
        goals,
    );
}

/// Frames while another connection is asked for containments, and what the screens hold in memory.
pub fn frames(path: &Path) {
    let firsts: Vec<f64> = (0..11).map(|_| first(path)).collect();
    held("start to first frame", median(&firsts) / 1e3, 0.0, "ms", &[Goal::Most(50.0)]);
    let tag = crate::floor::largest(&crate::records::bare(path), "slurry_batches").unwrap();
    let done = AtomicBool::new(false);
    let (frames, answers) = std::thread::scope(|s| {
        s.spawn(|| {
            let store = Store::open(path).unwrap();
            while !done.load(Ordering::Relaxed) {
                meltkin::jobs::trace::ask::contain(&store, &tag).unwrap();
            }
        });
        let out = presses(path);
        done.store(true, Ordering::Relaxed);
        out
    });
    held(
        "press to drawn frame, p99, a query running",
        percentile(&frames, 99) / 1e3,
        0.0,
        "ms",
        &[Goal::Most(16.0)],
    );
    held("- the slowest of all frames", percentile(&frames, 100) / 1e3, 0.0, "ms", &[]);
    held("- answer of the worker, slowest", percentile(&answers, 100) / 1e3, 0.0, "ms", &[]);
    let me = std::env::current_exe().unwrap();
    let told = std::process::Command::new(me).arg(ALONE).arg(path).output().unwrap();
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let peak: f64 = String::from_utf8_lossy(&told.stdout).trim().parse().unwrap();
    held("screens, a thousand presses: peak memory", peak, 0.0, "MB", &[Goal::Most(100.0)]);
}

/// The screens in a process of their own: prints the most memory that it held.
pub fn alone(path: &Path) {
    first(path);
    presses(path);
    println!("{}", peak_mb());
}
