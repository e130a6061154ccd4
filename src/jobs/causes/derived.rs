//! Values that no record holds and every foundryman asks for: superheat, drying hours, slurry age.

use std::collections::HashMap;

use crate::jobs::causes::ask::REPEATED;
use crate::jobs::causes::columns::{KindColumns, Maker, stem};
use crate::jobs::causes::equipment::since;
use crate::jobs::causes::foundry::{Foundry, Units, by_mould};
use knowledge::causes::Codes;
use knowledge::causes::{At, MISSING};
use knowledge::metallurgy::fill;
use records::catalogue::typed::{Field, KindType, Ref, Text, Time};
use records::catalogue::*;
use records::read::columns::{Cells, Choice, NO_WORD, NOTHING};
use records::{Result, Stamp};

const HOUR_MS: f64 = 3_600_000.0;
const DAY_MS: f64 = 24.0 * HOUR_MS;

/// The use of the coat that touches the metal.
const FACE_COAT: &str = SlurryUse::Prime.word();

/// From one packed time to a later one, in milliseconds; NaN where one is not recorded.
fn between(earlier: i64, later: i64) -> f64 {
    if earlier == NOTHING || later == NOTHING {
        return f64::NAN;
    }
    (Stamp::from_packed(later).ms() - Stamp::from_packed(earlier).ms()) as f64
}

/// Whole days from one packed time to a later one.
fn days(earlier: i64, later: i64) -> f64 {
    (between(earlier, later) / DAY_MS).floor()
}

fn get<T: Copy>(list: &[T], row: u32, none: T) -> T {
    list.get(row as usize).copied().unwrap_or(none)
}

/// Coats: the first of each use, what the pot read at its last check before the dip, its age, drying,
/// coats that the recipe asks for and nobody recorded, and coats beyond it.
pub(crate) fn shell(maker: &mut Maker, units: &Units) -> Result<()> {
    let batches = maker.table::<SlurryBatches>()?;
    let uses = batches.cells(SlurryBatches::r#use)?;
    let moulds = units.mould.len();
    // The row and the number of the first coat of each use: no other of a million coats is kept.
    let mut first: HashMap<&str, (Vec<u32>, Vec<f64>)> = HashMap::new();
    let (mut recorded, mut shortest) = (vec![0.0_f64; moulds], vec![f64::NAN; moulds]);
    let mut begun = vec![NOTHING; moulds];
    let mut kept = 0;
    let looks = [Coats::slurry_batch.any(), Coats::in_at.any(), Coats::out_at.any()];
    let glances = [Coats::mould.any(), Coats::coat.any()];
    let coats = maker.chosen(looks, glances, |coat, [batch, in_at, out_at], [of, number]| {
        let Some(&m) = units.of_mould.get(&coat.link(of)) else { return Ok(Choice::Leave) };
        let m = m as usize;
        recorded[m] += 1.0;
        shortest[m] = shortest[m].min(between(coat.time(in_at), coat.time(out_at)) / HOUR_MS);
        begun[m] = earlier(begun[m], coat.time(in_at));
        let used = uses.word(batches.row(coat.link(batch)) as usize);
        let Some(used) = used else { return Ok(Choice::Leave) };
        let (rows, numbers) =
            first.entry(used).or_insert_with(|| (vec![MISSING; moulds], vec![f64::NAN; moulds]));
        if rows[m] == MISSING {
            (rows[m], numbers[m]) = (kept, coat.number(number));
            kept += 1;
            return Ok(Choice::Take);
        }
        if coat.number(number) < numbers[m] {
            numbers[m] = coat.number(number);
            return Ok(Choice::InsteadOf(rows[m] as usize));
        }
        Ok(Choice::Leave)
    })?;
    let first: HashMap<&str, Vec<u32>> = first.into_iter().map(|(used, (rows, _))| (used, rows)).collect();
    let (batch, in_at) = (coats.links(Coats::slurry_batch)?, coats.times(Coats::in_at)?);
    let (out_at, made_at) = (coats.times(Coats::out_at)?, batches.times(SlurryBatches::made_at)?);
    let checks = maker.table::<SlurryChecks>()?;
    let checked = checks.times(SlurryChecks::occurred_at)?;
    let mut of_batch: HashMap<i64, Vec<(i64, u32)>> = HashMap::new();
    for (r, id) in checks.links(SlurryChecks::slurry_batch)?.iter().enumerate() {
        if checked[r] != NOTHING {
            of_batch.entry(*id).or_default().push((Stamp::from_packed(checked[r]).ms(), r as u32));
        }
    }
    of_batch.values_mut().for_each(|list| list.sort_unstable());
    let mut uses: Vec<&str> = first.keys().copied().collect();
    uses.sort_unstable();
    for used in uses {
        let rows = &first[used];
        let suffix = format!("/{used}");
        let before = maker.columns.len();
        maker.follow(Coats::KIND, rows, At::Mould, &suffix)?;
        let last_check = |&r: &u32| {
            let at = get(in_at, r, NOTHING);
            let list = of_batch.get(&get(batch, r, NOTHING)).filter(|_| at != NOTHING)?;
            let before = list.partition_point(|(t, _)| *t <= Stamp::from_packed(at).ms());
            before.checked_sub(1).map(|i| list[i].1)
        };
        let last: Vec<u32> = rows.iter().map(|r| last_check(r).unwrap_or(MISSING)).collect();
        maker.follow(SlurryChecks::KIND, &last, At::Mould, &suffix)?;
        let age = |&r: &u32| {
            let made = get(made_at, batches.row(get(batch, r, NOTHING)), NOTHING);
            between(made, get(in_at, r, NOTHING)) / DAY_MS
        };
        maker.numbers(format!("slurry_batch.age_days{suffix}"), rows.iter().map(age).collect(), 0, At::Mould);
        let dried = |&r: &u32| between(get(in_at, r, NOTHING), get(out_at, r, NOTHING)) / HOUR_MS;
        maker.numbers(format!("coat.drying_h{suffix}"), rows.iter().map(dried).collect(), 0, At::Mould);
        lot_age(maker, (&coats, Coats::stucco_lot), (StuccoLots::received_at, in_at), rows, &suffix)?;
        if used != FACE_COAT {
            // The pots behind the face coat are tried whole, their readings at less weight.
            for column in maker.columns.iter_mut().skip(before).filter(|c| c.name.contains('.')) {
                column.weight = REPEATED;
            }
        }
    }
    maker.numbers("coats.shortest_drying_h".into(), shortest, 0, At::Mould);
    let moulds = maker.table()?;
    let (shells, shell) = maker.along(&moulds, Moulds::shell_batch, &units.mould)?;
    let (recipes, recipe) = maker.along(&shells, ShellBatches::recipe, &shell)?;
    let asked = recipes.numbers(ShellRecipes::coats)?;
    let missing: Vec<f64> =
        recipe.iter().zip(&recorded).map(|(&r, have)| get(asked, r, f64::NAN) - have).collect();
    if missing.iter().any(|m| *m < 0.0) {
        maker.numbers("coats.extra".into(), missing.iter().map(|m| least_nought(-m)).collect(), 0, At::Mould);
    }
    maker.numbers("coats.missing".into(), missing.into_iter().map(least_nought).collect(), 0, At::Mould);
    let drying = recipes.numbers(ShellRecipes::min_dry_h)?;
    for column in ["coats.shortest_drying_h".into(), format!("coat.drying_h/{FACE_COAT}")] {
        maker.limit(&column, drying);
    }
    let wax = units.injected.iter().zip(&begun).map(|(&injected, &begun)| between(injected, begun) / DAY_MS);
    maker.numbers("mould.pattern_age_days".into(), wax.collect(), 0, At::Mould);
    let assembled = moulds.times(Moulds::assembled_at)?;
    lot_age(maker, (&moulds, Moulds::filter_lot), (FilterLots::received_at, assembled), &units.mould, "")
}

/// 0 for what is less, and what is not known stays so.
fn least_nought(x: f64) -> f64 {
    if x < 0.0 { 0.0 } else { x }
}

/// The earlier of two packed times, of which one may not be recorded.
fn earlier(a: i64, b: i64) -> i64 {
    match (a, b) {
        (NOTHING, known) | (known, NOTHING) => known,
        _ if between(a, b) < 0.0 => b,
        _ => a,
    }
}

/// The whole days that a lot had been in store when it was used. Sand, filters and wax keep: their age says little that
/// the lot does not, and is tried at less weight.
fn lot_age<K: KindType, L: KindType, P, Q>(
    maker: &mut Maker,
    (users, lot): (&KindColumns<K>, Field<K, Ref<L>, P>),
    (since, used): (Field<L, Time, Q>, &[i64]),
    rows: &[u32],
    suffix: &str,
) -> Result<()> {
    let (lots, lot) = maker.along(users, lot, rows)?;
    let since = lots.times(since)?;
    let age = |(&r, &lot): (&u32, &u32)| days(get(since, lot, NOTHING), get(used, r, NOTHING));
    let ages = rows.iter().zip(&lot).map(age).collect();
    maker.weight = if L::KIND.is::<PowderLots>() { 1.0 } else { REPEATED };
    maker.numbers(format!("{}.age_days{suffix}", stem(L::KIND)), ages, 0, At::Mould);
    maker.weight = 1.0;
    Ok(())
}

/// Flasks: the age of the powder when it was mixed.
pub(crate) fn flasks(maker: &mut Maker, units: &Units) -> Result<()> {
    let (investments, rows) = by_mould(maker, Investments::mould, units)?;
    let mixed = investments.times(Investments::mixed_at)?;
    lot_age(maker, (&investments, Investments::powder_lot), (PowderLots::received_at, mixed), &rows, "")
}

/// Patterns: die and cavity as one place, the age of wax and core when the pattern was made. Gives when the oldest
/// pattern of each mould was injected. Columns of places come first: one for each blade.
pub(crate) fn patterns(
    maker: &mut Maker,
    blades: &KindColumns<Blades>,
    rows: &[u32],
    (blade_mould, moulds): (&[u32], usize),
) -> Result<Patterns> {
    let (runs, run) = maker.along(blades, Blades::pattern_run, rows)?;
    let (lots, wax) = maker.along(&runs, PatternRuns::wax_lot, &run)?;
    let (cores, core) = maker.along(blades, Blades::core_lot, rows)?;
    let (injected, received) = (runs.times(PatternRuns::injected_at)?, lots.times(WaxLots::received_at)?);
    let fired = cores.times(CoreLots::fired_at)?;
    let mut out = Patterns {
        injected: vec![NOTHING; moulds],
        wax_age: vec![f64::NAN; moulds],
        core_age: vec![f64::NAN; moulds],
    };
    for (b, &m) in blade_mould.iter().enumerate() {
        let (m, made) = (m as usize, get(injected, run[b], NOTHING));
        out.injected[m] = earlier(out.injected[m], made);
        // f64::max passes over what is not known.
        out.wax_age[m] = out.wax_age[m].max(days(get(received, wax[b], NOTHING), made));
        out.core_age[m] = out.core_age[m].max(days(get(fired, core[b], NOTHING), made));
    }
    if let (Cells::Words { codes: die, levels: dies }, Cells::Words { codes: cavity, levels: cavities }) =
        (runs.cells(PatternRuns::die)?, blades.cells(Blades::cavity)?)
    {
        let mut places: HashMap<(u32, u32), u32> = HashMap::new();
        let mut levels = Vec::new();
        let codes: Vec<u32> = rows
            .iter()
            .zip(&run)
            .map(|(&b, &run)| {
                let place = (get(die, run, NO_WORD), get(cavity, b, NO_WORD));
                let (Some(die), Some(cavity)) = (dies.get(place.0 as usize), cavities.get(place.1 as usize))
                else {
                    return NO_WORD;
                };
                *places.entry(place).or_insert_with(|| {
                    levels.push(format!("{die}/{cavity}"));
                    levels.len() as u32 - 1
                })
            })
            .collect();
        maker.words(format!("{}.die_cavity", stem(Blades::KIND)), rows, &codes, levels, At::Blade);
    }
    Ok(out)
}

/// What is known of the patterns of each mould, its oldest first.
pub(crate) struct Patterns {
    pub injected: Vec<i64>,
    wax_age: Vec<f64>,
    core_age: Vec<f64>,
}

impl Patterns {
    /// Adds the ages; a core drinks from the air of the store, wax keeps.
    pub fn ages(&mut self, maker: &mut Maker) {
        for (kind, ages, weight) in
            [(WaxLots::KIND, &mut self.wax_age, REPEATED), (CoreLots::KIND, &mut self.core_age, 1.0)]
        {
            maker.weight = weight;
            maker.numbers(format!("{}.age_days", stem(kind)), std::mem::take(ages), 0, At::Mould);
        }
        maker.weight = 1.0;
    }
}

/// Oven runs: the last of each purpose.
pub(crate) fn ovens(maker: &mut Maker, units: &Units) -> Result<()> {
    let (loads, runs) = (maker.table::<OvenLoads>()?, maker.table::<OvenRuns>()?);
    let (of, run) = (loads.links(OvenLoads::mould)?, loads.links(OvenLoads::oven_run)?);
    let (started, purposes) = (runs.times(OvenRuns::started_at)?, runs.cells(OvenRuns::purpose)?);
    let mut last: HashMap<&str, Vec<u32>> = HashMap::new();
    let start = |r: u32| get(started, runs.row(run[r as usize]), NOTHING);
    for r in 0..loads.sheet.rows as u32 {
        let Some(&m) = units.of_mould.get(&of[r as usize]) else { continue };
        let row = runs.row(run[r as usize]) as usize;
        let Some(purpose) = purposes.word(row) else { continue };
        let place = &mut last.entry(purpose).or_insert_with(|| vec![MISSING; units.mould.len()])[m as usize];
        if *place == MISSING || start(r) > start(*place) {
            *place = r;
        }
    }
    let mut purposes: Vec<&str> = last.keys().copied().collect();
    purposes.sort_unstable();
    for purpose in purposes {
        let suffix = format!("/{purpose}");
        maker.follow(OvenLoads::KIND, &last[purpose], At::Mould, &suffix)?;
        let run = |&load: &u32| runs.row(get(run, load, NOTHING));
        let rows: Vec<u32> = last[purpose].iter().map(run).collect();
        pieces_since(maker, (&runs, OvenRuns::oven), (started, &rows), At::Mould, &suffix)?;
    }
    let pours = maker.table::<Pours>()?;
    let (poured, transfer) = (pours.times(Pours::poured_at)?, pours.numbers(Pours::transfer_s)?);
    let out_at = loads.times(OvenLoads::out_at)?;
    let none = Vec::new();
    let preheat = last.get(OvenPurpose::Preheat.word()).unwrap_or(&none);
    let seconds = units.pour.iter().enumerate().map(|(m, &p)| {
        let recorded = get(transfer, p, f64::NAN);
        if recorded.is_finite() {
            return recorded;
        }
        let out = get(out_at, get(preheat, m as u32, MISSING), NOTHING);
        between(out, get(poured, p, NOTHING)) / 1000.0
    });
    maker.numbers("pour.oven_to_pour_s".into(), seconds.collect(), 0, At::Mould);
    let (shells, shell) = {
        let moulds = maker.table()?;
        maker.along(&moulds, Moulds::shell_batch, &units.mould)?
    };
    let (recipes, _) = maker.along(&shells, ShellBatches::recipe, &shell)?;
    maker.limit("pour.oven_to_pour_s", recipes.numbers(ShellRecipes::oven_to_pour_max_s)?);
    let allowed = maker.limits_of(Pours::KIND, Pours::transfer_s.name);
    maker.limit("pour.oven_to_pour_s", &allowed);
    Ok(())
}

/// What went last through each oven or furnace of a kind: `rows` are those of its runs, one for each unit.
fn pieces_since<K: KindType, P>(
    maker: &mut Maker,
    (runs, piece): (&KindColumns<K>, Field<K, Text, P>),
    (started, rows): (&[i64], &[u32]),
    at: At,
    suffix: &str,
) -> Result<()> {
    let Cells::Words { codes, levels } = runs.cells(piece)? else { return Ok(()) };
    let used = |&r: &u32| {
        let (code, when) = (get(codes, r, NO_WORD), get(started, r, NOTHING));
        (code != NO_WORD && when != NOTHING).then(|| (code, Stamp::from_packed(when)))
    };
    let used: Vec<Option<(u32, Stamp)>> = rows.iter().map(used).collect();
    since(maker, (&format!("{}.{}", stem(K::KIND), piece.name), suffix), levels, &used, at);
    Ok(())
}

/// Furnaces from a date on, each heat at its first pour.
pub(crate) fn furnaces(maker: &mut Maker, units: &Units, foundry: &Foundry) -> Result<()> {
    let heats = maker.table::<Heats>()?;
    let Cells::Words { codes, levels } = heats.cells(Heats::furnace)? else { return Ok(()) };
    let mut first: Vec<Option<Stamp>> = vec![None; units.heat.len()];
    for (poured, &h) in foundry.poured.iter().zip(&units.mould_heat) {
        first[h as usize].get_or_insert(*poured);
    }
    let used = |(&row, first): (&u32, &Option<Stamp>)| {
        Some((get(codes, row, NO_WORD), (*first)?)).filter(|(code, _)| *code != NO_WORD)
    };
    let used: Vec<Option<(u32, Stamp)>> = units.heat.iter().zip(&first).map(used).collect();
    since(maker, (&format!("{}.{}", stem(Heats::KIND), Heats::furnace.name), ""), levels, &used, At::Heat);
    Ok(())
}

/// Pours: superheat, gate velocity, shift, weekday.
pub(crate) fn pours(maker: &mut Maker, units: &Units, foundry: &Foundry) -> Result<()> {
    let (pours, heats, moulds) = (maker.table::<Pours>()?, maker.table()?, maker.table()?);
    let (alloys, alloy_of_heat) = maker.along(&heats, Heats::alloy, &units.heat)?;
    let (systems, system) = maker.along(&moulds, Moulds::running_system, &units.mould)?;
    let (liquidus, density) = (alloys.numbers(Alloys::liquidus_c)?, alloys.numbers(Alloys::density_g_cm3)?);
    let area = systems.numbers(RunningSystems::gate_area_mm2)?;
    let (indicated, mass) = (pours.numbers(Pours::indicated_c)?, pours.numbers(Pours::mass_kg)?);
    let duration = pours.numbers(Pours::pour_s)?;
    let number = |of: &[f64], m: usize| get(of, units.pour[m], f64::NAN);
    let alloy = |m: usize| alloy_of_heat[units.mould_heat[m] as usize];
    let all = 0..units.mould.len();
    let superheat = |m| {
        let liquidus = get(liquidus, alloy(m), f64::NAN);
        fill::superheat(number(indicated, m), liquidus).unwrap_or(f64::NAN)
    };
    maker.numbers("pour.superheat_c".into(), all.clone().map(superheat).collect(), 0, At::Mould);
    let velocity = |m| {
        let (density, area) = (get(density, alloy(m), f64::NAN) * 1000.0, get(area, system[m], f64::NAN));
        fill::gate_velocity(number(mass, m), density, number(duration, m), area).unwrap_or(f64::NAN)
    };
    maker.numbers("pour.gate_velocity_m_s".into(), all.clone().map(velocity).collect(), 0, At::Mould);
    // Shifts of eight hours from six in the morning: our convention, said in the guide.
    let shift = |t: &Stamp| match t.hour() {
        6..=13 => "early",
        14..=21 => "late",
        _ => "night",
    };
    maker.said("pour.shift", foundry.poured.iter().map(|t| Some(shift(t))), At::Mould);
    const DAYS: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
    let day = |t: &Stamp| DAYS.get(t.weekday() as usize).copied();
    maker.said("pour.weekday", foundry.poured.iter().map(day), At::Mould);
    Ok(())
}

/// Treatments of blades, one column set for each kind of treatment.
pub(crate) fn treatments(maker: &mut Maker, foundry: &mut Foundry) -> Result<()> {
    let (loads, treatments) = (maker.table::<TreatmentLoads>()?, maker.table::<Treatments>()?);
    if loads.sheet.rows == 0 {
        return Ok(());
    }
    let (of, to) = (loads.links(TreatmentLoads::blade)?, loads.links(TreatmentLoads::treatment)?);
    let (started, kinds) = (treatments.times(Treatments::started_at)?, treatments.cells(Treatments::kind)?);
    let mut last: HashMap<&str, Vec<u32>> = HashMap::new();
    for (r, id) in of.iter().enumerate() {
        let row = treatments.row(to[r]);
        let Some(kind) = kinds.word(row as usize) else { continue };
        let Some(b) = foundry.blades.place(*id) else { continue };
        let cell = &mut last.entry(kind).or_insert_with(|| vec![MISSING; foundry.blades.len()])[b];
        if *cell == MISSING || get(started, row, NOTHING) > get(started, *cell, NOTHING) {
            *cell = row;
        }
    }
    let mut kinds: Vec<&str> = last.keys().copied().collect();
    kinds.sort_unstable();
    for kind in kinds {
        let before = maker.columns.len();
        let suffix = format!("/{kind}");
        maker.follow(Treatments::KIND, &last[kind], At::Blade, &suffix)?;
        let furnace = (&treatments, Treatments::furnace);
        pieces_since(maker, furnace, (started, &last[kind]), At::Blade, &suffix)?;
        let since = Codes::new(&last[kind], started.len());
        foundry.since.push(((before..maker.columns.len()).collect(), since, started.to_vec()));
    }
    Ok(())
}
