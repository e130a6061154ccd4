//! Pages for man(1): what clap knows of a command, then how it ends, which files and variables it minds.

use clap::Command;
use clap_mangen::Man;

use crate::cli::{context, settings};
use records::{Error, Result};

/// Commands whose answer may be *no*, and what that says.
const MAY_SAY_NO: &[(&str, &str)] = &[
    ("meltkin-verify", "Something in the file is not as it was written."),
    ("meltkin-ready", "The mould may not be poured, or it cannot be told."),
    ("meltkin-alloy-check", "An element is outside its limits."),
    (
        "meltkin-lot-summary",
        "Something blocks the lot, its summary is void, or --require-final and it is not final.",
    ),
];

/// The page of the whole program.
const PROGRAM: &str = "meltkin";

/// A page for a command, under its full name.
///
/// # Errors
/// It cannot be written.
pub fn page(command: &Command, name: &str) -> Result<Vec<u8>> {
    let man = Man::new(command.clone());
    let mut out = Vec::new();
    man.render(&mut out).map_err(|e| Error::input(e.to_string()))?;
    // clap_mangen calls what stands below the help so.
    let title = if name == PROGRAM { ".SH NOTES" } else { ".SH EXAMPLE" };
    let page = String::from_utf8_lossy(&out).replacen(".SH EXTRA", title, 1);
    Ok((page + &below(name)).into_bytes())
}

fn below(name: &str) -> String {
    let mut out = section("EXIT STATUS");
    term(&mut out, "0", "Done. That something cannot be told is an answer too.");
    let no = MAY_SAY_NO.iter().find(|(n, _)| *n == name).map(|(_, why)| format!("{why} Or refused"));
    let no = no.or_else(|| (name == PROGRAM).then(|| "The answer is no; or refused".to_string()));
    let no = no.unwrap_or_else(|| "Refused".into());
    term(&mut out, "1", &format!("{no}: the person may not do it; nothing was written but the refusal."));
    term(&mut out, "2", "Usage or input is at fault; nothing was written.");
    term(&mut out, "3", "The store cannot be opened or trusted, or the answer could not be written whole.");
    out.push_str(&section("ENVIRONMENT"));
    for (variable, about) in settings::variables() {
        term(&mut out, variable, &about);
    }
    term(&mut out, context::NOW, "The time (RFC 3339) in place of the clock's.");
    term(&mut out, "NO_COLOR", "No colours, where it is not empty.");
    out.push_str(&section("FILES"));
    term(
        &mut out,
        "$XDG_DATA_HOME/meltkin/meltkin.db",
        "The store, where nothing names another (~/.local/share without the variable).",
    );
    term(
        &mut out,
        "$XDG_CONFIG_HOME/meltkin/config.toml",
        "Settings (~/.config without the variable); meltkin config shows them.",
    );
    term(
        &mut out,
        "$XDG_CONFIG_HOME/meltkin/scanner.json",
        "How the scanner at this terminal sends, as a screen learned it.",
    );
    if name != PROGRAM {
        out.push_str(&section("SEE ALSO"));
        out.push_str("\\fBmeltkin\\fR(1)\n");
    }
    out
}

fn section(title: &str) -> String {
    format!(".SH \"{title}\"\n")
}

/// A term and what it says. A line of roff must not begin with a point.
fn term(out: &mut String, term: &str, says: &str) {
    let plain = |text: &str| text.replace('\\', "\\e").replace('-', "\\-");
    out.push_str(&format!(".TP\n\\fB{}\\fR\n{}\n", plain(term), plain(says)));
}
