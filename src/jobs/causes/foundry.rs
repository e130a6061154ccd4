//! Every poured mould with its heat, its blades, and what was upstream of them: the columns that a
//! question about causes is asked of.

use std::collections::HashMap;

use crate::jobs::causes::columns::{KindColumns, Maker, stem};
use crate::jobs::causes::{derived, metal};
use knowledge::causes::Codes;
use knowledge::causes::{At, Column, MISSING, Packed, Values};
use records::Stamp;
use records::catalogue::typed::{Field, KindType, Ref};
use records::catalogue::*;
use records::read::columns::{Cells, Choice, NOTHING};
use records::read::id_runs::Keys;
use records::{Result, Store};

/// All moulds that were poured, in pour order, with their heats and blades.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub struct Foundry {
    pub moulds: Vec<String>,
    #[serde(with = "packed")]
    pub poured: Vec<Stamp>,
    /// The part of each, an index into `parts`.
    pub mould_part: Vec<u32>,
    pub parts: Vec<String>,
    /// The heat of each, an index into `heats`.
    pub mould_heat: Vec<u32>,
    pub heats: Vec<String>,
    /// Integer keys of the blades of these moulds, in their order.
    pub blades: Keys,
    pub blade_mould: Vec<u32>,
    /// The candidate causes, one value for each mould, heat or blade of these lists.
    pub columns: Vec<Packed>,
    /// Columns about blades that only hold from a time on (a treatment): their indices, and since when
    /// for each blade, an index into the times.
    pub since: Vec<(Vec<usize>, Codes, Vec<i64>)>,
}

impl Foundry {
    /// The position of each blade on its tree; NaN where it is not recorded.
    pub fn positions(&self) -> impl Fn(usize) -> f64 {
        let name = format!("{}.{}", stem(Blades::KIND), Blades::position.name);
        let column = self.columns.iter().find(|c| c.name == name);
        move |blade| match column {
            Some(column) if column.at == At::Blade => column.number(blade),
            Some(column) => column.number(self.blade_mould[blade] as usize),
            None => f64::NAN,
        }
    }
}

/// Times as the store packs them.
mod packed {
    use serde::{Deserialize, Deserializer, Serializer};

    use records::Stamp;

    pub fn serialize<S: Serializer>(times: &[Stamp], to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(times.iter().map(|t| t.packed()))
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<Stamp>, D::Error> {
        Ok(Vec::<i64>::deserialize(from)?.into_iter().map(Stamp::from_packed).collect())
    }
}

/// Rows of the sheets behind each mould and heat.
pub(crate) struct Units {
    /// Row of each mould in `moulds`.
    pub mould: Vec<u32>,
    /// Row of each mould in `pours`.
    pub pour: Vec<u32>,
    /// Row of each heat in `heats`.
    pub heat: Vec<u32>,
    /// When the oldest pattern of each mould was injected, packed.
    pub injected: Vec<i64>,
    pub mould_heat: Vec<u32>,
    /// The mould with this key.
    pub of_mould: HashMap<i64, u32>,
    /// The heat with this key.
    pub of_heat: HashMap<i64, u32>,
}

/// Reads the store into columns.
pub fn read(store: &Store) -> Result<Foundry> {
    store.snapshot_of_tables(|| {
        let mut maker = Maker::new(store)?;
        let mut foundry = Foundry::default();
        let mut units = units(&mut maker, &mut foundry)?;
        units.injected = blades(&mut maker, &units, &mut foundry)?;
        maker.follow(Moulds::KIND, &units.mould, At::Mould, "")?;
        maker.follow(Pours::KIND, &units.pour, At::Mould, "")?;
        maker.follow(Heats::KIND, &units.heat, At::Heat, "")?;
        derived::furnaces(&mut maker, &units, &foundry)?;
        derived::flasks(&mut maker, &units)?;
        by_mould(&mut maker, PourPlans::mould, &units)?;
        derived::shell(&mut maker, &units)?;
        maker.forget::<Coats>();
        derived::ovens(&mut maker, &units)?;
        maker.forget::<OvenLoads>();
        derived::pours(&mut maker, &units, &foundry)?;
        metal::lots(&mut maker, &units)?;
        metal::chemistry(&mut maker, &units)?;
        // The treatments are of blades, which are many: they need none of the kinds that were held.
        drop(units);
        maker.forget_all();
        derived::treatments(&mut maker, &mut foundry)?;
        foundry.columns = maker.columns;
        Ok(foundry)
    })
}

fn words(cells: &Cells, rows: &[u32]) -> Vec<String> {
    rows.iter().map(|&r| cells.word(r as usize).unwrap_or_default().to_string()).collect()
}

fn units(maker: &mut Maker, foundry: &mut Foundry) -> Result<Units> {
    // No more of them than this: the blades, which are many, are read next.
    let pours = maker.some([
        Pours::mould.any(),
        Pours::poured_at.any(),
        Pours::heat.any(),
        Pours::pour_order.any(),
    ])?;
    let moulds = maker.some([Moulds::mould.any(), Moulds::part.any()])?;
    let heats = maker.some([Heats::heat.any()])?;
    let (of, at) = (pours.links(Pours::mould)?, pours.times(Pours::poured_at)?);
    let (heat_of, turn) = (pours.links(Pours::heat)?, pours.numbers(Pours::pour_order)?);
    let (mould_tags, heat_tags) = (moulds.cells(Moulds::mould)?, heats.cells(Heats::heat)?);
    let mut order: Vec<u32> =
        (0..pours.sheet.rows as u32).filter(|&r| moulds.row(of[r as usize]) != MISSING).collect();
    let ms =
        |r: u32| if at[r as usize] == NOTHING { i64::MIN } else { Stamp::from_packed(at[r as usize]).ms() };
    let tag = |r: u32| mould_tags.word(moulds.row(of[r as usize]) as usize);
    order.sort_by(|&a, &b| {
        ms(a)
            .cmp(&ms(b))
            .then(turn[a as usize].total_cmp(&turn[b as usize]))
            .then_with(|| tag(a).cmp(&tag(b)))
    });
    let mut units = Units {
        mould: order.iter().map(|&r| moulds.row(of[r as usize])).collect(),
        pour: order.clone(),
        heat: Vec::new(),
        injected: Vec::new(),
        mould_heat: Vec::new(),
        of_mould: HashMap::with_capacity(order.len()),
        of_heat: HashMap::new(),
    };
    for (m, &r) in order.iter().enumerate() {
        units.of_mould.insert(of[r as usize], m as u32);
        let id = heat_of[r as usize];
        let next = units.heat.len() as u32;
        let heat = *units.of_heat.entry(id).or_insert_with(|| {
            units.heat.push(heats.row(id));
            next
        });
        units.mould_heat.push(heat);
    }
    foundry.moulds = words(mould_tags, &units.mould);
    foundry.heats = words(heat_tags, &units.heat);
    foundry.poured = order.iter().map(|&r| Stamp::from_packed(at[r as usize].max(0))).collect();
    foundry.mould_heat = units.mould_heat.clone();
    let (parts, part_row) = maker.along(&moulds, Moulds::part, &units.mould)?;
    let part_tags = parts.cells(Parts::part)?;
    let mut known: HashMap<&str, u32> = HashMap::new();
    for row in part_row {
        let tag = part_tags.word(row as usize).unwrap_or("part not recorded");
        let next = known.len() as u32;
        foundry.mould_part.push(*known.entry(tag).or_insert_with(|| {
            foundry.parts.push(tag.to_string());
            next
        }));
    }
    Ok(units)
}

/// The blades with what is upstream of them; gives when the oldest pattern of each mould was injected.
fn blades(maker: &mut Maker, units: &Units, foundry: &mut Foundry) -> Result<Vec<i64>> {
    let blades = maker.chosen([], [Blades::mould.any()], |blade, [], [mould]| {
        let Some(&m) = units.of_mould.get(&blade.link(mould)) else { return Ok(Choice::Leave) };
        foundry.blades.push(blade.id);
        foundry.blade_mould.push(m);
        Ok(Choice::Take)
    })?;
    foundry.blade_mould.shrink_to_fit();
    let rows: Vec<u32> = (0..blades.sheet.rows as u32).collect();
    let moulds = units.mould.len();
    maker.follow(Blades::KIND, &rows, At::Blade, "")?;
    let mut patterns = derived::patterns(maker, &blades, &rows, (&foundry.blade_mould, moulds))?;
    drop(blades);
    maker.forget::<Blades>();
    drop(rows);
    for packed in std::mem::take(&mut maker.columns) {
        let mut column = packed.open();
        by_moulds(&mut column, &foundry.blade_mould, moulds);
        maker.columns.push(Packed::new(column));
    }
    patterns.ages(maker);
    Ok(patterns.injected)
}

/// What all blades of every mould have in common is said once for the mould.
fn by_moulds(column: &mut Column, mould: &[u32], moulds: usize) {
    fn one<T: Copy>(
        of: &[T],
        mould: &[u32],
        moulds: usize,
        none: T,
        same: fn(T, T) -> bool,
    ) -> Option<Vec<T>> {
        let mut first = vec![usize::MAX; moulds];
        for (b, &m) in mould.iter().enumerate() {
            let place = &mut first[m as usize];
            if *place == usize::MAX {
                *place = b;
            } else if !same(of[*place], of[b]) {
                return None;
            }
        }
        Some(first.iter().map(|&b| of.get(b).copied().unwrap_or(none)).collect())
    }
    match &mut column.values {
        Values::Words { codes, .. } => match one(codes, mould, moulds, MISSING, |a, b| a == b) {
            Some(all) => *codes = all,
            None => return,
        },
        Values::Numbers(x) => match one(x, mould, moulds, f64::NAN, |a, b| a.to_bits() == b.to_bits()) {
            Some(all) => *x = all,
            None => return,
        },
        Values::Shares { .. } => return,
    }
    column.at = At::Mould;
}

/// Adds what a kind says that has one row for a mould; gives its table, which is let go with it, and the rows.
pub(crate) fn by_mould<K: KindType, P>(
    maker: &mut Maker,
    mould: Field<K, Ref<Moulds>, P>,
    units: &Units,
) -> Result<(KindColumns<K>, Vec<u32>)> {
    let table = maker.table()?;
    let mut rows = vec![MISSING; units.mould.len()];
    for (r, id) in table.links(mould)?.iter().enumerate() {
        if let Some(&m) = units.of_mould.get(id) {
            rows[m as usize] = r as u32;
        }
    }
    maker.follow(K::KIND, &rows, At::Mould, "")?;
    maker.forget::<K>();
    Ok((table, rows))
}
