//! What of a sheet of a spreadsheet nobody sees: hidden rows and columns, read from its own parts. The reader of the
//! cells does not say.

use std::io::{Cursor, Read};

use quick_xml::Reader;
use quick_xml::escape::unescape;
use quick_xml::events::{BytesStart, Event};

/// Row and column, from 0.
type Place = (u32, u32);

/// Hidden rows and columns, from 0: first and last of each run.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Hidden {
    pub(crate) rows: Vec<(u32, u32)>,
    pub(crate) columns: Vec<(u32, u32)>,
}

/// What the parts of an ODS say of one of its tables.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct OdsTable {
    pub(crate) name: String,
    pub(crate) hidden: Hidden,
    /// Merged cells: corners.
    pub(crate) merged: Vec<(Place, Place)>,
    /// Rows and columns up to the last that holds something.
    pub(crate) extent: (u64, u64),
    /// Cells that hold something, each row once.
    pub(crate) filled: u64,
}

fn part(bytes: &[u8], name: &str) -> Option<String> {
    let mut zip = zip::ZipArchive::new(Cursor::new(bytes)).ok()?;
    let mut text = String::new();
    zip.by_name(name).ok()?.read_to_string(&mut text).ok()?;
    Some(text)
}

/// An attribute by its name, whatever stands before a colon.
fn said(tag: &BytesStart, name: &str) -> Option<String> {
    let found =
        tag.attributes().with_checks(false).flatten().find(|a| a.key.local_name().as_ref() == name)?;
    Some(unescape(&found.value).map_or_else(|_| found.value.to_string(), |v| v.to_string()))
}

fn number(tag: &BytesStart, name: &str) -> Option<u32> {
    said(tag, name)?.trim().parse().ok()
}

/// Of a sheet of an XLSX; none where its parts do not say.
pub(crate) fn of_xlsx(bytes: &[u8], sheet: &str) -> Option<Hidden> {
    let book = part(bytes, "xl/workbook.xml")?;
    let id = find(&book, "sheet", |tag| said(tag, "name").as_deref() == Some(sheet)).and_then(|tag| {
        tag.attributes()
            .with_checks(false)
            .flatten()
            .find(|a| a.key.as_ref().ends_with(":id"))
            .map(|a| a.value.to_string())
    })?;
    let links = part(bytes, "xl/_rels/workbook.xml.rels")?;
    let link = find(&links, "Relationship", |tag| said(tag, "Id").as_deref() == Some(&id))?;
    let target = said(&link, "Target")?;
    let path = match target.strip_prefix('/') {
        Some(whole) => whole.to_string(),
        None => format!("xl/{target}"),
    };
    let text = part(bytes, &path)?;
    let mut out = Hidden::default();
    if !text.contains("hidden") {
        return Some(out);
    }
    let mut reader = Reader::from_str(&text);
    let mut next = 0;
    loop {
        let (Event::Start(tag) | Event::Empty(tag)) = (match reader.read_event().ok()? {
            Event::Eof => return Some(out),
            Event::Start(tag) => Event::Start(tag),
            Event::Empty(tag) => Event::Empty(tag),
            _ => continue,
        }) else {
            continue;
        };
        let hidden = || matches!(said(&tag, "hidden").as_deref(), Some("1" | "true"));
        match tag.local_name().as_ref() {
            "row" => {
                let row = number(&tag, "r").and_then(|r| r.checked_sub(1)).unwrap_or(next);
                next = row.saturating_add(1);
                if hidden() {
                    run(&mut out.rows, row, row);
                }
            }
            "col" if hidden() => {
                let (from, to) =
                    (number(&tag, "min")?.saturating_sub(1), number(&tag, "max")?.saturating_sub(1));
                run(&mut out.columns, from, to);
            }
            _ => {}
        }
    }
}

fn find<'t>(text: &'t str, name: &str, meant: impl Fn(&BytesStart) -> bool) -> Option<BytesStart<'t>> {
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event().ok()? {
            Event::Eof => return None,
            Event::Start(tag) | Event::Empty(tag) if tag.local_name().as_ref() == name && meant(&tag) => {
                return Some(tag);
            }
            _ => {}
        }
    }
}

fn run(runs: &mut Vec<(u32, u32)>, from: u32, to: u32) {
    match runs.last_mut() {
        Some(last) if last.1.checked_add(1) == Some(from) => last.1 = to,
        _ => runs.push((from, to)),
    }
}

/// Of every table of an ODS; none where its content cannot be followed.
pub(crate) fn of_ods(bytes: &[u8]) -> Option<Vec<OdsTable>> {
    let text = part(bytes, "content.xml")?;
    let mut reader = Reader::from_str(&text);
    reader.config_mut().check_end_names = false;
    reader.config_mut().expand_empty_elements = true;
    let mut tables: Vec<OdsTable> = Vec::new();
    let (mut row, mut rows, mut column) = (0_u32, 1_u32, 0_u32);
    loop {
        let tag = match reader.read_event().ok()? {
            Event::Eof => return Some(tables),
            Event::Start(tag) => tag,
            _ => continue,
        };
        let repeated = |name: &str| number(&tag, name).unwrap_or(1);
        let unseen = || matches!(said(&tag, "visibility").as_deref(), Some("collapse" | "filter"));
        let name = tag.name();
        if name.as_ref() == "table:table" {
            tables.push(OdsTable { name: said(&tag, "name").unwrap_or_default(), ..OdsTable::default() });
            (row, rows, column) = (0, 0, 0);
            continue;
        }
        let Some(table) = tables.last_mut() else { continue };
        match name.as_ref() {
            "table:table-column" => {
                let n = repeated("number-columns-repeated");
                if unseen() {
                    run(&mut table.hidden.columns, column, column.saturating_add(n).saturating_sub(1));
                }
                column = column.saturating_add(n);
            }
            "table:table-row" => {
                row = row.saturating_add(rows);
                rows = repeated("number-rows-repeated");
                column = 0;
                if unseen() {
                    run(&mut table.hidden.rows, row, row.saturating_add(rows).saturating_sub(1));
                }
            }
            "table:table-cell" | "table:covered-table-cell" => {
                let n = repeated("number-columns-repeated");
                let wide = number(&tag, "number-columns-spanned").unwrap_or(1).max(1);
                let high = number(&tag, "number-rows-spanned").unwrap_or(1).max(1);
                if wide > 1 || high > 1 {
                    let end = (row.saturating_add(high - 1), column.saturating_add(wide - 1));
                    table.merged.push(((row, column), end));
                }
                column = column.saturating_add(n);
                if said(&tag, "value-type").is_some() {
                    table.filled = table.filled.saturating_add(n.into());
                    table.extent.0 = table.extent.0.max(u64::from(row) + u64::from(rows));
                    table.extent.1 = table.extent.1.max(column.into());
                }
            }
            _ => {}
        }
    }
}
