//! A line typed without being shown.

use std::io::{self, Write};

use crossterm::event::{self, Event, KeyCode, KeyEventKind, KeyModifiers};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode};

/// Asks on standard error and reads a line that is not shown.
pub fn ask(prompt: &str) -> io::Result<String> {
    write!(io::stderr(), "{prompt}")?;
    io::stderr().flush()?;
    enable_raw_mode()?;
    let typed = line();
    disable_raw_mode()?;
    writeln!(io::stderr())?;
    typed
}

fn line() -> io::Result<String> {
    let mut out = String::new();
    loop {
        let Event::Key(key) = event::read()? else { continue };
        if key.kind == KeyEventKind::Release {
            continue;
        }
        match key.code {
            KeyCode::Enter => return Ok(out),
            KeyCode::Esc => return Err(io::ErrorKind::Interrupted.into()),
            KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                return Err(io::ErrorKind::Interrupted.into());
            }
            KeyCode::Backspace => {
                out.pop();
            }
            KeyCode::Char(c) => out.push(c),
            _ => {}
        }
    }
}
