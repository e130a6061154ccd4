//! Several files at once into an empty store: the text is cut at lines `== kind`.
#![no_main]
use libfuzzer_sys::fuzz_target;
use meltkin::domain::catalogue;
use meltkin::ops::{Store, bundle};
use meltkin_fuzz::{answers_are_finite, begin, comes_round, scratch, sound, who};

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
    let mut store = Store::memory().expect("a store in memory");
    let empty = sound(&store);
    let done = bundle::import(&mut store, &who(None), &folder, None, false, &mut |_, _, _| {});
    let after = sound(&store);
    match done {
        Ok(done) if done.faults.is_empty() => {
            comes_round(&store);
            answers_are_finite(&store, data);
        }
        Ok(_) => assert_eq!(empty, after, "refused and yet written"),
        Err(_) => assert_eq!(after.1, 0, "refused and yet written"),
    }
});
