//! One CSV of any kind (the first byte chooses it) into a store that has a record of every kind.
#![no_main]
use std::cell::RefCell;

use libfuzzer_sys::fuzz_target;
use meltkin::domain::catalogue;
use meltkin::ops::{Store, bundle};
use meltkin_fuzz::{answers_are_finite, begin, comes_round, foundry, scratch, sound, who};

thread_local!(static BASE: RefCell<Option<(Store, (String, u64))>> = const { RefCell::new(None) });

fuzz_target!(|data: &[u8]| {
    begin();
    let Some((first, text)) = data.split_first() else { return };
    let kinds: Vec<_> = catalogue::all().collect();
    let kind = kinds[usize::from(*first) % kinds.len()].name;
    BASE.with_borrow_mut(|base| {
        let (mut store, before) = base.take().unwrap_or_else(|| {
            let store = foundry();
            let state = sound(&store);
            (store, state)
        });
        let file = scratch("file").join(format!("{kind}.csv"));
        std::fs::write(&file, text).expect("a file in memory");
        let done = bundle::import(&mut store, &who(Some("T-people")), &file, None, false, &mut |_, _, _| {});
        let after = sound(&store);
        match done {
            Ok(done) if done.faults.is_empty() && !done.records.is_empty() => {
                comes_round(&store);
                answers_are_finite(&store, text);
            }
            Ok(done) => {
                assert_eq!(before, after, "refused or all known, and yet written");
                for fault in done.faults {
                    assert!(!fault.text().chars().any(char::is_control), "{:?}", fault.text());
                }
                *base = Some((store, before));
            }
            Err(e) => {
                // A refusal of who may write stands in the journal; records are as they were.
                assert_eq!(before.1, after.1, "refused and yet written: {e}");
            }
        }
    });
});
