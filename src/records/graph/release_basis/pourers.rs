//! Who ever stood as the one who poured in a lot, or who typed a pour of it in: in what the records say now, and in
//! everything that was corrected or taken back.

use std::collections::{BTreeMap, BTreeSet};

use crate::Store;
use crate::catalogue::{As, Blades, Moulds, Pours};
use crate::error::Result;
use crate::read;
use crate::read::rows;
use crate::read::tags::Tags;
use crate::write::journal;
use crate::write::journal::Entry;

use crate::graph::release_basis::{Behind, Row, collect};

/// The journal's word for a pour that somebody typed in. An import brings what others wrote down, and who puts a pour
/// right afterwards did not pour.
const TYPED: &str = "log";

/// Who stands in the record of a pour.
fn named(pour: As<'_, Pours>) -> impl Iterator<Item = &str> {
    [pour.get(Pours::person), pour.get(Pours::recorded_by)].into_iter().flatten()
}

impl Store {
    /// People by tag (lower case), each with the moulds of the lot that they poured.
    pub fn pourers(&self, behind: &Behind) -> Result<BTreeMap<String, BTreeSet<String>>> {
        let own = read::own_fields(&self.db)?;
        let mut out: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        let mut stand = |person: &str, pour: As<'_, Pours>| {
            out.entry(person.to_ascii_lowercase()).or_default().insert(pour.text(Pours::mould));
        };
        let ever = self.ever_moulds(behind)?;
        let rows = self.pours_of(&ever)?;
        for pour in rows.iter().filter_map(|row| row.record.of::<Pours>()) {
            named(pour).for_each(|person| stand(person, pour));
        }
        let mut entries: BTreeMap<i64, Entry> = BTreeMap::new();
        // A record is followed back by what each entry says of the one before it, and forth by its address.
        let mut came: Vec<i64> = rows.iter().map(|r| r.entry).collect();
        let mut addresses: Vec<String> = ever.into_iter().map(|m| format!("pours:{m}")).collect();
        let mut asked = BTreeSet::new();
        while !came.is_empty() || !addresses.is_empty() {
            let mut found = Vec::new();
            for seq in std::mem::take(&mut came) {
                if !entries.contains_key(&seq) {
                    found.extend(journal::by_seq(&self.db, seq)?);
                }
            }
            for address in std::mem::take(&mut addresses) {
                if asked.insert(address.to_ascii_lowercase()) {
                    found.extend(journal::of_record(&self.db, Pours::NAME, &address)?);
                }
            }
            for entry in found {
                if entry.tag.is_none() || entries.contains_key(&entry.seq) {
                    continue;
                }
                came.extend(entry.came);
                addresses.extend(entry.tag.clone());
                entries.insert(entry.seq, entry);
            }
        }
        for entry in entries.values() {
            for text in [&entry.old, &entry.new].into_iter().flatten() {
                let record = rows::from_canonical(text, &own)?;
                let Some(pour) = record.of::<Pours>() else { continue };
                named(pour).for_each(|person| stand(person, pour));
                // Who typed it in is whom the journal names, whatever the record says of it.
                if let Some(typed) = entry.person.as_ref().filter(|_| TYPED == entry.action) {
                    stand(typed, pour);
                }
            }
        }
        Ok(out)
    }

    /// The pours of some moulds, as they are recorded now.
    fn pours_of(&self, moulds: &BTreeSet<String>) -> Result<Vec<Row>> {
        let tags = Tags::new(&self.db)?;
        let mut ids = BTreeSet::new();
        for mould in moulds {
            ids.extend(tags.find(mould, &[Moulds::NAME])?.map(|(link, _)| link.id));
        }
        collect::read_rows(&self.db, Pours::KIND, "mould IN (SELECT value FROM json_each(?1))", &ids)
    }

    /// The moulds of the lot's blades, those too that stood in their records before.
    fn ever_moulds(&self, behind: &Behind) -> Result<BTreeSet<String>> {
        let mut out: BTreeSet<String> = behind.of(Moulds::NAME).map(|r| r.record.address()).collect();
        let own = read::own_fields(&self.db)?;
        for row in behind.of(Blades::NAME) {
            // Only a blade that was corrected can have had another mould.
            let mut next = Some(row.entry);
            while let Some(entry) = next.map(|seq| journal::by_seq(&self.db, seq)).transpose()?.flatten() {
                next = entry.came.filter(|_| entry.tag.is_some());
                if let Some(old) = entry.old.filter(|_| entry.tag.is_some()) {
                    let blade = rows::from_canonical(&old, &own)?;
                    out.extend(blade.of::<Blades>().map(|b| b.text(Blades::mould)));
                }
            }
        }
        out.remove("");
        Ok(out)
    }
}
