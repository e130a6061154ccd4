//! Tags by their beginning, for a shell that finishes words.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::Store;
use crate::catalogue::kind::Kind;
use crate::error::{Error, Result};
use crate::file::paths;
use crate::file::recognise;

impl Store {
    /// Opens a store of today's schema to look something up: never to write, not even to bring it up.
    ///
    /// # Errors
    /// It is none, or one of another schema.
    pub fn look(path: &Path) -> Result<Self> {
        recognise::ours(path)?;
        let open = Some(paths::Open::at(path));
        let db = Self::read_only_connection(path)?;
        let version: i32 = db.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        if version != recognise::NEWEST {
            return Err(Error::untrusted("a store of another schema"));
        }
        Ok(Self {
            db,
            _open: open,
            path: PathBuf::from(path),
            part: None,
            read_only: true,
            waits: Arc::default(),
        })
    }

    /// The first tags of a kind that begin so, whatever the case.
    ///
    /// # Errors
    /// The store cannot be read.
    pub fn tags_from(&self, kind: &Kind, start: &str, most: usize) -> Result<Vec<String>> {
        let Some(field) = kind.tag_field() else { return Ok(Vec::new()) };
        let sql = format!(
            "SELECT DISTINCT \"{0}\" FROM {1} WHERE \"{0}\" >= ?1 COLLATE NOCASE ORDER BY \"{0}\" COLLATE NOCASE LIMIT ?2",
            field.name, kind.name
        );
        let mut q = self.db.prepare(&sql)?;
        let mut found = q.query((start, i64::try_from(most).unwrap_or(i64::MAX)))?;
        let mut out = Vec::new();
        while let Some(row) = found.next()? {
            let tag: String = row.get(0)?;
            // The first that begins otherwise is behind all that begin so.
            if !tag.get(..start.len()).is_some_and(|head| head.eq_ignore_ascii_case(start)) {
                break;
            }
            out.push(tag);
        }
        Ok(out)
    }
}
