//! A scanner is a keyboard. What it sends is told from what a person presses by the time between characters alone, as a
//! pure function of times and presses: no mode key is needed, and a code never presses a button.
//!
//! Where letters are commands, characters are held back until it is certain what they are. Where letters are text, they go
//! into their field at once, and it is looked up afterwards whether they were a code. A suffix (Enter, Tab, a line end) that
//! follows a code within the wait belongs to it.

use serde::{Deserialize, Serialize};

use crate::ui::keys::Press;

/// Fewer characters than this are no code: they are keys.
pub const LEAST: usize = 3;

/// Milliseconds after a code within which nothing is written.
pub const QUIET_MS: u64 = 1000;

/// Characters that follow each other within this many milliseconds come from no hand (common practice, no source).
pub(crate) const MACHINE_MS: u64 = 40;

/// Milliseconds between two characters within which they belong to one code, at the least: a scanner that nothing is known
/// of sends at 0 to 150 ms a character, and something for the way. One that was learned as faster is waited for as long: the
/// way to it may be busy, and what came too late would be keys.
pub const WAIT_MS: u64 = 180;

/// How the scanner at this terminal sends; what was learned of it at its set-up.
#[derive(Serialize, Deserialize, Clone, Debug, PartialEq, Eq)]
pub struct Habits {
    /// The longest wait between two characters of one code, in milliseconds.
    pub wait_ms: u64,
    /// Characters that it sends before each code.
    pub prefix: String,
    /// Characters that it sends behind each code, before the line end.
    pub suffix: String,
}

impl Default for Habits {
    /// A scanner that nothing is known of.
    fn default() -> Self {
        Self { wait_ms: WAIT_MS, prefix: String::new(), suffix: String::new() }
    }
}

impl Habits {
    /// What a code says, without what this scanner puts around it and without a symbology mark (`]` and two characters).
    pub fn bare(&self, code: &str) -> String {
        let code = clean_line(code);
        let code = code.strip_prefix(self.prefix.as_str()).unwrap_or(&code);
        let code = code.strip_suffix(self.suffix.as_str()).unwrap_or(code);
        let marked = code.strip_prefix(']').filter(|rest| {
            rest.chars().count() > 2 && rest.chars().take(2).all(|c| c.is_ascii_alphanumeric())
        });
        marked.map_or(code, |rest| &rest[2..]).trim().to_string()
    }
}

/// What came in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    /// A press of a person.
    Press(Press),
    /// A code, where letters are commands.
    Code(String),
    /// The first letter of a run of letters is about to go into a field.
    Begins,
    /// What went into a field may have been a code.
    Typed(Typed),
}

/// A run of letters that went into a field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Typed {
    pub text: String,
    /// The key that ended it; it is not pressed yet.
    pub end: Option<Press>,
    /// No hand is so fast.
    pub fast: bool,
}

/// Tells codes from keys.
#[derive(Clone, Debug, Default)]
pub struct Scanner {
    pub habits: Habits,
    held: String,
    first_ms: u64,
    last_ms: u64,
    /// When the last code ended; a line end soon after belongs to it.
    code_ms: Option<u64>,
    /// When Enter was pressed last.
    enter_ms: Option<u64>,
    /// When letters ended that no hand sent.
    machine_ms: Option<u64>,
}

/// What may end a code.
fn ends(press: Press) -> bool {
    matches!(press, Press::Enter | Press::Tab | Press::Ctrl('j' | 'm'))
}

impl Scanner {
    /// Takes a press, and gives what is certain by now; `typing` where letters are text.
    pub fn press(&mut self, at_ms: u64, press: Press, typing: bool) -> Vec<Input> {
        let mut out = self.tick(at_ms, typing);
        match press {
            Press::Char(c) => {
                if self.held.is_empty() {
                    self.first_ms = at_ms;
                    out.extend(typing.then_some(Input::Begins));
                }
                self.held.push(c);
                self.last_ms = at_ms;
                self.code_ms = None;
                self.machine_ms = self.is_machine().then_some(at_ms).or(self.machine_ms);
                out.extend(typing.then_some(Input::Press(press)));
            }
            // Even a single letter with a line end right behind it was sent, not pressed, where letters are commands.
            end if ends(end) && (self.is_code() || (!typing && !self.held.is_empty())) => {
                out.extend(self.ended(at_ms, Some(plain(end)), typing));
            }
            // CR and LF, or two line ends: the second belongs to the code as well.
            end if ends(end)
                && self.code_ms.is_some_and(|t| at_ms.saturating_sub(t) <= self.habits.wait_ms) =>
            {
                self.code_ms = Some(at_ms);
            }
            Press::Backspace | Press::Delete if typing => {
                self.held.clear();
                out.push(Input::Press(press));
            }
            // A line end of two keys is one: the second presses nothing.
            Press::Ctrl('j') if self.enter_ms.is_some_and(|t| at_ms.saturating_sub(t) <= MACHINE_MS) => {}
            // Marks between the parts of a code.
            Press::Ctrl(_) if !self.held.is_empty() && self.is_machine() => self.last_ms = at_ms,
            other => {
                let held = self.ended(self.last_ms, None, typing);
                out.extend(held);
                self.enter_ms = (other == Press::Enter).then_some(at_ms);
                out.push(Input::Press(plain(other)));
            }
        }
        out
    }

    /// What is certain because nothing more came.
    pub fn tick(&mut self, at_ms: u64, typing: bool) -> Vec<Input> {
        if !self.held.is_empty() && at_ms.saturating_sub(self.last_ms) > self.habits.wait_ms {
            return self.ended(self.last_ms, None, typing);
        }
        Vec::new()
    }

    /// When [`Scanner::tick`] must be called next.
    pub fn due_ms(&self) -> Option<u64> {
        (!self.held.is_empty()).then_some(self.last_ms + self.habits.wait_ms + 1)
    }

    /// Text came at this moment that no hand typed: it was pasted into a field.
    pub fn pasted(&mut self, at_ms: u64) {
        self.machine_ms = Some(at_ms);
    }

    /// A code came at this moment by another way: it was pasted, or what was typed turned out to be one.
    pub fn came(&mut self, at_ms: u64) {
        self.code_ms = Some(at_ms);
        self.machine_ms = Some(at_ms);
    }

    /// Too little time has gone by since a code for anything to be written.
    pub fn is_fresh(&self, at_ms: u64) -> bool {
        let since = |t: Option<u64>| t.map(|t| at_ms.saturating_sub(t));
        let code = since(self.code_ms).into_iter().chain(since(self.machine_ms)).any(|ms| ms < QUIET_MS);
        code || (self.is_code() && at_ms.saturating_sub(self.last_ms) <= self.habits.wait_ms)
    }

    fn is_code(&self) -> bool {
        let same = self.held.chars().all(|c| self.held.starts_with(c) && !c.is_alphanumeric());
        let pair = self.held.chars().count() == 2 && self.last_ms.saturating_sub(self.first_ms) <= MACHINE_MS;
        (self.held.chars().count() >= LEAST || pair) && !same
    }

    /// The letters that are held follow each other too fast for a hand.
    fn is_machine(&self) -> bool {
        let n = self.held.chars().count() as u64;
        n >= LEAST as u64 && self.last_ms.saturating_sub(self.first_ms) <= MACHINE_MS * (n - 1)
    }

    fn ended(&mut self, at_ms: u64, end: Option<Press>, typing: bool) -> Vec<Input> {
        let (code, fast) = (self.is_code() || (!typing && end.is_some()), self.is_machine());
        let held = std::mem::take(&mut self.held);
        if typing {
            return match code && !held.contains(char::is_whitespace) {
                true => vec![Input::Typed(Typed { text: self.habits.bare(&held), end, fast })],
                false => end.map(Input::Press).into_iter().collect(),
            };
        }
        if code {
            self.came(at_ms);
            return vec![Input::Code(self.habits.bare(&held))];
        }
        held.chars().map(|c| Input::Press(Press::Char(c))).chain(end.map(Input::Press)).collect()
    }
}

/// Some terminals turn Enter into Ctrl-J or Ctrl-M.
fn plain(press: Press) -> Press {
    if matches!(press, Press::Ctrl('j' | 'm')) { Press::Enter } else { press }
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
    use proptest::prelude::*;

    /// Sends a text at so many milliseconds a character; `\r`, `\n` and `\t` are the keys.
    fn feed(scanner: &mut Scanner, text: &str, mut at: u64, gap: u64, typing: bool) -> (Vec<Input>, u64) {
        let mut out = Vec::new();
        for c in text.chars() {
            let press = match c {
                '\r' => Press::Enter,
                '\n' => Press::Ctrl('j'),
                '\t' => Press::Tab,
                c => Press::Char(c),
            };
            out.extend(scanner.press(at, press, typing));
            at += gap;
        }
        out.extend(scanner.tick(at + scanner.habits.wait_ms + 1, typing));
        (out, at)
    }

    fn code(text: &str) -> Vec<Input> {
        vec![Input::Code(text.into())]
    }

    #[test]
    fn a_code_is_a_code_at_every_speed_and_with_every_end() {
        for gap in [0, 1, 10, 35, 36, 60, 100, 150] {
            for end in ["", "\r", "\n", "\r\n", "\t", "\r\r"] {
                for text in ["N26-041", "M26-012", "]d2M26-012", "]C1N26-041", "qqn2xo"] {
                    let (got, _) = feed(&mut Scanner::default(), &format!("{text}{end}"), 5000, gap, false);
                    let bare = text.trim_start_matches("]d2").trim_start_matches("]C1");
                    assert_eq!(got, code(bare), "{text:?} {end:?} {gap} ms");
                }
            }
        }
    }

    proptest! {
        /// Whatever is sent with waits of up to 150 ms, no key comes of it.
        #[test]
        fn no_wait_of_a_scanner_makes_a_key(
            text in "[A-Za-z0-9][A-Za-z0-9/-]{2,30}",
            waits in proptest::collection::vec(0_u64..=150, 40),
            end in prop_oneof![Just(""), Just("\r"), Just("\n"), Just("\r\n"), Just("\t")],
        ) {
            let (mut scanner, mut at, mut out) = (Scanner::default(), 9000, Vec::new());
            for (c, wait) in (text.clone() + end).chars().zip(&waits) {
                let press = match c {
                    '\r' => Press::Enter,
                    '\n' => Press::Ctrl('j'),
                    '\t' => Press::Tab,
                    c => Press::Char(c),
                };
                out.extend(scanner.press(at, press, false));
                at += wait;
            }
            out.extend(scanner.tick(at + 500, false));
            prop_assert_eq!(out, code(&text));
            prop_assert!(scanner.is_fresh(at));
        }
    }

    #[test]
    fn fifty_codes_in_one_burst_come_one_by_one() {
        let text: String = (0..50).map(|i| format!("M31-{i:03}\r")).collect();
        let (codes, _) = feed(&mut Scanner::default(), &text, 5, 0, false);
        assert_eq!(codes.len(), 50);
        assert_eq!(codes[49], Input::Code("M31-049".into()));
    }

    #[test]
    fn a_key_is_a_key_when_nothing_follows_it() {
        let mut scanner = Scanner::default();
        assert!(scanner.press(0, Press::Char('p'), false).is_empty());
        let wait = scanner.habits.wait_ms;
        assert_eq!(scanner.due_ms(), Some(wait + 1));
        assert_eq!(scanner.tick(wait + 1, false), [Input::Press(Press::Char('p'))]);
        assert_eq!(scanner.tick(wait + 2, false), []);
        // Two keys are no code; with a line end right behind them, or faster than a hand, they are. A key that repeats is
        // none.
        let (typed, _) = feed(&mut scanner, "ab", 1200, 90, false);
        assert_eq!(typed.len(), 2);
        for (text, gap) in [("a\r", 100), ("a\r\n", 0), ("P1\r", 100), ("12", 5), ("NO\r\n", 100)] {
            let bare = text.trim_end();
            assert_eq!(feed(&mut Scanner::default(), text, 1200, gap, false).0, code(bare), "{text:?}");
        }
        let (typed, at) = feed(&mut scanner, "p", 5000, 0, false);
        assert_eq!(typed.len(), 1);
        assert_eq!(scanner.press(at + 400, Press::Enter, false), [Input::Press(Press::Enter)]);
        let (repeated, _) = feed(&mut scanner, "++++", 3200, 30, false);
        assert_eq!(repeated, vec![Input::Press(Press::Char('+')); 4]);
    }

    #[test]
    fn what_is_typed_stands_at_once_and_is_looked_up_afterwards() {
        let mut scanner = Scanner::default();
        let (typed, _) = feed(&mut scanner, "M31\r", 0, 90, true);
        let press = |c| Input::Press(Press::Char(c));
        let run = |text: &str, end| Input::Typed(Typed { text: text.into(), end, fast: false });
        let looked_up = run("M31", Some(Press::Enter));
        assert_eq!(typed, [Input::Begins, press('M'), press('3'), press('1'), looked_up]);
        // With a blank in it, it is no code, and the end is a key.
        let (typed, _) = feed(&mut scanner, "no go\r", 5000, 90, true);
        assert_eq!(typed.last(), Some(&Input::Press(Press::Enter)));
        // Without an end, after a pause.
        let (typed, _) = feed(&mut scanner, "M31-1", 9000, 90, true);
        assert_eq!(typed.last(), Some(&run("M31-1", None)));
    }

    #[test]
    fn nothing_is_written_within_a_second_of_a_code() {
        let mut scanner = Scanner::default();
        assert!(!scanner.is_fresh(0));
        let (_, at) = feed(&mut scanner, "M31-041\r", 10_000, 150, false);
        assert!(scanner.is_fresh(at) && scanner.is_fresh(at + QUIET_MS - 200));
        assert!(!scanner.is_fresh(at + QUIET_MS));
        // Fast letters in a field count as well, and a person's do only for as long as a suffix may take.
        let (_, at) = feed(&mut scanner, "M31-041", 20_000, 5, true);
        assert!(scanner.is_fresh(at + 500));
        let (_, at) = feed(&mut scanner, "1545", 30_000, 120, true);
        assert!(!scanner.is_fresh(at + 500));
    }

    #[test]
    fn what_the_scanner_adds_is_cut() {
        let habits = Habits { wait_ms: 30, prefix: "~~".into(), suffix: "#".into() };
        let mut scanner = Scanner { habits, ..Scanner::default() };
        assert_eq!(feed(&mut scanner, "~~]d2M31-041#\r", 0, 10, false).0, code("M31-041"));
        // A code that only looks as if it began with a mark.
        assert_eq!(Habits::default().bare("]d2"), "]d2");
        assert_eq!(Habits::default().bare("]-A1"), "]-A1");
    }

    #[test]
    fn paste_is_cleaned() {
        assert_eq!(clean_line("\u{1b}[31m a\tb\r\n\u{202e}c "), "[31m a b c");
        assert_eq!(clean_lines("one\rtwo\r\n\n three "), ["one", "two", "three"]);
    }
}
