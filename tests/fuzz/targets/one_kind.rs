//! One CSV of any kind (the first byte chooses it) into a store that has a record of every kind.
#![no_main]
use std::cell::RefCell;

use libfuzzer_sys::fuzz_target;
use records::catalogue;
use records::Store;
use meltkin::jobs::file::bundle;
use meltkin_fuzz::{answers_are_finite, begin, comes_round, foundry, scratch, sound, unchanged, who};

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
        match done {
            Ok(done) if done.faults.is_empty() && !done.records.is_empty() => {
                sound(&store);
                comes_round(&store);
                answers_are_finite(&store, text);
            }
            Ok(done) => {
                unchanged(&store, &before);
                for fault in done.faults {
                    assert!(!fault.text().chars().any(char::is_control), "{:?}", fault.text());
                }
                *base = Some((store, before));
            }
            // Who may write what is asked first, and a refusal of that stands in the journal.
            Err(_) => assert_eq!(before.1, sound(&store).1, "refused and yet written"),
        }
    });
});
