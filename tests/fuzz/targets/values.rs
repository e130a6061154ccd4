//! Texts as tags, times, dates and as the value of every field: read or refused, and the same when
//! read again.
#![no_main]
use libfuzzer_sys::fuzz_target;
use records::{Record, Stamp, Value, catalogue};
use records::value::tag;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    if tag::check(&text).is_ok() {
        assert!(!text.chars().any(records::value::unseen::unseen), "{text:?}");
        assert!(!text.contains(',') && !text.chars().any(char::is_whitespace), "{text:?}");
        assert_eq!(tag::folded(&tag::folded(&text)), tag::folded(&text));
    }
    assert!(!tag::shown(&text).chars().any(records::value::unseen::unseen), "{text:?}");
    let _ = tag::near(&text, ["M31-041", "H31-002", "Ü-1"]);
    if let Ok(stamp) = Stamp::parse(&text) {
        let again = Stamp::parse(&stamp.text()).expect("its own text");
        assert_eq!(again, stamp, "{text:?}");
        assert_eq!(Stamp::from_packed(stamp.packed()), stamp);
        let (_, month, day) = stamp.date();
        assert!((1..=12).contains(&month) && (1..=31).contains(&day) && stamp.hour() < 24 && stamp.weekday() < 8);
    }
    let _ = Stamp::parse_date(&text);
    for kind in catalogue::all() {
        for field in kind.fields {
            let Ok(value) = Value::read(field, &text) else { continue };
            assert!(value.number().is_none_or(f64::is_finite), "{text:?} in {}.{}", kind.name, field.name);
            let again = value.to_text();
            let second = Value::read(field, &again).unwrap_or_else(|e| panic!("{text:?} as {again:?}: {e}"));
            assert_eq!(second.to_text(), again, "{text:?} in {}.{}", kind.name, field.name);
            assert_eq!(second.number(), value.number(), "{text:?}");
            let mut record = Record::blank(kind);
            record.set(field.name, value);
        }
    }
});
