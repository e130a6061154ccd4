//! Records to CSV.

use std::io::Write;

use crate::catalogue::kind::Kind;
use crate::check::OwnField;
use crate::exchange::guarded;
use crate::{Record, Value};

/// Writes the records of one kind: every field of the kind, then a foundry's own fields, then when,
/// by whom and the note.
pub struct Writer<W: Write> {
    csv: csv::Writer<W>,
    own: Vec<String>,
    cell: String,
}

impl<W: Write> Writer<W> {
    /// Writes the header.
    pub fn new(writer: W, kind: &'static Kind, own: &[OwnField]) -> csv::Result<Self> {
        let mut csv = csv::WriterBuilder::new().buffer_capacity(1 << 17).from_writer(writer);
        let own: Vec<String> = own.iter().filter(|o| o.record == kind.name).map(|o| o.name.clone()).collect();
        let header = kind.all_fields().map(|f| f.name).chain(own.iter().map(String::as_str));
        csv.write_record(header)?;
        Ok(Self { csv, own, cell: String::new() })
    }

    /// Writes one record.
    pub fn record(&mut self, record: &Record) -> csv::Result<()> {
        for (i, value) in record.values.iter().enumerate() {
            match record.full(i) {
                Some(named) => self.csv.write_field(guarded(&named).as_bytes())?,
                None => put(&mut self.csv, &mut self.cell, value)?,
            }
        }
        for name in &self.own {
            put(&mut self.csv, &mut self.cell, record.get(name))?;
        }
        self.csv.write_record(None::<&[u8]>)
    }

    /// Writes out what is left.
    pub fn finish(mut self) -> csv::Result<()> {
        Ok(self.csv.flush()?)
    }
}

fn put<W: Write>(csv: &mut csv::Writer<W>, cell: &mut String, value: &Value) -> csv::Result<()> {
    match value {
        Value::Text(text) => csv.write_field(guarded(text).as_bytes()),
        other => {
            cell.clear();
            other.write(cell);
            csv.write_field(cell.as_bytes())
        }
    }
}
