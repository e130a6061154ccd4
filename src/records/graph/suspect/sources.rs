//! Which records are readings, and what they stand on: from the catalogue.
//!
//! A kind with an instrument holds readings. What comes out of the record itself stands behind one (an
//! oven run, a treatment); else behind the records of the genealogy that it names (a blade, a heat). A
//! pour links a mould to its heat: the mould alone carries the doubt on, as the heat may have been
//! poured into other moulds with another pyrometer.

use std::sync::OnceLock;

use crate::catalogue;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::graph::lineage::edges;
use crate::read::shape;

/// A kind of record that holds readings.
pub(crate) struct ReadingKind {
    pub kind: &'static Kind,
    /// The instrument stands there by its id; else as a text, which is a tag of it.
    pub by_id: bool,
    /// What its records stand on; first what carries the doubt on.
    pub on: Vec<On>,
    /// The readings of one instrument (`?1`) in a span of packed time (`?2` to before `?3`): the time, then what
    /// they stand on.
    pub in_span: String,
    /// Some record names the instrument `?1`.
    pub used: String,
}

/// What a reading stands on.
pub(crate) struct On {
    pub kind: &'static str,
    /// The doubt descends from it to what came out of it.
    pub carries: bool,
    /// The readings on one of them (`?1`): the instrument, the time.
    pub asked: String,
    column: String,
}

/// All of them, in the order of the catalogue.
pub(crate) fn all() -> &'static [ReadingKind] {
    static SOURCES: OnceLock<Vec<ReadingKind>> = OnceLock::new();
    SOURCES.get_or_init(|| catalogue::all().filter_map(source).collect())
}

fn source(kind: &'static Kind) -> Option<ReadingKind> {
    let field = kind.instrument.and_then(|f| kind.field(f))?;
    let by_id = matches!(field.ty, Type::Ref(_));
    let (table, instrument) = (kind.name, field.name);
    // A kind without a time of its own has that of its entry; it may be blank, and then nothing is known.
    let time = kind.time.unwrap_or("recorded_at");
    let known = match kind.field(time).filter(|f| f.optional) {
        Some(_) => format!(" AND {time} IS NOT NULL"),
        None => String::new(),
    };
    let on: Vec<On> = columns(kind)
        .into_iter()
        .map(|(column, kind, carries)| On {
            asked: format!(
                "SELECT {instrument}, {time} FROM {table} WHERE {column} = ?1 AND {instrument} IS NOT NULL{known}"
            ),
            column,
            kind,
            carries,
        })
        .collect();
    let is = if by_id { "= ?1" } else { "= ?1 COLLATE NOCASE" };
    let list: Vec<&str> = on.iter().map(|o| o.column.as_str()).collect();
    Some(ReadingKind {
        kind,
        by_id,
        in_span: format!(
            "SELECT {time}, {} FROM {table} WHERE {instrument} {is} AND {time} >= ?2 AND {time} < ?3",
            list.join(", ")
        ),
        used: format!("SELECT EXISTS (SELECT 1 FROM {table} WHERE {instrument} {is})"),
        on,
    })
}

/// The columns that say what a reading of a kind stands on: column, kind, whether doubt goes on from there.
fn columns(kind: &'static Kind) -> Vec<(String, &'static str, bool)> {
    let traced =
        |name: &str| edges().iter().any(|e| e.child == name || e.parents.iter().any(|p| p.0 == name));
    if traced(kind.name) {
        return vec![("id".into(), kind.name, true)];
    }
    let mut out = Vec::new();
    for field in kind.fields {
        let Type::Ref(kinds) = field.ty else { continue };
        let carries = kind.child.is_none_or(|c| c == field.name);
        for (to, column) in kinds.iter().zip(field.columns()).filter(|(to, _)| traced(to)) {
            out.push((column, *to, carries));
        }
    }
    out.sort_by_key(|(_, _, carries)| !carries);
    // It stands on itself too, for whoever looks at the record alone.
    if shape::of(kind).has_id {
        out.push(("id".into(), kind.name, false));
    }
    out
}

/// What the readings of a kind stand on: the kinds of record, each with whether doubt descends from it.
pub fn stands_on(kind: &str) -> Vec<(&'static str, bool)> {
    let mine = all().iter().filter(|s| s.kind.name == kind);
    mine.flat_map(|s| &s.on).map(|o| (o.kind, o.carries)).collect()
}

/// The queries of all sources.
pub(crate) fn queries() -> impl Iterator<Item = String> {
    all().iter().flat_map(|s| {
        [&s.in_span, &s.used].into_iter().chain(s.on.iter().map(|o| &o.asked)).cloned().collect::<Vec<_>>()
    })
}
