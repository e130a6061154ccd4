//! Laws that hold whatever the records are: shares of metal, totals of a lot, there and back.

use std::collections::BTreeMap;
use std::path::Path;

use knowledge::lineage::{Melted, shares_in, shares_of};
use meltkin::jobs::file::bundle;
use meltkin::jobs::lots::ask;
use meltkin::jobs::trace;
use proptest::prelude::*;
use records::catalogue::field::Type;
use records::{Stamp, catalogue};
use records::{Store, Who};

use crate::every_kind::record;

fn settings(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

fn who(person: Option<&str>) -> Who {
    Who::new(person.map(String::from), Stamp::parse("2100-01-01T00:00:00Z").unwrap())
}

/// Charges of up to 13 lots and heats: child below parent, so that nothing goes round; none: no mass
/// on record. The first charge of every child comes from the next node, so that all are reached.
fn charges() -> impl Strategy<Value = (usize, Vec<Melted>)> {
    let one = (0usize..13, 0usize..13, prop::option::weighted(0.97, 1u32..20_000));
    (3usize..14, prop::collection::vec(one, 1..40), prop::collection::vec(1u32..500, 13)).prop_map(
        |(nodes, drawn, spine)| {
            let kg = |grams: u32| f64::from(grams) / 1000.0;
            let chain = (0..nodes - 2).filter(|c| *c == 0 || spine[*c] % 4 != 0).map(|c| Melted {
                child: c,
                parent: c + 1,
                mass_kg: Some(kg(spine[c])),
            });
            let more = drawn.into_iter().filter_map(|(a, b, mass)| {
                let (child, parent) = (a.min(b), a.max(b));
                let parent = parent.min(nodes - 1);
                (child < parent).then(|| Melted { child, parent, mass_kg: mass.map(kg) })
            });
            (nodes, chain.chain(more).collect())
        },
    )
}

/// Shares by linear algebra: x = e + Wᵀx, solved by Gauss and Jordan with pivots, where W holds what part
/// of a child each parent is. From the theory of absorbing chains (Kemeny and Snell, 1960).
fn by_matrix(root: usize, nodes: usize, edges: &[Melted], down: bool) -> Vec<f64> {
    let mut total = vec![0.0; nodes];
    for e in edges {
        total[e.child] += e.mass_kg.unwrap();
    }
    let mut a = vec![vec![0.0; nodes + 1]; nodes];
    for (i, row) in a.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    a[root][nodes] = 1.0;
    for e in edges {
        let part = e.mass_kg.unwrap() / total[e.child];
        let (from, to) = if down { (e.parent, e.child) } else { (e.child, e.parent) };
        a[to][from] -= part;
    }
    for c in 0..nodes {
        let pivot = (c..nodes).max_by(|i, j| a[*i][c].abs().total_cmp(&a[*j][c].abs())).unwrap();
        a.swap(c, pivot);
        let row: Vec<f64> = a[c].iter().map(|v| v / a[c][c]).collect();
        for (r, other) in a.iter_mut().enumerate() {
            if r != c {
                let factor = other[c];
                other.iter_mut().zip(&row).for_each(|(v, p)| *v -= factor * p);
            }
        }
        a[c] = row;
    }
    a.into_iter().map(|row| row[nodes]).collect()
}

proptest! {
    #![proptest_config(settings(500))]

    #[test]
    fn shares_equal_a_matrix_computation_and_what_was_bought_sums_to_one((nodes, edges) in charges()) {
        let up = shares_of(0, nodes, &edges);
        if edges.iter().any(|e| e.mass_kg.is_none()) {
            // A share that is told does not depend on the mass that is not on record.
            for other in [0.01, 50.0] {
                let filled: Vec<Melted> =
                    edges.iter().map(|e| Melted { mass_kg: e.mass_kg.or(Some(other)), ..*e }).collect();
                let whole = by_matrix(0, nodes, &filled, false);
                for (n, share) in up.iter().enumerate() {
                    prop_assert!(share.is_none_or(|s| (s - whole[n]).abs() < 1e-9), "{n}: {share:?} {}", whole[n]);
                }
            }
            return Ok(());
        }
        let matrix = by_matrix(0, nodes, &edges, false);
        for n in 0..nodes {
            prop_assert!((up[n].unwrap_or(0.0) - matrix[n]).abs() < 1e-9, "{n}: {:?} {}", up[n], matrix[n]);
        }
        let bought = (0..nodes).filter(|n| edges.iter().all(|e| e.child != *n));
        let sum: f64 = bought.filter_map(|n| up[n]).sum();
        prop_assert!((sum - 1.0).abs() < 1e-9, "{sum}");
        for (source, of_root) in up.iter().enumerate().skip(1) {
            let (down, matrix) = (shares_in(source, nodes, &edges), by_matrix(source, nodes, &edges, true));
            for n in 0..nodes {
                prop_assert!((down[n].unwrap_or(0.0) - matrix[n]).abs() < 1e-9, "{source} in {n}");
            }
            prop_assert!((down[0].unwrap_or(0.0) - of_root.unwrap_or(0.0)).abs() < 1e-9, "down is not up");
        }
    }
}

/// Of each blade: poured with its mould, decisions in the order of time, held by name, and 0: sent; 1: sent, and back
/// before the third decision.
type Fate = (bool, Vec<usize>, bool, u8);

const DECISIONS: [&str; 6] = ["accept", "scrap", "hold", "concession", "rework", "repair"];

/// A lot of these blades, four to a mould; a mould is poured as its first blade says.
fn lot_of(fates: &[Fate]) -> Store {
    let mut files: BTreeMap<&str, String> = BTreeMap::new();
    let heads = [
        ("alloys", "alloy,revision,liquidus_c\nQA-1,,1288"),
        ("parts", "part,revision,alloy\nQB-1,A,QA-1"),
        ("running_systems", "running_system,fill,positions,filter\nRS-1,bottom,4,yes"),
        ("people", "person,role\nQL-1,quality"),
        ("ingot_lots", "ingot_lot,alloy,received_at,mass_kg\nIL-1,QA-1,2031-01-01T00:00:00Z,500"),
        ("heats", "heat,alloy,furnace,melted_at\nH-1,QA-1,F1,2031-03-04T09:00:00Z"),
        ("charges", "heat,source,mass_kg\nH-1,IL-1,11"),
        ("moulds", "mould,part,running_system,assembled_at"),
        ("pours", "mould,heat,poured_at"),
        ("blades", "blade,mould,position"),
        ("lots", "lot,part,opened_at\nL-1,QB-1,2031-01-01T00:00:00Z"),
        ("lot_blades", "lot,blade"),
        ("dispositions", "blade,decided_at,decision,person"),
        ("holds", "hold,subject,placed_at,reason"),
        ("shipments", "blade,shipped_at,certificate,returned_at"),
    ];
    for (name, head) in heads {
        files.insert(name, format!("{head}\n"));
    }
    let mut put = |name: &str, row: String| *files.get_mut(name).unwrap() += &(row + "\n");
    for (i, (poured, decisions, held, sent)) in fates.iter().enumerate() {
        let (mould, blade) = (format!("M-{}", i / 4), format!("B-{i}"));
        if i % 4 == 0 {
            put("moulds", format!("{mould},QB-1,RS-1,2031-02-10T00:00:00Z"));
            if *poured {
                put("pours", format!("{mould},H-1,2031-03-04T10:00:00Z"));
            }
        }
        put("blades", format!("{blade},{mould},{}", i % 4 + 1));
        put("lot_blades", format!("L-1,{blade}"));
        // Written newest first: the order of time counts, not that of the file.
        for (n, d) in decisions.iter().enumerate().rev() {
            put("dispositions", format!("{blade},2031-03-{:02}T00:00:00Z,{},QL-1", n + 10, DECISIONS[*d]));
        }
        if *held {
            put("holds", format!("HD-{i},{blade},2031-03-20T00:00:00Z,why"));
        }
        match *sent {
            0 => put("shipments", format!("{blade},2031-03-21T00:00:00Z,C-1,")),
            1 => put("shipments", format!("{blade},2031-03-10T12:00:00Z,C-1,2031-03-11T12:00:00Z")),
            _ => {}
        }
    }
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in files {
        std::fs::write(folder.path().join(format!("{name}.csv")), text).unwrap();
    }
    let mut store = Store::memory().unwrap();
    let done = bundle::import(&mut store, &who(Some("QL-1")), folder.path(), None, false, &mut |_, _, _| {})
        .unwrap();
    assert!(done.faults.is_empty(), "{:?}", done.faults);
    store
}

/// Where a blade is, by the rule as people state it.
fn place((_, decisions, held, sent): &Fate) -> &'static str {
    let last = decisions.last().map(|d| DECISIONS[*d]);
    match (*sent, last, *held) {
        (0, ..) => "shipped",
        (1, ..) if decisions.len() < 3 => "returned",
        (_, Some("scrap"), _) => "scrapped",
        (_, _, true) | (_, Some("hold"), _) => "held",
        (_, Some("concession"), _) => "concession",
        (_, Some("accept"), _) => "accepted",
        _ => "in process",
    }
}

proptest! {
    #![proptest_config(settings(48))]

    #[test]
    fn totals_of_a_lot_and_of_what_a_heat_went_into_add_up(
        fates in prop::collection::vec(
            (prop::bool::weighted(0.85), prop::collection::vec(0usize..6, 0..4), prop::bool::weighted(0.15), 0u8..8),
            1..24,
        )
    ) {
        let store = lot_of(&fates);
        let poured = |i: usize| fates[i / 4 * 4].0;
        let count = |word: &str, of_poured: bool| {
            (0..fates.len()).filter(|i| (poured(*i) || !of_poured) && place(&fates[*i]) == word).count()
        };
        let c = ask::summary(&store, &who(Some("QL-1")), "L-1").unwrap().counts;
        let found = [c.accepted, c.concession, c.shipped, c.returned, c.held, c.scrapped, c.in_process];
        let words = ["accepted", "concession", "shipped", "returned", "held", "scrapped", "in process"];
        prop_assert_eq!(found.to_vec(), words.map(|w| count(w, true) as i64).to_vec());
        prop_assert_eq!(found.iter().sum::<i64>(), c.made);
        prop_assert_eq!(c.made, (0..fates.len()).filter(|i| poured(*i)).count() as i64);
        for source in ["H-1", "IL-1"] {
            let contained = trace::ask::contain(&store, source).unwrap();
            let want: BTreeMap<&str, usize> = words.iter().map(|w| (*w, count(w, true))).collect();
            prop_assert_eq!(&contained.totals, &want, "{}", source);
            prop_assert!(contained.blades.iter().all(|b| b.share == Some(1.0)));
        }
    }

    #[test]
    fn random_records_of_every_kind_come_back_as_they_went(drawn in prop::collection::vec(any_cell(), 600)) {
        let mut cells = drawn.into_iter();
        let files: Vec<(String, String)> = catalogue::all()
            .map(|kind| {
                let mut row = record(kind);
                row.retain(|(n, _)| n != "note");
                for field in kind.fields.iter().filter(|f| f.optional && !f.key && !fixed(kind.name, f.name)) {
                    let Some(cell) = cells.next().and_then(|c| c.of(&field.ty, field.guard)) else { continue };
                    row.retain(|(n, _)| n != field.name);
                    row.push((field.name.into(), cell));
                }
                row.push(("note".into(), cells.next().and_then(|c| c.of(&Type::Text, None)).unwrap_or_default()));
                let quoted = |v: &String| format!("\"{}\"", v.replace('"', "\"\""));
                let names: Vec<&str> = row.iter().map(|(n, _)| n.as_str()).collect();
                let values: Vec<String> = row.iter().map(|(_, v)| quoted(v)).collect();
                (format!("{}.csv", kind.name), format!("{}\n{}\n", names.join(","), values.join(",")))
            })
            .collect();
        let (first, second) = (round(&files), tempfile::tempdir().unwrap());
        let Some((store, given)) = first else { return Err(TestCaseError::reject("refused")) };
        for ((name, text), (_, found)) in files.iter().zip(&given) {
            compare(name, text, found)?;
        }
        bundle::export(&store, &second.path().join("out"), &mut |_, _, _| {}).unwrap();
        let texts: Vec<(String, String)> = given.clone();
        let again = round(&texts).expect("its own export").1;
        prop_assert_eq!(given, again);
        let found = store.verify(None, &mut |_| {}).unwrap();
        prop_assert!(found.faults.is_empty());
    }
}

/// Fields whose values hang together with other rows.
fn fixed(kind: &str, field: &str) -> bool {
    matches!(field, "split_from" | "scope" | "revision" | "min" | "max" | "lower" | "upper")
        || matches!(field, "closes" | "set_aside_by" | "set_aside_reason")
        || matches!(
            kind,
            "own_fields" | "process_limits" | "retags" | "people" | "holds" | "concession_items"
        )
}

#[derive(Clone, Debug)]
struct Cell {
    way: u8,
    number: f64,
    count: u32,
    at: i64,
    text: String,
}

fn any_cell() -> impl Strategy<Value = Cell> {
    (any::<u8>(), -1.0f64..1.0, any::<u32>(), 0i64..4_000_000_000_000, "[ -~é°µ≤\n\t\"',;=@+-]{0,20}")
        .prop_map(|(way, number, count, at, text)| Cell { way, number, count, at, text })
}

impl Cell {
    /// The text of a cell of this type; none: as the record has it.
    fn of(self, ty: &Type, guard: Option<(f64, f64)>) -> Option<String> {
        match (self.way % 10, ty) {
            (0, _) => return Some(String::new()),
            (1, Type::Number | Type::Count | Type::Time | Type::Choice(_)) => return Some("n/a".into()),
            (2, Type::Number | Type::Count | Type::Time | Type::Choice(_)) => {
                return Some("illegible".into());
            }
            _ => {}
        }
        let (low, high) = guard.unwrap_or((0.0, 1e6));
        Some(match ty {
            Type::Number if self.way % 10 == 3 => format!("<{}", high),
            Type::Number => (low + (high - low) * self.number.abs()).to_string(),
            Type::Count => (self.count % 100_000).to_string(),
            Type::Time => Stamp::new(self.at, (self.at % 1600) as i32 - 800).text(),
            Type::Date => Stamp::new(self.at, 0).text()[..10].to_string(),
            Type::Moment if self.way.is_multiple_of(2) => Stamp::new(self.at, 0).text()[..10].to_string(),
            Type::Moment => Stamp::new(self.at, 0).text(),
            Type::Choice(words) => words[self.count as usize % words.len()].to_string(),
            Type::Text => self.text.trim().to_string(),
            Type::Tag | Type::Ref(_) | Type::AnyTag | Type::RevisionOf(_) => return None,
        })
    }
}

/// Imports and exports; none where the import is refused. The export is ordered as `files`.
fn round(files: &[(String, String)]) -> Option<(Store, Vec<(String, String)>)> {
    let (into, out) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    for (name, text) in files {
        std::fs::write(into.path().join(name), text).unwrap();
    }
    let mut store = Store::memory().unwrap();
    let done = bundle::import(&mut store, &who(None), into.path(), None, false, &mut |_, _, _| {}).unwrap();
    if let Some(fault) = done.faults.first() {
        eprintln!("refused: {}", fault.text());
        return None;
    }
    bundle::export(&store, &out.path().join("out"), &mut |_, _, _| {}).unwrap();
    let read = |name: &str| std::fs::read_to_string(Path::new(&out.path().join("out")).join(name)).unwrap();
    let found = files.iter().map(|(name, _)| (name.clone(), read(name))).collect();
    Some((store, found))
}

/// Every cell that was written stands in the export, column by column; numbers as numbers.
fn compare(name: &str, wrote: &str, found: &str) -> Result<(), TestCaseError> {
    let table = |text: &str| -> BTreeMap<String, String> {
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let heads: Vec<String> = reader.headers().unwrap().iter().map(String::from).collect();
        let row = reader.records().next().unwrap().unwrap();
        heads.into_iter().zip(row.iter().map(String::from)).collect()
    };
    let (wrote, found) = (table(wrote), table(found));
    for (column, value) in &wrote {
        let there = found.get(column).cloned().unwrap_or_default();
        let same = |a: &str, b: &str| match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(a), Ok(b)) => a == b,
            _ => a == b,
        };
        let below = value.strip_prefix('<').zip(there.strip_prefix('<')).is_some_and(|(a, b)| same(a, b));
        let moment = Stamp::parse(value).ok().zip(Stamp::parse(&there).ok()).is_some_and(|(a, b)| a == b);
        // What a spreadsheet would read as a formula goes out behind an apostrophe.
        // A definition goes out with its revision.
        let named = value.starts_with("T-") && there == format!("{value}@R1");
        let kept = value.starts_with(['=', '+', '-', '@']) && there == format!("'{value}");
        prop_assert!(
            kept || named || same(value, &there) || below || moment,
            "{name}, {column}: {value:?} came back as {there:?}"
        );
    }
    Ok(())
}
