//! A reason that is asked for before something is written, on the screen that writes it.

use crate::ui::effect::Effect;
use crate::ui::keys::{Press, Shown, plain, typed};
use crate::ui::theme::Role;
use records::catalogue::People;

/// What was asked, and what is typed so far.
#[derive(Clone, Debug, Default)]
pub struct Reason {
    /// Why it is asked for.
    pub why: Vec<String>,
    pub text: String,
    /// What stood there before the letters that may be a code.
    before: Option<String>,
}

/// What a press did to it.
pub enum Asked {
    /// It is still asked; something may be said.
    Still(Vec<Effect>),
    /// It is given: write.
    Given,
    /// What asked for it is changed instead.
    Left,
}

/// It says why: a word of letters is in it. A tag or a number alone is no reason.
pub fn says_why(text: &str) -> bool {
    text.split_whitespace().any(|word| {
        let word = word.trim_matches(|c: char| c.is_ascii_punctuation());
        word.chars().count() >= 2 && word.chars().all(|c| c.is_alphabetic() || "-'/".contains(c))
    })
}

impl Reason {
    pub fn new(why: Vec<String>) -> Self {
        Self { why, ..Self::default() }
    }

    /// Letters are about to come.
    pub fn letters_begin(&mut self) {
        self.before = Some(self.text.clone());
    }

    /// They were a code: a badge is no word of a reason and is taken out of it; another tag may be one. True where it was.
    pub fn letters_back(&mut self, of: Option<&'static str>) -> bool {
        let before = self.before.take().filter(|_| of == Some(People::NAME));
        before.map(|before| self.text = before).is_some()
    }

    /// Takes a press; `change` is what Esc leads to.
    pub fn press(&mut self, press: Press, change: &str) -> Asked {
        match press {
            Press::F(2) if self.text.trim().is_empty() => {
                let text = format!("a reason is needed, or Esc to {change}");
                Asked::Still(vec![Effect::Say(Role::Look, text)])
            }
            Press::F(2) => Asked::Given,
            Press::Enter => Asked::Still(vec![Effect::say(Role::Look, "F2 saves it with this reason")]),
            Press::Esc => Asked::Left,
            // Delete takes nothing back here.
            Press::Delete => Asked::Still(Vec::new()),
            _ => {
                typed(&mut self.text, press, 500);
                Asked::Still(Vec::new())
            }
        }
    }

    /// The keys while it is asked.
    pub fn keys(save: &'static str, change: &'static str, back: &'static str) -> Vec<Shown> {
        vec![plain("F2", "save with this reason", save), plain("Esc", change, back)]
    }
}
