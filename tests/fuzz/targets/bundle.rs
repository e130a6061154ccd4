//! Several files at once into an empty store: the text is cut at lines `== kind`.
#![no_main]
use std::cell::RefCell;

use libfuzzer_sys::fuzz_target;
use records::catalogue;
use records::Store;
use meltkin::jobs::file::bundle;
use meltkin_fuzz::{answers_are_finite, begin, comes_round, scratch, sound, unchanged, who};

thread_local!(static EMPTY: RefCell<Option<(Store, (String, u64))>> = const { RefCell::new(None) });

fuzz_target!(|data: &[u8]| {
    begin();
    let folder = scratch("bundle");
    let mut file: Option<(String, Vec<u8>)> = None;
    let put = |file: Option<(String, Vec<u8>)>| {
        if let Some((name, text)) = file {
            std::fs::write(folder.join(format!("{name}.csv")), text).expect("a file in memory");
        }
    };
    for line in data.split_inclusive(|b| *b == b'\n') {
        let name = std::str::from_utf8(line).ok().and_then(|l| l.strip_prefix("== ")).map(str::trim);
        match name.filter(|n| catalogue::all().any(|k| k.name == *n)) {
            Some(name) => put(file.replace((name.into(), Vec::new()))),
            None => {
                if let Some((_, text)) = &mut file {
                    text.extend_from_slice(line);
                }
            }
        }
    }
    put(file);
    EMPTY.with_borrow_mut(|base| {
        let (mut store, empty) = base.take().unwrap_or_else(|| {
            let store = Store::memory().expect("a store in memory");
            let state = sound(&store);
            (store, state)
        });
        let done = bundle::import(&mut store, &who(None), &folder, None, false, &mut |_, _, _| {});
        match done {
            Ok(done) if done.faults.is_empty() => {
                sound(&store);
                comes_round(&store);
                answers_are_finite(&store, data);
            }
            Ok(_) => {
                unchanged(&store, &empty);
                *base = Some((store, empty));
            }
            Err(_) => assert_eq!(sound(&store).1, 0, "refused and yet written"),
        }
    });
});
