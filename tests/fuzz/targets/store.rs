//! Files in the place of a store. First byte 0: the rest is the whole file; 1: the rest is the log
//! beside a sound store; else a sound store is changed, five bytes a change: what (a bit pattern put over
//! a byte, a cut, a page in the place of another), page, place.
//! Either there is the right answer after the check of the day, or a sentence.
#![no_main]
use std::sync::OnceLock;

use libfuzzer_sys::fuzz_target;
use records::Store;
use meltkin::jobs::trace::ask;
use meltkin_fuzz::{begin, every_kind, exported, import, scratch, who};

struct Sound {
    bytes: Vec<u8>,
    answer: String,
    files: Vec<(String, String)>,
}

fn answer(store: &Store) -> Result<String, records::Error> {
    let up = ask::checked_trace(store, "T-blades")?;
    let down = ask::contain(store, "T-ingot_lots")?;
    Ok(format!("{up:?}{down:?}"))
}

fn base() -> &'static Sound {
    static BASE: OnceLock<Sound> = OnceLock::new();
    BASE.get_or_init(|| {
        let path = scratch("base").join("base.db");
        let mut store = Store::create(&path).expect("a store");
        let done = import(&mut store, &every_kind(), &who(None));
        assert!(done.faults.is_empty(), "{:?}", done.faults);
        store.close().expect("closed");
        let bytes = std::fs::read(&path).expect("the file");
        let store = Store::open(&path).expect("open");
        let (answer, files) = (answer(&store).expect("an answer"), exported(&store));
        Sound { bytes, answer, files }
    })
}

fuzz_target!(|data: &[u8]| {
    begin();
    let Some((way, rest)) = data.split_first() else { return };
    let base = base();
    let path = scratch("bad").join("bad.db");
    let put = |bytes: &[u8]| std::fs::write(&path, bytes).expect("a file in memory");
    match way {
        0 => put(rest),
        1 => {
            put(&base.bytes);
            std::fs::write(path.with_extension("db-wal"), rest).expect("a file in memory");
        }
        _ => {
            let mut bytes = base.bytes.clone();
            for change in rest.chunks_exact(5) {
                let pages = bytes.len() / 4096;
                if pages == 0 {
                    break;
                }
                let page = usize::from(u16::from_le_bytes([change[1], change[2]])) % pages;
                let place = usize::from(u16::from_le_bytes([change[3], change[4]]));
                match change[0] {
                    0 => {
                        let other = place % pages;
                        let copy = bytes[other * 4096..(other + 1) * 4096].to_vec();
                        bytes[page * 4096..(page + 1) * 4096].copy_from_slice(&copy);
                    }
                    255 => bytes.truncate(page * 4096 + place % 4096),
                    bits => bytes[page * 4096 + place % 4096] ^= bits,
                }
            }
            put(&bytes);
        }
    }
    let Ok(store) = Store::open(&path) else { return };
    if store.check_of_the_day(who(None).now).is_err() {
        return;
    }
    if *way == 0 {
        // A store of its own making: no answer is known, but there must be one or a sentence.
        let _ = answer(&store);
        return;
    }
    if let Ok(found) = answer(&store) {
        assert_eq!(found, base.answer, "a wrong answer");
        assert_eq!(exported(&store), base.files, "a wrong export");
    }
});
