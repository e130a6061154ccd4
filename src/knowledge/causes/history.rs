//! Blades reduced to moulds in pour order, with every column laid along them.

use crate::causes::components::Outcomes;
use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::factors::LevelsInMould;
use crate::causes::factors::Lots;
use crate::causes::factors::Number;
use crate::causes::factors::Runs;
use crate::causes::factors::as_words;
use crate::causes::factors::commonest;
use crate::causes::factors::few_values;
use crate::causes::factors::sort_levels;
use crate::causes::factors::sorted_levels;
use crate::causes::packed::Codes;
use crate::causes::packed::Packed;
use crate::causes::records::At;
use crate::causes::records::Column;
use crate::causes::records::MISSING;
use crate::causes::records::Records;
use crate::causes::records::SHARE_THAT_COUNTS;
use crate::causes::records::Values;

/// More than this share of moulds with two values makes a factor vary inside moulds. With fewer the score
/// takes the commonest value of each mould; what is counted and shown stays with the blades.
const TOLERANCE: f64 = 0.02;

/// Columns ready for the score: moulds in pour order, the moulds of a heat together, levels sorted.
#[derive(Clone, Debug)]
pub struct History {
    /// Inspected blades of each mould.
    pub(crate) n: Vec<f64>,
    /// Of them with the defect.
    pub(crate) y: Vec<f64>,
    /// Expected with the defect, from the rate of each stratum.
    pub(crate) expected: Vec<f64>,
    /// Heat h has the moulds `heat_start[h]..heat_start[h + 1]`.
    pub(crate) heat_start: Vec<usize>,
    pub(crate) heat_of: Vec<u32>,
    pub(crate) mould_tags: Vec<String>,
    /// Mould m has the blades `blade_start[m]..blade_start[m + 1]`.
    pub(crate) blade_start: Vec<u32>,
    pub(crate) factors: Vec<Factor>,
    /// Counts of findings instead of blades with or without.
    pub(crate) counts: bool,
    pub(crate) made: usize,
    pub(crate) inspected: usize,
    /// (name, inspected blades) of each stratum that has no reject and was left out.
    pub(crate) silent_strata: Vec<(String, usize)>,
}

impl History {
    /// Lays the records out.
    ///
    /// # Errors
    /// Lists of unequal length, an index beyond its list, a share outside 0 to 1: the sentence names it.
    pub fn new(mut records: Records) -> Result<Self, String> {
        let mut columns = std::mem::take(&mut records.columns);
        columns.sort_by(|a, b| a.name.cmp(&b.name));
        Self::of(records, columns.into_iter())
    }

    /// Lays the records out with these columns instead of their own, opened one after the other.
    ///
    /// # Errors
    /// As [`History::new`].
    pub fn packed(records: Records, mut columns: Vec<Packed>) -> Result<Self, String> {
        columns.sort_by(|a, b| a.name.cmp(&b.name));
        Self::of(records, columns.into_iter().map(Packed::open))
    }

    /// From columns in the order of their names.
    fn of(records: Records, columns: impl Iterator<Item = Column>) -> Result<Self, String> {
        records.check()?;
        let units = records.units();
        let Records {
            made,
            blade_mould,
            defective,
            counts,
            stratum,
            strata,
            mut mould_tags,
            mould_heat,
            heat_tags,
            columns: _,
        } = records;
        let inspected = blade_mould.len();
        let stratum_of = |b: usize| stratum.get(b).map_or(0, |&s| s as usize);
        let (mut total, mut with) = (vec![0.0; strata.len().max(1)], vec![0.0; strata.len().max(1)]);
        for (b, &y) in defective.iter().enumerate() {
            total[stratum_of(b)] += 1.0;
            with[stratum_of(b)] += f64::from(y);
        }
        let kept = |b: usize| with[stratum_of(b)] > 0.0;
        let mut silent_strata: Vec<(String, usize)> = strata
            .iter()
            .enumerate()
            .filter(|&(s, _)| total[s] > 0.0 && with[s] == 0.0)
            .map(|(s, name)| (name.clone(), total[s] as usize))
            .collect();
        silent_strata.sort();

        let mut has = vec![false; mould_tags.len()];
        for (b, &m) in blade_mould.iter().enumerate() {
            has[m as usize] |= kept(b);
        }
        let (order, heat_of, heat_order) = pour_order(&has, &mould_heat, heat_tags.len());
        let mut place = vec![u32::MAX; mould_tags.len()];
        for (p, &m) in order.iter().enumerate() {
            place[m as usize] = p as u32;
        }
        let heats = heat_order.len();
        let mut heat_start = vec![0; heats + 1];
        for &h in &heat_of {
            heat_start[h as usize + 1] += 1;
        }
        (0..heats).for_each(|h| heat_start[h + 1] += heat_start[h]);

        // blades by mould; inside a mould they are put in order once the columns are known
        let mut blade_start = vec![0u32; order.len() + 1];
        let kept_blades = || (0..inspected).filter(|&b| kept(b));
        for b in kept_blades() {
            blade_start[place[blade_mould[b] as usize] as usize + 1] += 1;
        }
        (0..order.len()).for_each(|m| blade_start[m + 1] += blade_start[m]);
        let mut next = blade_start.clone();
        let mut blades = vec![0u32; blade_start[order.len()] as usize];
        for b in kept_blades() {
            let m = place[blade_mould[b] as usize] as usize;
            blades[next[m] as usize] = b as u32;
            next[m] += 1;
        }
        drop((next, blade_mould));

        let (mut n, mut y, mut expected) =
            (vec![0.0; order.len()], vec![0.0; order.len()], vec![0.0; order.len()]);
        for m in 0..order.len() {
            let mut of_mould: Vec<usize> = blades[blade_start[m] as usize..blade_start[m + 1] as usize]
                .iter()
                .map(|&b| b as usize)
                .collect();
            n[m] = of_mould.len() as f64;
            y[m] = of_mould.iter().map(|&b| f64::from(defective[b])).sum();
            // summed in the order of the strata's rates, whatever the order of the rows
            let rate = |b: usize| with[stratum_of(b)] / total[stratum_of(b)];
            of_mould.sort_by(|&a, &b| rate(a).total_cmp(&rate(b)));
            expected[m] = of_mould.iter().map(|&b| rate(b)).sum();
        }
        drop(stratum);
        let mould_tags = order.iter().map(|&m| std::mem::take(&mut mould_tags[m as usize])).collect();
        let mut history = Self {
            n,
            y,
            expected,
            heat_start,
            heat_of,
            mould_tags,
            blade_start,
            factors: Vec::new(),
            counts,
            made: made.max(inspected),
            inspected,
            silent_strata,
        };
        let checked = columns.map(|column| column.check(units).map(|()| column));
        history.lay(checked, &defective, &order, &heat_order, blades)?;
        Ok(history)
    }

    /// What the components are estimated from.
    pub(crate) fn outcomes(&self) -> Outcomes<'_> {
        Outcomes { n: &self.n, y: &self.y, heat_start: &self.heat_start, counts: self.counts }
    }

    /// The number of moulds with inspected blades.
    #[must_use]
    pub fn moulds(&self) -> usize {
        self.n.len()
    }

    /// The number of heats with inspected blades.
    #[must_use]
    pub fn heats(&self) -> usize {
        self.heat_start.len() - 1
    }

    /// Lays the columns, in the order of their names, along moulds and heats.
    fn lay(
        &mut self,
        columns: impl Iterator<Item = Result<Column, String>>,
        defective: &[u32],
        order: &[u32],
        heat_order: &[u32],
        blades: Vec<u32>,
    ) -> Result<(), String> {
        let mut inside: Vec<(usize, Codes)> = Vec::new();
        for column in columns {
            let Column { name, at, values, below_detection, weight, bonus, limits, expects } = column?;
            let (values, is_number) = match values {
                Values::Numbers(x) => {
                    let few = few_values(&x);
                    (Values::Numbers(x), !few)
                }
                other => (other, false),
            };
            let mut factor = Factor {
                name,
                kind: FactorKind::Mould,
                labels: Labels::Heat(Vec::new()),
                levels: Vec::new(),
                known: 0,
                below_detection,
                weight,
                bonus,
                expects,
                counted: None,
            };
            match values {
                Values::Shares { of, levels } => self.lay_shares(&mut factor, &of, &levels, heat_order),
                Values::Numbers(x) if is_number => {
                    let pick = |index: &[u32]| index.iter().map(|&i| x[i as usize]).collect::<Vec<f64>>();
                    match at {
                        At::Heat => self.lay_numbers(&mut factor, pick(heat_order), &limits, true),
                        At::Mould => self.lay_numbers(&mut factor, pick(order), &limits, false),
                        At::Blade => {
                            let means = self.means(&pick(&blades));
                            self.lay_numbers(&mut factor, means, &limits, false);
                        }
                    }
                }
                words => {
                    let (codes, levels, sorted) = match words {
                        Values::Words { codes, levels } => (codes, levels, false),
                        Values::Numbers(x) => {
                            let (codes, levels) = as_words(&x);
                            (codes, levels, true)
                        }
                        Values::Shares { .. } => continue,
                    };
                    let index = match at {
                        At::Heat => heat_order,
                        At::Mould => order,
                        At::Blade => &blades,
                    };
                    let mut codes: Vec<u32> = index.iter().map(|&i| codes[i as usize]).collect();
                    factor.levels = if sorted { levels } else { sort_levels(&mut codes, &levels) };
                    match at {
                        At::Heat => self.lay_heat_words(&mut factor, codes),
                        At::Mould => self.lay_mould_words(&mut factor, codes),
                        At::Blade => match self.one_per_mould(&codes) {
                            Some(of_moulds) => {
                                if !self.uniform(&codes) {
                                    inside
                                        .push((self.factors.len(), Codes::new(&codes, factor.levels.len())));
                                }
                                self.lay_mould_words(&mut factor, of_moulds);
                            }
                            None => {
                                factor.kind = FactorKind::Cell;
                                inside.push((self.factors.len(), Codes::new(&codes, factor.levels.len())));
                            }
                        },
                    }
                }
            }
            self.factors.push(factor);
        }
        self.lay_cells(inside, &blades, defective);
        Ok(())
    }

    fn lay_shares(
        &self,
        factor: &mut Factor,
        of: &[Option<Vec<(u32, f64)>>],
        levels: &[String],
        heat_order: &[u32],
    ) {
        let counts = |&&(_, share): &&(u32, f64)| share >= SHARE_THAT_COUNTS;
        let mut used = vec![false; levels.len()];
        for &h in heat_order {
            for (level, _) in of[h as usize].iter().flatten().filter(counts) {
                used[*level as usize] = true;
            }
        }
        let (map, sorted) = sorted_levels(&used, levels);
        let mut lots = Lots { mean_share: vec![0.0; sorted.len()], ..Lots::default() };
        let mut heats = vec![0.0; sorted.len()];
        lots.start.push(0);
        for (slot, &h) in heat_order.iter().enumerate() {
            let mut sources: Vec<(u32, f64)> = of[h as usize]
                .iter()
                .flatten()
                .filter(counts)
                .map(|&(level, share)| (map[level as usize], share))
                .collect();
            sources.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
            sources.dedup_by_key(|s| s.0);
            for (level, share) in sources {
                lots.level.push(level);
                lots.mean_share[level as usize] += share;
                heats[level as usize] += 1.0;
            }
            lots.start.push(lots.level.len() as u32);
            lots.known.push(of[h as usize].is_some());
            if of[h as usize].is_some() {
                factor.known += self.heat_start[slot + 1] - self.heat_start[slot];
            }
        }
        lots.mean_share.iter_mut().zip(&heats).for_each(|(sum, heats)| *sum /= heats);
        factor.kind = FactorKind::Heat;
        factor.levels = sorted;
        factor.labels = Labels::Lots(lots);
    }

    fn lay_numbers(&self, factor: &mut Factor, x: Vec<f64>, limits: &[f64], of_heats: bool) {
        let x = if of_heats {
            x
        } else {
            let codes: Vec<u32> = {
                let mut values: Vec<f64> = x.iter().copied().filter(|x| !x.is_nan()).collect();
                values.sort_by(f64::total_cmp);
                values.dedup();
                x.iter()
                    .map(|x| if x.is_nan() { MISSING } else { values.partition_point(|v| v < x) as u32 })
                    .collect()
            };
            match self.one_per_heat(&codes) {
                Some(firsts) => firsts.iter().map(|m| m.map_or(f64::NAN, |m| x[m])).collect(),
                None => {
                    factor.known = x.iter().filter(|x| !x.is_nan()).count();
                    factor.labels = Labels::Number(Number::new(x, limits, Some(&self.heat_of)));
                    return;
                }
            }
        };
        factor.kind = FactorKind::Heat;
        factor.known = self.moulds_of(|h| !x[h].is_nan());
        factor.labels = Labels::Number(Number::new(x, limits, None));
    }

    fn lay_heat_words(&self, factor: &mut Factor, codes: Vec<u32>) {
        factor.kind = FactorKind::Heat;
        factor.known = self.moulds_of(|h| codes[h] != MISSING);
        factor.labels = Labels::Heat(codes);
    }

    fn lay_mould_words(&self, factor: &mut Factor, codes: Vec<u32>) {
        if let Some(firsts) = self.one_per_heat(&codes) {
            return self
                .lay_heat_words(factor, firsts.iter().map(|m| m.map_or(MISSING, |m| codes[m])).collect());
        }
        factor.known = codes.iter().filter(|&&c| c != MISSING).count();
        factor.labels = Labels::Mould(Runs::of(&codes));
    }

    fn moulds_of(&self, known: impl Fn(usize) -> bool) -> usize {
        (0..self.heats()).filter(|&h| known(h)).map(|h| self.heat_start[h + 1] - self.heat_start[h]).sum()
    }

    /// The mean of each mould's known blade values.
    fn means(&self, x: &[f64]) -> Vec<f64> {
        (0..self.moulds())
            .map(|m| {
                let mut known: Vec<f64> = x[self.blade_start[m] as usize..self.blade_start[m + 1] as usize]
                    .iter()
                    .copied()
                    .filter(|x| !x.is_nan())
                    .collect();
                known.sort_by(f64::total_cmp);
                if known.is_empty() { f64::NAN } else { known.iter().sum::<f64>() / known.len() as f64 }
            })
            .collect()
    }

    /// A code for each mould, unless too many moulds hold two.
    fn one_per_mould(&self, codes: &[u32]) -> Option<Vec<u32>> {
        let mut mixed = 0;
        let mut of_mould = Vec::new();
        let one = |m: usize| {
            of_mould.clear();
            of_mould
                .extend_from_slice(&codes[self.blade_start[m] as usize..self.blade_start[m + 1] as usize]);
            of_mould.retain(|&c| c != MISSING);
            mixed += usize::from(of_mould.iter().any(|&c| c != of_mould[0]));
            commonest(&mut of_mould)
        };
        let codes = (0..self.moulds()).map(one).collect();
        (mixed as f64 <= TOLERANCE * self.moulds() as f64).then_some(codes)
    }

    /// Whether all blades of each mould have one code.
    fn uniform(&self, codes: &[u32]) -> bool {
        self.blade_start.windows(2).all(|w| {
            let of_mould = &codes[w[0] as usize..w[1] as usize];
            of_mould.iter().all(|&c| c == of_mould[0])
        })
    }

    /// For each heat a mould that carries its code, unless a heat holds two. A value that is missing in
    /// part of a heat counts as a second one, so that it is not made up from the others.
    fn one_per_heat(&self, codes: &[u32]) -> Option<Vec<Option<usize>>> {
        let one = |w: &[usize]| {
            let code = codes[w[0]];
            codes[w[0]..w[1]].iter().all(|&c| c == code).then(|| (code != MISSING).then_some(w[0]))
        };
        self.heat_start.windows(2).map(one).collect()
    }

    /// Puts the blades of each mould in an order of their codes alone, then counts levels by mould.
    fn lay_cells(&mut self, mut inside: Vec<(usize, Codes)>, blades: &[u32], defective: &[u32]) {
        let mut order: Vec<u32> = (0..blades.len() as u32).collect();
        for m in 0..self.moulds() {
            order[self.blade_start[m] as usize..self.blade_start[m + 1] as usize].sort_by(|&a, &b| {
                let key = |i: u32| inside.iter().map(move |(_, codes)| codes.get(i as usize));
                key(a).cmp(key(b)).then_with(|| {
                    defective[blades[a as usize] as usize].cmp(&defective[blades[b as usize] as usize])
                })
            });
        }
        let outcome: Vec<u32> = order.iter().map(|&i| defective[blades[i as usize] as usize]).collect();
        for (f, codes) in &mut inside {
            let code: Vec<u32> = order.iter().map(|&i| codes.get(i as usize)).collect();
            *codes = Codes::default();
            let known = (0..self.moulds()).filter(|&m| {
                code[self.blade_start[m] as usize..self.blade_start[m + 1] as usize]
                    .iter()
                    .any(|&c| c != MISSING)
            });
            let known = known.count();
            let levels = self.factors[*f].levels.len();
            let cell = self.cell(code, &outcome, levels);
            let factor = &mut self.factors[*f];
            match factor.kind {
                FactorKind::Cell => {
                    factor.known = known;
                    factor.labels = Labels::Cell(cell);
                }
                _ => factor.counted = Some(cell),
            }
        }
    }

    fn cell(&self, code: Vec<u32>, outcome: &[u32], levels: usize) -> LevelsInMould {
        let zeros = || vec![0.0; levels];
        let mut cell =
            LevelsInMould { even: zeros(), seen: zeros(), variance: zeros(), ..LevelsInMould::default() };
        cell.start.push(0);
        let mut of_mould: Vec<(u32, u32)> = Vec::new();
        for m in 0..self.moulds() {
            let blades = self.blade_start[m] as usize..self.blade_start[m + 1] as usize;
            of_mould.clear();
            of_mould.extend(code[blades.clone()].iter().copied().zip(outcome[blades].iter().copied()));
            of_mould.sort_unstable();
            let (n, y) = (self.n[m], self.y[m]);
            for run in of_mould.chunk_by(|a, b| a.0 == b.0).filter(|run| run[0].0 != MISSING) {
                let level = run[0].0 as usize;
                let (count, with) = (run.len(), run.iter().map(|r| r.1).sum::<u32>());
                cell.level.push(level as u32);
                cell.count.push(count as u16);
                cell.with.push(with as u16);
                if y <= 0.0 || n < 2.0 {
                    continue;
                }
                let count = count as f64;
                if self.counts {
                    cell.seen[level] += f64::from(with);
                    cell.even[level] += y * count / n;
                    cell.variance[level] += y * (count / n) * (1.0 - count / n);
                } else if y < n {
                    cell.seen[level] += f64::from(with);
                    cell.even[level] += y * count / n;
                    cell.variance[level] += y * (n - y) * count * (n - count) / (n * n * (n - 1.0));
                }
            }
            cell.start.push(cell.level.len() as u32);
        }
        cell.level.shrink_to_fit();
        cell.count.shrink_to_fit();
        cell.with.shrink_to_fit();
        cell.code = Codes::new(&code, levels);
        cell
    }
}

/// Moulds with kept blades, the moulds of a heat together, heats by their first mould; the heat of
/// each, and the heats in that order.
fn pour_order(has: &[bool], mould_heat: &[u32], heats: usize) -> (Vec<u32>, Vec<u32>, Vec<u32>) {
    let mut rank = vec![u32::MAX; heats];
    let mut heat_order = Vec::new();
    let mut order: Vec<u32> = (0..has.len() as u32).filter(|&m| has[m as usize]).collect();
    for &m in &order {
        let heat = mould_heat[m as usize];
        if rank[heat as usize] == u32::MAX {
            rank[heat as usize] = heat_order.len() as u32;
            heat_order.push(heat);
        }
    }
    let heat_of = |m: &u32| rank[mould_heat[*m as usize] as usize];
    order.sort_by_key(heat_of);
    let heats = order.iter().map(heat_of).collect();
    (order, heats, heat_order)
}
