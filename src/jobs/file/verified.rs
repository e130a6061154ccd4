//! Whether the file is whole.

use serde::Serialize;
use serde_json::json;

use records::file::verify;

/// What the check of the whole file came to, as JSON gives it.
#[derive(Serialize)]
pub struct VerifyReport {
    pub ok: bool,
    pub entries: i64,
    pub head: String,
    /// Rows that were compared.
    pub rows: u64,
    /// The entry that has the hash which was given.
    pub anchored_at: Option<i64>,
    pub clock_given: bool,
    /// Nothing that is worked out from records is kept, so nothing of that sort can be wrong.
    derived: [&'static str; 0],
    faults: Vec<serde_json::Value>,
    /// Tags of earlier rules that would be refused today.
    odd_tags: Vec<serde_json::Value>,
    #[serde(skip)]
    pub(crate) found: verify::Verified,
}

impl VerifyReport {
    /// From what the store found.
    pub fn new(found: verify::Verified, clock_given: bool) -> Self {
        let fault = |f: &verify::Fault| json!({"table": f.table, "tag": f.tag, "message": f.message});
        Self {
            ok: found.faults.is_empty(),
            entries: found.entries,
            head: found.head.clone(),
            rows: found.rows,
            anchored_at: found.anchored_at,
            clock_given,
            derived: [],
            faults: found.faults.iter().map(fault).collect(),
            odd_tags: found
                .odd_tags
                .iter()
                .map(|o| json!({"kind": o.kind, "tag": o.tag, "message": o.why}))
                .collect(),
            found,
        }
    }
}
