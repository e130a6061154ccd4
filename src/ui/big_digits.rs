//! Big digits, to be read across the room.

/// Rows of a digit.
pub const HIGH: usize = 5;

const DIGITS: [[&str; HIGH]; 11] = [
    ["###", "# #", "# #", "# #", "###"],
    ["  #", "  #", "  #", "  #", "  #"],
    ["###", "  #", "###", "#  ", "###"],
    ["###", "  #", "###", "  #", "###"],
    ["# #", "# #", "###", "  #", "  #"],
    ["###", "#  ", "###", "  #", "###"],
    ["###", "#  ", "###", "# #", "###"],
    ["###", "  #", "  #", "  #", "  #"],
    ["###", "# #", "###", "# #", "###"],
    ["###", "# #", "###", "  #", "###"],
    [" ", "#", " ", "#", " "],
];

/// Digits and colons as five rows of text; everything else is left out. Each cell is twice as wide, as
/// a letter is about twice as high as wide.
pub fn big(text: &str, ascii: bool) -> Vec<String> {
    let full = if ascii { "##" } else { "██" };
    (0..HIGH)
        .map(|row| {
            let mut line = String::new();
            for c in text.chars() {
                let place = match c {
                    ':' => 10,
                    _ => match c.to_digit(10) {
                        Some(d) => d as usize,
                        None => continue,
                    },
                };
                for cell in DIGITS[place][row].chars() {
                    line.push_str(if cell == '#' { full } else { "  " });
                }
                line.push_str("  ");
            }
            line.trim_end().to_string()
        })
        .collect()
}

/// The same in the largest size that fits, up to this height; nothing where not even the smallest does.
pub fn largest(text: &str, width: usize, height: usize, ascii: bool) -> Vec<String> {
    let small = big(text, ascii);
    let wide = small.iter().map(|row| row.chars().count()).max().unwrap_or(0);
    let times = width.checked_div(wide).map_or(0, |n| n.min(height / HIGH));
    let stretched =
        |row: &String| -> String { row.chars().flat_map(|c| std::iter::repeat_n(c, times)).collect() };
    small.iter().flat_map(|row| std::iter::repeat_n(stretched(row), times)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_take_the_room_that_they_have() {
        // 3:41 is 3 digits of 6 and a colon of 2, with 2 between: 26 wide.
        assert_eq!(largest("3:41", 26, 5, true), big("3:41", true));
        assert_eq!(largest("3:41", 25, 50, true), Vec::<String>::new());
        assert_eq!(largest("3:41", 200, 4, true), Vec::<String>::new());
        let twice = largest("3:41", 60, 12, true);
        assert_eq!(twice.len(), 10);
        assert!(twice.iter().all(|row| row.chars().count() <= 52));
        assert_eq!((&twice[0], &twice[2]), (&twice[1], &twice[3]));
        assert!(twice[0].starts_with("############"), "{}", twice[0]);
        assert_eq!(largest("", 80, 20, true), Vec::<String>::new());
    }

    #[test]
    fn digits_are_told_apart() {
        assert_eq!(
            big("1:7", true).join("\n"),
            "    ##      ######\n    ##  ##      ##\n    ##          ##\n    ##  ##      ##\n    ##          ##"
        );
        let all: Vec<Vec<String>> = "0123456789".chars().map(|c| big(&c.to_string(), true)).collect();
        for (i, a) in all.iter().enumerate() {
            assert!(all.iter().skip(i + 1).all(|b| a != b), "{i}");
        }
        assert!(big("", false).iter().all(String::is_empty));
    }
}
