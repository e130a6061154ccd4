//! Standard output and standard error. An answer that could not be written whole ends the program with exit code 3, whatever
//! came before; a reader that has gone away is told nothing more, and so is everybody else.

use std::io::{ErrorKind, Write};
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};

/// Standard output did not take everything.
static CUT: AtomicBool = AtomicBool::new(false);

/// Something was said on standard output.
static SAID: AtomicBool = AtomicBool::new(false);

/// An answer stands on standard output, whole or in part.
pub fn has_answered() -> bool {
    SAID.load(Ordering::Relaxed)
}

/// Writes to standard output.
pub fn out(bytes: &[u8]) {
    SAID.store(true, Ordering::Relaxed);
    let mut output = std::io::stdout().lock();
    heard(output.write_all(bytes).and_then(|()| output.flush()));
}

/// Notes how a writing to standard output ended.
pub fn heard(written: std::io::Result<()>) {
    let Err(e) = written else { return };
    if !CUT.swap(true, Ordering::Relaxed) && e.kind() != ErrorKind::BrokenPipe {
        let why = match e.kind() {
            ErrorKind::StorageFull => "the disk is full".to_string(),
            _ => e.to_string(),
        };
        err(&format!("meltkin: the answer could not be written whole: {why}. What was asked for is done"));
    }
}

/// Writes a line to standard error, if that takes it.
pub fn err(line: &str) {
    let _ = writeln!(std::io::stderr().lock(), "{line}");
}

/// The exit code: 3 where the answer was cut.
pub fn ending(code: ExitCode) -> ExitCode {
    match CUT.load(Ordering::Relaxed) {
        true => ExitCode::from(3),
        false => code,
    }
}
