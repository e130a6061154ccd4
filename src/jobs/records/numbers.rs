//! The next number of what carries no label of its own: an inspection, an analysis, a treatment.

use records::catalogue::{Analyses, Inspections, Treatments};
use records::value::tag;
use records::{Kind, Record, Result, Store};

/// Kinds whose records stand on paper alone: the shop numbers them. Every other tag is read from the thing that carries
/// it, and a proposal would be taken for a reading.
const ON_PAPER: [&Kind; 3] = [Inspections::KIND, Analyses::KIND, Treatments::KIND];

/// The number that a form proposes; none where the kind's tags are on labels, or are not numbered here.
pub fn proposed(store: &Store, kind: &'static Kind) -> Result<Option<String>> {
    let on_paper = ON_PAPER.iter().any(|k| k.name == kind.name);
    if on_paper { after_the_last(store, kind) } else { Ok(None) }
}

/// A tag for a new record that no record of any kind has: the one after the shop's last where those are numbered,
/// else this one.
pub fn free_tag(store: &Store, kind: &'static Kind, else_this: &str) -> Result<String> {
    if let Some(tag) = after_the_last(store, kind)? {
        return Ok(tag);
    }
    let mut tag = else_this.to_string();
    let mut n = 1;
    while tag::check(&tag).is_err() || store.look_up(&tag)?.is_some() {
        n += 1;
        // A blade's tag may fill the most that a tag may have.
        let room = 34_usize.min(else_this.chars().count());
        tag = format!("{}-{n}", else_this.chars().take(room).collect::<String>());
        if n > 10_000 {
            break;
        }
    }
    Ok(tag)
}

/// The first free number after the shop's last.
fn after_the_last(store: &Store, kind: &'static Kind) -> Result<Option<String>> {
    let last = match store.written_last(kind)? {
        None => store.recent(kind)?,
        written => written,
    };
    if let Some((head, n, width)) = last.as_ref().and_then(Record::tag).and_then(numbered) {
        for n in n + 1..n + 10_000 {
            let tag = format!("{head}{n:0width$}");
            if tag::check(&tag).is_ok() && store.look_up(&tag)?.is_none() {
                return Ok(Some(tag));
            }
        }
    }
    Ok(None)
}

/// What a numbered tag is made of: its head, its number, the digits of that. Fewer than three digits at the end are a
/// position or a round.
fn numbered(tag: &str) -> Option<(&str, u64, usize)> {
    let head = tag.trim_end_matches(|c: char| c.is_ascii_digit());
    let digits = &tag[head.len()..];
    (digits.len() >= 3 && !head.is_empty()).then_some(())?;
    Some((head, digits.parse().ok().filter(|n| *n < u64::MAX / 2)?, digits.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_numbered_tag_is_told_from_one_that_ends_in_a_position() {
        assert_eq!(numbered("I31-03586"), Some(("I31-", 3586, 5)));
        assert_eq!(numbered("AN31-080"), Some(("AN31-", 80, 3)));
        for other in ["I-M31-041-6-P1", "M31-041-6", "I", "1234", ""] {
            assert_eq!(numbered(other), None, "{other}");
        }
        assert_eq!(numbered("I99999999999999999999"), None);
    }
}
