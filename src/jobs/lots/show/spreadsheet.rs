//! The summary as tables, for a spreadsheet.

use crate::jobs::lots::summary::{LotSummary, TextTable};
use crate::show::xlsx::{Cell, Table};
use records::Stamp;

/// A number stands as a number, a date as a date, everything else as text.
fn cell(text: &str) -> Cell {
    match (text.parse::<f64>(), date(text)) {
        (Ok(v), _) if v.is_finite() && !text.starts_with('+') => Cell::Number(v),
        (_, Some((y, m, d))) => Cell::Date(y, m, d),
        _ => text.into(),
    }
}

/// A date written as `2031-03-04`, of a year that spreadsheets count days in as everybody does.
fn date(text: &str) -> Option<(u16, u8, u8)> {
    let mut parts = text.split('-');
    let (y, m, d) = (parts.next()?, parts.next()?, parts.next()?);
    if parts.next().is_some() || (y.len(), m.len(), d.len()) != (4, 2, 2) {
        return None;
    }
    let (y, m, d): (u16, u8, u8) = (y.parse().ok()?, m.parse().ok()?, d.parse().ok()?);
    ((1901..=9999).contains(&y) && (1..=12).contains(&m) && (1..=31).contains(&d)).then_some((y, m, d))
}

fn table(name: &str, header: &[&str], rows: impl Iterator<Item = Vec<Cell>>) -> Table {
    Table {
        name: name.into(),
        header: header.iter().map(|h| (*h).to_string()).collect(),
        rows: rows.collect(),
    }
}

impl LotSummary {
    /// The tables of the summary for a spreadsheet, what blocks it first.
    pub fn spreadsheet(&self) -> Vec<Table> {
        let standing = [("state".to_string(), self.state.to_string()), ("document".into(), self.document())]
            .into_iter()
            .chain(self.heading_rows())
            .chain([
                ("reasons that block".into(), self.blocked.len().to_string()),
                ("made at".into(), self.made_at.clone()),
                ("journal".into(), self.journal_head.clone()),
                ("content".into(), self.content.clone()),
            ]);
        let mut out = vec![table(
            "standing",
            &["what", "value", "with offset"],
            standing.map(|(name, value)| match time(&value) {
                at @ Cell::Time(_) => vec![Cell::Text(name), at, Cell::Text(value)],
                text => vec![Cell::Text(name), text],
            }),
        )];
        out.push(table(
            "blocked",
            &["station", "reason", "record", "blades"],
            self.blocked.iter().map(|b| {
                let blades = b.blade.clone().unwrap_or_else(|| b.blades.join(" "));
                let record = b.record.clone().unwrap_or_default();
                [b.station.clone(), b.reason.clone(), record, blades].map(Cell::Text).into()
            }),
        ));
        let number = |n: Option<i64>| n.map_or(Cell::Blank, |n| Cell::Number(n as f64));
        out.push(table(
            "counts",
            &["blades", "number"],
            self.counts.named().into_iter().map(|(name, n)| vec![Cell::Text(name.into()), number(n)]),
        ));
        for sheet in self.sheets_for_work() {
            if let Some(table) = worked(&sheet) {
                out.push(table);
            }
        }
        out
    }

    /// A row for each analysis and each blade: to be filtered and sorted.
    fn sheets_for_work(&self) -> Vec<TextTable> {
        let [_, scrapped] = self.blade_ranges();
        let mut out = self.inspection();
        out.extend(self.chemistry_sheets());
        out.extend(self.bars());
        out.extend(self.rest());
        out.extend([self.serial_rows(), scrapped]);
        out
    }
}

/// What a column of texts turns into.
enum Kind {
    /// Each as it reads.
    Plain,
    /// Times, all with this offset.
    Times(i32),
    /// Times with several offsets: their full text stands beside them.
    Mixed,
}

fn kind(texts: &[&str]) -> Kind {
    let stamps: Option<Vec<Stamp>> =
        texts.iter().filter(|t| !t.is_empty()).map(|t| Stamp::parse(t).ok()).collect();
    match stamps.as_deref() {
        None | Some([]) => Kind::Plain,
        Some([first, rest @ ..]) => match rest.iter().all(|s| s.offset_min() == first.offset_min()) {
            true => Kind::Times(first.offset_min()),
            false => Kind::Mixed,
        },
    }
}

/// A table with times as times, dates as dates, numbers as numbers. A sheet keeps no offset: it stands in the title, or the
/// full text beside.
fn worked(sheet: &TextTable) -> Option<Table> {
    let (head, rows) = sheet.rows.split_first()?;
    let mut out = Table { name: sheet.title.clone(), header: Vec::new(), rows: vec![Vec::new(); rows.len()] };
    for (c, title) in head.iter().enumerate() {
        let texts: Vec<&str> = rows.iter().map(|r| r.get(c).map_or("", String::as_str)).collect();
        let kind = kind(&texts);
        out.header.push(match kind {
            Kind::Times(m) => {
                format!("{title} ({}{:02}:{:02})", if m < 0 { '-' } else { '+' }, m.abs() / 60, m.abs() % 60)
            }
            Kind::Plain | Kind::Mixed => title.clone(),
        });
        if matches!(kind, Kind::Mixed) {
            out.header.push(format!("{title}, with offset"));
        }
        for (row, text) in out.rows.iter_mut().zip(texts) {
            match kind {
                Kind::Plain => row.push(cell(text)),
                Kind::Times(_) => row.push(time(text)),
                Kind::Mixed => row.extend([time(text), text.into()]),
            }
        }
    }
    Some(out)
}

fn time(text: &str) -> Cell {
    Stamp::parse(text).map_or_else(|_| text.into(), Cell::Time)
}
