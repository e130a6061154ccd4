//! Labels: a tag in large type with a 2-D code, on a screen and on a sheet for the printer.

pub(crate) mod letters;
pub(crate) mod sheet;

pub use crate::jobs::labels::show::sheet::{Layout, pages};

use serde::Serialize;

use crate::show::code::Code;
pub use crate::show::code::matrix;
use records::value::tag::shown;

/// How a code is drawn on a screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ink {
    /// Black on white by colour codes, whatever the terminal's own colours.
    Colour,
    /// Without colour, two modules a character; light modules are lit.
    Blocks,
    /// Without colour, a module two characters wide, `#` and blank; light modules are lit.
    Ascii,
}

/// One label.
#[derive(Serialize, Debug, Clone)]
pub struct Label {
    /// The tag, as recorded.
    pub tag: String,
    /// The kind of record; none for a tag printed ahead of its record.
    pub kind: Option<&'static str>,
    /// The kind in words.
    pub noun: String,
    /// A second line: the part of a blade, the alloy of a lot.
    pub line: String,
    /// The asked tag, where the record has another one by now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub asked: Option<String>,
    /// The code: a text of 1 (dark) and 0 for each row.
    #[serde(serialize_with = "as_digits")]
    pub code: Code,
}

fn as_digits<S: serde::Serializer>(code: &Code, to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(code.rows().map(|r| r.iter().map(|d| if *d { '1' } else { '0' }).collect::<String>()))
}

/// What `label` prints.
#[derive(Serialize, Debug, Clone)]
pub struct Labels {
    /// The labels in the order asked for.
    pub labels: Vec<Label>,
    /// The sheets that were written.
    pub files: Vec<String>,
}

/// Modules of quiet zone on a screen; the standard asks for one at least.
const QUIET: usize = 2;

impl Labels {
    /// For a screen.
    ///
    /// `paper`: without colour, the terminal has dark letters on a light ground, so dark modules are
    /// the ones that are lit.
    pub fn text(&self, ink: Ink, paper: bool) -> String {
        let mut out = String::new();
        for label in &self.labels {
            out.push_str(&label.text(ink, paper));
            out.push('\n');
        }
        if self.files.is_empty() && ink != Ink::Colour && !self.labels.is_empty() {
            out.push_str(if paper {
                "drawn for dark letters on a light ground\n"
            } else {
                "drawn for light letters on a dark ground; on a light ground ask with --paper\n"
            });
        }
        for file in &self.files {
            out.push_str(&format!("wrote {}\n", shown(file)));
        }
        out
    }
}

impl Label {
    /// One label for a screen: the kind, the tag large, the code, the tag as it is written.
    pub fn text(&self, ink: Ink, paper: bool) -> String {
        let mut out = format!("{}{}\n", shown(&self.noun), self.second("  "));
        out.push_str(&letters::large(&self.tag, ink == Ink::Ascii));
        out.push_str(&drawn(&self.code, ink, paper));
        out.push_str(&format!("{}\n", shown(&self.tag)));
        if let Some(asked) = &self.asked {
            out.push_str(&format!("asked as {}: it carries this tag now\n", shown(asked)));
        }
        out
    }

    fn second(&self, between: &str) -> String {
        if self.line.is_empty() { String::new() } else { format!("{between}{}", shown(&self.line)) }
    }
}

/// A code with its quiet zone, for a terminal.
pub fn drawn(code: &Code, ink: Ink, paper: bool) -> String {
    let (w, h) = (code.width + 2 * QUIET, code.height + 2 * QUIET);
    let dark = |x: usize, y: usize| x >= QUIET && y >= QUIET && code.dark(x - QUIET, y - QUIET);
    let mut out = String::new();
    if ink == Ink::Ascii {
        for y in 0..h {
            let row: String = (0..w).map(|x| if dark(x, y) == paper { "##" } else { "  " }).collect();
            out.push_str(row.trim_end());
            out.push('\n');
        }
        return out;
    }
    // With colours the letters are black; without, a lit cell has the terminal's letter colour.
    let lit = |x: usize, y: usize| if ink == Ink::Colour { dark(x, y) } else { dark(x, y) == paper };
    for y in (0..h).step_by(2) {
        let row: String = (0..w)
            .map(|x| match (lit(x, y), y + 1 < h && lit(x, y + 1)) {
                (true, true) => '█',
                (true, false) => '▀',
                (false, true) => '▄',
                (false, false) => ' ',
            })
            .collect();
        if ink == Ink::Colour {
            out.push_str(&format!("\x1b[30;107m{row}\x1b[0m\n"));
        } else {
            out.push_str(row.trim_end());
            out.push('\n');
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use datamatrix::DataMatrix;

    use super::*;

    /// Decodes what a terminal shows: two rows a line, blank or lit.
    fn lit(text: &str, width: usize) -> Vec<Vec<bool>> {
        let mut rows = Vec::new();
        for line in text.lines() {
            let mut cells: Vec<char> = line.chars().collect();
            cells.resize(width, ' ');
            rows.push(cells.iter().map(|c| matches!(c, '█' | '▀')).collect());
            rows.push(cells.iter().map(|c| matches!(c, '█' | '▄')).collect());
        }
        rows
    }

    #[test]
    fn a_tag_comes_back_from_its_code() {
        // Tags beyond ASCII are read by the outside decoder of the reference script: this one knows no UTF-8.
        for tag in ["M31-041", "M31-041-6", &"W".repeat(40), "a/b_c.d"] {
            let code = matrix(tag).unwrap();
            let pixels: Vec<bool> = code.rows().flatten().copied().collect();
            let read = DataMatrix::decode(&pixels, code.width).unwrap();
            assert_eq!(read.iter().map(|b| *b as char).collect::<String>(), tag);
        }
    }

    #[test]
    fn without_colour_the_light_modules_are_lit_unless_the_ground_is_light() {
        let code = matrix("M31-041").unwrap();
        let w = code.width + 2 * QUIET;
        for paper in [false, true] {
            let rows = lit(&drawn(&code, Ink::Blocks, paper), w);
            for (y, row) in rows.iter().enumerate().take(code.height + 2 * QUIET) {
                for (x, lit) in row.iter().enumerate() {
                    let dark = x >= QUIET && y >= QUIET && code.dark(x - QUIET, y - QUIET);
                    assert_eq!(*lit == paper, dark, "{x} {y} {paper}");
                }
            }
        }
        assert!(drawn(&code, Ink::Ascii, false).is_ascii());
        assert!(drawn(&code, Ink::Colour, false).lines().all(|l| l.starts_with("\x1b[30;107m")));
    }
}
