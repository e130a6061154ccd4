//! What the file says of itself beside its records: the table `about`, which no journal entry stands behind.

use rusqlite::{Connection, OptionalExtension};

use crate::Store;
use crate::catalogue::Settings;
use crate::error::Result;
use crate::file::verify::{Fault, fault};

/// The table.
const ABOUT: &str = "about";

/// The line that holds the day of the last whole check.
pub(crate) const CHECKED: &str = "checked";

impl Store {
    /// A line that the file says of itself.
    pub fn about(&self, name: &str) -> Result<Option<String>> {
        let mut q = self.db.prepare_cached("SELECT value FROM about WHERE name = ?1")?;
        Ok(q.query_row([name], |r| r.get(0)).optional()?)
    }

    /// Sets a line that the file says of itself.
    pub fn set_about(&self, name: &str, value: &str) -> Result<()> {
        self.db.execute("INSERT OR REPLACE INTO about VALUES (?1, ?2)", [name, value])?;
        Ok(())
    }
}

/// A line that an earlier schema kept here; a migration makes a record of it.
fn of_an_earlier_schema(name: &str) -> bool {
    name == "clock" || name.starts_with("sheet mapping ") || name.starts_with("certificate mapping ")
}

/// Lines that this program did not write.
pub(crate) fn faults(db: &Connection) -> Result<Vec<Fault>> {
    let earlier = !db.table_exists(None, Settings::NAME)?;
    let mut q = db.prepare("SELECT name FROM about ORDER BY name")?;
    let mut names = q.query([])?;
    let mut out = Vec::new();
    while let Some(row) = names.next()? {
        let name: String = row.get(0)?;
        if name != CHECKED && !(earlier && of_an_earlier_schema(&name)) {
            out.push(fault(
                ABOUT,
                Some(name),
                "the line was put in outside meltkin: it keeps none of this name",
            ));
        }
    }
    Ok(out)
}
