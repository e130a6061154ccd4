//! What the checks of an instrument say of the readings taken with it. Which fields name an instrument, the
//! catalogue says.

use std::collections::{HashMap, HashSet};

use crate::jobs::causes::ask::REPEATED;
use crate::jobs::causes::columns::{Loaded, Maker};
use knowledge::causes::{At, Column, MISSING, Packed, Records, Values};
use records::catalogue::field::Type;
use records::catalogue::{Calibrations, CheckResult, Instruments, Pours};
use records::graph::suspect::Checks;
use records::read::columns::{Cells, NO_WORD, NOTHING};
use records::{Kind, Result, Stamp, Store};

const DAY_MS: f64 = 86_400_000.0;

/// What the checks of an instrument say of a reading, as a part of the factor's name.
const DIFFERENCE: &str = "difference";
const SINCE_GOOD: &str = "days_since_good_check";
const READING: &str = "reading";
/// The level of a reading between a good and a failed check.
const SUSPECT: u32 = 1;

/// The column that names the instruments behind a factor about their checks: `pour.pyrometer` of
/// `pour.pyrometer_reading`; none for another factor.
pub(crate) fn behind(factor: &str) -> Option<String> {
    let (name, suffix) = factor.split_at(factor.find('/').unwrap_or(factor.len()));
    let of = |what: &str| name.strip_suffix(what)?.strip_suffix('_').filter(|base| base.contains('.'));
    [DIFFERENCE, SINCE_GOOD, READING].into_iter().find_map(of).map(|base| format!("{base}{suffix}"))
}

/// Whether a factor is about the checks of an instrument: a drifted one is a stretch of time by what it is.
pub(crate) fn is_check(factor: &str) -> bool {
    behind(factor).is_some()
}

/// The bad blades of each mould by the instruments that read for it.
type BadBlades = HashMap<String, HashMap<String, u32>>;

/// The bad blades by instrument, for every column that names some: of all readings, and of those in doubt (between a
/// good and a failed check) where there are any.
#[derive(Default)]
pub(crate) struct ReadBy(HashMap<String, [BadBlades; 2]>);

impl ReadBy {
    pub fn new(records: &Records, columns: &[Packed]) -> Self {
        let bases: HashSet<String> = columns.iter().filter_map(|c| behind(&c.name)).collect();
        let mut of = HashMap::new();
        for column in columns.iter().filter(|c| bases.contains(&c.name)) {
            let column = column.clone().open();
            let Values::Words { codes, levels } = &column.values else { continue };
            let reading = columns.iter().find(|c| {
                c.at == column.at
                    && c.name.contains(READING)
                    && behind(&c.name).as_ref() == Some(&column.name)
            });
            let suspect = reading.map(|c| c.clone().open());
            let suspect = |unit: usize| match suspect.as_ref().map(|c| &c.values) {
                Some(Values::Words { codes, .. }) => codes[unit] == SUSPECT,
                _ => false,
            };
            let mut found: [BadBlades; 2] = Default::default();
            for (b, &m) in records.blade_mould.iter().enumerate().filter(|(b, _)| records.defective[*b] > 0) {
                let unit = match column.at {
                    At::Blade => b,
                    At::Mould => m as usize,
                    At::Heat => records.mould_heat[m as usize] as usize,
                };
                let Some(tag) = levels.get(codes[unit] as usize) else { continue };
                for (in_doubt, moulds) in [false, true].into_iter().zip(&mut found) {
                    if !in_doubt || suspect(unit) {
                        let of_mould = moulds.entry(records.mould_tags[m as usize].clone()).or_default();
                        *of_mould.entry(tag.clone()).or_default() += 1;
                    }
                }
            }
            of.insert(column.name.clone(), found);
        }
        Self(of)
    }

    /// Whether a factor names the instruments themselves.
    pub fn names(&self, factor: &str) -> bool {
        self.0.contains_key(factor)
    }

    /// The instruments that read for bad blades of these moulds while they were in doubt, most of them first; where
    /// none was between a good and a failed check, all that read.
    pub fn of<'m>(&self, factor: &str, moulds: impl Iterator<Item = &'m str>) -> Vec<(String, u32)> {
        let Some([all, in_doubt]) = behind(factor).and_then(|base| self.0.get(&base)) else {
            return Vec::new();
        };
        let moulds: Vec<&str> = moulds.collect();
        let doubted = moulds.iter().any(|m| in_doubt.contains_key(*m));
        let of = if doubted { in_doubt } else { all };
        let mut count: HashMap<&str, u32> = HashMap::new();
        for (tag, bad) in moulds.into_iter().filter_map(|m| of.get(m)).flatten() {
            *count.entry(tag).or_default() += bad;
        }
        let mut all: Vec<(String, u32)> = count.into_iter().map(|(t, n)| (t.to_string(), n)).collect();
        all.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        all
    }
}

/// The checks that were done, of every instrument by its key.
#[derive(Clone, Debug, Default)]
pub(crate) struct Register(HashMap<i64, Checked>);

#[derive(Clone, Debug, Default)]
struct Checked {
    done: Checks,
    /// When a check found which difference, in the order of time.
    differences: Vec<(i64, f64)>,
}

impl Register {
    pub fn read(store: &Store) -> Result<Self> {
        let [instrument, at, result, difference, unit] = store.columns([
            Calibrations::instrument.any(),
            Calibrations::checked_at.any(),
            Calibrations::result.any(),
            Calibrations::difference.any(),
            Calibrations::unit.any(),
        ])?;
        type Rows = Vec<(Stamp, CheckResult, Option<Stamp>, i64)>;
        let mut of: HashMap<i64, (Rows, Vec<(i64, f64, u32)>)> = HashMap::new();
        for (r, (&id, &at)) in instrument.links().iter().zip(at.times()).enumerate() {
            let outcome = result.word(r).and_then(<CheckResult as records::catalogue::typed::Choice>::of);
            let Some(outcome) = outcome.filter(|o| *o != CheckResult::NotDone && at != NOTHING) else {
                continue;
            };
            let at = Stamp::from_packed(at);
            let (rows, differences) = of.entry(id).or_default();
            rows.push((at, outcome, None, 0));
            let unit = match &unit {
                Cells::Words { codes, .. } => codes[r],
                _ => NO_WORD,
            };
            differences.push((at.ms(), difference.numbers()[r], unit));
        }
        let checked = |(id, (rows, differences)): (i64, (Rows, Vec<(i64, f64, u32)>))| {
            (id, Checked { done: Checks::new(rows), differences: in_one_unit(differences) })
        };
        Ok(Self(of.into_iter().map(checked).collect()))
    }

    /// What the checks say of each reading: the instrument it was taken with, and when; none where no
    /// instrument is named. `name` is that of the field. The pyrometer (`weekly`) reads the metal and is checked by the
    /// week; the days since the yearly check of another instrument are little else than the calendar: whole days, at
    /// less weight.
    pub fn columns(
        &self,
        readings: impl Iterator<Item = Option<(i64, Stamp)>>,
        at: At,
        (name, suffix): (&str, &str),
        weekly: bool,
    ) -> Vec<Column> {
        let since = |days: f64| if weekly { days } else { days.floor() };
        let (mut days, mut differences, mut states) = (Vec::new(), Vec::new(), Vec::new());
        for reading in readings {
            let checked = reading.and_then(|(id, when)| Some((self.0.get(&id)?, when)));
            let good = checked.and_then(|(c, when)| Some((c.done.last_good(when)?, when)));
            days.push(
                good.map_or(f64::NAN, |(good, when)| since((when.ms() - good.at.ms()) as f64 / DAY_MS)),
            );
            differences.push(checked.map_or(f64::NAN, |(c, when)| c.difference(when)));
            states.push(match (reading, checked) {
                (None, _) => MISSING,
                (Some(_), Some((c, when))) if c.done.suspect(when) => SUSPECT,
                _ => 0,
            });
        }
        let mut out = Vec::new();
        let mut add = |what: &str, values, weight| {
            out.push(Column { weight, ..Column::new(&format!("{name}_{what}{suffix}"), at, values) });
        };
        if differences.iter().any(|d| d.is_finite()) {
            add(DIFFERENCE, Values::Numbers(differences), 1.0);
        }
        if days.iter().any(|d| d.is_finite()) {
            add(SINCE_GOOD, Values::Numbers(days), if weekly { 1.0 } else { REPEATED });
        }
        // Where no check ever failed there is nothing to be told apart.
        if states.contains(&SUSPECT) {
            let levels = ["not suspect", "suspect"].map(String::from).into();
            add(READING, Values::Words { codes: states, levels }, 1.0);
        }
        out
    }
}

impl Checked {
    /// What the last check before a reading found; NaN where it gave no figure.
    fn difference(&self, when: Stamp) -> f64 {
        let before = self.differences.partition_point(|(at, _)| *at <= when.ms());
        before.checked_sub(1).map_or(f64::NAN, |i| self.differences[i].1)
    }
}

/// The differences in the unit that stands beside most of them: one in another cannot be held against them.
fn in_one_unit(mut differences: Vec<(i64, f64, u32)>) -> Vec<(i64, f64)> {
    differences.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut count: HashMap<u32, usize> = HashMap::new();
    for (.., unit) in differences.iter().filter(|d| d.1.is_finite()) {
        *count.entry(*unit).or_default() += 1;
    }
    let most = count.into_iter().max_by_key(|&(unit, n)| (n, std::cmp::Reverse(unit)));
    let of = |(at, value, unit): (i64, f64, u32)| {
        (at, if most.is_some_and(|(usual, _)| usual == unit) { value } else { f64::NAN })
    };
    differences.into_iter().map(of).collect()
}

impl Maker<'_> {
    /// Adds what the checks say of the readings of a kind, where it names an instrument and a time.
    pub fn checks(
        &mut self,
        (kind, loaded): (&'static Kind, &Loaded),
        rows: &[u32],
        at: At,
        (stem, suffix): (&str, &str),
    ) -> Result<()> {
        let named = kind.instrument.and_then(|field| kind.field(field));
        let (Some(field), Some(time)) = (named, kind.time) else { return Ok(()) };
        let (cells, times) = (loaded.column(field.name)?, loaded.column(time)?.times());
        // An instrument that stands as a text is one of the register where its tag is.
        let keys: Vec<i64> = match (cells, field.ty) {
            (Cells::Words { levels, .. }, Type::Text) => {
                let known = levels.iter().map(|text| self.store.known::<Instruments>(text));
                known.map(|found| Ok(found?.map_or(NOTHING, |(key, _)| key.id))).collect::<Result<_>>()?
            }
            _ => Vec::new(),
        };
        let instrument = |row: usize| match cells {
            Cells::Words { codes, .. } => keys.get(*codes.get(row)? as usize).copied(),
            _ => cells.links().get(row).copied(),
        };
        let reading = |&row: &u32| {
            let id = instrument(row as usize).filter(|id| *id != NOTHING)?;
            let when = times.get(row as usize).copied().filter(|t| *t != NOTHING)?;
            Some((id, Stamp::from_packed(when)))
        };
        let name = format!("{stem}.{}", field.name);
        let columns =
            self.register.columns(rows.iter().map(reading), at, (&name, suffix), kind.is::<Pours>());
        columns.into_iter().for_each(|column| self.add(column));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Stamp {
        Stamp::parse(text).unwrap()
    }

    fn checked(rows: &[(&str, CheckResult, f64, u32)]) -> Register {
        let done = Checks::new(rows.iter().map(|r| (at(r.0), r.1, None, 0)));
        let differences = in_one_unit(rows.iter().map(|r| (at(r.0).ms(), r.2, r.3)).collect());
        Register(HashMap::from([(7, Checked { done, differences })]))
    }

    fn column<'c>(columns: &'c [Column], name: &str) -> &'c Values {
        &columns.iter().find(|c| c.name == name).unwrap().values
    }

    #[test]
    fn a_reading_has_the_check_in_force_and_lies_between_a_good_and_a_failed_one() {
        let register = checked(&[
            ("2031-03-04T08:00:00Z", CheckResult::Good, 2.0, 0),
            ("2031-03-11T08:00:00Z", CheckResult::Good, 1.0, 0),
            ("2031-03-25T08:00:00Z", CheckResult::Failed, 36.0, 0),
            ("2031-03-26T08:00:00Z", CheckResult::Good, f64::NAN, 0),
        ]);
        let times = [
            "2031-03-01T08:00:00Z",
            "2031-03-05T20:00:00Z",
            "2031-03-15T08:00:00Z",
            "2031-03-25T20:00:00Z",
            "2031-03-27T08:00:00Z",
        ];
        let readings = times.iter().map(|t| Some((7, at(t)))).chain([None, Some((8, at(times[0])))]);
        let columns = register.columns(readings, At::Mould, ("pour.pyrometer", "/x"), true);
        // Counted by hand on the calendar.
        let Values::Numbers(days) = column(&columns, "pour.pyrometer_days_since_good_check/x") else {
            panic!("numbers")
        };
        assert!(days[0].is_nan() && days[5].is_nan() && days[6].is_nan(), "{days:?}");
        assert_eq!(days[1..5], [1.5, 4.0, 14.5, 1.0]);
        let Values::Numbers(difference) = column(&columns, "pour.pyrometer_difference/x") else {
            panic!("numbers")
        };
        assert_eq!(difference[1..4], [2.0, 1.0, 36.0]);
        assert!(difference[0].is_nan() && difference[4].is_nan(), "{difference:?}");
        let Values::Words { codes, levels } = column(&columns, "pour.pyrometer_reading/x") else {
            panic!("words")
        };
        assert_eq!(
            (levels[1].as_str(), codes.as_slice()),
            ("suspect", [0, 0, 1, 1, 0, MISSING, 0].as_slice())
        );
    }

    #[test]
    fn without_a_failed_check_or_a_figure_there_is_no_column_for_it() {
        let register = checked(&[("2031-03-04T08:00:00Z", CheckResult::Good, f64::NAN, 0)]);
        let readings = [Some((7, at("2031-03-05T08:00:00Z")))].into_iter();
        let columns = register.columns(readings, At::Mould, ("a", ""), false);
        assert_eq!(columns.iter().map(|c| c.name.as_str()).collect::<Vec<_>>(), ["a_days_since_good_check"]);
    }

    #[test]
    fn a_difference_in_another_unit_is_not_held_against_the_rest() {
        let rows = vec![(3, 5.0, 1), (1, 2.0, 0), (2, 3.0, 0)];
        let one = in_one_unit(rows);
        assert_eq!(one[..2], [(1, 2.0), (2, 3.0)]);
        assert!(one[2].1.is_nan());
    }
}
