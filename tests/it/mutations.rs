//! Bytes changed at random, from a seed: no panic, and what is taken in holds. MELTKIN_MUTATIONS=N
//! sets the number of trials (a long run: 1000000), MELTKIN_SEED the seed.

use std::path::Path;

use knowledge::lineage::{Melted, shares_of};
use meltkin::jobs::file::bundle;
use meltkin::jobs::trace::ask;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64;
use records::value::tag;
use records::{Record, Stamp, Value, catalogue};
use records::{Store, Who};

use crate::support::{Foundry, SMALL};

fn trials(short: u32) -> u32 {
    std::env::var("MELTKIN_MUTATIONS").ok().and_then(|n| n.parse().ok()).unwrap_or(short)
}

fn dice() -> Pcg64 {
    Pcg64::seed_from_u64(std::env::var("MELTKIN_SEED").ok().and_then(|n| n.parse().ok()).unwrap_or(1))
}

fn below(dice: &mut Pcg64, n: usize) -> usize {
    (dice.next_u64() % n.max(1) as u64) as usize
}

const ODD: &[&str] = &[
    "",
    "\"",
    "\"\"",
    ",",
    "\n",
    "\r\n",
    "\u{feff}",
    "n/a",
    "illegible",
    "<",
    "<5",
    "-0",
    "1e308",
    "NaN",
    "\u{202e}",
    "\0",
    "9223372036854775808",
    "2031-02-29T00:00:00Z",
    "9999-12-31T23:59:59+14:00",
    "@",
    "/",
    ":",
    "=1+1",
    "é",
    "\t",
];

/// One to four changes: a bit, a cut, a piece twice, an odd text.
fn mutate(dice: &mut Pcg64, bytes: &mut Vec<u8>) {
    for _ in 0..=below(dice, 4) {
        let at = below(dice, bytes.len());
        match below(dice, 5) {
            0 if !bytes.is_empty() => bytes[at] ^= 1 << below(dice, 8),
            1 => bytes.truncate(at),
            2 => {
                let piece = bytes[at..(at + below(dice, 30)).min(bytes.len())].to_vec();
                bytes.splice(at..at, piece);
            }
            3 => {
                bytes.drain(at..(at + below(dice, 8)).min(bytes.len()));
            }
            _ => {
                bytes.splice(at..at, ODD[below(dice, ODD.len())].bytes());
            }
        }
    }
}

fn who() -> Who {
    Who::new(None, Stamp::parse("2031-04-01T00:00:00Z").unwrap())
}

#[test]
fn of_bundles_are_refused_or_hold() {
    let (mut dice, folder) = (dice(), tempfile::tempdir().unwrap());
    let mut taken = 0;
    for n in 0..trials(150) {
        for (name, text) in SMALL {
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        let (name, text) = SMALL[below(&mut dice, SMALL.len())];
        let mut bytes = text.as_bytes().to_vec();
        mutate(&mut dice, &mut bytes);
        std::fs::write(folder.path().join(name), &bytes).unwrap();
        let mut store = Store::memory().unwrap();
        let done = bundle::import(&mut store, &who(), folder.path(), None, false, &mut |_, _, _| {});
        let shown = String::from_utf8_lossy(&bytes);
        let found = store.verify(None, &mut |_| {}).unwrap();
        assert!(found.faults.is_empty(), "trial {n}, {name}: {shown}: {:?}", found.faults);
        match done {
            Ok(done) if done.faults.is_empty() => {
                taken += 1;
                let out = tempfile::tempdir().unwrap();
                bundle::export(&store, out.path(), &mut |_, _, _| {}).unwrap();
                let mut second = Store::memory().unwrap();
                let again =
                    bundle::import(&mut second, &who(), out.path(), None, false, &mut |_, _, _| {}).unwrap();
                assert!(again.faults.is_empty(), "trial {n}, {name}: {shown}: {:?}", again.faults);
                let twice = tempfile::tempdir().unwrap();
                bundle::export(&second, twice.path(), &mut |_, _, _| {}).unwrap();
                assert_eq!(read_all(out.path()), read_all(twice.path()), "trial {n}, {name}: {shown}");
            }
            _ => assert_eq!(found.rows, 0, "trial {n}, {name}: refused and yet written"),
        }
    }
    assert!(taken > 0, "some changes must pass, or the round trip is not tried");
}

fn read_all(folder: &Path) -> Vec<(String, String)> {
    let mut out: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .map(|p| (p.file_name().unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(p).unwrap()))
        .collect();
    out.sort();
    out
}

#[test]
fn of_stores_are_opened_or_refused() {
    let foundry = Foundry::small();
    let whole = std::fs::read(foundry.store()).unwrap();
    let sound = ask::trace(&Store::open(&foundry.store()).unwrap(), "M31-002-1").unwrap();
    let sound = format!("{sound:?}");
    let (mut dice, bad, mut refused) = (dice(), foundry.path("bad.db"), 0);
    for n in 0..trials(150) {
        let mut bytes = whole.clone();
        if below(&mut dice, 4) == 0 {
            // The settings of the file itself, at its start.
            let at = below(&mut dice, 100);
            bytes[at] ^= 1 << below(&mut dice, 8);
        } else {
            mutate(&mut dice, &mut bytes);
        }
        for end in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(foundry.path(&format!("bad.db{end}")));
        }
        std::fs::write(&bad, &bytes).unwrap();
        let answer = Store::open(&bad).and_then(|store| {
            store.check_of_the_day(who().now)?;
            ask::checked_trace(&store, "M31-002-1")
        });
        match answer {
            Ok(trace) => assert_eq!(format!("{trace:?}"), sound, "trial {n}: a wrong answer"),
            Err(e) => {
                refused += 1;
                assert!(e.to_string().len() > 20, "trial {n}: {e}");
            }
        }
    }
    assert!(refused > 0, "some changes must hit what is in use");
}

#[test]
fn of_tags_and_values_are_read_or_refused() {
    let mut dice = dice();
    let seeds = [
        "M31-041",
        "1480.5",
        "2031-03-04T09:05:00+00:00",
        "2031-03-04",
        "reject",
        "<0.05",
        "a \"b\"\nc",
        "12",
    ];
    let (mut tags, mut values) = (0, 0);
    for _ in 0..trials(3000) {
        let mut bytes = seeds[below(&mut dice, seeds.len())].as_bytes().to_vec();
        mutate(&mut dice, &mut bytes);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        let known = tag::check(&text).is_ok();
        tags += usize::from(known);
        assert!(!known || !text.chars().any(records::value::unseen::unseen), "{text:?}");
        assert!(!tag::shown(&text).chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
        for kind in catalogue::all() {
            for field in kind.fields {
                let Ok(value) = Value::read(field, &text) else { continue };
                values += 1;
                let again = value.to_text();
                let second =
                    Value::read(field, &again).unwrap_or_else(|e| panic!("{text:?} as {again:?}: {e}"));
                assert_eq!(second.to_text(), again, "{text:?} in {}.{}", kind.name, field.name);
                let mut record = Record::blank(kind);
                record.set(field.name, value);
            }
        }
    }
    assert!(tags > 0 && values > 0, "some changes must pass: {tags} tags, {values} values");
}

#[test]
fn shares_of_metal_add_up() {
    let mut dice = dice();
    for _ in 0..trials(300) {
        let nodes = 2 + below(&mut dice, 12);
        let mut edges = Vec::new();
        for child in 0..nodes - 1 {
            // Some metal was bought.
            if child > 0 && below(&mut dice, 4) == 0 {
                continue;
            }
            for _ in 0..=below(&mut dice, 3) {
                let parent = child + 1 + below(&mut dice, nodes - child - 1);
                edges.push(Melted { child, parent, mass_kg: Some(0.1 + below(&mut dice, 1000) as f64) });
            }
        }
        let shares = shares_of(0, nodes, &edges);
        // What nothing went into is bought metal: it is all of the metal.
        let bought: f64 =
            (0..nodes).filter(|n| !edges.iter().any(|e| e.child == *n)).filter_map(|n| shares[n]).sum();
        assert!((bought - 1.0).abs() < 1e-9, "{bought}: {edges:?}");
        assert!(shares.iter().flatten().all(|s| (0.0..=1.0 + 1e-9).contains(s)));
    }
}

#[test]
fn containment_adds_up_and_agrees_with_traces() {
    let foundry = Foundry::small();
    let store = Store::open(&foundry.store()).unwrap();
    let blades = ["M31-001-1", "M31-001-2", "M31-002-1", "M31-002-2"];
    for source in
        ["IL31-01", "IL31-02", "H31-001", "H31-002", "RV31-01", "M31-001", "PS31-01", "FL31-01", "SB-1"]
    {
        let contained = ask::contain(&store, source).unwrap();
        assert_eq!(contained.totals.values().sum::<usize>(), contained.blades.len(), "{source}");
        let reached = blades
            .iter()
            .filter(|b| ask::trace(&store, b).unwrap().nodes.iter().any(|n| n.tag == source))
            .count();
        assert_eq!(reached, contained.blades.len(), "{source}: down and up must agree");
    }
}
