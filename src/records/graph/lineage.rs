//! Genealogy in the store: what went into a record, and what came out of it.
//!
//! The edges are made from the catalogue. Every step asks one table by an index; a test reads the
//! query plans.

use std::collections::{HashMap, HashSet, VecDeque};
use std::sync::OnceLock;

use rusqlite::Connection;

use crate::Store;
use crate::catalogue;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::catalogue::{
    Blades, Charges, Coats, FilterLots, Heats, IngotLots, Instruments, Lots, Moulds, Pours, RevertLots,
    RevertSources, WaxLots,
};
use crate::check::Fault;
use crate::error::{Error, Result};
use crate::graph::fit::Late;
use crate::read;
use crate::read::ids::IdSet;
use crate::read::rows::Link;

/// What can be held, for the sentence that refuses the rest.
pub const HOLDABLE: &str = "has nothing downstream that a hold could fence; what can be held: metal, wax, core, filter, powder, slurry and stucco lots, shell recipes and batches, running systems, pattern runs, moulds, oven runs, heats, blades, treatments, lots, instruments";

const OF_LOT: &str = "SELECT blade FROM lot_blades WHERE lot = ?1";
const MOULD_OF: &str = "SELECT mould FROM blades WHERE id = ?1";

/// A table whose rows link children to parents.
#[derive(Debug)]
pub struct Edges {
    pub table: &'static str,
    /// Kind of the child.
    pub child: &'static str,
    /// Parent kinds, each with its column and field.
    pub parents: Vec<(&'static str, String, &'static str)>,
    /// Carries a mass.
    mass: bool,
    /// `SELECT parents…, their tags…, via, mass, extra FROM table WHERE child = ?1`.
    up: String,
    /// For each parent: `SELECT child FROM table WHERE parent = ?1`.
    down: Vec<String>,
}

/// All edge tables, from the catalogue.
pub fn edges() -> &'static [Edges] {
    static EDGES: OnceLock<Vec<Edges>> = OnceLock::new();
    EDGES.get_or_init(|| catalogue::all().filter_map(of_kind).collect())
}

fn of_kind(kind: &'static Kind) -> Option<Edges> {
    let mut parents = Vec::new();
    for field in kind.fields.iter().filter(|f| f.parent) {
        let Type::Ref(kinds) = field.ty else { continue };
        for (parent, column) in kinds.iter().zip(field.columns()) {
            parents.push((*parent, column, field.name));
        }
    }
    if parents.is_empty() {
        return None;
    }
    let (child, child_column) = match kind.child.and_then(|f| kind.field(f)) {
        Some(field) => match field.ty {
            Type::Ref([one]) => (*one, field.name),
            _ => return None,
        },
        None => (kind.name, "id"),
    };
    // The field that says how.
    let via = match kind.name {
        Blades::NAME => Some(Blades::position.name),
        Coats::NAME => Some(Coats::coat.name),
        Pours::NAME => Some(Pours::pour_order.name),
        _ => None,
    };
    let mass = matches!(kind.name, Charges::NAME | RevertSources::NAME);
    let columns: Vec<&str> = parents.iter().map(|(_, c, _)| c.as_str()).collect();
    let tags: Vec<String> = parents
        .iter()
        .filter_map(|(parent, column, _)| {
            let tag = catalogue::kind(parent)?.tag_field()?.name;
            Some(format!("(SELECT p.\"{tag}\" FROM {parent} p WHERE p.id = t.{column})"))
        })
        .collect();
    let up = format!(
        "SELECT {}, {}, {}, {}, extra{} FROM {} t WHERE {child_column} = ?1",
        columns.join(", "),
        tags.join(", "),
        via.unwrap_or("NULL"),
        if mass { "mass_kg" } else { "NULL" },
        if kind.is::<Blades>() { ", cavity" } else { "" },
        kind.name
    );
    // A child may stand there more than once: a mould for each coat, a heat for each item.
    let often = matches!(kind.name, Coats::NAME | Charges::NAME);
    let select = if often { "SELECT DISTINCT" } else { "SELECT" };
    let down = parents
        .iter()
        .map(|(_, column, _)| format!("{select} {child_column} FROM {} WHERE {column} = +?1", kind.name))
        .collect();
    Some(Edges { table: kind.name, child, parents, mass, up, down })
}

/// Every query of trace and containment, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    let of_edges = edges().iter().flat_map(|e| std::iter::once(e.up.clone()).chain(e.down.iter().cloned()));
    of_edges.chain([OF_LOT, MOULD_OF].map(String::from)).collect()
}

/// A hold on a record of this kind fences something.
pub fn can_be_held(kind: &str) -> bool {
    matches!(kind, Lots::NAME | Instruments::NAME | Blades::NAME)
        || edges().iter().any(|e| e.parents.iter().any(|(p, _, _)| *p == kind))
}

/// A record in a trace.
#[derive(Clone, Debug)]
pub struct Node {
    /// Kind and id.
    pub link: Link,
    pub tag: String,
    /// Steps from the asked record.
    pub depth: usize,
}

/// A step of a trace: positions of child and parent among the nodes.
#[derive(Clone, Debug)]
pub struct Step {
    /// Position of the child.
    pub child: usize,
    /// Position of the parent.
    pub parent: usize,
    /// How, in words.
    pub via: String,
    /// Mass, for metal.
    pub mass_kg: Option<f64>,
    /// Is an edge of metal.
    pub metal: bool,
}

/// What went into a record, or what came out of it.
#[derive(Clone, Debug, Default)]
pub struct Lineage {
    /// The asked record first, then by distance.
    pub nodes: Vec<Node>,
    pub steps: Vec<Step>,
}

impl Store {
    /// What went into a record, through every generation.
    pub fn ancestry(&self, start: Link, tag: &str) -> Result<Lineage> {
        up(&self.db, start, tag)
    }
}

/// What went into a record.
pub(crate) fn up(db: &Connection, start: Link, tag: &str) -> Result<Lineage> {
    let mut out = Lineage::default();
    let mut known: HashMap<(&'static str, i64), usize> = HashMap::new();
    known.insert((start.kind, start.id), 0);
    out.nodes.push(Node { link: start, tag: tag.to_string(), depth: 0 });
    let mut at = 0;
    while at < out.nodes.len() {
        let node = out.nodes[at].link;
        let depth = out.nodes[at].depth;
        for edge in edges().iter().filter(|e| e.child == node.kind) {
            let mut q = db.prepare_cached(&edge.up)?;
            let mut rows = q.query([node.id])?;
            while let Some(row) = rows.next()? {
                let parents = edge.parents.len();
                let n = 2 * parents;
                let via: Option<i64> = row.get(n)?;
                let extra: Option<String> = row.get(n + 2)?;
                let cavity: Option<String> = if edge.table == Blades::NAME { row.get(n + 3)? } else { None };
                for (i, (parent, _, field)) in edge.parents.iter().enumerate() {
                    let Some(id) = row.get::<_, Option<i64>>(i)? else { continue };
                    let position = match known.get(&(*parent, id)) {
                        Some(&p) => p,
                        None => {
                            let tag = match named_revision(extra.as_deref(), field) {
                                Some(named) => named,
                                None => row.get(parents + i)?,
                            };
                            let link = Link { kind: parent, id };
                            out.nodes.push(Node { link, tag, depth: depth + 1 });
                            known.insert((parent, id), out.nodes.len() - 1);
                            out.nodes.len() - 1
                        }
                    };
                    let of_blade = |f: &str| edge.table == Blades::NAME && *field == f;
                    let via = match (edge.table, via, &cavity) {
                        (_, _, Some(cavity)) if of_blade(Blades::pattern_run.name) => {
                            format!("cavity {cavity}")
                        }
                        (_, Some(v), _) if of_blade(Blades::mould.name) => format!("position {v}"),
                        (Coats::NAME, Some(v), _) => format!("coat {v}"),
                        (Pours::NAME, Some(v), _) => format!("pour {v}"),
                        _ => field.replace('_', " "),
                    };
                    out.steps.push(Step {
                        child: at,
                        parent: position,
                        via,
                        mass_kg: row.get(n + 1)?,
                        metal: edge.mass,
                    });
                }
            }
        }
        at += 1;
    }
    Ok(out)
}

fn named_revision(extra: Option<&str>, field: &str) -> Option<String> {
    let extra = extra.filter(|e| e.contains(field))?;
    let map: serde_json::Map<String, serde_json::Value> = serde_json::from_str(extra).ok()?;
    map.get(field)?.as_str().filter(|t| t.contains('@')).map(String::from)
}

/// What stands downstream of some records: moulds whole, and blades reached by themselves.
#[derive(Clone, Debug, Default)]
pub struct Fence {
    /// Moulds; every blade of theirs is inside.
    pub moulds: IdSet,
    /// Blades inside by another way.
    pub blades: IdSet,
    /// Other records inside, the start included.
    pub others: HashSet<(&'static str, i64)>,
}

impl Fence {
    /// The blade is inside.
    pub fn holds(&self, blade: i64, mould: Option<i64>) -> bool {
        self.blades.contains(&blade) || mould.is_some_and(|m| self.moulds.contains(&m))
    }

    /// The record is inside.
    pub fn has(&self, kind: &'static str, id: i64) -> bool {
        match kind {
            Moulds::NAME => self.moulds.contains(&id),
            Blades::NAME => self.blades.contains(&id),
            _ => self.others.contains(&(kind, id)),
        }
    }

    /// Nothing is inside.
    pub fn is_empty(&self) -> bool {
        self.moulds.is_empty() && self.blades.is_empty() && self.others.is_empty()
    }
}

/// Descends from some records. With `through_moulds` a mould also stands below the pattern runs, wax
/// lots and core lots of its blades, as holds and readiness want it.
pub fn descend(db: &Connection, start: &[Link], through_moulds: bool) -> Result<Fence> {
    descend_without(db, start, through_moulds, &[])
}

/// As [`descend`], without the edges of some tables.
pub fn descend_without(
    db: &Connection,
    start: &[Link],
    through_moulds: bool,
    left_out: &[&str],
) -> Result<Fence> {
    let mut fence = Fence::default();
    let mut queue: VecDeque<Link> = VecDeque::new();
    for &link in start {
        enter(&mut fence, &mut queue, link);
    }
    while let Some(link) = queue.pop_front() {
        for edge in edges().iter().filter(|e| !left_out.contains(&e.table)) {
            for (i, (parent, _, _)) in edge.parents.iter().enumerate() {
                if *parent != link.kind || (edge.child == Blades::NAME && link.is::<Moulds>()) {
                    continue;
                }
                let mut q = db.prepare_cached(&edge.down[i])?;
                let mut rows = q.query([link.id])?;
                while let Some(row) = rows.next()? {
                    let child = Link { kind: edge.child, id: row.get(0)? };
                    enter(&mut fence, &mut queue, child);
                    if through_moulds && edge.table == Blades::NAME {
                        let mould: Option<i64> =
                            db.prepare_cached(MOULD_OF)?.query_row([child.id], |r| r.get(0))?;
                        if let Some(id) = mould {
                            enter(&mut fence, &mut queue, Link::to::<Moulds>(id));
                        }
                    }
                }
            }
        }
        if link.is::<Lots>() {
            let mut q = db.prepare_cached(OF_LOT)?;
            let mut rows = q.query([link.id])?;
            while let Some(row) = rows.next()? {
                enter(&mut fence, &mut queue, Link::to::<Blades>(row.get(0)?));
            }
        }
    }
    Ok(fence)
}

fn enter(fence: &mut Fence, queue: &mut VecDeque<Link>, link: Link) {
    let new = match link.kind {
        Moulds::NAME => fence.moulds.insert(link.id),
        Blades::NAME => fence.blades.insert(link.id),
        kind => fence.others.insert((kind, link.id)),
    };
    if new {
        queue.push_back(link);
    }
}

/// A record that is its own ancestor, by way of others.
pub(crate) struct Cycle {
    /// Kind and tag, each the child of the next; the first stands at the end again.
    path: Vec<(&'static str, String)>,
}

impl Cycle {
    /// The sentence.
    pub(crate) fn text(&self) -> String {
        let tags: Vec<_> = self.path.iter().map(|(_, t)| crate::value::tag::shown(t)).collect();
        format!("a record cannot be its own ancestor: {}", tags.join(" < "))
    }

    /// As a fault of a row of this kind that is part of it.
    pub(crate) fn fault(&self, kind: &'static Kind) -> Late {
        let (of, child, parent) = match kind.name {
            Charges::NAME => (Heats::NAME, Charges::heat.name, Charges::source.name),
            RevertSources::NAME => {
                (RevertLots::NAME, RevertSources::revert_lot.name, RevertSources::heat.name)
            }
            _ => (WaxLots::NAME, WaxLots::wax_lot.name, WaxLots::split_from.name),
        };
        let rows: Vec<Vec<(String, String)>> = self
            .path
            .windows(2)
            .filter(|w| w[0].0 == of)
            .map(|w| vec![(child.to_string(), w[0].1.clone()), (parent.to_string(), w[1].1.clone())])
            .collect();
        let value = rows.first().map(|r| r[1].1.clone()).unwrap_or_default();
        Late { kind: kind.name, rows, fault: Fault::new(parent, &value, self.text()) }
    }
}

/// What makes a record its own ancestor, in a table and what stands beside it.
pub(crate) fn cycle(db: &Connection, table: &str) -> Result<Option<Cycle>> {
    match table {
        Charges::NAME | RevertSources::NAME => metal_cycle(db),
        WaxLots::NAME => wax_cycle(db),
        _ => Ok(None),
    }
}

/// Refuses what would make a record its own ancestor. Called after a write, inside its transaction.
///
/// # Errors
/// [`Error::input`] that names the cycle.
pub fn refuse_cycles(db: &Connection, table: &str) -> Result<()> {
    match cycle(db, table)? {
        Some(cycle) => Err(Error::input(cycle.text())),
        None => Ok(()),
    }
}

fn metal_cycle(db: &Connection) -> Result<Option<Cycle>> {
    let mut into: HashMap<(&'static str, i64), Vec<(&'static str, i64)>> = HashMap::new();
    let mut q =
        db.prepare_cached("SELECT heat, source_revert_lot FROM charges WHERE source_revert_lot IS NOT NULL")?;
    let mut rows = q.query([])?;
    while let Some(r) = rows.next()? {
        into.entry((Heats::NAME, r.get(0)?)).or_default().push((RevertLots::NAME, r.get(1)?));
    }
    let mut q = db.prepare_cached("SELECT revert_lot, heat FROM revert_sources")?;
    let mut rows = q.query([])?;
    while let Some(r) = rows.next()? {
        into.entry((RevertLots::NAME, r.get(0)?)).or_default().push((Heats::NAME, r.get(1)?));
    }
    find_cycle(db, &into)
}

fn wax_cycle(db: &Connection) -> Result<Option<Cycle>> {
    let mut into: HashMap<(&'static str, i64), Vec<(&'static str, i64)>> = HashMap::new();
    let mut q = db.prepare_cached("SELECT id, split_from FROM wax_lots WHERE split_from IS NOT NULL")?;
    let mut rows = q.query([])?;
    while let Some(r) = rows.next()? {
        into.entry((WaxLots::NAME, r.get(0)?)).or_default().push((WaxLots::NAME, r.get(1)?));
    }
    find_cycle(db, &into)
}

type Way = (&'static str, i64);

fn find_cycle(db: &Connection, into: &HashMap<Way, Vec<Way>>) -> Result<Option<Cycle>> {
    // Depth first without recursion; a node is open while its own ancestors are looked at.
    let mut state: HashMap<Way, bool> = HashMap::new();
    let mut starts: Vec<Way> = into.keys().copied().collect();
    starts.sort_unstable();
    for start in starts {
        if state.contains_key(&start) {
            continue;
        }
        let mut path: Vec<(Way, usize)> = vec![(start, 0)];
        state.insert(start, true);
        while let Some((node, next)) = path.last().copied() {
            let Some(&to) = into.get(&node).and_then(|v| v.get(next)) else {
                state.insert(node, false);
                path.pop();
                continue;
            };
            if let Some(last) = path.last_mut() {
                last.1 += 1;
            }
            match state.get(&to) {
                Some(true) => {
                    let from = path.iter().position(|(n, _)| *n == to).unwrap_or(0);
                    let mut tags = Vec::new();
                    for (kind, id) in path[from..].iter().map(|(node, _)| *node).chain([to]) {
                        tags.push((kind, read::tag_of(db, Link { kind, id })?));
                    }
                    return Ok(Some(Cycle { path: tags }));
                }
                Some(false) => {}
                None => {
                    state.insert(to, true);
                    path.push((to, 0));
                }
            }
        }
    }
    Ok(None)
}

impl Store {
    /// Received, rejected and used of a material: kg of metal, pieces of a filter lot.
    pub fn stock(&self, kind: &str, id: i64) -> Result<Option<(Option<f64>, Option<f64>, f64)>> {
        let sql = match kind {
            IngotLots::NAME => {
                "SELECT mass_kg, NULL, (SELECT total(mass_kg) FROM charges WHERE source_ingot_lot = ?1)
                 FROM ingot_lots WHERE id = ?1"
            }
            RevertLots::NAME => {
                "SELECT (SELECT sum(mass_kg) FROM revert_sources WHERE revert_lot = ?1), NULL,
                 (SELECT total(mass_kg) FROM charges WHERE source_revert_lot = ?1)"
            }
            FilterLots::NAME => {
                "SELECT CAST(received_count AS REAL), CAST(rejected_count AS REAL),
                 (SELECT CAST(count(*) AS REAL) FROM moulds WHERE filter_lot = ?1) FROM filter_lots WHERE id = ?1"
            }
            _ => return Ok(None),
        };
        let row = self.db.prepare_cached(sql)?.query_row([id], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))?;
        Ok(Some(row))
    }
}
