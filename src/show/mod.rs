//! Results as text, JSON and HTML. Plain data in, text out.

pub mod code;
pub mod fitted;
pub mod guide;
pub mod html;
pub mod laid;
pub mod picture;
pub mod ranges;
pub mod working;
pub mod xlsx;

use serde::Serialize;

use records::value::tag::shown;
use records::value::unseen::unseen;

/// An answer as JSON on one line. Characters that nobody sees stand escaped. An object says last which program made it; a
/// list stays a list.
pub fn json<T: Serialize>(value: &T) -> String {
    let mut plain = serde_json::to_string(value).unwrap_or_else(|e| format!("{{\"error\":\"{e}\"}}"));
    if plain.starts_with('{') && plain.pop().is_some() {
        let comma = if plain.len() > 1 { "," } else { "" };
        plain.push_str(&format!("{comma}\"meltkin\":\"{}\"}}", env!("CARGO_PKG_VERSION")));
    }
    if !plain.chars().any(unseen) {
        return plain;
    }
    let mut out = String::with_capacity(plain.len() + 16);
    for c in plain.chars() {
        if unseen(c) {
            let mut units = [0; 2];
            for unit in c.encode_utf16(&mut units) {
                out.push_str(&format!("\\u{unit:04x}"));
            }
        } else {
            out.push(c);
        }
    }
    out
}

/// Columns side by side, as wide as they must be, each marked for [`laid::laid`].
pub fn columns(rows: &[Vec<String>]) -> String {
    use unicode_width::UnicodeWidthStr;
    let n = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width: Vec<usize> =
        (0..n).map(|c| rows.iter().filter_map(|r| r.get(c)).map(|s| s.width()).max().unwrap_or(0)).collect();
    let mut out = String::new();
    for row in rows {
        let mut line = String::new();
        for (c, cell) in row.iter().enumerate() {
            line.push_str(cell);
            if c + 1 < row.len() {
                line.push_str(&" ".repeat(width[c] - cell.width() + 2));
                line.push(laid::NEXT);
            }
        }
        // A first cell alone is still a row.
        let end = line.trim_end_matches([' ', laid::NEXT]).len();
        let first = line.find(laid::NEXT).map_or(end, |at| at + 1);
        out.push_str(&line[..end.max(first)]);
        out.push('\n');
    }
    out
}

/// Text as a cell of a table on a terminal.
pub fn cell(text: &str) -> String {
    shown(text).into_owned()
}

/// The first row of a table.
pub fn head<const N: usize>(names: [&str; N]) -> Vec<String> {
    names.map(String::from).to_vec()
}

/// A line with a dash for each sentence.
pub fn bullets(out: &mut String, sentences: &[String]) {
    sentences.iter().for_each(|s| out.push_str(&format!("- {}\n", shown(s))));
}

/// Sentences below a blank line; nothing where there are none.
pub fn notes(out: &mut String, sentences: &[String]) {
    if !sentences.is_empty() {
        out.push('\n');
    }
    bullets(out, sentences);
}

/// Sentences below a title; nothing where there are none.
pub fn list(out: &mut String, title: &str, sentences: &[String]) {
    if !sentences.is_empty() {
        out.push_str(&format!("\n{title}:\n"));
    }
    bullets(out, sentences);
}

/// A share as a person reads it.
pub fn percent(share: f64) -> String {
    let p = share * 100.0;
    if p == 0.0 || (10.0..99.5).contains(&p) || p == 100.0 { format!("{p:.0} %") } else { tenths(share) }
}

/// A share to a tenth of a percent; neither next to nothing is nothing, nor next to all of it all.
pub fn tenths(share: f64) -> String {
    let p = share * 100.0;
    if p > 0.0 && p < 0.05 {
        "<0.1 %".into()
    } else if p > 99.95 && p < 100.0 {
        ">99.9 %".into()
    } else {
        format!("{p:.1} %")
    }
}

/// Stands under every printed result that bears on flight parts.
pub const CAUTION: &str = "Decision support: approved specifications, the design authority, qualified people and local law prevail.";

#[cfg(test)]
mod tests {
    use super::{percent, tenths};

    #[test]
    fn a_share_is_nothing_or_all_only_where_it_is() {
        let said =
            [0.0, 1e-9, 0.0004, 0.0005, 0.05, 0.123, 0.9949, 0.9951, 0.9999, 1.0 - 1e-12, 1.0].map(percent);
        let wanted = [
            "0 %", "<0.1 %", "<0.1 %", "0.1 %", "5.0 %", "12 %", "99 %", "99.5 %", ">99.9 %", ">99.9 %",
            "100 %",
        ];
        assert_eq!(said, wanted);
        assert_eq!([0.0, 1e-9, 0.5, 1.0].map(tenths), ["0.0 %", "<0.1 %", "50.0 %", "100.0 %"]);
    }
}
