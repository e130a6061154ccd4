//! A shop's own sheet. The first line is the mapping, parts between `|`:
//! kind|header|field=column,…|field=value,…|field:theirs=ours,…|only,…|offset|hour|blank,…|d m c
//! (d, m: the day or the month first; c: decimal comma). The rest is the file.
#![no_main]
use std::cell::RefCell;

use libfuzzer_sys::fuzz_target;
use records::Store;
use meltkin::jobs::sheets::ask::{Habits, Mapping, Order, import, learn, look};
use meltkin_fuzz::{begin, comes_round, foundry, scratch, sound, unchanged, who};

thread_local!(static BASE: RefCell<Option<(Store, (String, u64))>> = const { RefCell::new(None) });

fn pairs(text: &str) -> Vec<(String, String)> {
    text.split(',').filter_map(|t| t.split_once('=')).map(|(a, b)| (a.into(), b.into())).collect()
}

fn words(text: &str) -> Vec<String> {
    text.split(',').filter(|t| !t.is_empty()).map(String::from).collect()
}

fuzz_target!(|data: &[u8]| {
    begin();
    let cut = data.iter().position(|b| *b == b'\n').unwrap_or(data.len());
    let line = String::from_utf8_lossy(&data[..cut]).into_owned();
    let rest = data.get(cut + 1..).unwrap_or_default();
    let said: Vec<&str> = line.split('|').collect();
    let part = |i: usize| said.get(i).copied().unwrap_or("");
    let given = |i: usize| Some(part(i).to_string()).filter(|t| !t.is_empty());
    let meaning = |t: &str| {
        let (field, rest) = t.split_once(':')?;
        let (theirs, ours) = rest.split_once('=')?;
        Some((field.to_string(), theirs.to_string(), ours.to_string()))
    };
    let mapping = Mapping {
        kind: part(0).into(),
        header: part(1).parse().unwrap_or(1),
        sheet: None,
        columns: pairs(part(2)),
        fill: pairs(part(3)),
        words: part(4).split(',').filter_map(meaning).collect(),
        only: words(part(5)),
        habits: Habits {
            decimal_comma: part(9).contains('c'),
            dates: match part(9) {
                t if t.contains('d') => Some(Order::DayFirst),
                t if t.contains('m') => Some(Order::MonthFirst),
                _ => None,
            },
            offset: given(6),
            hour: given(7),
            blanks: words(part(8)),
        },
    };
    BASE.with_borrow_mut(|base| {
        let (mut store, before) = base.take().unwrap_or_else(|| {
            let store = foundry();
            let state = sound(&store);
            (store, state)
        });
        let file = scratch("sheet").join("a.csv");
        std::fs::write(&file, rest).expect("a file in memory");
        if let Ok(looked) = look(&file, None, None, Some(&mapping.kind)) {
            assert!(!looked.text().chars().any(|c| c.is_control() && c != '\n'));
        }
        if learn(&store, "m", &mapping).is_err() {
            *base = Some((store, before));
            return;
        }
        match import(&mut store, &who(Some("T-people")), &file, ("m", None), false, &mut |_, _, _| {}) {
            Ok(taken) if taken.faults.is_empty() => {
                sound(&store);
                comes_round(&store);
            }
            Ok(taken) => {
                unchanged(&store, &before);
                for fault in &taken.faults {
                    assert!(!fault.text().chars().any(char::is_control), "{:?}", fault.text());
                }
                *base = Some((store, before));
            }
            Err(_) => {
                unchanged(&store, &before);
                *base = Some((store, before));
            }
        }
    });
});
