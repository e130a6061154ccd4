//! Characters that nobody sees, or that every screen shows otherwise.
//!
//! A tag with one of them looks like another tag and is none. What must be read back exactly (tags, parts of keys)
//! takes none; notes and names keep them, and every output shows them escaped.
//!
//! Source: the Unicode Standard, property Default_Ignorable_Code_Point and general categories Cc, Co, Cn
//! (noncharacters), Zl, Zp; the braille blank and the fillers, which are letters with an empty picture, by their names.

use unicode_width::UnicodeWidthChar;

/// First and last of each run, in order.
const RUNS: &[(u32, u32)] = &[
    (0x0000, 0x001f),
    (0x007f, 0x009f),
    (0x00ad, 0x00ad),     // soft hyphen
    (0x034f, 0x034f),     // combining grapheme joiner
    (0x061c, 0x061c),     // Arabic letter mark
    (0x115f, 0x1160),     // Hangul fillers
    (0x17b4, 0x17b5),     // Khmer inherent vowels
    (0x180b, 0x180f),     // Mongolian variation selectors, vowel separator
    (0x200b, 0x200f),     // zero-width space and joiners, direction marks
    (0x2028, 0x202e),     // line and paragraph separator, direction
    (0x2060, 0x206f),     // word joiner, invisible operators, direction isolates
    (0x2800, 0x2800),     // braille blank
    (0x3164, 0x3164),     // Hangul filler
    (0xe000, 0xf8ff),     // private use
    (0xfdd0, 0xfdef),     // noncharacters
    (0xfe00, 0xfe0f),     // variation selectors
    (0xfeff, 0xfeff),     // byte-order mark
    (0xffa0, 0xffa0),     // half-width Hangul filler
    (0xfff0, 0xfffb),     // unassigned and ignorable, interlinear annotation
    (0xfffe, 0xffff),     // noncharacters
    (0x13430, 0x1343f),   // Egyptian format controls
    (0x16fe4, 0x16fe4),   // Khitan small script filler
    (0x1bca0, 0x1bca3),   // shorthand format controls
    (0x1d173, 0x1d17a),   // musical format controls
    (0xe0000, 0xe0fff),   // tag characters, variation selectors
    (0xf0000, 0x10_ffff), // private use
];

/// Nobody sees this character: control, direction, zero width, filler, variation selector, tag character, private use,
/// noncharacter.
pub fn unseen(c: char) -> bool {
    let code = c as u32;
    if code < 0x7f {
        return code < 0x20;
    }
    let after = RUNS.partition_point(|run| run.0 <= code);
    // The last two of every plane are noncharacters.
    code & 0xfffe == 0xfffe || RUNS[..after].last().is_some_and(|run| code <= run.1)
}

/// It is drawn onto the character before it: at the beginning of a text it stands on nothing.
pub fn combining(c: char) -> bool {
    !unseen(c) && c.width() == Some(0)
}

/// The first character of a text that nobody sees, and its place, counted from 1.
pub fn first_unseen(text: &str) -> Option<(usize, char)> {
    text.chars().enumerate().find(|(_, c)| unseen(*c)).map(|(i, c)| (i + 1, c))
}

/// Something of the text can be seen.
pub fn readable(text: &str) -> bool {
    text.chars().any(|c| !c.is_whitespace() && !unseen(c) && !combining(c))
}

/// Checks a text that belongs to a key: it is read and typed back exactly.
///
/// # Errors
/// What is wrong.
pub fn check(text: &str) -> Result<(), String> {
    if let Some((place, c)) = first_unseen(text) {
        return Err(format!(
            "has a character that nobody sees, U+{:04X}, at place {place}; write it without",
            c as u32
        ));
    }
    if text.chars().next().is_some_and(combining) {
        return Err(format!("begins with a mark that stands on no letter, U+{:04X}", first(text)));
    }
    if !readable(text) {
        return Err("looks blank; a key must be readable".into());
    }
    Ok(())
}

fn first(text: &str) -> u32 {
    text.chars().next().map_or(0, |c| c as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_unicode_standard_calls_ignorable_is_unseen() {
        // DerivedCoreProperties.txt, Default_Ignorable_Code_Point: the first and last of each of its runs.
        for code in [
            0xad, 0x34f, 0x61c, 0x115f, 0x1160, 0x17b4, 0x17b5, 0x180b, 0x180d, 0x180e, 0x180f, 0x200b,
            0x200f, 0x202a, 0x202e, 0x2060, 0x2064, 0x2065, 0x206f, 0x3164, 0xfe00, 0xfe0f, 0xfeff, 0xffa0,
            0xfff0, 0xfff8, 0x1bca0, 0x1bca3, 0x1d173, 0x1d17a, 0xe0000, 0xe0001, 0xe0020, 0xe007f, 0xe0100,
            0xe01ef, 0xe0fff,
        ] {
            assert!(unseen(char::from_u32(code).unwrap()), "U+{code:04X}");
        }
        for code in [
            0x0, 0x7, 0x1b, 0x7f, 0x9b, 0x2028, 0x2800, 0xe000, 0xf8ff, 0xfdd0, 0xfffe, 0x1fffe, 0xf0000,
            0x10fffd,
        ] {
            assert!(unseen(char::from_u32(code).unwrap()), "U+{code:04X}");
        }
        for c in "Az09-_/. µÖßé°C≤³日本ク가अ\u{a0}\u{301}".chars() {
            assert!(!unseen(c), "U+{:04X}", c as u32);
        }
        assert!(RUNS.is_sorted_by(|a, b| a.1 < b.0) && RUNS.iter().all(|r| r.0 <= r.1));
    }

    #[test]
    fn a_key_is_readable() {
        assert!(check("Al+Ti").is_ok() && check("O\u{308}").is_ok() && check("가").is_ok());
        for (text, sentence) in [
            ("O\u{200b}", "U+200B, at place 2"),
            ("\u{301}A", "stands on no letter, U+0301"),
            (" \u{a0}", "looks blank"),
            ("\u{2800}", "U+2800, at place 1"),
        ] {
            assert!(check(text).unwrap_err().contains(sentence), "{text:?}");
        }
    }
}
