//! One file of a bundle, written cell by cell into a buffer: no allocation for a cell.

use std::io::{self, Write};

use records::Stamp;

/// Bytes kept before they are handed on.
const FULL: usize = 1 << 16;

/// A file being written.
pub struct BundleFile {
    out: Box<dyn Write>,
    buffer: Vec<u8>,
    columns: usize,
    cells: usize,
}

impl BundleFile {
    /// Begins a file with its header.
    pub fn new(out: Box<dyn Write>, header: &str) -> Self {
        let mut buffer = Vec::with_capacity(FULL + 4096);
        buffer.extend_from_slice(header.as_bytes());
        buffer.push(b'\n');
        Self { out, buffer, columns: header.split(',').count(), cells: 0 }
    }

    fn cell(&mut self) {
        if self.cells > 0 {
            self.buffer.push(b',');
        }
        self.cells += 1;
    }

    /// A text that needs no quotes.
    pub fn t(&mut self, text: &str) -> &mut Self {
        debug_assert!(!text.contains([',', '"', '\n']), "{text}");
        self.cell();
        self.buffer.extend_from_slice(text.as_bytes());
        self
    }

    /// A cell that stays blank.
    pub fn blank(&mut self) -> &mut Self {
        self.cell();
        self
    }

    pub fn i(&mut self, v: u64) -> &mut Self {
        self.cell();
        self.digits(v, 1);
        self
    }

    /// A number given in units of its last decimal: `d(1465, 1)` is 146.5.
    pub fn d(&mut self, v: u64, decimals: usize) -> &mut Self {
        self.cell();
        let unit = 10_u64.pow(decimals as u32);
        self.digits(v / unit, 1);
        let part = v % unit;
        if part > 0 {
            self.buffer.push(b'.');
            self.digits(part, decimals);
            while self.buffer.last() == Some(&b'0') {
                self.buffer.pop();
            }
        }
        self
    }

    /// A tag: a prefix and a running number.
    pub fn tag(&mut self, prefix: &str, n: u32) -> &mut Self {
        self.cell();
        self.buffer.extend_from_slice(prefix.as_bytes());
        self.digits(u64::from(n), 6);
        self
    }

    /// A tag of something that belongs to another: `M000012-3`.
    pub fn sub(&mut self, prefix: &str, n: u32, part: u32) -> &mut Self {
        self.tag(prefix, n);
        self.buffer.push(b'-');
        self.digits(u64::from(part), 1);
        self
    }

    /// A tag of a third order: `I000012-3-1`.
    pub fn third(&mut self, prefix: &str, n: u32, part: u32, last: u32) -> &mut Self {
        self.sub(prefix, n, part);
        self.buffer.push(b'-');
        self.digits(u64::from(last), 1);
        self
    }

    /// A time, given in minutes since 1970 UTC.
    pub fn at(&mut self, minute: i64) -> &mut Self {
        self.cell();
        let mut text = [0; 32];
        let n = Stamp::new(minute * 60_000, 0).write(&mut text);
        self.buffer.extend_from_slice(&text[..n]);
        self
    }

    /// The date of a time given in minutes since 1970 UTC.
    pub fn day(&mut self, minute: i64) -> &mut Self {
        self.cell();
        let mut text = [0; 32];
        Stamp::new(minute * 60_000, 0).write(&mut text);
        self.buffer.extend_from_slice(&text[..10]);
        self
    }

    pub fn end(&mut self) -> io::Result<()> {
        debug_assert_eq!(self.cells, self.columns, "a row has as many cells as the header");
        self.cells = 0;
        self.buffer.push(b'\n');
        if self.buffer.len() >= FULL {
            self.out.write_all(&self.buffer)?;
            self.buffer.clear();
        }
        Ok(())
    }

    pub fn close(mut self) -> io::Result<()> {
        self.out.write_all(&self.buffer)?;
        self.out.flush()
    }

    fn digits(&mut self, v: u64, least: usize) {
        let mut text = [b'0'; 20];
        let (mut at, mut rest) = (20, v);
        while rest > 0 {
            at -= 1;
            text[at] = b'0' + (rest % 10) as u8;
            rest /= 10;
        }
        self.buffer.extend_from_slice(&text[at.min(20 - least)..]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::{Arc, Mutex};

    #[derive(Clone, Default)]
    struct Kept(Arc<Mutex<Vec<u8>>>);
    impl Write for Kept {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn cells_read_as_written() {
        let kept = Kept::default();
        let mut sheet = BundleFile::new(Box::new(kept.clone()), "a,b,c,d,e,f,g,h,i");
        sheet.t("x").blank().i(0).d(1_465, 1).d(1_460, 2).d(5, 3).sub("M", 12, 3).at(0).day(1_440);
        sheet.end().unwrap();
        sheet.close().unwrap();
        let text = String::from_utf8(kept.0.lock().unwrap().clone()).unwrap();
        assert_eq!(
            text,
            "a,b,c,d,e,f,g,h,i\nx,,0,146.5,14.6,0.005,M000012-3,1970-01-01T00:00:00+00:00,1970-01-02\n"
        );
    }
}
