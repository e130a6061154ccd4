//! Text with tables in it, laid out for where it goes: within so many columns, or with tabs for another program. Tables
//! come marked from [`crate::show::columns`]; sentences break between words.

use std::ops::Range;

use unicode_width::UnicodeWidthStr;

/// Stands before every cell but the first of a row. No text can hold it: `shown` escapes what nobody sees.
pub const NEXT: char = '\u{1f}';

/// Between two columns.
const GAP: usize = 2;

/// A column that gives way keeps its longest word, and no column is made narrower than this.
const KEPT: usize = 10;

/// How an answer is laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Layout {
    /// Lines of no more columns than this.
    Within(usize),
    /// Cells parted by a tab, every line as long as it is.
    Tabs,
}

/// The text for a screen, which breaks lines itself.
pub fn unmarked(text: &str) -> String {
    text.replace(NEXT, "")
}

/// A row of a table: its cells, and where they begin.
struct Row<'t> {
    line: usize,
    cells: Vec<&'t str>,
    begins: Vec<usize>,
}

impl<'t> Row<'t> {
    fn of(line: usize, text: &'t str) -> Self {
        let (mut cells, mut begins, mut at) = (Vec::new(), Vec::new(), 0);
        for part in text.split(NEXT) {
            begins.push(at);
            at += part.width();
            cells.push(part);
        }
        Self { line, cells, begins }
    }

    fn width(&self) -> usize {
        let last = self.cells.last().map_or(0, |cell| cell.trim_end().width());
        self.begins.last().map_or(0, |at| at + last)
    }
}

/// Lays a text out.
///
/// ```
/// use meltkin::show::columns;
/// use meltkin::show::laid::{Layout, laid};
/// let table = columns(&[vec!["a".into(), "the first words".into()], vec!["bb".into(), "more".into()]]);
/// assert_eq!(laid(&table, Layout::Within(80)), "a   the first words\nbb  more\n");
/// assert_eq!(laid(&table, Layout::Within(13)), "a   the first\n    words\nbb  more\n");
/// assert_eq!(laid(&table, Layout::Tabs), "a\tthe first words\nbb\tmore\n");
/// ```
pub fn laid(text: &str, layout: Layout) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let rows = lines.iter().enumerate().filter(|(_, l)| l.contains(NEXT)).map(|(i, l)| Row::of(i, l));
    // Rows of one table have their columns at the same places; sentences may stand between them.
    let mut tables: Vec<Vec<Row>> = Vec::new();
    let mut places: Vec<usize> = Vec::new();
    for row in rows {
        let same = places.iter().zip(&row.begins).all(|(a, b)| a == b);
        if row.begins.len() > places.len() || !same {
            places.clone_from(&row.begins);
        }
        match tables.last_mut().filter(|_| same) {
            Some(table) => table.push(row),
            None => tables.push(vec![row]),
        }
    }
    let mut out: Vec<Option<String>> = vec![None; lines.len()];
    for table in &tables {
        match layout {
            Layout::Tabs => tabs(table, &mut out),
            Layout::Within(width) => within(table, width, &mut out),
        }
    }
    let mut all = String::with_capacity(text.len());
    for (line, laid) in lines.iter().zip(out) {
        match (laid, layout) {
            (Some(laid), _) => all.push_str(&laid),
            (None, Layout::Within(width)) => folded(line, width, &mut all),
            (None, Layout::Tabs) => {
                all.push_str(line);
                all.push('\n');
            }
        }
    }
    all
}

fn tabs(table: &[Row], out: &mut [Option<String>]) {
    let columns = table.iter().map(|r| r.cells.len()).max().unwrap_or(0);
    for row in table {
        let cells = (0..columns).map(|c| row.cells.get(c).map_or("", |cell| cell.trim()));
        out[row.line] = Some(cells.collect::<Vec<_>>().join("\t") + "\n");
    }
}

/// The width of each column, and which columns stand side by side; the rest stand below, behind the first one.
fn fitted(table: &[Row], width: usize) -> (Vec<usize>, Vec<Range<usize>>) {
    let columns = table.iter().map(|r| r.cells.len()).max().unwrap_or(0);
    let cells = |c: usize| table.iter().filter_map(move |r| r.cells.get(c)).map(|t| t.trim_end());
    let mut widths: Vec<usize> =
        (0..columns).map(|c| cells(c).map(|t| t.width()).max().unwrap_or(0)).collect();
    let longest = |t: &str| t.split_whitespace().map(|w| w.width()).max().unwrap_or(0);
    let indent = |t: &str| t.width() - t.trim_start().width();
    let least = |c: usize| cells(c).map(|t| indent(t) + longest(t)).max().unwrap_or(0);
    let least: Vec<usize> = (0..columns).map(|c| least(c).min(widths[c]).max(widths[c].min(KEPT))).collect();
    let total = |widths: &[usize]| widths.iter().sum::<usize>() + GAP * widths.len().saturating_sub(1);
    // Bands by what the columns need at least.
    let mut bands = Vec::new();
    let mut from = 0;
    while from < columns {
        let lead = if from == 0 { 0 } else { least[0] + GAP };
        // The first column alone would say nothing.
        let mut to = (from + if from == 0 { 2 } else { 1 }).min(columns);
        while to < columns && lead + total(&least[from..=to]) <= width {
            to += 1;
        }
        bands.push(from..to);
        from = to;
    }
    for band in &bands {
        let lead = if band.start == 0 { 0 } else { least[0] + GAP };
        // The widest gives way first.
        while lead + total(&widths[band.clone()]) > width {
            let over = lead + total(&widths[band.clone()]) - width;
            let Some(c) = band.clone().filter(|c| widths[*c] > least[*c]).max_by_key(|c| widths[*c]) else {
                break;
            };
            let next = band.clone().filter(|o| *o != c).map(|o| widths[o]).max().unwrap_or(0);
            let step = (widths[c] - next.min(widths[c] - 1)).min(over).max(1);
            widths[c] = (widths[c] - step).max(least[c]);
        }
        if bands.len() > 1 {
            widths[0] = widths[0].min(least[0].max(1));
        }
    }
    (widths, bands)
}

fn within(table: &[Row], width: usize, out: &mut [Option<String>]) {
    if table.iter().all(|r| r.width() <= width) {
        for row in table {
            out[row.line] = Some(format!("{}\n", row.cells.concat().trim_end()));
        }
        return;
    }
    let (widths, bands) = fitted(table, width);
    let together = table.windows(2).all(|w| w[1].line == w[0].line + 1);
    if bands.len() == 1 || !together {
        for row in table {
            out[row.line] = Some(bands.iter().map(|band| drawn(row, &widths, band)).collect());
        }
        return;
    }
    let Some(first) = table.first() else { return };
    let whole: Vec<String> =
        bands.iter().map(|band| table.iter().map(|row| drawn(row, &widths, band)).collect()).collect();
    table.iter().for_each(|row| out[row.line] = Some(String::new()));
    out[first.line] = Some(whole.join("\n"));
}

/// The columns of a band of one row, on as many lines as its fullest cell needs.
fn drawn(row: &Row, widths: &[usize], band: &Range<usize>) -> String {
    let lead = (band.start > 0).then_some(0);
    let columns: Vec<usize> = lead.into_iter().chain(band.clone()).collect();
    let cells: Vec<Vec<String>> =
        columns.iter().map(|c| wrapped(row.cells.get(*c).map_or("", |t| t.trim_end()), widths[*c])).collect();
    let mut out = String::new();
    for i in 0..cells.iter().map(Vec::len).max().unwrap_or(0).max(1) {
        let mut line = String::new();
        for (cell, c) in cells.iter().zip(&columns) {
            let text = cell.get(i).map_or("", String::as_str);
            line.push_str(text);
            line.push_str(&" ".repeat(widths[*c].saturating_sub(text.width()) + GAP));
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
    out
}

/// Lines of whole words; a word that is longer stands alone. The indent of the first is that of all.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    if text.width() <= width {
        return vec![text.to_string()];
    }
    let indent = text.len() - text.trim_start().len();
    let mut lines = vec![" ".repeat(indent)];
    for word in text.split_whitespace() {
        let line = lines.last().map_or(0, |l| l.width());
        let empty = line <= indent;
        if !empty && line + 1 + word.width() > width {
            lines.push(" ".repeat(indent));
        }
        if let Some(last) = lines.last_mut() {
            if last.width() > indent {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}

/// A line, broken between words where it is longer; what follows stands two further in.
fn folded(line: &str, width: usize, out: &mut String) {
    if line.width() <= width {
        out.push_str(line);
        out.push('\n');
        return;
    }
    let indent = line.len() - line.trim_start().len();
    let mut used = 0;
    for word in line.split_whitespace() {
        if used == 0 {
            out.push_str(&" ".repeat(indent));
            used = indent;
        } else if used + 1 + word.width() > width {
            out.push('\n');
            out.push_str(&" ".repeat(indent + 2));
            used = indent + 2;
        } else {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += word.width();
    }
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::columns;

    fn rows(rows: &[&[&str]]) -> String {
        columns(&rows.iter().map(|r| r.iter().map(|c| (*c).to_string()).collect()).collect::<Vec<_>>())
    }

    fn words(text: &str) -> Vec<&str> {
        text.split_whitespace().collect()
    }

    #[test]
    fn every_line_fits_and_every_word_is_whole() {
        let long = "a sentence that goes on for a while, and then for a while longer";
        let text = format!(
            "Of a table: {long}.\n{}- {long} {long}\n",
            rows(&[
                &["  tag", "what", "number", "why"],
                &["  M31-041-6", long, "12", long],
                &["  M31", "x", "", ""]
            ])
        );
        for width in [40, 60, 80, 100] {
            let out = laid(&text, Layout::Within(width));
            assert!(out.lines().all(|l| l.width() <= width), "{width}:\n{out}");
            assert!(!out.contains(NEXT));
            let (mut now, mut then) = (
                words(&out),
                words(&text)
                    .into_iter()
                    .flat_map(|w| w.split(NEXT))
                    .filter(|w| !w.is_empty())
                    .collect::<Vec<_>>(),
            );
            now.sort_unstable();
            then.sort_unstable();
            // The first column is said again in each band.
            then.iter().for_each(|w| assert!(now.contains(w), "{width}: {w}"));
        }
    }

    #[test]
    fn what_fits_stays_as_it_is_and_rows_keep_their_columns_across_sentences() {
        let table = rows(&[&["a", "b"], &["long", "c"]]);
        let (first, second) = table.split_once('\n').unwrap();
        let text = format!("{first}\n   a sentence\n{second}");
        assert_eq!(laid(&text, Layout::Within(80)), "a     b\n   a sentence\nlong  c\n");
        assert_eq!(laid(&text, Layout::Tabs), "a\tb\n   a sentence\nlong\tc\n");
    }

    #[test]
    fn columns_that_have_no_room_stand_below_behind_the_first() {
        let cells = ["tag", "wwwwwwwwww", "xxxxxxxxxx", "yyyyyyyyyy", "zzzzzzzzzz"];
        let out = laid(&rows(&[&cells, &["1", "2", "3", "4", "5"]]), Layout::Within(40));
        assert_eq!(
            out,
            "tag  wwwwwwwwww  xxxxxxxxxx  yyyyyyyyyy\n1    2           3           4\n\ntag  zzzzzzzzzz\n1    5\n"
        );
    }

    #[test]
    fn a_row_without_its_last_cells_has_its_tabs_all_the_same() {
        assert_eq!(laid(&rows(&[&["a", "b", "c"], &["1", "", ""]]), Layout::Tabs), "a\tb\tc\n1\t\t\n");
    }
}
