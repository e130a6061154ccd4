//! Key tables: one per screen. Dispatch, the footer and the help page are all made from them.

use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// One press, in the words of this program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Press {
    /// A character as typed.
    Char(char),
    /// A character with the control key.
    Ctrl(char),
    /// A function key.
    F(u8),
    /// Enter.
    Enter,
    /// Escape.
    Esc,
    /// Tab.
    Tab,
    /// Tab with shift.
    BackTab,
    /// Arrow up.
    Up,
    /// Arrow down.
    Down,
    /// Arrow left.
    Left,
    /// Arrow right.
    Right,
    /// Home.
    Home,
    /// End.
    End,
    /// Page up.
    PageUp,
    /// Page down.
    PageDown,
    /// Backspace.
    Backspace,
    /// Delete.
    Delete,
}

impl Press {
    /// From a key event of the terminal; nothing for a release or a key without use here.
    #[must_use]
    pub fn from_event(event: &KeyEvent) -> Option<Self> {
        if event.kind == KeyEventKind::Release {
            return None;
        }
        let control =
            event.modifiers.contains(KeyModifiers::CONTROL) && !event.modifiers.contains(KeyModifiers::ALT);
        Some(match event.code {
            KeyCode::Char(c) if control => Self::Ctrl(c.to_ascii_lowercase()),
            KeyCode::Char(c) => Self::Char(c),
            KeyCode::F(n) => Self::F(n),
            KeyCode::Enter => Self::Enter,
            KeyCode::Esc => Self::Esc,
            KeyCode::Tab => Self::Tab,
            KeyCode::BackTab => Self::BackTab,
            KeyCode::Up => Self::Up,
            KeyCode::Down => Self::Down,
            KeyCode::Left => Self::Left,
            KeyCode::Right => Self::Right,
            KeyCode::Home => Self::Home,
            KeyCode::End => Self::End,
            KeyCode::PageUp => Self::PageUp,
            KeyCode::PageDown => Self::PageDown,
            KeyCode::Backspace => Self::Backspace,
            KeyCode::Delete => Self::Delete,
            _ => return None,
        })
    }

    /// As the footer prints it.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Char(' ') => "Space".into(),
            Self::Char(c) => c.to_string(),
            Self::Ctrl(c) => format!("Ctrl-{}", c.to_ascii_uppercase()),
            Self::F(n) => format!("F{n}"),
            Self::Enter => "Enter".into(),
            Self::Esc => "Esc".into(),
            Self::Tab => "Tab".into(),
            Self::BackTab => "Shift-Tab".into(),
            Self::Up => "↑".into(),
            Self::Down => "↓".into(),
            Self::Left => "←".into(),
            Self::Right => "→".into(),
            Self::Home => "Home".into(),
            Self::End => "End".into(),
            Self::PageUp => "PgUp".into(),
            Self::PageDown => "PgDn".into(),
            Self::Backspace => "Backspace".into(),
            Self::Delete => "Del".into(),
        }
    }

    /// The same press without regard to caps lock.
    fn folded(self) -> Self {
        match self {
            Self::Char(c) => Self::Char(c.to_ascii_lowercase()),
            other => other,
        }
    }
}

/// One line of a screen's key table.
pub struct Key<S: 'static, M: 'static> {
    /// The keys that do it; the first is the one that is shown.
    pub on: &'static [Press],
    /// What it does.
    pub msg: M,
    /// A word or two for the footer; blank for a key that is only in the help.
    pub label: &'static str,
    /// A sentence for the help.
    pub help: &'static str,
    /// Whether it works now.
    pub when: fn(&S) -> bool,
}

/// A key as the footer and the help show it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The key.
    pub key: String,
    /// A word or two.
    pub label: &'static str,
    /// A sentence.
    pub help: &'static str,
    /// It works now.
    pub works: bool,
}

/// What a press means on a screen; nothing where no key of the table works now.
pub fn dispatch<S, M: Copy>(table: &[Key<S, M>], state: &S, press: Press) -> Option<M> {
    let press = press.folded();
    table.iter().find(|k| k.on.contains(&press) && (k.when)(state)).map(|k| k.msg)
}

/// Every key of a table, with whether it works now.
pub fn shown<S, M>(table: &[Key<S, M>], state: &S) -> Vec<Shown> {
    table
        .iter()
        .map(|k| Shown {
            key: k.on.first().map(|p| p.name()).unwrap_or_default(),
            label: k.label,
            help: k.help,
            works: (k.when)(state),
        })
        .collect()
}

/// For keys that always work.
#[must_use]
pub fn always<S>(_: &S) -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &[Key<bool, u8>] = &[
        Key { on: &[Press::Char('p'), Press::Enter], msg: 1, label: "pour", help: "", when: |s| *s },
        Key { on: &[Press::Char('q')], msg: 2, label: "quit", help: "", when: always },
    ];

    #[test]
    fn one_table_gives_dispatch_and_footer() {
        assert_eq!(dispatch(TABLE, &true, Press::Char('P')), Some(1));
        assert_eq!(dispatch(TABLE, &false, Press::Char('p')), None);
        assert_eq!(dispatch(TABLE, &false, Press::Char('q')), Some(2));
        let works: Vec<bool> = shown(TABLE, &false).iter().map(|s| s.works).collect();
        assert_eq!(works, [false, true]);
    }
}
