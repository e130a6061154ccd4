//! Two levels of a factor held against each other.

use std::collections::{BTreeMap, HashSet};

use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::select;
use crate::jobs::trials::compare::InBoth;
use knowledge::causes::{ArmMould, At, Column, Comparison, MISSING, Packed, Records, Values};
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

/// Two levels of a factor held against each other over the blades of a question.
#[derive(Clone, Debug)]
pub struct LevelsCompared {
    /// The question, its method filled in.
    pub ask: Ask,
    /// The factor, as the ranking names it.
    pub factor: String,
    /// The two levels.
    pub levels: [String; 2],
    /// The answer.
    pub comparison: Comparison,
    /// What belongs to both levels, and is counted in neither.
    pub in_both: InBoth,
}

/// Compares `FACTOR=A` with `FACTOR=B`. A level is a text as recorded, or `>= 9.4`, `< 9.4`, `> 9`, `<= 9`
/// for a number.
///
/// # Errors
/// An unknown factor or level with near matches, two factors, or what the question may not be.
pub fn compare(store: &Store, ask: &Ask, one: &str, two: &str, seed: u64) -> Result<LevelsCompared> {
    let (factor, a) = split(one)?;
    let (again, b) = split(two)?;
    if !same_name(factor, again) {
        return Err(Error::input(format!(
            "{} and {} are different factors; compare two levels of one",
            shown(factor),
            shown(again)
        )));
    }
    store.snapshot(|| {
        let scope = select::scope(store, ask)?;
        let (records, columns, _) = select::records(crate::jobs::causes::ask::columns(store)?, &scope);
        let column = &find(columns, factor)?;
        let sides = [level(column, a)?, level(column, b)?];
        let side_of = dealt(&records, column, &sides);
        let in_both = counted_in_both(&records, &side_of);
        alone(&side_of, column, &sides, in_both)?;
        let mut comparison = knowledge::causes::compare(&moulds(&records, column, &side_of), seed);
        // inside moulds the blocks are moulds, not heats
        comparison.a.group.heats = heats(&records, &side_of, Belongs::First);
        comparison.b.group.heats = heats(&records, &side_of, Belongs::Second);
        let levels = sides.map(|s| s.text);
        Ok(LevelsCompared { ask: scope.ask, factor: column.name.clone(), levels, comparison, in_both })
    })
}

/// A level held against all else that was poured in the same heats.
///
/// # Errors
/// An unknown factor or level with near matches, or what the question may not be.
pub fn beside(store: &Store, ask: &Ask, factor: &str, text: &str, seed: u64) -> Result<Comparison> {
    store.snapshot(|| {
        let scope = select::scope(store, ask)?;
        let (records, columns, _) = select::records(crate::jobs::causes::ask::columns(store)?, &scope);
        let column = &find(columns, factor)?;
        let side = level(column, text)?;
        let has = |b: usize, m: u32| side.has(column, place(&records, column, b, m));
        let blades = || records.blade_mould.iter().copied().enumerate();
        let heat = |m: u32| records.mould_heat[m as usize];
        let heats: HashSet<u32> = blades().filter(|&(b, m)| has(b, m)).map(|(_, m)| heat(m)).collect();
        let mut counts: BTreeMap<(u32, bool), ArmMould> = BTreeMap::new();
        for (b, m) in blades().filter(|&(_, m)| heats.contains(&heat(m))) {
            let second = !has(b, m);
            let new = ArmMould { blades: 0, with: 0, second, block: heat(m) };
            let mould = counts.entry((m, second)).or_insert(new);
            mould.blades += 1;
            mould.with += u32::from(records.defective[b] > 0);
        }
        Ok(knowledge::causes::compare(&counts.into_values().collect::<Vec<_>>(), seed))
    })
}

/// Where a column holds the value of a blade in a mould.
fn place(records: &Records, column: &Column, blade: usize, mould: u32) -> usize {
    match column.at {
        At::Blade => blade,
        At::Mould => mould as usize,
        At::Heat => records.mould_heat[mould as usize] as usize,
    }
}

fn split(text: &str) -> Result<(&str, &str)> {
    text.split_once('=').filter(|(f, l)| !f.is_empty() && !l.is_empty()).ok_or_else(|| {
        Error::input(format!("{}: give FACTOR=LEVEL, such as filter_lot=FL31-03", shown(text)))
    })
}

/// Names with and without a plural are one: `pours.person` is `pour.person`.
pub(crate) fn same_name(a: &str, b: &str) -> bool {
    let one = |name: &str| {
        let (head, rest) = name.split_at(name.find(['.', '/']).unwrap_or(name.len()));
        let kind = records::catalogue::kind(head)
            .map_or_else(|| head.to_string(), crate::jobs::causes::columns::stem);
        format!("{kind}{rest}").to_ascii_lowercase()
    };
    one(a) == one(b)
}

fn find(mut columns: Vec<Packed>, factor: &str) -> Result<Column> {
    if let Some(at) = columns.iter().position(|c| same_name(&c.name, factor)) {
        return Ok(columns.swap_remove(at).open());
    }
    let close = near(factor, columns.iter().map(|c| c.name.as_str()));
    Err(Error::input(format!("there is no factor {}{}; `causes` lists them", shown(factor), hint(&close))))
}

/// One side of a comparison: what of a column belongs to it.
struct LevelSide {
    text: String,
    of: ValueTest,
}

enum ValueTest {
    Word(u32),
    Least(f64),
    Below(f64),
    Over(f64),
    Most(f64),
    Exactly(f64),
}

fn level(column: &Column, text: &str) -> Result<LevelSide> {
    let side = |of| Ok(LevelSide { text: text.to_string(), of });
    match &column.values {
        Values::Words { levels, .. } | Values::Shares { levels, .. } => {
            if let Some(code) = levels.iter().position(|l| l == text) {
                return side(ValueTest::Word(code as u32));
            }
            if let Some(code) = levels.iter().position(|l| l.eq_ignore_ascii_case(text)) {
                return Ok(LevelSide { text: levels[code].clone(), of: ValueTest::Word(code as u32) });
            }
            let close = near(text, levels.iter().map(String::as_str));
            Err(Error::input(format!("{} has no level {}{}", column.name, shown(text), hint(&close))))
        }
        Values::Numbers(_) => {
            type Make = fn(f64) -> ValueTest;
            let forms: [(&str, Make); 4] = [
                (">=", ValueTest::Least),
                ("<=", ValueTest::Most),
                (">", ValueTest::Over),
                ("<", ValueTest::Below),
            ];
            let (rest, make): (&str, Make) = forms
                .iter()
                .find_map(|(sign, make)| text.strip_prefix(sign).map(|rest| (rest, *make)))
                .unwrap_or((text, ValueTest::Exactly));
            match rest.trim().parse::<f64>() {
                Ok(x) if x.is_finite() => side(make(x)),
                _ => Err(Error::input(format!(
                    "{} is a number: give 9.4, >=9.4 or <9.4, not {}",
                    column.name,
                    shown(text)
                ))),
            }
        }
    }
}

impl LevelSide {
    fn has(&self, column: &Column, unit: usize) -> bool {
        match (&column.values, &self.of) {
            (Values::Words { codes, .. }, ValueTest::Word(code)) => {
                codes[unit] != MISSING && codes[unit] == *code
            }
            (Values::Shares { of, .. }, ValueTest::Word(code)) => of[unit]
                .iter()
                .flatten()
                .any(|(level, share)| level == code && *share >= knowledge::causes::SHARE_THAT_COUNTS),
            (Values::Numbers(x), of) => match of {
                ValueTest::Least(cut) => x[unit] >= *cut,
                ValueTest::Below(cut) => x[unit] < *cut,
                ValueTest::Over(cut) => x[unit] > *cut,
                ValueTest::Most(cut) => x[unit] <= *cut,
                ValueTest::Exactly(value) => x[unit] == *value,
                ValueTest::Word(_) => false,
            },
            _ => false,
        }
    }
}

/// Which of two sides a blade belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Belongs {
    First,
    Second,
    /// Metal of both lots, coats of both batches, a number that both tests take in.
    Both,
    Neither,
}

/// The side of each inspected blade.
fn dealt(records: &Records, column: &Column, sides: &[LevelSide; 2]) -> Vec<Belongs> {
    let of = |(b, &m): (usize, &u32)| {
        let unit = place(records, column, b, m);
        match (sides[0].has(column, unit), sides[1].has(column, unit)) {
            (true, true) => Belongs::Both,
            (true, false) => Belongs::First,
            (false, true) => Belongs::Second,
            (false, false) => Belongs::Neither,
        }
    };
    records.blade_mould.iter().enumerate().map(of).collect()
}

fn counted_in_both(records: &Records, side_of: &[Belongs]) -> InBoth {
    let moulds = records.blade_mould.iter().zip(side_of).filter(|(_, side)| **side == Belongs::Both);
    let moulds: Vec<u32> = moulds.map(|(m, _)| *m).collect();
    let blades = moulds.len();
    InBoth { blades, moulds: moulds.into_iter().collect::<HashSet<_>>().len() }
}

/// Refuses a comparison of which one side has nothing of its own.
fn alone(side_of: &[Belongs], column: &Column, sides: &[LevelSide; 2], in_both: InBoth) -> Result<()> {
    if sides[0].text == sides[1].text {
        return Err(Error::input(format!(
            "both levels are {}={}; give two that differ",
            shown(&column.name),
            shown(&sides[0].text)
        )));
    }
    for (side, belongs) in sides.iter().zip([Belongs::First, Belongs::Second]) {
        if in_both.blades > 0 && !side_of.contains(&belongs) {
            return Err(Error::input(format!(
                "every inspected blade of {name}={} is of {name}={} too ({} blades of {} moulds are in both); \
                 nothing is left to hold against the other",
                shown(&side.text),
                shown(&sides[usize::from(belongs == Belongs::First)].text),
                in_both.blades,
                in_both.moulds,
                name = shown(&column.name),
            )));
        }
    }
    Ok(())
}

/// The heats that hold an inspected blade of one side.
fn heats(records: &Records, side_of: &[Belongs], side: Belongs) -> usize {
    let of_side = records.blade_mould.iter().zip(side_of).filter(|(_, s)| **s == side);
    of_side.map(|(m, _)| records.mould_heat[*m as usize]).collect::<HashSet<_>>().len()
}

/// The moulds of both sides. A factor that varies inside moulds gives two parts of a mould, held against
/// each other within it; all else is held against each other within heats.
fn moulds(records: &Records, column: &Column, side_of: &[Belongs]) -> Vec<ArmMould> {
    let mut counts = vec![[(0_u32, 0_u32); 2]; records.mould_tags.len()];
    for (b, (&m, side)) in records.blade_mould.iter().zip(side_of).enumerate() {
        let place = match side {
            Belongs::First => 0,
            Belongs::Second => 1,
            Belongs::Both | Belongs::Neither => continue,
        };
        let count = &mut counts[m as usize][place];
        count.0 += 1;
        count.1 += u32::from(records.defective[b] > 0);
    }
    let split = counts.iter().filter(|[a, b]| a.0 > 0 && b.0 > 0).count();
    let inside = column.at == At::Blade && split > 0;
    let mut out = Vec::new();
    for (m, count) in counts.iter().enumerate() {
        for (second, &(blades, with)) in [false, true].into_iter().zip(count) {
            if blades > 0 {
                let block = if inside { m as u32 } else { records.mould_heat[m] };
                out.push(ArmMould { blades, with, second, block });
            }
        }
    }
    out
}

/// A number among the columns by its name, with or without a plural.
pub fn number_column(foundry: &crate::jobs::causes::ask::Foundry, name: &str) -> Option<Column> {
    let found = foundry.columns.iter().find(|c| c.is_number() && same_name(&c.name, name));
    found.map(|c| c.clone().open())
}
