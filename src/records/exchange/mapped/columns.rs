//! The columns of a sheet that fields are filled from, and those that nothing is.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::check;
use crate::check::{Fault, OwnField};
use crate::exchange::cells::{Seen, unit_of};
use crate::exchange::grid::{Grid, address, letters};
use crate::exchange::mapped::{Mapping, Rows, type_of};
use crate::exchange::titles::{find, title_offset, title_unit, titles};

/// A field that is filled from the sheet.
pub(super) struct Column {
    pub(super) field: String,
    pub(super) ty: Type,
    pub(super) unit: &'static str,
    pub(super) must: bool,
    pub(super) at: Vec<u32>,
    pub(super) title: String,
    pub(super) seen: Seen,
}

impl Mapping {
    pub(super) fn columns(&self, grid: &Grid, kind: &Kind, own: &[OwnField], out: &mut Rows) -> Vec<Column> {
        let titles = titles(grid, self.header - 1, self.titles_to() - 1);
        let mut columns = Vec::new();
        for (field, name) in &self.columns {
            let Some(ty) = type_of(kind, own, field) else {
                out.faults.push((0, Fault::new(field, "", check::unknown_field(kind, field, own))));
                continue;
            };
            let several = self.titles_to() > self.header;
            let find = |name: &str| find(&titles, name, several);
            let whole = find(name);
            let parts = if whole.is_ok() { vec![whole] } else { name.split('+').map(find).collect() };
            let mut at = Vec::new();
            for part in parts {
                match part {
                    Ok(c) => at.push(c),
                    Err(unread) => out.faults.push((self.header.into(), unread.fault(name, ""))),
                }
            }
            let unit = kind.field(field).map_or("", |f| f.unit());
            for title in titles.iter().filter(|t| at.contains(&t.0)) {
                if let Some(theirs) =
                    title_unit(&title.1).filter(|u| !unit.is_empty() && unit_of(u) != unit_of(unit))
                {
                    let message = format!(
                        "{field}: the title says {theirs}; the field is in {unit}, and nothing is converted"
                    );
                    out.faults.push((self.header.into(), Fault::new(&title.1, "", message)));
                }
                let theirs = title_offset(&title.1).filter(|_| matches!(ty, Type::Time | Type::Moment));
                if theirs.is_some_and(|minutes| self.habits.minutes() != Some(minutes)) {
                    let message = format!(
                        "{field}: the title says which clock its times go by, and they would be read by another; \
                         what is said of the sheet's clock must be the same"
                    );
                    out.faults.push((self.header.into(), Fault::new(&title.1, "", message)));
                }
            }
            let must = kind.field(field).is_some_and(|f| !f.optional);
            columns.push(Column {
                field: field.clone(),
                ty,
                unit,
                must,
                at,
                title: name.clone(),
                seen: Seen::default(),
            });
        }
        let of: HashMap<u32, usize> =
            (0..columns.len()).flat_map(|i| columns[i].at.iter().map(move |c| (*c, i))).collect();
        for ((_, c), held) in grid.cells.range((self.titles_to(), 0)..) {
            if let Some(i) = of.get(c) {
                columns[*i].seen.look(held);
            }
        }
        // One column that shows the order of day and month shows it for the dates of all.
        let dated = |c: &&mut Column| matches!(c.ty, Type::Time | Type::Date | Type::Moment);
        let shown = columns.iter_mut().filter(dated).fold(Seen::default(), |all, c| all.with_dates(c.seen));
        if shown.order().is_some() {
            columns.iter_mut().filter(dated).for_each(|c| c.seen = c.seen.with_dates(shown));
        }
        // A column that shows no decimal mark may be written as the others are.
        let numeric = |c: &&mut Column| matches!(c.ty, Type::Number | Type::Count);
        let shown = columns.iter_mut().filter(numeric).fold(Seen::default(), |all, c| all.with_marks(c.seen));
        columns.iter_mut().filter(numeric).filter(|c| !c.seen.comma && !c.seen.point).for_each(|c| {
            c.seen = c.seen.with_marks(shown);
        });
        let used: HashSet<u32> = columns.iter().flat_map(|c| c.at.iter().copied()).collect();
        let mut unused: BTreeMap<u32, String> = BTreeMap::new();
        for ((_, c), held) in grid.cells.range((self.header - 1, 0)..).filter(|((_, c), _)| !used.contains(c))
        {
            unused.entry(*c).or_insert_with(|| {
                let first: String = held.text().trim().chars().take(30).collect();
                format!("#{} (no title; first {first})", letters(*c))
            });
        }
        for (c, title) in &titles {
            let twice = titles.iter().filter(|(_, t)| t == title).count() > 1;
            if let Some(named) = unused.get_mut(c) {
                *named = if twice { format!("{title} (#{})", letters(*c)) } else { title.clone() };
            }
        }
        if !unused.is_empty() {
            let all: Vec<&str> = unused.values().map(String::as_str).collect();
            out.remarks.push(format!("columns not taken: {}", all.join(", ")));
        }
        out.left_out.columns = unused.into_iter().map(|(c, title)| (letters(c), title)).collect();
        columns
    }

    /// Merged cells that stand in the way.
    pub(super) fn merged(&self, grid: &Grid, columns: &[Column], out: &mut Rows) {
        for &((top, left), (bottom, right)) in &grid.merged {
            let touched = |c: &&Column| c.at.iter().any(|at| (left..=right).contains(at));
            if let (true, Some(column)) = (bottom >= self.titles_to(), columns.iter().find(touched)) {
                let range = format!("{}:{}", address(top, left), address(bottom, right));
                let message = format!("the cells {range} are merged: whose value is it? Unmerge them");
                out.faults.push((u64::from(top) + 1, Fault::new(&column.title, "", message)));
            }
        }
    }
}
