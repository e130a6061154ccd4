//! Key tables: one per screen. Dispatch, the footer and the help page are all made from them.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

use crate::ui::effect::Effect;
use crate::ui::screen::Context;

/// One press, in the words of this program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Press {
    Char(char),
    Ctrl(char),
    F(u8),
    Enter,
    Esc,
    Tab,
    BackTab,
    Up,
    Down,
    Left,
    Right,
    Home,
    End,
    PageUp,
    PageDown,
    Backspace,
    Delete,
}

/// Keys that are no characters: as the terminal sends them, as the footer prints them.
const NAMED: [(KeyCode, Press, &str); 14] = [
    (KeyCode::Enter, Press::Enter, "Enter"),
    (KeyCode::Esc, Press::Esc, "Esc"),
    (KeyCode::Tab, Press::Tab, "Tab"),
    (KeyCode::BackTab, Press::BackTab, "Shift-Tab"),
    (KeyCode::Up, Press::Up, "↑"),
    (KeyCode::Down, Press::Down, "↓"),
    (KeyCode::Left, Press::Left, "←"),
    (KeyCode::Right, Press::Right, "→"),
    (KeyCode::Home, Press::Home, "Home"),
    (KeyCode::End, Press::End, "End"),
    (KeyCode::PageUp, Press::PageUp, "PgUp"),
    (KeyCode::PageDown, Press::PageDown, "PgDn"),
    (KeyCode::Backspace, Press::Backspace, "Backspace"),
    (KeyCode::Delete, Press::Delete, "Del"),
];

impl Press {
    /// From a key event of the terminal; nothing for a release or a key without use here.
    pub fn from_event(event: &KeyEvent) -> Option<Self> {
        if event.kind == KeyEventKind::Release {
            return None;
        }
        let control =
            event.modifiers.contains(KeyModifiers::CONTROL) && !event.modifiers.contains(KeyModifiers::ALT);
        match event.code {
            KeyCode::Char(c) if control => Some(Self::Ctrl(c.to_ascii_lowercase())),
            KeyCode::Char(c) => Some(Self::Char(c)),
            KeyCode::F(n) => Some(Self::F(n)),
            code => NAMED.iter().find(|(of, ..)| *of == code).map(|(_, press, _)| *press),
        }
    }

    /// As the footer prints it.
    pub fn name(self) -> String {
        match self {
            Self::Char(' ') => "Space".into(),
            Self::Char(c) => c.to_string(),
            Self::Ctrl(c) => format!("Ctrl-{}", c.to_ascii_uppercase()),
            Self::F(n) => format!("F{n}"),
            other => NAMED.iter().find(|(_, press, _)| *press == other).map_or("", |n| n.2).into(),
        }
    }

    /// A capital letter: no key is one, so that caps lock acts on nothing.
    pub(crate) fn is_capital(self) -> bool {
        matches!(self, Self::Char(c) if c.is_uppercase())
    }
}

/// What a key does on a screen.
pub type Act<S> = fn(&mut S, &Context) -> Vec<Effect>;

/// One line of a screen's key table: what is pressed, what it does, what is said of it, whether it works now.
pub struct Key<S: 'static, A: 'static = Act<S>> {
    on: &'static [Press],
    act: A,
    label: &'static str,
    help: &'static str,
    when: fn(&S) -> bool,
}

/// A key that always works. Of several presses the first is the one that is shown.
pub const fn key<S, A>(on: &'static [Press], act: A) -> Key<S, A> {
    Key { on, act, label: "", help: "", when: always }
}

impl<S> Key<S> {
    /// A key that does something on a screen.
    pub const fn on(on: &'static [Press], act: Act<S>) -> Self {
        key(on, act)
    }
}

impl<S, A> Key<S, A> {
    /// A word or two for the footer, a sentence for the help.
    pub const fn named(mut self, label: &'static str, help: &'static str) -> Self {
        (self.label, self.help) = (label, help);
        self
    }

    /// A sentence for the help alone.
    pub const fn help(self, help: &'static str) -> Self {
        self.named("", help)
    }

    /// Where it works only now and then.
    pub const fn when(mut self, when: fn(&S) -> bool) -> Self {
        self.when = when;
        self
    }
}

/// A key as the footer and the help show it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    pub key: String,
    /// A word or two.
    pub label: &'static str,
    pub help: &'static str,
    pub works: bool,
}

/// A key that is no row of a table: where a screen asks something of its own.
pub fn plain(key: &str, label: &'static str, help: &'static str) -> Shown {
    Shown { key: key.into(), label, help, works: true }
}

/// What a press means; nothing where no key of the table works now.
pub fn meant<S, A: Copy>(table: &[Key<S, A>], state: &S, press: Press) -> Option<A> {
    table.iter().find(|k| k.on.contains(&press) && (k.when)(state)).map(|k| k.act)
}

/// Does what a press means on a screen; nothing where no key of the table works now.
pub fn dispatch<S>(table: &[Key<S>], state: &mut S, press: Press, now: &Context) -> Vec<Effect> {
    meant(table, state, press).map_or_else(Vec::new, |act| act(state, now))
}

/// Every key of a table, with whether it works now.
pub fn shown<S, A>(table: &[Key<S, A>], state: &S) -> Vec<Shown> {
    let name = |k: &Key<S, A>| k.on.first().map(|p| p.name()).unwrap_or_default();
    let row = |k: &Key<S, A>| Shown { key: name(k), label: k.label, help: k.help, works: (k.when)(state) };
    table.iter().map(row).collect()
}

/// What a press does to a line of text; true where it did something.
pub fn typed(text: &mut String, press: Press, most: usize) -> bool {
    match press {
        Press::Char(c) if text.chars().count() < most => text.push(c),
        Press::Backspace => drop(text.pop()),
        Press::Delete => text.clear(),
        _ => return false,
    }
    true
}

/// Takes the screen away.
pub fn close<S>(_: &mut S, _: &Context) -> Vec<Effect> {
    vec![Effect::Close]
}

fn always<S>(_: &S) -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &[Key<bool, u8>] = &[
        key(&[Press::Char('p'), Press::Enter], 1).named("pour", "").when(|s| *s),
        key(&[Press::Char('q')], 2).named("quit", ""),
    ];

    #[test]
    fn one_table_gives_dispatch_and_footer() {
        assert_eq!(meant(TABLE, &true, Press::Char('p')), Some(1));
        assert_eq!(meant(TABLE, &true, Press::Char('P')), None);
        assert_eq!(meant(TABLE, &false, Press::Char('p')), None);
        assert_eq!(meant(TABLE, &false, Press::Char('q')), Some(2));
        let works: Vec<bool> = shown(TABLE, &false).iter().map(|s| s.works).collect();
        assert_eq!(works, [false, true]);
    }
}
