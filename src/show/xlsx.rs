//! Tables as a spreadsheet (XLSX): numbers as numbers, times as dates, and no text that runs.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, FormatAlign, Workbook, Worksheet};

use records::Stamp;
use records::catalogue::Paper;

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Nothing.
    Blank,
    /// Text, never a formula.
    Text(String),
    Number(f64),
    /// A local time; the offset is lost, so its full text belongs in the column beside it.
    Time(Stamp),
    /// A date: year, month, day.
    Date(u16, u8, u8),
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        if text.is_empty() { Self::Blank } else { Self::Text(text.into()) }
    }
}

/// One sheet: a name, a header, rows.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// Name of the sheet.
    pub name: String,
    /// The columns' names.
    pub header: Vec<String>,
    /// The rows, as wide as the header or narrower.
    pub rows: Vec<Vec<Cell>>,
}

/// The most rows of a sheet, its header included.
const MOST_ROWS: usize = 1_048_576;
/// The most characters of a cell.
const LONGEST: usize = 32_767;
/// No column is wider, in characters: longer texts take several lines.
const WIDEST: usize = 60;

/// The tables as the bytes of an XLSX file; the same tables and time give the same bytes.
///
/// # Errors
/// No table, too many rows, a cell that is too long; the sentence names the sheet and the cell.
///
/// ```
/// use records::Stamp;
/// use meltkin::show::xlsx::{Cell, Table, xlsx};
/// use records::catalogue::Paper;
/// let table = Table {
///     name: "yield".into(),
///     header: vec!["station".into(), "accepted".into()],
///     rows: vec![vec!["=1+1".into(), Cell::Number(3.0)]],
/// };
/// let bytes = xlsx(&[table], Stamp::parse("2031-04-01T00:00:00+00:00").unwrap(), Paper::A4).unwrap();
/// assert!(bytes.starts_with(b"PK"));
/// ```
pub fn xlsx(tables: &[Table], made_at: Stamp, paper: Paper) -> Result<Vec<u8>, String> {
    if tables.is_empty() {
        return Err("a spreadsheet has at least one table".into());
    }
    let mut book = Workbook::new();
    if let Some(at) = date_time(made_at) {
        book.set_properties(&DocProperties::new().set_creation_datetime(&at));
    }
    let mut names: Vec<String> = Vec::new();
    for table in tables {
        let name = sheet_name(&table.name, &names);
        let sheet = book.add_worksheet();
        fill(sheet, table, &name).map_err(|why| format!("sheet {name}{why}"))?;
        set_up(sheet, table, paper).map_err(|e| format!("sheet {name}: {e}"))?;
        names.push(name);
    }
    book.save_to_buffer().map_err(|e| format!("the spreadsheet cannot be made: {e}"))
}

/// The most characters of a sheet's name.
const LONGEST_NAME: usize = 31;

/// As many whole words as so many characters hold; the first one is cut where it alone is longer. What joins words does
/// not stand at the end.
fn whole_words(text: &str, most: usize) -> String {
    let mut kept: Vec<&str> = Vec::new();
    for word in text.split_whitespace() {
        let length = kept.iter().map(|w| w.chars().count() + 1).sum::<usize>() + word.chars().count();
        if length > most {
            break;
        }
        kept.push(word);
    }
    if kept.is_empty() {
        return text.trim().chars().take(most).collect();
    }
    if kept.len() < text.split_whitespace().count() {
        while kept.len() > 1
            && kept.last().is_some_and(|w| {
                ["a", "and", "against", "by", "in", "of", "on", "the", "their", "to", "used", "what"]
                    .contains(w)
            })
        {
            kept.pop();
        }
    }
    kept.join(" ").trim_end_matches([',', ';']).to_string()
}

/// A name that a sheet may have: at most 31 characters, of whole words; none of `[]:*?/\`, no apostrophe at an end, not
/// taken.
fn sheet_name(wanted: &str, taken: &[String]) -> String {
    let plain: String = wanted
        .chars()
        .map(|c| if "[]:*?/\\".contains(c) || records::value::unseen::unseen(c) { '_' } else { c })
        .collect();
    let plain = plain.trim_matches('\'');
    let plain = if plain.is_empty() || plain.eq_ignore_ascii_case("history") { "table" } else { plain };
    for n in 1.. {
        let end = if n == 1 { String::new() } else { format!(" {n}") };
        let name = whole_words(plain, LONGEST_NAME - end.len()) + &end;
        if !taken.iter().any(|t| t.to_lowercase() == name.to_lowercase()) {
            return name;
        }
    }
    plain.into()
}

/// For the printer: all columns on the width of the paper, the titles on each page, its name and number below.
fn set_up(sheet: &mut Worksheet, table: &Table, paper: Paper) -> Result<(), rust_xlsxwriter::XlsxError> {
    // Numbers of papers in the file format (ECMA-376, 18.3.1.63).
    sheet.set_paper_size(match paper {
        Paper::A4 => 9,
        Paper::Letter => 1,
    });
    if table.header.len() > 7 {
        sheet.set_landscape();
    }
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_repeat_rows(0, 0)?;
    sheet.set_footer("&L&A&R&P / &N");
    Ok(())
}

/// How wide a column must be for what stands in it, in characters.
fn width(table: &Table, column: usize) -> f64 {
    let of = |cell: &Cell| match cell {
        Cell::Blank => 0,
        Cell::Text(text) => text.chars().count(),
        Cell::Number(v) => v.to_string().len(),
        Cell::Time(_) => 19,
        Cell::Date(..) => 10,
    };
    let title = table.header.get(column).map_or(0, |t| t.chars().count());
    let body = table.rows.iter().filter_map(|r| r.get(column)).map(of).max().unwrap_or(0);
    title.max(body).clamp(6, WIDEST) as f64 + 2.0
}

fn fill(sheet: &mut Worksheet, table: &Table, name: &str) -> Result<(), String> {
    let failed = |e: rust_xlsxwriter::XlsxError| format!(": {e}");
    if table.rows.len() >= MOST_ROWS {
        return Err(format!(
            " would have {} rows; a spreadsheet holds {}. Write a bundle instead: meltkin export FOLDER",
            table.rows.len() + 1,
            MOST_ROWS
        ));
    }
    sheet.set_name(name).map_err(failed)?;
    let bold = Format::new().set_bold();
    let quoted = Format::new().set_quote_prefix();
    let wrapped = Format::new().set_text_wrap().set_align(FormatAlign::Top);
    let time = Format::new().set_num_format("yyyy-mm-dd hh:mm:ss");
    let date = Format::new().set_num_format("yyyy-mm-dd");
    for (c, title) in table.header.iter().enumerate() {
        let c = column(c)?;
        sheet.write_string_with_format(0, c, title, &bold).map_err(failed)?;
        sheet.set_column_width(c, width(table, usize::from(c))).map_err(failed)?;
    }
    sheet.set_freeze_panes(1, 0).map_err(failed)?;
    for (r, row) in (1_u32..).zip(&table.rows) {
        for (c, cell) in row.iter().enumerate() {
            let title = table.header.get(c).map_or("", String::as_str);
            let c = column(c)?;
            let at = |why: &str| format!(", row {}, {title}: {why}", r + 1);
            match cell {
                Cell::Blank => {}
                Cell::Text(text) => {
                    if text.encode_utf16().count() > LONGEST {
                        return Err(at("the text is longer than a cell holds; write a bundle instead"));
                    }
                    let runs =
                        matches!(text.as_bytes().first(), Some(b'=' | b'+' | b'-' | b'@' | b'\t' | b'\r'));
                    if runs {
                        sheet.write_string_with_format(r, c, text, &quoted).map_err(failed)?;
                    } else if text.chars().count() > WIDEST {
                        sheet.write_string_with_format(r, c, text, &wrapped).map_err(failed)?;
                    } else {
                        sheet.write_string(r, c, text).map_err(failed)?;
                    }
                }
                Cell::Number(v) if v.is_finite() => {
                    sheet.write_number(r, c, *v).map_err(failed)?;
                }
                Cell::Number(_) => return Err(at("is not a number")),
                Cell::Time(stamp) => {
                    if let Some(when) = date_time(*stamp) {
                        sheet.write_datetime_with_format(r, c, &when, &time).map_err(failed)?;
                    }
                }
                Cell::Date(y, m, d) => {
                    let when = ExcelDateTime::from_ymd(*y, *m, *d).map_err(failed)?;
                    sheet.write_datetime_with_format(r, c, &when, &date).map_err(failed)?;
                }
            }
        }
    }
    Ok(())
}

fn column(c: usize) -> Result<u16, String> {
    u16::try_from(c).ok().filter(|c| *c < 16_384).ok_or_else(|| " has more columns than a sheet holds".into())
}

/// The local time of a stamp; none before 1901, where spreadsheets count days differently, and after
/// 9999.
fn date_time(stamp: Stamp) -> Option<ExcelDateTime> {
    let (y, m, d) = stamp.date();
    if !(1901..=9999).contains(&y) {
        return None;
    }
    let ms = (stamp.ms() + i64::from(stamp.offset_min()) * 60_000).rem_euclid(86_400_000);
    let (h, min, s) = (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60);
    ExcelDateTime::from_ymd(y as u16, m as u8, d as u8)
        .and_then(|day| day.and_hms_milli(h as u16, min as u8, s as u8, (ms % 1000) as u16))
        .ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_sheets_are_made_to_fit() {
        let taken = vec!["heats".to_string()];
        assert_eq!(sheet_name("Heats", &taken), "Heats 2");
        assert_eq!(sheet_name("a/b:c'", &[]), "a_b_c");
        assert_eq!(sheet_name("", &[]), "table");
        assert_eq!(sheet_name(&"x".repeat(50), &[]).len(), 31);
        // Whole words, and none of those that only join.
        assert_eq!(sheet_name("Checks of the instruments used", &[]), "Checks of the instruments used");
        assert_eq!(
            sheet_name("Readers and their qualification in force", &[]),
            "Readers and their qualification"
        );
        assert_eq!(
            sheet_name("Chemistry, check analysis, against QA-713/3@", &[]),
            "Chemistry, check analysis"
        );
        let taken = ["Chemistry, check analysis".to_string()];
        assert_eq!(
            sheet_name("Chemistry, check analysis, against QA-713/4@", &taken),
            "Chemistry, check analysis 2"
        );
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let at = Stamp::parse("2031-04-01T00:00:00+00:00").unwrap();
        assert!(xlsx(&[], at, Paper::A4).is_err());
        let one = |cell| Table { name: "t".into(), header: vec!["a".into()], rows: vec![vec![cell]] };
        let long = xlsx(&[one(Cell::Text("x".repeat(32_768)))], at, Paper::A4).unwrap_err();
        assert!(long.contains("sheet t, row 2, a: the text is longer"), "{long}");
        assert!(xlsx(&[one(Cell::Number(f64::NAN))], at, Paper::A4).is_err());
        let same = |t: &str| xlsx(&[one(t.into())], at, Paper::A4).unwrap();
        assert_eq!(same("=1+1"), same("=1+1"));
    }
}
