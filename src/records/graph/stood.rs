//! Who ever stood in a record: in what it says now, and in everything that was corrected or taken back.

use std::collections::BTreeSet;

use rusqlite::Connection;

use crate::Store;
use crate::catalogue::Inspections;
use crate::error::Result;
use crate::graph::concessions;
use crate::write::journal;

/// Everybody who ever stood as the person of an inspection, lower case. `seq` wrote it last.
pub(crate) fn readers(db: &Connection, inspection: &str, seq: i64) -> Result<BTreeSet<String>> {
    let (mut out, mut seen, mut asked) = (BTreeSet::new(), BTreeSet::new(), BTreeSet::new());
    // Followed back by what each entry says of the one before it, and forth by the address.
    let (mut came, mut addresses) = (vec![seq], vec![inspection.to_string()]);
    while !came.is_empty() || !addresses.is_empty() {
        let mut found = Vec::new();
        for seq in std::mem::take(&mut came) {
            found.extend(journal::by_seq(db, seq)?);
        }
        for address in std::mem::take(&mut addresses) {
            if asked.insert(address.to_ascii_lowercase()) {
                found.extend(journal::of_record(db, Inspections::NAME, &address)?);
            }
        }
        for entry in found {
            if entry.tag.is_none() || !journal::changes_a_record(&entry.action) || !seen.insert(entry.seq) {
                continue;
            }
            for text in [&entry.old, &entry.new] {
                let person = concessions::field(text.as_ref(), Inspections::person.name);
                out.extend(person.map(|person| person.to_ascii_lowercase()));
            }
            came.extend(entry.came);
            addresses.extend(entry.tag);
        }
    }
    Ok(out)
}

impl Store {
    /// Everybody who ever stood as the reader of an inspection, lower case: who rejected does not close it, whatever was
    /// corrected since. `seq` wrote it last.
    pub fn ever_read(&self, inspection: &str, seq: i64) -> Result<BTreeSet<String>> {
        readers(&self.db, inspection, seq)
    }
}
