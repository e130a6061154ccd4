//! Files of records in and out: CSV rows to records with faults that name line and column, and
//! records to CSV rows. Pure over a reader and a writer; nothing here knows the store.

pub mod cells;
pub mod certificate;
mod delimited;
pub mod grid;
mod hidden;
pub mod mapped;
mod old_extent;
pub mod propose;
pub mod tables;
mod tag_pattern;
pub mod titles;
pub mod unread;
mod workbook;
pub(crate) mod write;

pub use crate::exchange::write::Writer;

use std::collections::{HashSet, VecDeque};
use std::io::{BufRead, BufReader, Read};

use crate::catalogue::Holds;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::unread::{SheetHint, Unread};
use crate::value::tag;
use crate::{Record, Value, catalogue};

/// Where a column of a file goes.
enum Target {
    Field(usize),
    Own(usize),
}

/// Reads the records of one kind from a CSV.
pub struct Reader<R> {
    csv: csv::Reader<BufReader<QuoteCounter<R>>>,
    kind: &'static Kind,
    own: Vec<OwnField>,
    targets: Vec<Target>,
    header: Vec<String>,
    row: csv::ByteRecord,
    /// Line on which the row begins.
    line: u64,
    /// Line ends before the end of the row.
    passed: u64,
    /// Bytes of a byte-order mark.
    skipped: u64,
    /// Tags of earlier rules that have a new label: they come in as they are.
    relabelled: HashSet<String>,
}

/// Passes a file on and notes whether the quotation marks seen so far are odd in number. In a file
/// that ends well they never are: those of a cell come in pairs, and doubled ones do too. It also notes
/// where lines end, as the CSV reader counts a line that ends with CRLF only when the next one is read.
struct QuoteCounter<R> {
    file: R,
    odd: bool,
    /// Bytes read so far.
    read: u64,
    /// There are no more.
    stopped: bool,
    /// Line ends (LF, CR, or the LF of both) that were read and lie ahead of the rows read so far, counted from the
    /// first byte.
    ends: VecDeque<u64>,
    /// The last CR.
    returned: Option<u64>,
}

impl<R: Read> Read for QuoteCounter<R> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        let n = self.file.read(into)?;
        for i in memchr::memchr3_iter(b'"', b'\n', b'\r', &into[..n]) {
            let at = self.read + i as u64;
            match into[i] {
                b'"' => self.odd = !self.odd,
                b'\r' => {
                    self.returned = Some(at);
                    self.ends.push_back(at);
                }
                // CR and LF are one end; where the CR has been counted already, it stays so.
                _ if self.returned.is_some_and(|cr| cr + 1 == at) => {
                    if let Some(last) = self.ends.back_mut().filter(|last| **last + 1 == at) {
                        *last = at;
                    }
                }
                _ => self.ends.push_back(at),
            }
        }
        self.read += n as u64;
        self.stopped = n == 0;
        Ok(n)
    }
}

/// Faults of a header, each with the line on which it stands.
pub type HeaderFaults = Vec<Fault>;

impl<R: Read> Reader<R> {
    /// Reads the header.
    ///
    /// # Errors
    /// Unknown, doubled or missing columns; a file that cannot be read.
    pub fn new(reader: R, kind: &'static Kind, own: &[OwnField]) -> Result<Self, HeaderFaults> {
        let whole = |message: String| vec![Fault::new("", "", message)];
        let a_sheet = |message: String| vec![Unread::hint(message, SheetHint::Take).fault("", "")];
        let marks = QuoteCounter {
            file: reader,
            odd: false,
            read: 0,
            stopped: false,
            ends: VecDeque::new(),
            returned: None,
        };
        let mut reader = BufReader::with_capacity(1 << 17, marks);
        let mut skipped = 0;
        let start = reader.fill_buf().map_err(|e| whole(format!("cannot be read: {e}")))?;
        if start.starts_with(b"PK") {
            return Err(a_sheet("is a spreadsheet, and no file of a bundle".into()));
        }
        if start.starts_with(b"\xef\xbb\xbf") {
            reader.consume(3);
            skipped = 3;
        } else if start.starts_with(b"\xff\xfe") || start.starts_with(b"\xfe\xff") {
            return Err(whole("is UTF-16; a bundle is UTF-8: save it again as CSV in UTF-8".into()));
        }
        let mut csv = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(reader);
        let mut row = csv::ByteRecord::new();
        match csv.read_byte_record(&mut row) {
            Ok(true) => {}
            Ok(false) => return Err(whole("is empty; the first line names the columns".into())),
            Err(e) => return Err(whole(format!("cannot be read: {e}"))),
        }
        let own: Vec<OwnField> = own.iter().filter(|o| o.record == kind.name).cloned().collect();
        let (mut targets, mut header, mut faults) = (Vec::new(), Vec::new(), Vec::new());
        for cell in &row {
            let name = String::from_utf8_lossy(cell).trim().to_string();
            let field = kind.index(&name).map(Target::Field);
            let target = field.or_else(|| own.iter().position(|o| o.name == name).map(Target::Own));
            match target {
                Some(_) if header.contains(&name) => {
                    faults.push(Fault::new(&name, "", "duplicate column"));
                }
                Some(target) => targets.push(target),
                None => faults.push(Fault::new(&name, "", check::unknown_field(kind, &name, &own))),
            }
            header.push(name);
        }
        for field in kind.fields.iter().filter(|f| !f.optional) {
            let given_if_blank = kind.is::<Holds>() && field.key;
            if !given_if_blank && !header.iter().any(|h| h == field.name) {
                faults.push(Fault::new(field.name, "", "the column is missing, and must be filled"));
            }
        }
        if let ([one], false) = (header.as_slice(), faults.is_empty()) {
            if let Some(sign) = [';', '\t', '|'].into_iter().find(|c| one.contains(*c)) {
                let message = format!("has {sign:?} between its columns; a comma belongs there");
                return Err(a_sheet(message));
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut reader = Self {
            csv,
            kind,
            own,
            targets,
            header,
            row,
            line: 1,
            passed: 0,
            skipped,
            relabelled: HashSet::new(),
        };
        reader.count_lines();
        Ok(reader)
    }

    /// Takes tags as they are that would be refused today and have a new label. They stand there folded.
    pub fn takes(&mut self, relabelled: &HashSet<String>) {
        self.relabelled.clone_from(relabelled);
    }

    /// Reads the next row. False at the end.
    ///
    /// # Errors
    /// The file cannot be read on.
    pub fn advance(&mut self) -> Result<bool, Fault> {
        match self.csv.read_byte_record(&mut self.row) {
            Ok(false) if self.csv.get_ref().get_ref().odd => {
                let message = "a quotation mark is still open at the end of the file: this row is cut off, or \
                               a cell above holds a single mark (such a cell is quoted, and the mark doubled)";
                Err(Fault::new("", "", message))
            }
            Ok(more) => {
                if more {
                    self.count_lines();
                }
                Ok(more)
            }
            Err(e) => Err(Fault::new("", "", format!("cannot be read on: {e}"))),
        }
    }

    /// The line on which the row that was just read begins: of the line ends up to its own end, those
    /// that do not lie in its cells. Its own end counts where the reader has taken it already.
    fn count_lines(&mut self) {
        let end = self.csv.position().byte() + self.skipped;
        let marks = self.csv.get_mut().get_mut();
        // Nothing ends a row whose last cell is still open where the file stops.
        let cut_off = marks.odd && marks.stopped && end == marks.read;
        let ends = &mut marks.ends;
        let mut own_end = 0;
        while let Some(at) = ends.front().copied().filter(|at| *at < end) {
            ends.pop_front();
            self.passed += 1;
            own_end = u64::from(at + 1 == end && !cut_off);
        }
        let cells = self.row.as_slice();
        let lone = |i: &usize| cells[*i] == b'\n' || cells.get(i + 1) != Some(&b'\n');
        let inside = memchr::memchr2_iter(b'\n', b'\r', cells).filter(lone).count() as u64;
        self.line = 1 + self.passed - own_end - inside;
    }

    /// The file has this column.
    pub fn has(&self, column: &str) -> bool {
        self.header.iter().any(|h| h == column)
    }

    /// The line on which the current row begins.
    pub fn line(&self) -> u64 {
        self.line
    }

    /// Bytes of the file read so far.
    pub fn bytes(&self) -> u64 {
        self.csv.position().byte()
    }

    /// The current row as a record, with the faults of its cells.
    pub fn record(&self, faults: &mut Vec<Fault>) -> Record<'_> {
        let mut record = Record::blank(self.kind);
        if self.row.len() != self.header.len() {
            let message = format!(
                "the row has {} cells, the header {}; a cell with a comma in it (a decimal comma too) is quoted",
                self.row.len(),
                self.header.len()
            );
            faults.push(Fault::new("", "", message));
            return record;
        }
        for (i, cell) in self.row.iter().enumerate() {
            let Ok(text) = std::str::from_utf8(cell) else {
                let shown = String::from_utf8_lossy(cell);
                let how = "is not UTF-8, as a file of a bundle is; save it again as CSV in UTF-8";
                faults.push(Unread::hint(how, SheetHint::Take).fault(&self.header[i], &shown));
                continue;
            };
            let text = natural(text);
            match self.targets[i] {
                Target::Field(at) => {
                    let field = match self.kind.fields.get(at) {
                        Some(f) => f,
                        None => &crate::catalogue::kind::COMMON[at - self.kind.fields.len()],
                    };
                    if text.is_empty() && self.kind.is::<Holds>() && field.ty == Type::Tag {
                        continue;
                    }
                    match Value::read(field, text) {
                        Ok(value) => record.values[at] = value,
                        Err(_) if field.ty == Type::Tag && self.relabelled.contains(&tag::folded(text)) => {
                            record.values[at] = Value::Text(text.into());
                        }
                        Err(message) => faults.push(Fault::new(field.name, text, message)),
                    }
                }
                Target::Own(at) => match self.own[at].read(text) {
                    Ok(value) => record.own.push((self.own[at].name.clone(), value)),
                    Err(message) => faults.push(Fault::new(&self.own[at].name, text, message)),
                },
            }
        }
        if record.own.len() > 1 {
            record.own.sort_by(|a, b| a.0.cmp(&b.0));
        }
        record
    }
}

/// A cell as it was before a spreadsheet was kept from reading it as a formula: [`guarded`] undone.
pub fn natural(cell: &str) -> &str {
    match cell.as_bytes() {
        [b'\'', ..] if looks_like_formula(cell.trim_start_matches('\'')) => &cell[1..],
        _ => cell,
    }
}

/// The cell must be kept from being read as a formula.
fn looks_like_formula(text: &str) -> bool {
    matches!(text.as_bytes().first(), Some(b'=' | b'+' | b'-' | b'@' | b'\t' | b'\r'))
}

/// A text cell that a spreadsheet would read as a formula gets a leading apostrophe.
pub fn guarded(text: &str) -> std::borrow::Cow<'_, str> {
    if looks_like_formula(text.trim_start_matches('\'')) { format!("'{text}").into() } else { text.into() }
}

/// The kind that a file's name says it holds.
///
/// # Errors
/// The name is no kind's; the sentence offers near matches.
pub fn kind_of_file(name: &str) -> Result<&'static Kind, String> {
    let stem = name.strip_suffix(".csv").unwrap_or(name);
    if name.ends_with(".csv") {
        if let Some(kind) = crate::catalogue::kind(stem) {
            return Ok(kind);
        }
    }
    let stem = stem.split('.').next().unwrap_or(stem);
    let mut near = tag::near(stem, catalogue::all().map(|k| k.name));
    if near.is_empty() {
        near = catalogue::all().map(|k| k.name).filter(|k| k.contains(stem) || stem.contains(k)).collect();
    }
    let near: Vec<String> = near.into_iter().map(|k| format!("{k}.csv")).collect();
    let near: Vec<&str> = near.iter().map(String::as_str).collect();
    Err(format!("is not a bundle file{}", tag::hint(&near)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_are_kept_from_spreadsheets_and_come_back() {
        for text in ["=1+1", "-5 units", "@x", "'=x", "''=x", "+1", "\t=1", "plain", "'quoted'", ""] {
            let out = guarded(text);
            assert!(!looks_like_formula(&out), "{text}");
            assert_eq!(natural(&out), text);
        }
    }

    #[test]
    fn lines_are_those_of_an_editor_whatever_ends_them() {
        let kind = crate::catalogue::Coats::KIND;
        // Counted by hand: the header is line 1; a cell of row 3 holds a line end.
        for end in ["\n", "\r\n", "\r"] {
            for (mark, last) in [("", end), ("\u{feff}", "")] {
                let rows = ["mould,coat,slurry_batch,in_at,note", "M,1,S,2031-01-01T00:00:00Z,", "", ""];
                let text = format!(
                    "{mark}{}{end}{end}M,3,S,2031-01-01T00:00:00Z,\"two{end}lines\"{end}M,4,S,x,{last}",
                    rows.join(end)
                );
                let Ok(mut reader) = Reader::new(text.as_bytes(), kind, &[]) else { panic!("{text}") };
                let mut lines = Vec::new();
                while reader.advance().unwrap() {
                    lines.push(reader.line());
                }
                assert_eq!(lines, [2, 6, 8], "{text:?}");
            }
        }
    }

    #[test]
    fn header_faults_are_all_named() {
        let kind = crate::catalogue::Coats::KIND;
        let faults = match Reader::new("mould,coats,in_at,in_at\n".as_bytes(), kind, &[]) {
            Err(faults) => faults,
            Ok(_) => panic!("accepted"),
        };
        let text = format!("{faults:?}");
        assert!(text.contains("did you mean coat ?"), "{text}");
        assert!(text.contains("duplicate column") && text.contains("slurry_batch"), "{text}");
    }

    #[test]
    fn a_file_name_offers_the_nearest_kind() {
        assert!(kind_of_file("mould.csv").unwrap_err().contains("moulds.csv"));
        assert!(kind_of_file("moulds.txt").unwrap_err().contains("moulds.csv"));
        assert!(kind_of_file("moulds.csv").is_ok());
    }
}
