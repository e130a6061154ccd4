//! Made histories: same plan, same bytes, and nothing that the import would refuse.
#![allow(clippy::unwrap_used, reason = "a test stops where it cannot go on")]

use std::collections::BTreeMap;
use std::io::Write;
use std::sync::{Arc, Mutex};

use meltkin::demo::maker::{Plan, make};
use meltkin::jobs::file::bundle;
use records::Stamp;
use records::{Store, Who};

type Files = BTreeMap<String, Arc<Mutex<Vec<u8>>>>;

struct Kept(Arc<Mutex<Vec<u8>>>);

impl Write for Kept {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

fn made(moulds: u32, seed: u64) -> BTreeMap<String, Vec<u8>> {
    let mut files = Files::new();
    make(&Plan { moulds, seed }, &mut |kind| {
        let kept = Arc::new(Mutex::new(Vec::new()));
        files.insert(kind.to_string(), kept.clone());
        Ok(Box::new(Kept(kept)))
    })
    .unwrap();
    files.into_iter().map(|(k, v)| (k, v.lock().unwrap().clone())).collect()
}

#[test]
fn the_same_seed_gives_the_same_bytes() {
    let one = made(60, 7);
    assert_eq!(one, made(60, 7));
    assert_ne!(one["inspections"], made(60, 8)["inspections"]);
    let rows = |kind: &str| one[kind].iter().filter(|b| **b == b'\n').count() - 1;
    assert_eq!((rows("moulds"), rows("blades"), rows("coats")), (60, 480, 480));
}

/// The clock that it comes with is later than all that it tells of: no record lies in its future.
#[test]
fn its_clock_is_after_its_records() {
    for (moulds, seed) in [(1, 1), (60, 7), (400, 3)] {
        let mut read = 0;
        let files = made(moulds, seed);
        let clock = String::from_utf8(files["settings"].clone()).unwrap();
        let clock = clock.lines().nth(1).unwrap().strip_prefix("clock,").unwrap();
        let clock = Stamp::parse(clock).unwrap();
        for (kind, text) in files.iter().filter(|(kind, _)| *kind != "settings") {
            let text = String::from_utf8(text.clone()).unwrap();
            let header: Vec<&str> = text.lines().next().unwrap().split(',').collect();
            let time = records::catalogue::kind(kind)
                .unwrap()
                .time
                .and_then(|t| header.iter().position(|h| *h == t));
            let Some(time) = time else { continue };
            for line in text.lines().skip(1) {
                let Ok(at) = Stamp::parse(line.split(',').nth(time).unwrap()) else { continue };
                assert!(at.ms() <= clock.ms(), "{kind}: {line}");
                read += 1;
            }
        }
        assert!(read > 10 * moulds, "only {read} times were read");
    }
}

/// A made bundle is imported without a fault, into a store that is whole afterwards.
#[test]
fn it_is_imported_whole() {
    let folder = tempfile::tempdir().unwrap();
    let bundle_at = folder.path().join("bundle");
    meltkin::jobs::file::demo::make(&bundle_at, &Plan { moulds: 120, seed: 3 }).unwrap();
    let mut store = Store::create(&folder.path().join("made.db")).unwrap();
    let who = Who::new(None, Stamp::parse("2031-05-26T08:00:00+00:00").unwrap());
    let done = bundle::import(&mut store, &who, &bundle_at, None, false, &mut |_, _, _| {}).unwrap();
    assert_eq!(done.faults, []);
    assert_eq!((done.records["blades"], done.records["coats"]), (960, 960));
    assert_eq!(store.verify(None, &mut |_| {}).unwrap().faults.len(), 0);
    // Its revert comes from earlier heats, to the third generation and no further.
    let trace = meltkin::jobs::trace::ask::trace(&store, "H000016").unwrap();
    let reverts = trace.nodes.iter().filter(|n| n.kind == "revert_lots").count();
    assert_eq!(reverts, 3);
    // A second folder of the same name is not written over.
    assert!(meltkin::jobs::file::demo::make(&bundle_at, &Plan { moulds: 1, seed: 3 }).is_err());
}

/// A first load has no name until it is settled; two at once do not disturb each other's file, and
/// what an interrupted one left goes with the next.
#[test]
fn a_first_load_is_named_when_it_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("new.db");
    // No process has this number: Linux gives them up to 4,194,304.
    let left = folder.path().join("new.db.loading-999999999");
    std::fs::write(&left, "half a store").unwrap();
    let store = Store::create_for_load(&path).unwrap();
    assert!(!path.exists());
    assert_eq!(left.exists(), !std::path::Path::new("/proc/self").exists());
    store.abandon();
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), usize::from(left.exists()));
    let store = Store::create_for_load(&path).unwrap();
    // Somebody makes the store meanwhile: it is left as it is.
    drop(Store::create(&path).unwrap());
    assert!(!store.settle().unwrap());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 1 + usize::from(left.exists()));
    Store::open(&path).unwrap();
}
