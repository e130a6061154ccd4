//! The value of one field, and how a cell of text becomes one.

pub mod decimal;
pub mod place;
pub mod stamp;
pub mod tag;
pub mod time_text;
pub mod unseen;
pub mod words;

use std::borrow::Cow;
use std::fmt::Write;

use crate::catalogue::field::{FieldInfo, Type};
use crate::value::stamp::Stamp;

/// What stands in a field. Blank, `n/a`, `illegible` and `<x` are four different things, and none
/// of them is a number.
#[derive(Clone, Debug, PartialEq)]
pub enum Value<'a> {
    /// Not recorded.
    Blank,
    /// Does not apply (`n/a`).
    NotApplicable,
    /// Could not be read (`illegible`).
    Illegible,
    /// Below the detection limit (`<x`).
    Below(f64),
    Number(f64),
    /// A whole number.
    Count(i64),
    /// A time; the text beside it where it is finer than the stamp.
    Time(Stamp, Option<Cow<'a, str>>),
    /// Text, a choice, a date, a tag, a reference by tag.
    Text(Cow<'a, str>),
}

impl<'a> Value<'a> {
    /// Reads a cell that is typed or imported.
    ///
    /// # Errors
    /// What is wrong with it and what would be right.
    pub fn read(field: &FieldInfo, text: &'a str) -> Result<Self, String> {
        match field.ty {
            Type::Tag if !text.is_empty() => tag::check(text)?,
            Type::Text | Type::RevisionOf(_) if !text.is_empty() => readable(field, text)?,
            _ => {}
        }
        Self::stored(field, text)
    }

    /// Reads a cell as [`Value::read`], but takes tags and parts of keys as they were written under earlier rules.
    pub fn stored(field: &FieldInfo, text: &'a str) -> Result<Self, String> {
        if text.is_empty() {
            return if field.optional { Ok(Self::Blank) } else { Err("is blank, and must be filled".into()) };
        }
        if field.optional && field.ty != Type::Tag && field.name != "note" {
            match text {
                "n/a" => return Ok(Self::NotApplicable),
                "illegible" => return Ok(Self::Illegible),
                _ => {}
            }
        }
        match field.ty {
            Type::Ref(_) | Type::AnyTag => {
                if text.trim() != text {
                    return Err("a tag has no blanks at its ends".into());
                }
                Ok(Self::Text(text.into()))
            }
            Type::Tag | Type::Text | Type::RevisionOf(_) => Ok(Self::Text(text.into())),
            Type::Number => number(text.trim()),
            Type::Count => count(text.trim()),
            Type::Time => {
                let stamp = Stamp::parse(text)?;
                if !text.contains('.') {
                    return Ok(Self::Time(stamp, None));
                }
                let mut out = [0; 32];
                let n = stamp.write(&mut out);
                let digits = |b: &[u8]| b.iter().filter(|c| c.is_ascii_digit()).count();
                let finer = digits(text.as_bytes()) > digits(&out[..n]);
                Ok(Self::Time(stamp, finer.then(|| text.into())))
            }
            Type::Date => {
                Stamp::parse_date(text)?;
                Ok(Self::Text(text.into()))
            }
            Type::Moment => {
                if Stamp::parse_date(text).is_err() {
                    Stamp::parse(text).map_err(|e| format!("{e}, or a date 2031-03-04"))?;
                }
                Ok(Self::Text(text.into()))
            }
            Type::Choice(words) => {
                if words.contains(&text) {
                    return Ok(Self::Text(text.into()));
                }
                let near = tag::near(text, words.iter().copied());
                Err(format!("not one of {}{}", words.join(", "), tag::hint(&near)))
            }
        }
    }

    /// The whole number, where it is one.
    pub fn count(&self) -> Option<i64> {
        match self {
            Self::Count(n) => Some(*n),
            _ => None,
        }
    }

    pub fn is_blank(&self) -> bool {
        matches!(self, Self::Blank)
    }

    /// The number, where it is one.
    pub fn number(&self) -> Option<f64> {
        match self {
            Self::Number(v) => Some(*v),
            Self::Count(v) => Some(*v as f64),
            _ => None,
        }
    }

    /// The text, where it is text.
    pub fn text(&self) -> Option<&str> {
        match self {
            Self::Text(t) => Some(t),
            _ => None,
        }
    }

    /// The time, where it is one.
    pub fn time(&self) -> Option<Stamp> {
        match self {
            Self::Time(t, _) => Some(*t),
            _ => None,
        }
    }

    /// Writes the value as bundles hold it.
    pub fn write(&self, out: &mut String) {
        match self {
            Self::Blank => {}
            Self::NotApplicable => out.push_str("n/a"),
            Self::Illegible => out.push_str("illegible"),
            Self::Below(v) => {
                out.push('<');
                write_number(*v, out);
            }
            Self::Number(v) => write_number(*v, out),
            Self::Count(v) => write_whole(*v, out),
            Self::Time(_, Some(text)) => out.push_str(text),
            Self::Time(t, None) => {
                let mut buffer = [0; 32];
                let n = t.write(&mut buffer);
                out.push_str(std::str::from_utf8(&buffer[..n]).unwrap_or(""));
            }
            Self::Text(t) => out.push_str(t),
        }
    }

    /// The value as bundles hold it.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        self.write(&mut out);
        out
    }

    /// The same value, owning its text.
    pub fn owned(&self) -> Value<'static> {
        match self {
            Self::Blank => Value::Blank,
            Self::NotApplicable => Value::NotApplicable,
            Self::Illegible => Value::Illegible,
            Self::Below(v) => Value::Below(*v),
            Self::Number(v) => Value::Number(*v),
            Self::Count(v) => Value::Count(*v),
            Self::Time(t, text) => Value::Time(*t, text.as_ref().map(|t| Cow::Owned(t.to_string()))),
            Self::Text(t) => Value::Text(Cow::Owned(t.to_string())),
        }
    }
}

/// What is part of a key is read and typed back exactly; what must be filled says something. The old tag of a re-tag may
/// be one that is refused today.
fn readable(field: &FieldInfo, text: &str) -> Result<(), String> {
    if field.name == "new_tag" {
        tag::check(text)?;
    }
    if (field.key && field.name != "old_tag") || field.name == "zone" {
        unseen::check(text)?;
    }
    if field.name == "revision" && text.contains('@') {
        return Err("a revision has no @: it would be read as a tag with its revision".into());
    }
    if field.key && field.name != "revision" && text.trim() != text {
        return Err("it belongs to the key and has no blanks at its ends".into());
    }
    if !field.optional && !unseen::readable(text) {
        return Err("looks blank, and must be filled".into());
    }
    Ok(())
}

/// A whole number, without the formatting machinery: an import writes millions.
fn write_whole(v: i64, out: &mut String) {
    let mut digits = [0_u8; 20];
    let (mut at, mut rest) = (20, v.unsigned_abs());
    while rest > 0 || at == 20 {
        at -= 1;
        digits[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
    }
    if v < 0 {
        out.push('-');
    }
    out.push_str(std::str::from_utf8(&digits[at..]).unwrap_or(""));
}

/// The shortest digits that read back as the same number; never an exponent.
fn write_number(v: f64, out: &mut String) {
    if v.trunc() == v && v.abs() < 1e15 {
        return write_whole(v as i64, out);
    }
    let _ = write!(out, "{v}");
}

fn number(text: &str) -> Result<Value<'static>, String> {
    let (below, digits) = match text.strip_prefix('<') {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text),
    };
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'+' | b'e' | b'E'));
    match digits.parse::<f64>() {
        Ok(v) if plain && v.is_finite() => Ok(if below { Value::Below(v) } else { Value::Number(v) }),
        _ if digits.contains(',') => Err("not a number; the decimal sign is a point".into()),
        _ => Err("not a number; write 12.5, or <5 for below detection".into()),
    }
}

fn count(text: &str) -> Result<Value<'static>, String> {
    match text.parse::<i64>() {
        Ok(v) if (0..=1_000_000_000_000).contains(&v) => Ok(Value::Count(v)),
        _ => Err("not a whole number from 0".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const OPTIONAL: FieldInfo = FieldInfo::new("ph", Type::Number).opt();
    const REQUIRED: FieldInfo = FieldInfo::new("mass_kg", Type::Number);

    #[test]
    fn the_missing_are_distinct_and_no_numbers() {
        for (text, value) in [
            ("", Value::Blank),
            ("n/a", Value::NotApplicable),
            ("illegible", Value::Illegible),
            ("<5", Value::Below(5.0)),
            ("0", Value::Number(0.0)),
        ] {
            let read = Value::read(&OPTIONAL, text).unwrap();
            assert_eq!(read, value);
            assert_eq!(read.to_text(), text);
            assert_eq!(read.number().is_some(), text == "0");
        }
        assert!(Value::read(&REQUIRED, "").is_err());
        assert!(Value::read(&REQUIRED, "n/a").is_err());
    }

    #[test]
    fn whole_numbers_are_written_as_rust_formats_them() {
        for v in [0_i64, 7, 10, -1, 1_234_567_890_123, i64::MAX, i64::MIN] {
            assert_eq!(Value::Count(v).to_text(), v.to_string());
        }
        for v in [0.0, -0.0, 5.0, -12.0, 999_999_999_999_999.0, 1e15, 1e22] {
            assert_eq!(Value::Number(v).to_text(), format!("{}", v + 0.0));
        }
    }

    #[test]
    fn numbers_read_back_as_they_were() {
        for text in ["0.1", "1e-4", "123456.789", "-3", "0.0000001", "1e22"] {
            let v = Value::read(&REQUIRED, text).unwrap();
            let again = Value::read(&REQUIRED, &v.to_text()).unwrap().number();
            assert_eq!(again, v.number(), "{text}");
        }
        for bad in ["NaN", "inf", "1,5", "0x10", "12 kg", "1_000", "<", "--1"] {
            assert!(Value::read(&REQUIRED, bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn times_finer_than_a_millisecond_keep_their_text() {
        let f = FieldInfo::new("in_at", Type::Time);
        let fine = "2031-03-04T09:05:00.123456+00:00";
        assert_eq!(Value::read(&f, fine).unwrap().to_text(), fine);
        assert_eq!(Value::read(&f, "2031-03-04T09:05:00Z").unwrap().to_text(), "2031-03-04T09:05:00+00:00");
        assert_eq!(
            Value::read(&f, "2031-03-04T09:05:00.5Z").unwrap().to_text(),
            "2031-03-04T09:05:00.500+00:00"
        );
    }
}
