//! A scanner is a keyboard that types fast and ends with Enter. It is told from a person by the time
//! between keys, so that no mode key is needed and a code never presses a button.

use crate::ui::keys::Press;

/// Two characters further apart than this were typed by a person (milliseconds; measured scanners
/// send a character every 1 to 10 ms, a fast typist one every 60; the limit is this tool's).
pub const GAP_MS: u64 = 35;

/// Fewer characters than this are no code.
pub const LEAST: usize = 3;

/// What came in: a press of a person, or a code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    Press(Press),
    Code(String),
}

/// Holds characters back until it is known whether a person typed them.
#[derive(Clone, Debug, Default)]
pub struct Scanner {
    held: String,
    last_ms: u64,
}

impl Scanner {
    /// Takes a press, and gives what is certain by now.
    pub fn press(&mut self, at_ms: u64, press: Press) -> Vec<Input> {
        let mut out = self.tick(at_ms);
        match press {
            Press::Char(c) => {
                self.held.push(c);
                self.last_ms = at_ms;
            }
            // Some scanners end a code with Tab, some terminals turn Enter into Ctrl-J.
            Press::Enter | Press::Ctrl('j') if self.held.chars().count() >= LEAST => {
                out.push(Input::Code(clean_line(&std::mem::take(&mut self.held))));
            }
            other => {
                out.extend(self.flush());
                out.push(Input::Press(if other == Press::Ctrl('j') { Press::Enter } else { other }));
            }
        }
        out
    }

    /// Gives back what a person typed, once enough time has gone by.
    pub fn tick(&mut self, at_ms: u64) -> Vec<Input> {
        if !self.held.is_empty() && at_ms.saturating_sub(self.last_ms) > GAP_MS {
            return self.flush();
        }
        Vec::new()
    }

    /// When [`Scanner::tick`] must be called next.
    pub fn due_ms(&self) -> Option<u64> {
        (!self.held.is_empty()).then_some(self.last_ms + GAP_MS + 1)
    }

    fn flush(&mut self) -> Vec<Input> {
        std::mem::take(&mut self.held).chars().map(|c| Input::Press(Press::Char(c))).collect()
    }
}

/// Text from outside on one line: line ends and tabs become blanks, what must not reach a terminal
/// goes, blanks at the ends go.
pub fn clean_line(text: &str) -> String {
    let plain: String = text
        .replace("\r\n", "\n")
        .chars()
        .map(|c| if matches!(c, '\n' | '\r' | '\t') { ' ' } else { c })
        .filter(|c| !records::value::unseen::unseen(*c))
        .collect();
    plain.trim().to_string()
}

/// The lines of a paste, cleaned; blank ones are left out. Terminals send CR for a pasted line end.
pub fn clean_lines(text: &str) -> Vec<String> {
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    text.split('\n').map(clean_line).filter(|l| !l.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(scanner: &mut Scanner, text: &str, mut at: u64, gap: u64) -> (Vec<Input>, u64) {
        let mut out = Vec::new();
        for c in text.chars() {
            out.extend(scanner.press(at, if c == '\r' { Press::Enter } else { Press::Char(c) }));
            at += gap;
        }
        (out, at)
    }

    #[test]
    fn fast_is_a_code_and_slow_is_a_person() {
        let mut scanner = Scanner::default();
        assert_eq!(feed(&mut scanner, "M31-041\r", 0, 2).0, [Input::Code("M31-041".into())]);
        let (typed, _) = feed(&mut scanner, "quit\r", 1000, 60);
        let wanted: Vec<Input> = "quit".chars().map(|c| Input::Press(Press::Char(c))).collect();
        assert_eq!(typed[..4], wanted[..]);
        assert_eq!(typed[4], Input::Press(Press::Enter));
    }

    #[test]
    fn fifty_codes_in_one_burst_come_one_by_one() {
        let text: String = (0..50).map(|i| format!("M31-{i:03}\r")).collect();
        let (codes, _) = feed(&mut Scanner::default(), &text, 5, 0);
        assert_eq!(codes.len(), 50);
        assert_eq!(codes[49], Input::Code("M31-049".into()));
    }

    #[test]
    fn a_key_before_a_code_is_a_key() {
        let mut scanner = Scanner::default();
        assert!(scanner.press(0, Press::Char('p')).is_empty());
        assert_eq!(scanner.due_ms(), Some(GAP_MS + 1));
        assert_eq!(scanner.tick(GAP_MS + 1), [Input::Press(Press::Char('p'))]);
        assert_eq!(scanner.tick(GAP_MS + 2), []);
        // Two keys and Enter are too short for a code.
        let (typed, _) = feed(&mut scanner, "ab\r", 200, 1);
        assert_eq!(typed.len(), 3);
    }

    #[test]
    fn paste_is_cleaned() {
        assert_eq!(clean_line("\u{1b}[31m a\tb\r\n\u{202e}c "), "[31m a b c");
        assert_eq!(clean_lines("one\rtwo\r\n\n three "), ["one", "two", "three"]);
    }
}
