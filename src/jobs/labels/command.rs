//! Labels on the screen and as sheets.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::process::ExitCode;

use clap::Subcommand;

use crate::cli::context::Global;
use crate::cli::examples::example;
use crate::jobs::labels::ask;
use crate::jobs::labels::show::{Ink, Layout};
use records::Result;

/// Commands that print labels.
#[derive(Subcommand)]
pub enum LabelCommand {
    /// A tag in large type with its code, on screen or on a sheet
    ///
    /// The code is a Data Matrix (ISO/IEC 16022).
    #[command(after_help = example(
        "When a tag is burnt, wet or swapped. --svg writes a sheet for the printer.",
        "label M31-041 M31-042 --svg labels.svg",
    ))]
    Label {
        /// Tags
        #[arg(required = true, value_name = "TAG")]
        tags: Vec<String>,
        /// Write sheets (SVG) instead; more pages are FILE-2, FILE-3 …
        #[arg(long, value_name = "FILE")]
        svg: Option<PathBuf>,
        /// Replace sheets that are there
        #[arg(long, requires = "svg")]
        replace: bool,
        /// A label's size in mm; else what suits moulds, trays or blades
        #[arg(long, value_name = "WxH", requires = "svg", value_parser = size)]
        size: Option<(f64, f64)>,
        /// The paper's size in mm
        #[arg(long, value_name = "WxH", requires = "svg", value_parser = size)]
        page: Option<(f64, f64)>,
        /// Tags that are not recorded yet are printed too
        #[arg(long)]
        new: bool,
        /// What a tag that is not recorded yet will be
        #[arg(long, value_name = "KIND", requires = "new")]
        kind: Option<String>,
        /// The terminal has dark letters on a light ground (matters only without colours)
        #[arg(long)]
        paper: bool,
        /// Draw with # and blanks
        #[arg(long)]
        ascii: bool,
    },
}

fn size(text: &str) -> std::result::Result<(f64, f64), String> {
    let wrong = || format!("{text} is not a size; 60x30 is (width by height, in mm)");
    let (w, h) = text.split_once(['x', 'X']).ok_or_else(wrong)?;
    match (w.trim().parse::<f64>(), h.trim().parse::<f64>()) {
        (Ok(w), Ok(h)) if w.is_finite() && h.is_finite() => Ok((w, h)),
        _ => Err(wrong()),
    }
}

/// Runs a command.
pub fn run(what: &LabelCommand, global: &Global) -> Result<ExitCode> {
    let LabelCommand::Label { tags, svg, replace, size, page, new, kind, paper, ascii } = what;
    let store = global.open()?;
    let mut labels = ask::labels(&store, tags, *new, kind.as_deref())?;
    if let Some(file) = svg {
        let mut layout = Layout::suited(&labels.labels);
        layout.label = size.unwrap_or(layout.label);
        layout.page = page.unwrap_or(layout.page);
        ask::sheets(&mut labels, &layout, global.output(file, *replace, &store))?;
        global.say(&labels, |l| format!("{} labels\n{}", l.labels.len(), l.files.join("\n")));
    } else {
        match global.json {
            true => global.say(&labels, |_| String::new()),
            false => global.say_as_it_is(&labels.text(ink(*ascii), *paper)),
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Colours only on a terminal that takes them; half blocks where the locale is UTF-8.
fn ink(ascii: bool) -> Ink {
    let set = |name: &str| std::env::var(name).unwrap_or_default();
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().map(set).find(|v| !v.is_empty());
    let plain = locale.is_some_and(|l| !l.to_ascii_lowercase().replace('-', "").contains("utf8"));
    if ascii || plain || set("TERM") == "dumb" {
        Ink::Ascii
    } else if set("NO_COLOR").is_empty() && std::io::stdout().is_terminal() {
        Ink::Colour
    } else {
        Ink::Blocks
    }
}
