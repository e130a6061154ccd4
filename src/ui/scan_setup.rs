//! The scanner at this terminal, set up: what it sends is shown as it comes, and learned from three scans of one label.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use crate::ui::effect::Effect;
use crate::ui::keys::{Press, Shown, plain};
use crate::ui::order::{Order, Sort};
use crate::ui::scan::{Habits, MACHINE_MS, WAIT_MS};
use crate::ui::screen::{Context, Screen};
use crate::ui::theme::Role;
use crate::ui::view::{View, lines};
use crate::ui::worker::Worker;
use records::Result;

/// A pause of so many milliseconds ends what was sent.
const PAUSE_MS: u64 = 700;

/// How often the label is scanned.
const SCANS: usize = 3;

/// What came between two pauses: each press, and when.
type Burst = Vec<(u64, Press)>;

/// What is learned of a scanner that sent this for a label of this text.
///
/// # Errors
/// A sentence for the person who sets it up: what it sends is no code of that label, differs, or holds a key that saves.
pub fn learn(label: &str, sent: &[Burst]) -> std::result::Result<Habits, String> {
    let mut found: Option<(String, String)> = None;
    let mut slowest = 0;
    for burst in sent {
        let saves = |p: &Press| matches!(p, Press::F(2) | Press::Ctrl('s'));
        if burst.iter().any(|(_, p)| saves(p)) {
            return Err(
                "it sends F2 or Ctrl-S, which save: change its prefix or suffix, then set it up again".into(),
            );
        }
        if let Some((_, key)) = burst.iter().find(|(_, p)| !is_text(*p)) {
            return Err(format!(
                "it sends {}, a key of the screens: change its prefix or suffix",
                key.name()
            ));
        }
        let text: String =
            burst.iter().filter_map(|(_, p)| if let Press::Char(c) = p { Some(*c) } else { None }).collect();
        let Some((before, after)) = text.split_once(label) else {
            let why = match text.eq_ignore_ascii_case(label) {
                true => "capital and small letters are exchanged: caps lock, or a setting of the scanner",
                false => "its keyboard language may differ from this machine's",
            };
            return Err(format!("it sends {text:?} where the label says {label:?}: {why}"));
        };
        let around = (unmarked(before).to_string(), after.to_string());
        // What could be part of another label is never cut: M31-098-3 would be read as M31-098.
        if let Some(part) = [&around.0, &around.1].into_iter().find(|part| part.chars().any(of_a_tag)) {
            return Err(format!(
                "it sends {text:?} where {label:?} was typed, and {part:?} may be part of a tag: type all that the \
                 label says; what the scanner adds must be other marks than letters, digits, - . / _"
            ));
        }
        if found.as_ref().is_some_and(|f| *f != around) {
            return Err("it does not send the same each time".into());
        }
        found = Some(around);
        let gaps = burst.windows(2).map(|two| two[1].0.saturating_sub(two[0].0));
        slowest = gaps.max().unwrap_or(0).max(slowest);
    }
    let Some((prefix, suffix)) = found else { return Err("nothing was scanned".into()) };
    // As slow again and a little more, for a busy way.
    let wait_ms = (slowest * 2 + 20).clamp(WAIT_MS, 400);
    Ok(Habits { wait_ms, prefix, suffix })
}

/// A character, what ends a line, or a mark between the parts of a code: no key that does something.
fn is_text(press: Press) -> bool {
    matches!(press, Press::Char(_) | Press::Ctrl(_) | Press::Enter | Press::Tab)
}

/// What tags are made of.
fn of_a_tag(c: char) -> bool {
    c.is_alphanumeric() || "-./_".contains(c)
}

/// Without a symbology mark, which is cut off every code as it comes.
fn unmarked(before: &str) -> &str {
    let mark = before
        .len()
        .checked_sub(3)
        .filter(|at| before.is_char_boundary(*at) && before[*at..].starts_with(']'));
    mark.map_or(before, |at| &before[..at])
}

/// Keeps what was learned, in a file of the person who works at this terminal.
#[derive(Clone, Debug)]
struct KeepHabits(Habits);

impl Order for KeepHabits {
    type Reply = ();

    fn sort(&self) -> Sort {
        Sort::Keep
    }

    fn perform(&self, worker: &mut Worker) -> Result<()> {
        worker.keep_habits(&self.0)
    }
}

#[derive(Default)]
pub struct ScanSetup {
    label: String,
    typed: bool,
    sent: Vec<Burst>,
    now: Burst,
    learned: Option<std::result::Result<Habits, String>>,
}

impl ScanSetup {
    /// What was sent is over: a key that a person pressed alone, or a scan.
    fn over(&mut self) -> Vec<Effect> {
        let burst = std::mem::take(&mut self.now);
        if let [(_, press)] = burst.as_slice() {
            return match (press, &self.learned) {
                (Press::Esc, _) => vec![Effect::Close],
                (Press::F(2), Some(Ok(habits))) => {
                    let habits = habits.clone();
                    let said = Effect::say(Role::Good, "this terminal knows its scanner now");
                    vec![Effect::Learn(habits.clone()), Effect::ask(KeepHabits(habits)), Effect::Close, said]
                }
                (Press::Delete | Press::Backspace, _) => {
                    *self = Self::default();
                    Vec::new()
                }
                _ => Vec::new(),
            };
        }
        self.sent.push(burst);
        if self.sent.len() > SCANS {
            self.sent.remove(0);
        }
        self.learned = (self.sent.len() == SCANS).then(|| learn(&self.label, &self.sent));
        Vec::new()
    }

    /// By hand, letter by letter.
    fn type_label(&mut self, at_ms: u64, press: Press) -> Vec<Effect> {
        let fast =
            self.now.len() > 3 && at_ms.saturating_sub(self.now[0].0) < MACHINE_MS * self.now.len() as u64;
        match press {
            Press::Esc => return vec![Effect::Close],
            Press::Enter if fast => {
                (self.label, self.now) = (String::new(), Burst::new());
                return vec![Effect::say(Role::Look, "that was the scanner: type it by hand first")];
            }
            Press::Enter if self.label.trim().chars().count() >= 3 => {
                (self.label, self.typed) = (self.label.trim().to_string(), true);
                self.now.clear();
            }
            Press::Backspace => drop(self.label.pop()),
            Press::Char(c) if self.label.chars().count() < 60 => {
                self.label.push(c);
                self.now.push((at_ms, press));
            }
            _ => {}
        }
        Vec::new()
    }
}

/// What a burst is, readable.
fn told(burst: &Burst) -> String {
    let mut out = String::new();
    for (_, press) in burst {
        match press {
            Press::Char(c) if !c.is_control() => out.push(*c),
            other => out.push_str(&format!("⟨{}⟩", other.name())),
        }
    }
    let gaps: Vec<u64> = burst.windows(2).map(|two| two[1].0.saturating_sub(two[0].0)).collect();
    let slowest = gaps.iter().max().copied().unwrap_or(0);
    format!("{out}   {} characters, at most {slowest} ms between two", burst.len())
}

impl Screen for ScanSetup {
    fn title(&self) -> String {
        "Set up the scanner".into()
    }

    fn keys(&self) -> Vec<Shown> {
        let mut out = Vec::new();
        if matches!(self.learned, Some(Ok(_))) {
            out.push(plain("F2", "keep it", "Keep what was learned for this terminal"));
        }
        if !self.typed {
            out.push(plain("Enter", "next", "The text of the label is typed"));
        } else {
            out.push(plain("Backspace", "from the beginning", "Type another label"));
        }
        out.push(plain("Esc", "back", "Leave it as it was"));
        out
    }

    fn press(&mut self, _press: Press, _now: &Context) -> Vec<Effect> {
        Vec::new()
    }

    fn listens(&mut self, at_ms: u64, press: Press) -> Option<Vec<Effect>> {
        if matches!(press, Press::Ctrl('c' | 'z')) {
            return None;
        }
        if !self.typed {
            return Some(self.type_label(at_ms, press));
        }
        // A key of a person is none of what was sent before it.
        let mut out = Vec::new();
        let own = matches!(press, Press::Esc | Press::F(2) | Press::Backspace | Press::Delete);
        if own && self.now.last().is_none_or(|(at, _)| at_ms.saturating_sub(*at) > 250) {
            if !self.now.is_empty() {
                out = self.over();
            }
            self.now.push((at_ms, press));
            out.extend(self.over());
            return Some(out);
        }
        self.now.push((at_ms, press));
        Some(out)
    }

    fn tick(&mut self, now: &Context) -> Vec<Effect> {
        let rests = self.now.last().is_some_and(|(at, _)| now.at_ms.saturating_sub(*at) > PAUSE_MS);
        if self.typed && rests { self.over() } else { Vec::new() }
    }

    fn takes_text(&self) -> bool {
        true
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        let mut put = |role: Role, text: &str| rows.extend(view.wrapped(role, text, width));
        put(Role::Strong, "1  Take a label. Type by hand what it says, then Enter.");
        put(Role::Field, &format!("   {}{}", self.label, if self.typed { "" } else { "_" }));
        put(Role::Text, "");
        if self.typed {
            put(Role::Strong, &format!("2  Scan that label {SCANS} times, with a pause after each."));
            for burst in &self.sent {
                put(Role::Text, &format!("   {}", told(burst)));
            }
            if !self.now.is_empty() {
                put(Role::Quiet, &format!("   {}", told(&self.now)));
            }
            put(Role::Text, "");
        }
        match &self.learned {
            None => {}
            Some(Err(why)) => put(Role::Bad, &format!("✗ Not learned: {why}.")),
            Some(Ok(h)) => {
                let part = |t: &str| if t.is_empty() { "nothing".to_string() } else { format!("{t:?}") };
                let text = format!(
                    "✓ Before each code it sends {}, behind it {} and what ends the line. Letters less than {} ms apart \
                     are taken for a code; a key acts after that wait. F2 keeps it.",
                    part(&h.prefix),
                    part(&h.suffix),
                    h.wait_ms
                );
                put(Role::Good, &text);
            }
        }
        put(Role::Text, "");
        put(
            Role::Quiet,
            "Without a set-up every scanner works that sends a character every 0 to 150 ms, with or without an Enter or \
             Tab at the end. A set-up cuts off what the scanner adds, and waits longer for a slower one, never less than \
             180 ms: so long a key waits until it acts, outside a field. A label of one or two characters cannot be told \
             from keys: give such a thing a longer tag.",
        );
        lines(frame, area, rows);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn burst(text: &str, gap: u64) -> Burst {
        let press = |c| match c {
            '\r' => Press::Enter,
            '\u{2}' => Press::F(2),
            c => Press::Char(c),
        };
        text.chars().enumerate().map(|(i, c)| (1000 + i as u64 * gap, press(c))).collect()
    }

    #[test]
    fn what_stands_around_the_label_and_the_speed_are_learned() {
        let sent = vec![burst("~]d2M31-041#\r", 12); 3];
        let learned = learn("M31-041", &sent).unwrap();
        assert_eq!(learned, Habits { wait_ms: 180, prefix: "~".into(), suffix: "#".into() });
        assert_eq!(learned.bare("~]d2M31-041#"), "M31-041");
        // Never less than for a scanner that nothing is known of; more for a slower one.
        assert_eq!(learn("M31-041", &vec![burst("M31-041\r", 0); 3]).unwrap(), Habits::default());
        assert_eq!(learn("M31-041", &vec![burst("M31-041\r", 120); 3]).unwrap().wait_ms, 260);
    }

    #[test]
    fn a_scanner_that_saves_or_says_something_else_is_refused() {
        let saves = learn("M31-041", &[burst("M31-041\u{2}", 5)]).unwrap_err();
        assert!(saves.contains("F2"), "{saves}");
        let small = learn("M31-041", &[burst("m31-041\r", 5)]).unwrap_err();
        assert!(small.contains("caps lock"), "{small}");
        let other = learn("M31-041", &[burst("M31?041\r", 5)]).unwrap_err();
        assert!(other.contains("language"), "{other}");
        assert!(learn("M31-041", &[burst("M31-041\r", 5), burst("#M31-041\r", 5)]).is_err());
        for key in [Press::Esc, Press::Up, Press::F(3), Press::Delete, Press::BackTab] {
            let mut sent = burst("M31-041", 5);
            sent.push((1040, key));
            let why = learn("M31-041", &[sent]).unwrap_err();
            assert!(why.contains(&format!("it sends {}, a key", key.name())), "{why}");
        }
        assert!(learn("M31-041", &[]).is_err());
    }

    /// The label of a blade with the tag of its mould typed: what is left over is the blade, no suffix.
    #[test]
    fn what_may_be_part_of_a_tag_is_never_cut() {
        for (typed, sent) in [
            ("M31-098", "M31-098-3\r"),
            ("M31-098", "XM31-098\r"),
            ("M31", "M31.\r"),
            ("098", "M31-098\r"),
            ("31-098", "]d2M31-098\r"),
            ("M31-098", "M31-098/\r"),
            ("M31-098", "_M31-098\r"),
        ] {
            let why = learn(typed, &vec![burst(sent, 0); 3]).unwrap_err();
            assert!(why.contains("may be part of a tag") && why.contains(sent.trim_end()), "{sent:?}: {why}");
        }
        assert!(learn("M31-098", &vec![burst("]C1M31-098\r", 0); 3]).is_ok());
    }
}
