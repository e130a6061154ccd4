//! How far the sheets of an XLS reach, before anything is laid out: its cells are records in a stream of a small file
//! system. Source: [MS-CFB] 2.2 to 2.6 (the file system), [MS-XLS] 2.4 (the records).

/// The end of a chain of sectors, and the numbers above it that are no sectors.
const NO_SECTOR: u32 = 0xffff_fffa;

/// Sectors of a file.
struct Sectors<'b> {
    bytes: &'b [u8],
    size: usize,
    next: Vec<u32>,
}

fn u16_at(bytes: &[u8], at: usize) -> Option<u16> {
    Some(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?))
}

fn u32_at(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_le_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn words(bytes: &[u8]) -> impl Iterator<Item = u32> {
    bytes.chunks_exact(4).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]]))
}

impl<'b> Sectors<'b> {
    fn of(bytes: &'b [u8]) -> Option<Self> {
        let shift = u16_at(bytes, 30)?;
        let size = 1_usize << shift.clamp(9, 12);
        let mut out = Self { bytes, size, next: Vec::new() };
        // The table of sectors is itself in sectors: the first 109 are named in the header, more in a chain.
        let mut tables: Vec<u32> = words(bytes.get(76..512)?).take_while(|s| *s < NO_SECTOR).collect();
        let mut more = u32_at(bytes, 68)?;
        let most = bytes.len() / size + 1;
        while more < NO_SECTOR && tables.len() <= most {
            let sector = out.sector(more)?;
            let named = words(&sector[..size - 4]).take_while(|s| *s < NO_SECTOR);
            tables.extend(named);
            more = u32_at(sector, size - 4)?;
        }
        for table in tables.into_iter().take(most) {
            let entries: Vec<u32> = words(out.sector(table)?).collect();
            out.next.extend(entries);
        }
        Some(out)
    }

    fn sector(&self, n: u32) -> Option<&'b [u8]> {
        let at = self.size.checked_mul(usize::try_from(n).ok()? + 1)?;
        // The last sector may be cut short.
        let end = (at + self.size).min(self.bytes.len());
        self.bytes.get(at..end).filter(|s| !s.is_empty())
    }

    /// The bytes of a chain; none where it comes round.
    fn chain(&self, first: u32) -> Option<Vec<u8>> {
        let (mut out, mut at) = (Vec::new(), first);
        while at < NO_SECTOR {
            out.extend_from_slice(self.sector(at)?);
            if out.len() > self.bytes.len() + self.size {
                return None;
            }
            at = *self.next.get(usize::try_from(at).ok()?)?;
        }
        Some(out)
    }

    /// A stream by its name.
    fn stream(&self, names: [&str; 2]) -> Option<Vec<u8>> {
        let folder = self.chain(u32_at(self.bytes, 48)?)?;
        let entry = |name: &str| {
            folder.chunks_exact(128).find(|e| {
                let long = usize::from(u16_at(e, 64).unwrap_or(0)).min(64);
                let units: Vec<u16> =
                    e[..long].chunks_exact(2).map(|b| u16::from_le_bytes([b[0], b[1]])).collect();
                String::from_utf16_lossy(&units).trim_end_matches('\0') == name
            })
        };
        let found = names.iter().find_map(|n| entry(n))?;
        let (first, size) = (u32_at(found, 116)?, usize::try_from(u32_at(found, 120)?).ok()?);
        if size >= usize::try_from(u32_at(self.bytes, 56)?).ok()? {
            let mut out = self.chain(first)?;
            out.truncate(size);
            return Some(out);
        }
        // A short stream lies in pieces of 64 bytes, in the stream of the root.
        let small = self.chain(u32_at(folder.get(..128)?, 116)?)?;
        let next: Vec<u32> = words(&self.chain(u32_at(self.bytes, 60)?)?).collect();
        let (mut out, mut at) = (Vec::new(), first);
        while at < NO_SECTOR && out.len() < size {
            let from = usize::try_from(at).ok()? * 64;
            out.extend_from_slice(small.get(from..from + 64)?);
            at = *next.get(usize::try_from(at).ok()?)?;
        }
        out.truncate(size);
        Some(out)
    }
}

/// The cells of the rectangles that its sheets span, all together; none where the file cannot be followed.
pub(crate) fn extent(bytes: &[u8]) -> Option<u64> {
    let stream = Sectors::of(bytes)?.stream(["Workbook", "Book"])?;
    let (mut total, mut at) = (0_u64, 0_usize);
    // First and last row and column of the sheet.
    let mut span: Option<(u16, u16, u16, u16)> = None;
    let area = |span: Option<(u16, u16, u16, u16)>| {
        span.map_or(0, |(top, bottom, left, right)| {
            (u64::from(bottom - top) + 1) * (u64::from(right - left) + 1)
        })
    };
    while let (Some(kind), Some(long)) = (u16_at(&stream, at), u16_at(&stream, at + 2)) {
        let data = stream.get(at + 4..at + 4 + usize::from(long)).unwrap_or_default();
        match kind {
            // A sheet begins.
            0x0809 | 0x0409 | 0x0209 | 0x0009 => {
                total += area(span.take());
            }
            // Numbers, texts, formulas, truths; several in a row.
            0x0203 | 0x0003 | 0x0002 | 0x027e | 0x00fd | 0x0204 | 0x0004 | 0x00d6 | 0x0006 | 0x0206
            | 0x0406 | 0x0205 | 0x0005 | 0x00bd => {
                if let (Some(row), Some(column)) = (u16_at(data, 0), u16_at(data, 2)) {
                    let last = if kind == 0x00bd {
                        u16_at(data, data.len().saturating_sub(2))?.max(column)
                    } else {
                        column
                    };
                    let (top, bottom, left, right) = span.unwrap_or((row, row, column, last));
                    span = Some((top.min(row), bottom.max(row), left.min(column), right.max(last)));
                }
            }
            _ => {}
        }
        at += 4 + usize::from(long);
    }
    Some(total + area(span))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extent_of_a_sheet_of_another_library() {
        // Rows 1 to 4 and columns A to G hold something, by the script that made it.
        let book = include_bytes!("../../../tests/it/reference/sheets/filters.xls");
        assert_eq!(extent(book), Some(28));
        for keep in [0, 40, 600, 2000] {
            assert_eq!(extent(&book[..keep]), None, "{keep}");
        }
        // A byte changed anywhere: an answer, and no end of it.
        for at in 0..book.len() {
            let mut bent = book.to_vec();
            bent[at] ^= 0x55;
            extent(&bent);
        }
    }
}
