//! Large letters, to be read at arm's length with both hands at work: what a scan records.

/// Dots of a letter from above.
const HIGH: usize = 5;

/// Three dots wide and five high; a row of a letter is three bits, the highest on the left.
const LETTERS: &[(char, [u8; HIGH])] = &[
    ('A', [2, 5, 7, 5, 5]),
    ('B', [6, 5, 6, 5, 6]),
    ('C', [3, 4, 4, 4, 3]),
    ('D', [6, 5, 5, 5, 6]),
    ('E', [7, 4, 6, 4, 7]),
    ('F', [7, 4, 6, 4, 4]),
    ('G', [3, 4, 5, 5, 3]),
    ('H', [5, 5, 7, 5, 5]),
    ('I', [7, 2, 2, 2, 7]),
    ('J', [1, 1, 1, 5, 2]),
    ('K', [5, 5, 6, 5, 5]),
    ('L', [4, 4, 4, 4, 7]),
    ('M', [5, 7, 7, 5, 5]),
    ('N', [6, 5, 5, 5, 5]),
    ('O', [2, 5, 5, 5, 2]),
    ('P', [6, 5, 6, 4, 4]),
    ('Q', [2, 5, 5, 6, 3]),
    ('R', [6, 5, 6, 5, 5]),
    ('S', [3, 4, 2, 1, 6]),
    ('T', [7, 2, 2, 2, 2]),
    ('U', [5, 5, 5, 5, 7]),
    ('V', [5, 5, 5, 5, 2]),
    ('W', [5, 5, 7, 7, 5]),
    ('X', [5, 5, 2, 5, 5]),
    ('Y', [5, 5, 2, 2, 2]),
    ('Z', [7, 1, 2, 4, 7]),
    ('0', [7, 5, 5, 5, 7]),
    ('1', [2, 6, 2, 2, 7]),
    ('2', [7, 1, 7, 4, 7]),
    ('3', [7, 1, 7, 1, 7]),
    ('4', [5, 5, 7, 1, 1]),
    ('5', [7, 4, 7, 1, 7]),
    ('6', [7, 4, 7, 5, 7]),
    ('7', [7, 1, 1, 1, 1]),
    ('8', [7, 5, 7, 5, 7]),
    ('9', [7, 5, 7, 1, 7]),
];

/// Text in large letters: three rows of half blocks, or five rows where only ASCII may be printed; where there is room
/// for it, `wide`, five rows of dots as wide as they are high. Where it is wider than the window it stands in capitals
/// on one row, so that nothing of it is missing.
pub fn large(text: &str, width: usize, wide: bool, ascii: bool) -> Vec<String> {
    let text = text.to_uppercase();
    let rows: Vec<String> = (0..HIGH).map(|row| dots(&text, row)).collect();
    let across = rows.iter().map(|r| r.chars().count()).max().unwrap_or(0);
    if across > width {
        return vec![text];
    }
    if wide && across * 2 <= width {
        let full = |c: char| if c == '#' && !ascii { '█' } else { c };
        return rows.iter().map(|r| r.chars().flat_map(|c| [full(c), full(c)]).collect()).collect();
    }
    if ascii {
        return rows;
    }
    let above_and_below = |(above, below): (char, char)| match (above, below) {
        ('#', '#') => '█',
        ('#', _) => '▀',
        (_, '#') => '▄',
        _ => ' ',
    };
    rows.chunks(2)
        .map(|two| {
            let below = two.get(1).map_or("", String::as_str).chars().chain(std::iter::repeat(' '));
            two[0].chars().zip(below).map(above_and_below).collect()
        })
        .collect()
}

/// One row of dots of a text; what has no letter is a blank.
fn dots(text: &str, row: usize) -> String {
    let mut out = String::new();
    for c in text.chars() {
        let bits = LETTERS.iter().find(|(of, _)| *of == c).map_or(0, |(_, rows)| rows[row]);
        out.extend([4, 2, 1].map(|bit| if bits & bit == 0 { ' ' } else { '#' }));
        out.push(' ');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_are_told_apart() {
        for (i, a) in LETTERS.iter().enumerate() {
            assert!(LETTERS.iter().skip(i + 1).all(|b| a.1 != b.1 && a.0 != b.0), "{}", a.0);
        }
    }

    #[test]
    fn a_word_is_drawn_or_stands_on_one_row() {
        assert_eq!(large("it", 8, false, true), ["### ### ", " #   #  ", " #   #  ", " #   #  ", "###  #  "]);
        assert_eq!(large("it", 8, false, false), ["▀█▀ ▀█▀ ", " █   █  ", "▀▀▀  ▀  "]);
        assert_eq!(large("i", 8, true, false)[0], "██████  ");
        assert_eq!(large("i", 7, true, false).len(), 3, "no room for it");
        assert_eq!(large("accept", 10, true, false), ["ACCEPT"]);
        assert_eq!(large("", 10, false, false), ["", "", ""]);
    }
}
