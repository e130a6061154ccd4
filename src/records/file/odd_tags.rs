//! Tags of earlier rules that would be refused today: they stay usable, and are listed so that they can be re-tagged.

use rusqlite::Connection;

use crate::catalogue;
use crate::catalogue::Retags;
use crate::catalogue::kind::Kind;
use crate::error::Result;
use crate::read::tag_table::AllNames;
use crate::value::tag;

/// A tag that would be refused today.
#[derive(Clone, Debug, PartialEq)]
pub struct OddTag {
    /// Kind of the record.
    pub kind: &'static str,
    pub tag: String,
    /// Why it would be refused.
    pub why: String,
}

impl OddTag {
    /// What it is, and what can be done about it.
    pub fn text(&self) -> String {
        let shown = tag::shown(&self.tag);
        format!(
            "{}:{shown}: {}; it stays usable; give it another: meltkin log retags old_tag='{shown}' new_tag=TAG changed_at=TIME",
            self.kind, self.why
        )
    }
}

/// All of them that were not re-tagged since, by kind. Tags that others refer to are in memory already; the rest are few.
pub(crate) fn of(db: &Connection, names: &AllNames) -> Result<Vec<OddTag>> {
    let mut out = Vec::new();
    for kind in catalogue::all() {
        let Some(field) = kind.tag_field() else { continue };
        match names.of(kind.name) {
            Some(table) => table.look_through(suspicious, |t| note(kind, t, &mut out)),
            None => {
                let mut q =
                    db.prepare(&format!("SELECT \"{}\" FROM {} ORDER BY id", field.name, kind.name))?;
                let mut rows = q.query([])?;
                while let Some(row) = rows.next()? {
                    let text = row.get_ref(0)?.as_str().unwrap_or("");
                    if suspicious(text) {
                        note(kind, text, &mut out);
                    }
                }
            }
        }
    }
    let mut q = db.prepare("SELECT new_tag FROM retags ORDER BY changed_at")?;
    let mut rows = q.query([])?;
    while let Some(row) = rows.next()? {
        note(Retags::KIND, row.get_ref(0)?.as_str().unwrap_or(""), &mut out);
    }
    let mut re_tagged = db.prepare_cached("SELECT 1 FROM retags WHERE old_tag = ?1 COLLATE NOCASE")?;
    let mut left = Vec::new();
    for odd in out {
        if !re_tagged.exists([&odd.tag])? {
            left.push(odd);
        }
    }
    Ok(left)
}

/// Only such a text can be refused by rules that came later: what was refused before was never written.
fn suspicious(text: &str) -> bool {
    !text.is_ascii() || memchr::memchr2(b':', b'@', text.as_bytes()).is_some()
}

fn note(kind: &'static Kind, text: &str, out: &mut Vec<OddTag>) {
    if let Err(why) = tag::check(text) {
        out.push(OddTag { kind: kind.name, tag: text.to_string(), why });
    }
}
