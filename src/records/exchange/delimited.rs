//! Text with delimiters, as other programs save it: its letters, its delimiter, its rows.

use crate::exchange::grid::{CellValue, Grid, GridBounds, put};

/// Reads a text with delimiters as a sheet. A row is one that a spreadsheet shows: blank ones count, and a line end in a
/// quoted cell begins none.
pub(crate) fn read(bytes: &[u8], bounds: &GridBounds) -> Result<Grid, String> {
    let mut grid = Grid::default();
    let (text, remark) = letters(bytes)?;
    grid.remarks.extend(remark);
    if text.trim().is_empty() {
        return Err("is empty".into());
    }
    if let Some(odd) = text.chars().find(|c| c.is_control() && !matches!(c, '\t' | '\r' | '\n' | '\u{c}')) {
        let code = u32::from(odd);
        return Err(format!("is neither XLSX nor CSV: it holds bytes that are not text (code {code})"));
    }
    // Some programs write the delimiter itself into the first line.
    let named = text.get(..4).filter(|t| t.eq_ignore_ascii_case("sep=")).and_then(|_| text.chars().nth(4));
    let named = named.filter(|c| ";,\t|".contains(*c) && text[5..].starts_with(['\r', '\n']));
    let delimiter = named.unwrap_or_else(|| delimiter(&text));
    let mut rows = Rows { rest: &text, delimiter, row: 0, open: None };
    while let Some(cells) = rows.next_row() {
        if rows.row == 1 && named.is_some() {
            grid.remarks.push("row 1 names the delimiter".into());
            continue;
        }
        for (c, cell) in (0..).zip(cells) {
            put(&mut grid, (rows.row - 1, c), CellValue::Text(cell.trim().to_string()), bounds)?;
        }
    }
    if let Some(row) = rows.open {
        return Err(format!(
            "row {row} has a quotation mark that is still open at the end of the file: the file is cut off, or the mark \
             belongs to the text (such a cell is quoted, and the mark doubled)"
        ));
    }
    Ok(grid)
}

/// The bytes as text, and how they were read where that is no matter of course.
fn letters(bytes: &[u8]) -> Result<(String, Option<String>), String> {
    let wide = |rest: &[u8], order: fn([u8; 2]) -> u16, how: &str| {
        let cut_off = || "is cut off: it is UTF-16, and half a letter stands at its end".to_string();
        let pairs = rest.chunks_exact(2);
        if !pairs.remainder().is_empty() {
            return Err(cut_off());
        }
        let units = pairs.map(|p| order([p[0], p[1]]));
        let text: Result<String, _> = char::decode_utf16(units).collect();
        let text = text.map_err(|_| "is damaged: it is UTF-16, and holds half of a letter".to_string())?;
        Ok((text, Some(format!("read as {how}"))))
    };
    match bytes {
        [0xef, 0xbb, 0xbf, rest @ ..] => return narrow(rest),
        [0xff, 0xfe, rest @ ..] => return wide(rest, u16::from_le_bytes, "UTF-16"),
        [0xfe, 0xff, rest @ ..] => return wide(rest, u16::from_be_bytes, "UTF-16"),
        // The first letters of a sheet are plain ones, of which one half is nought.
        [a, 0, b, 0, ..] if *a != 0 && *b != 0 => return wide(bytes, u16::from_le_bytes, "UTF-16"),
        [0, a, 0, b, ..] if *a != 0 && *b != 0 => return wide(bytes, u16::from_be_bytes, "UTF-16"),
        _ => {}
    }
    narrow(bytes)
}

/// UTF-8, or else the letters of Western Windows.
fn narrow(bytes: &[u8]) -> Result<(String, Option<String>), String> {
    let bad = match std::str::from_utf8(bytes) {
        Ok(text) => return Ok((text.to_string(), None)),
        Err(e) => e.valid_up_to(),
    };
    let row = 1 + bytes[..bad].iter().filter(|b| **b == b'\n').count();
    // Letters of two and more bytes come about by no chance: such a file is UTF-8, and damaged.
    if String::from_utf8_lossy(bytes).chars().any(|c| !c.is_ascii() && c != char::REPLACEMENT_CHARACTER) {
        return Err(format!("is UTF-8 but for line {row}, which holds damaged letters; save it again"));
    }
    let mut text = String::with_capacity(bytes.len());
    for &byte in bytes {
        match western(byte) {
            Some(letter) => text.push(letter),
            None => {
                return Err(format!(
                    "is neither XLSX nor a CSV in UTF-8 or Windows-1252 (line {row} on holds a byte that is no letter); \
                     save it as XLSX, or as CSV in UTF-8"
                ));
            }
        }
    }
    let first = text.chars().find(|c| !c.is_ascii()).unwrap_or('?');
    Ok((
        text,
        Some(format!("not UTF-8; read as Windows-1252 (the first such letter is {first}, in line {row})")),
    ))
}

/// A letter of Windows-1252.
fn western(byte: u8) -> Option<char> {
    const MIDDLE: &str = "€\u{0}‚ƒ„…†‡ˆ‰Š‹Œ\u{0}Ž\u{0}\u{0}‘’“”•–—˜™š›œ\u{0}žŸ";
    match byte {
        0x80..=0x9f => MIDDLE.chars().nth(usize::from(byte - 0x80)).filter(|c| *c != '\u{0}'),
        other => Some(char::from(other)),
    }
}

/// The delimiter by which the first rows come out most alike. Decimal commas in them are no delimiters.
fn delimiter(text: &str) -> char {
    let alike = |delimiter: char| {
        let mut rows = Rows { rest: text, delimiter, row: 0, open: None };
        let mut counts: Vec<usize> = Vec::new();
        while let (Some(cells), true) = (rows.next_row(), rows.row <= 60) {
            // A row of one cell is a heading, or blank.
            counts.extend((cells.len() > 1).then_some(cells.len()));
        }
        let most = counts.iter().map(|n| counts.iter().filter(|m| *m == n).count()).max();
        most.unwrap_or(0)
    };
    // Of equals the first: a comma is rarer as a delimiter where semicolons do as well.
    [';', '\t', ','].into_iter().rev().max_by_key(|c| alike(*c)).unwrap_or(',')
}

/// Cuts a text into rows and cells. A row ends with CR, LF or both, whichever another row ends with.
struct Rows<'t> {
    rest: &'t str,
    delimiter: char,
    /// The row that was read last, from 1.
    row: u32,
    /// The row of a quotation mark that nothing closes.
    open: Option<u32>,
}

impl Rows<'_> {
    fn next_row(&mut self) -> Option<Vec<String>> {
        if self.rest.is_empty() {
            return None;
        }
        self.row += 1;
        let mut cells = Vec::new();
        loop {
            let cell = self.cell();
            cells.push(cell);
            let mut rest = self.rest.chars();
            match rest.next() {
                Some(c) if c == self.delimiter => self.rest = rest.as_str(),
                Some('\r') => {
                    self.rest = rest.as_str().strip_prefix('\n').unwrap_or(rest.as_str());
                    return Some(cells);
                }
                Some(_) => {
                    self.rest = rest.as_str();
                    return Some(cells);
                }
                None => return Some(cells),
            }
        }
    }

    /// A cell up to what ends it.
    fn cell(&mut self) -> String {
        let ends = [self.delimiter, '\r', '\n'];
        let mut cell = String::new();
        if let Some(quoted) = self.rest.strip_prefix('"') {
            let mut rest = quoted;
            loop {
                let Some(mark) = rest.find('"') else {
                    // The rows below are not taken for a part of this cell in silence.
                    self.open = self.open.or(Some(self.row));
                    cell.push_str(rest);
                    self.rest = "";
                    return cell;
                };
                cell.push_str(&rest[..mark]);
                rest = &rest[mark + 1..];
                match rest.strip_prefix('"') {
                    Some(after) => (cell, rest) = (cell + "\"", after),
                    None => break,
                }
            }
            self.rest = rest;
        }
        // What stands behind a closing mark belongs to the cell as well.
        let end = self.rest.find(ends).unwrap_or(self.rest.len());
        cell.push_str(&self.rest[..end]);
        self.rest = &self.rest[end..];
        cell
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::grid::SHEET;

    fn cells(bytes: &[u8]) -> Vec<(u32, u32, String)> {
        let grid = read(bytes, &SHEET).unwrap();
        grid.cells.iter().map(|((r, c), held)| (*r, *c, held.text())).collect()
    }

    fn at(row: u32, column: u32, text: &str) -> (u32, u32, String) {
        (row, column, text.to_string())
    }

    #[test]
    fn rows_are_the_same_whatever_ends_them() {
        // Counted by hand: titles in row 1, blank row 2, records in rows 3 and 5, blank ones at the end.
        for end in ["\n", "\r\n", "\r"] {
            for (mark, last) in [("", ""), ("", end), ("\u{feff}", end)] {
                let text = format!("{mark}a;b{end}{end}1;2{end};{end}3;4{last}{last}{last}");
                let wanted = [
                    at(0, 0, "a"),
                    at(0, 1, "b"),
                    at(2, 0, "1"),
                    at(2, 1, "2"),
                    at(4, 0, "3"),
                    at(4, 1, "4"),
                ];
                assert_eq!(cells(text.as_bytes()), wanted, "{text:?}");
            }
        }
        let mixed = cells(b"a;b\r\n1;2\n3;4\r5;6\r\n");
        assert_eq!(mixed.iter().map(|c| c.0).collect::<Vec<_>>(), [0, 0, 1, 1, 2, 2, 3, 3]);
    }

    #[test]
    fn a_quoted_cell_holds_delimiters_line_ends_and_marks() {
        for end in ["\n", "\r\n", "\r"] {
            let text = format!("a;b{end}\"x;y{end}z\";\"say \"\"so\"\"\"{end}1;2{end}");
            let wanted = [
                at(0, 0, "a"),
                at(0, 1, "b"),
                at(1, 0, &format!("x;y{end}z")),
                at(1, 1, "say \"so\""),
                at(2, 0, "1"),
                at(2, 1, "2"),
            ];
            assert_eq!(cells(text.as_bytes()), wanted, "{text:?}");
            let open = format!("a;b{end}1;\"2{end}3;4{end}");
            let fault = read(open.as_bytes(), &SHEET).unwrap_err();
            assert!(fault.contains("row 2 has a quotation mark that is still open"), "{fault}");
        }
        // A mark inside of a cell is a mark: 3" is three inches.
        assert_eq!(cells(b"a;b\n3\";4\n")[2], at(1, 0, "3\""));
    }

    #[test]
    fn the_delimiter_is_the_one_that_makes_rows_alike() {
        for (text, first) in [
            ("a;b;c\n1,5;2,5;3,5\n1,5;2,5;3,5\n", "a"),
            ("a,b\n\"1;2;3\",4\n", "a"),
            ("a\tb\n1,5\t2;3\n", "a"),
            ("Book of 2031, by hand\n\na;b\n1;2\n", "Book of 2031, by hand"),
            ("sep=;\r\na;b\r\n1,2;3,4\r\n", "a"),
        ] {
            assert_eq!(cells(text.as_bytes())[0].2, first, "{text:?}");
        }
    }

    #[test]
    fn letters_of_other_programs() {
        let text = "Größe;µ\r\n1;2 – 3\r\n";
        let wanted = [at(0, 0, "Größe"), at(0, 1, "µ"), at(1, 0, "1"), at(1, 1, "2 – 3")];
        let utf16 = |order: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(order).collect::<Vec<u8>>();
        let (little, big) = (utf16(u16::to_le_bytes), utf16(u16::to_be_bytes));
        let marked = |mark: &[u8], rest: &[u8]| [mark, rest].concat();
        for bytes in [
            text.as_bytes().to_vec(),
            marked(b"\xef\xbb\xbf", text.as_bytes()),
            marked(b"\xff\xfe", &little),
            marked(b"\xfe\xff", &big),
            little.clone(),
            // Windows-1252 by its table: ö is F6, ß DF, µ B5, the dash 96.
            b"Gr\xf6\xdfe;\xb5\r\n1;2 \x96 3\r\n".to_vec(),
        ] {
            assert_eq!(cells(&bytes), wanted, "{bytes:?}");
        }
        for (bytes, part) in [
            (little[..little.len() - 1].to_vec(), "half a letter"),
            (b"Gr\xc3\xb6\xc3\x9fe;\xb5\n".to_vec(), "is UTF-8 but for line 1"),
            (b"a;b\n\x81;2\n".to_vec(), "UTF-8 or Windows-1252 (line 2"),
            (b"a\0b".to_vec(), "not text"),
        ] {
            let fault = read(&bytes, &SHEET).unwrap_err();
            assert!(fault.contains(part), "{part}: {fault}");
        }
    }
}
