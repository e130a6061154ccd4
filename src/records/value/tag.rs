//! Tags: what people read and scan. Their rules, and near matches for one that is not known.

use crate::value::unseen;

/// The longest tag.
pub const LONGEST: usize = 40;

/// Checks a tag by the rules: 1 to 40 characters, all of them seen; no blanks or commas; no `:` or `@`, which belong to
/// addresses (`coats:M31-070/4`) and revisions (`QA-713@3`).
///
/// # Errors
/// What is wrong, with the character and its place.
pub fn check(tag: &str) -> Result<(), String> {
    if tag.is_empty() {
        return Err("a tag is missing".into());
    }
    if matches!(tag, "n/a" | "illegible") {
        return Err(format!("{tag} says in a reference that there is none; a tag is something else"));
    }
    if tag.len() > LONGEST && tag.chars().count() > LONGEST {
        return Err(format!("a tag has at most {LONGEST} characters"));
    }
    for (i, c) in tag.chars().enumerate() {
        let (place, code) = (i + 1, c as u32);
        if c == ',' || c.is_whitespace() {
            return Err(format!("a tag has no blanks or commas (here U+{code:04X} at place {place})"));
        }
        if matches!(c, ':' | '@') {
            let (what, like) = match c {
                ':' => ("an address", "coats:M31-070/4"),
                _ => ("a revision", "QA-713@3"),
            };
            return Err(format!(
                "a tag has no {c} (U+{code:04X}, here at place {place}): it would be read as {what}, as {like} is"
            ));
        }
        if unseen::unseen(c) {
            return Err(format!(
                "a tag has no characters that nobody sees (here U+{code:04X} at place {place})"
            ));
        }
        if i == 0 && unseen::combining(c) {
            return Err(format!(
                "a tag does not begin with a mark that stands on no letter (here U+{code:04X})"
            ));
        }
    }
    Ok(())
}

/// The text as it may stand on a terminal or in a message: characters that nobody sees are escaped.
pub fn shown(text: &str) -> std::borrow::Cow<'_, str> {
    if !text.chars().any(unseen::unseen) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            c if unseen::unseen(c) => out.push_str(&format!("\\u{{{:x}}}", c as u32)),
            c => out.push(c),
        }
    }
    out.into()
}

/// A tag bare of all that people write in more than one way: case, blanks, signs between, zeros in front of a number.
/// `Op 4`, `OP-4` and `op-04` come to the same.
pub fn bare(tag: &str) -> String {
    let mut out = String::with_capacity(tag.len());
    for c in tag.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase) {
        // A zero counts only behind another digit.
        if c == '0' && !out.ends_with(|b: char| b.is_ascii_digit()) {
            continue;
        }
        out.push(c);
    }
    out
}

/// The form under which tags are compared: without regard to the case of ASCII letters, as the
/// store's indexes compare them.
pub fn folded(tag: &str) -> String {
    tag.to_ascii_lowercase()
}

/// What tags and addresses are put in order by: `M1-2` before `M1-10`, whatever the case. The order of row numbers is
/// none: nothing seals it.
pub fn in_order(tag: &str) -> (String, String) {
    let (mut out, mut digits) = (String::new(), String::new());
    for c in tag.chars().map(Some).chain([None]) {
        if let Some(digit) = c.filter(char::is_ascii_digit) {
            digits.push(digit);
            continue;
        }
        if !digits.is_empty() {
            out.push_str(&format!("{:0>20}", digits.trim_start_matches('0')));
            digits.clear();
        }
        out.extend(c.map(|c| c.to_ascii_lowercase()));
    }
    (out, folded(tag))
}

/// Up to three of `known` that are nearest to `text`, nearest first; nothing that is far off.
pub fn near<'a>(text: &str, known: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let (text, plain) = (folded(text), bare(text));
    let most = (text.chars().count() / 3).clamp(1, 3);
    let mut found: Vec<(usize, &str)> = known
        .into_iter()
        .filter_map(|k| {
            let folded = folded(k);
            if !plain.is_empty() && bare(k) == plain {
                return Some((0, k));
            }
            if folded.len().abs_diff(text.len()) > most + 2 {
                return None;
            }
            let d = distance(&text, &folded);
            (d <= most).then_some((d, k))
        })
        .collect();
    found.sort();
    found.dedup();
    found.truncate(3);
    found.into_iter().map(|(_, k)| k).collect()
}

/// `; did you mean A or B?`, or nothing.
pub fn hint(near: &[&str]) -> String {
    if near.is_empty() {
        String::new()
    } else {
        let near: Vec<_> = near.iter().map(|t| shown(t)).collect();
        format!("; did you mean {} ?", near.join(" or "))
    }
}

/// Edit distance in which a swap of two neighbours counts one (optimal string alignment).
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in rows[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let same = usize::from(a[i - 1] != b[j - 1]);
            let mut d = (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + same);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                d = d.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = d;
        }
    }
    rows[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rules() {
        assert!(check("M31-041-6").is_ok() && check("QA-713/3").is_ok() && check("Ö-1").is_ok());
        for bad in
            ["", "a b", "a,b", "a\u{7}", "a\u{202e}b", "\ta", "CL:9", "AX-9@A", "pours:M-1", &"x".repeat(41)]
        {
            assert!(check(bad).is_err(), "{bad:?}");
        }
        assert!(check(&"ö".repeat(40)).is_ok());
    }

    #[test]
    fn nearest_first_and_nothing_far_off() {
        let known = ["M31-041", "M31-014", "M31-099", "FL31-03"];
        assert_eq!(near("m31-041x", known)[0], "M31-041");
        assert_eq!(near("M31-401", known)[0], "M31-041");
        assert!(near("completely-else", known).is_empty());
    }

    #[test]
    fn a_tag_written_another_way_is_near() {
        for typed in ["Op 4", "OP-4", "op-4", "op04", "OP_004"] {
            assert_eq!(near(typed, ["OP-04", "OP-40", "QL-04"])[0], "OP-04", "{typed}");
        }
        assert_ne!(bare("M-10"), bare("M-1"));
        assert_ne!(bare("M-100"), bare("M-1"));
    }

    #[test]
    fn nothing_raw_reaches_a_terminal() {
        assert_eq!(shown("a\u{1b}[31mb\u{202e}"), "a\\u{1b}[31mb\\u{202e}");
        assert_eq!(shown("plain"), "plain");
    }
}
