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

#[cfg(test)]
mod tests {
    use super::*;

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
