//! Invented histories with a known cause, or none, on which the method is judged.
//!
//! Moulds of 4 to 24 blades in heats of 1 to 6; blades of a mould, moulds of a heat, and slow time go bad
//! together; about fifty factors: lots used one after another with some jitter and sometimes two open at
//! once, crews and rooms in runs, readings, and places inside the mould.

use knowledge::causes::At;
use knowledge::causes::Column;
use knowledge::causes::MISSING;
use knowledge::causes::Records;
use knowledge::causes::Values;
use knowledge::causes::random::Chance;

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Plant {
    SlurryBatch,
    ShellBatch,
    IngotLot,
    FilterLot,
    WaxLot,
    Cavity,
    TreePosition,
    Crew,
    Seal,
    Trend,
    Threshold,
    Pair,
}

/// The single causes, in turn.
pub const SINGLE: [Plant; 11] = [
    Plant::SlurryBatch,
    Plant::ShellBatch,
    Plant::IngotLot,
    Plant::FilterLot,
    Plant::WaxLot,
    Plant::Cavity,
    Plant::TreePosition,
    Plant::Crew,
    Plant::Seal,
    Plant::Trend,
    Plant::Threshold,
];

/// How the rate moves with time by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drift {
    /// Wanders, with a correlation length.
    Wander,
    /// Jumps a few times and stays.
    Steps,
    /// Goes round like a year.
    Season,
}

/// A history to make.
#[derive(Clone, Debug)]
pub struct Recipe {
    pub seed: u64,
    pub moulds: usize,
    pub rate: f64,
    pub inside_mould: f64,
    pub heat_sd: f64,
    pub drift_sd: f64,
    /// As a part of the history.
    pub drift_length: f64,
    pub drift: Drift,
    pub plants: Vec<Plant>,
    /// Standard errors that each effect is strong.
    pub strength: f64,
    pub counts: bool,
    /// Moulds in a heat on average; none draws 2 to 4.
    pub heat_moulds: Option<f64>,
}

impl Recipe {
    /// The recipe of a seed: rates, clumping and drift drawn from the ranges of a foundry.
    pub fn drawn(seed: u64, moulds: usize, plants: &[Plant]) -> Self {
        let mut chance = Chance::of_draw(0x5eed, seed);
        let mut between = |low: f64, high: f64| low + (high - low) * chance.uniform();
        Self {
            seed,
            moulds,
            rate: (between(0.015f64.ln(), 0.12f64.ln())).exp(),
            inside_mould: between(0.05, 0.4),
            heat_sd: between(0.1, 0.6),
            drift_sd: between(0.0, 0.4),
            drift_length: between(0.05, 0.3),
            drift: Drift::Wander,
            plants: plants.to_vec(),
            strength: [3.5, 5.0, 7.0][(between(0.0, 3.0)) as usize % 3],
            counts: false,
            heat_moulds: None,
        }
    }
}

/// A cause that was planted: its factor, and its level where it has one.
#[derive(Clone, Debug)]
pub struct Truth {
    pub factor: &'static str,
    pub level: Option<String>,
    /// Standard errors that the effect is strong, once the largest effect allowed has cut it.
    pub strength: f64,
    /// Defects expected in the level without the effect.
    pub expected: f64,
}

struct Maker {
    chance: Chance,
    columns: Vec<Column>,
}

/// Makes a history.
pub fn make(recipe: &Recipe) -> (Records, Vec<Truth>) {
    let mut maker = Maker { chance: Chance::of_draw(0xf00d, recipe.seed), columns: Vec::new() };
    let m = recipe.moulds;
    let mean_heat = 2.0 + 2.0 * maker.chance.uniform();
    let mean_heat = recipe.heat_moulds.unwrap_or(mean_heat);
    let most = (2.0 * mean_heat).max(6.0) as usize;
    let mut heat_of: Vec<usize> = Vec::with_capacity(m);
    let mut heats = 0;
    while heat_of.len() < m {
        let others = most - 1;
        let size =
            1 + (0..others).filter(|_| maker.chance.uniform() < (mean_heat - 1.0) / others as f64).count();
        heat_of.extend(std::iter::repeat_n(heats, size.min(m - heat_of.len())));
        heats += 1;
    }
    let tree = 4 + 2 * maker.chance.below(11) as usize;
    let parts = 1 + maker.chance.below(3) as usize;
    let part_of = maker.runs(m, parts, 5.0);
    let size: Vec<usize> =
        part_of.iter().map(|&p| if p == 1 { (tree.saturating_sub(4)).max(4) } else { tree }).collect();
    let blade_mould: Vec<usize> =
        size.iter().enumerate().flat_map(|(m, &n)| std::iter::repeat_n(m, n)).collect();
    let blades = blade_mould.len();

    // heats
    let furnace = maker.runs(heats, 2, 3.4);
    let ingot = maker.lots(heats, 14.0, 0.3);
    let crucible: Vec<usize> = {
        let mut used = [0usize; 2];
        let life = 9;
        furnace
            .iter()
            .map(|&f| {
                used[f] += 1;
                40 * f + used[f] / life
            })
            .collect()
    };
    maker.words("furnace", At::Heat, &furnace, 0.0);
    maker.words("ingot_lot", At::Heat, &ingot, 0.0);
    maker.words("crucible", At::Heat, &crucible, 0.0);
    let operator = maker.runs(heats, 6, 2.6);
    maker.words("operator", At::Heat, &operator, 0.0);
    let shift = maker.runs(heats, 3, 2.0);
    maker.words("shift", At::Heat, &shift, 0.0);
    let preheat = maker.runs(heats, 2, 3.0);
    maker.words("preheat_furnace", At::Heat, &preheat, 0.0);
    let melt = maker.reading(heats, 0.3);
    maker.numbers("melt_temp", At::Heat, melt.iter().map(|z| (15_430.0 + 70.0 * z).round() / 10.0).collect());
    let vacuum = maker.reading(heats, 0.2);
    maker.numbers(
        "vacuum",
        At::Heat,
        vacuum.iter().map(|z| (270.0 * (0.4 * z).exp()).round() / 100.0).collect(),
    );
    let hold = maker.reading(heats, 0.0);
    maker.numbers(
        "hold_min",
        At::Heat,
        hold.iter().map(|z| (75.0 + 28.0 * z).max(5.0).round() / 10.0).collect(),
    );

    // moulds
    let shell = maker.lots(m, 16.0, 0.6);
    let slurry: Vec<usize> = shell.iter().map(|s| s / 3).collect();
    let stucco: Vec<usize> = shell.iter().map(|s| s / 11).collect();
    let of_shell = |maker: &mut Maker, levels: usize| -> Vec<usize> {
        let batches = shell.iter().max().unwrap_or(&0) + 1;
        let each: Vec<usize> = (0..batches).map(|_| maker.chance.below(levels as u64) as usize).collect();
        shell.iter().map(|&s| each[s]).collect()
    };
    maker.words("shell_batch", At::Mould, &shell, 0.0);
    maker.words("slurry_batch", At::Mould, &slurry, 0.0);
    maker.words("stucco_lot", At::Mould, &stucco, 0.0);
    let crew = of_shell(&mut maker, 4);
    maker.words("dip_crew", At::Mould, &crew, 0.0);
    let room = of_shell(&mut maker, 3);
    maker.words("drying_room", At::Mould, &room, 0.0);
    let filter = maker.lots(m, 110.0, 0.1);
    maker.words("filter_lot", At::Mould, &filter, 0.0);
    let seal = maker.runs(m, 3, 4.6);
    maker.words("seal_method", At::Mould, &seal, 0.0);
    for (name, levels, run) in
        [("shell_recipe", 2, 6.0), ("wax_grade", 2, 60.0), ("assembler", 8, 3.6), ("preheat_slot", 6, 1.2)]
    {
        let codes = maker.runs(m, levels, run);
        maker.words(name, At::Mould, &codes, 0.0);
    }
    let core = maker.lots(m, 50.0, 0.5);
    maker.words("core_lot", At::Mould, &core, 0.02);
    let binder = maker.lots(m, 160.0, 0.1);
    maker.words("binder_lot", At::Mould, &binder, 0.0);
    let pour = maker.reading(m, 0.4);
    maker.numbers(
        "pour_temp",
        At::Mould,
        pour.iter().map(|z| (14_820.0 + 70.0 * z).round() / 10.0).collect(),
    );
    let mould_temp = maker.reading(m, 0.2);
    maker.numbers("mould_temp", At::Mould, mould_temp.iter().map(|z| (1055.0 + 9.0 * z).round()).collect());
    for (name, missing) in [("viscosity", 0.02), ("humidity", 0.02), ("dry_hours", 0.0)] {
        let batches = shell.iter().max().unwrap_or(&0) + 1;
        let each = maker.reading(batches, 0.3);
        let values = shell
            .iter()
            .map(|&s| {
                if maker.chance.uniform() < missing {
                    f64::NAN
                } else {
                    (250.0 + 40.0 * each[s]).round() / 10.0
                }
            })
            .collect();
        maker.numbers(name, At::Mould, values);
    }
    let store: Vec<f64> = (0..m).map(|_| (-12.0 * (1.0 - maker.chance.uniform()).ln()).ceil()).collect();
    maker.numbers("store_days", At::Mould, store);
    for aux in 0..8 + maker.chance.below(16) {
        let name = format!("aux{aux:02}");
        match maker.chance.below(3) {
            0 => {
                let slow = maker.chance.uniform() * 0.6;
                let x = maker.reading(m, slow);
                maker.numbers(&name, At::Mould, x.iter().map(|z| (z * 1000.0).round() / 1000.0).collect());
            }
            _ => {
                let levels = [2, 3, 5, 8, 15, 30][maker.chance.below(6) as usize];
                let run = [1.5, 4.6, 15.0][maker.chance.below(3) as usize];
                let codes = maker.runs(m, levels, run);
                maker.words(&name, At::Mould, &codes, 0.0);
            }
        }
    }

    // inside moulds
    let position: Vec<usize> = size.iter().flat_map(|&n| 1..=n).collect();
    maker.words("tree_position", At::Blade, &position, 0.0);
    let lots = maker.lots(m, 100.0, 0.3);
    let wax: Vec<usize> =
        blade_mould.iter().map(|&m| lots[m] + usize::from(maker.chance.uniform() < 0.25)).collect();
    maker.words("wax_lot", At::Blade, &wax, 0.0);
    let cavity: Vec<usize> = (0..blades).map(|_| 1 + maker.chance.below(8) as usize).collect();
    maker.words("die_cavity", At::Blade, &cavity, 0.0);
    let press = maker.runs(m, 3, 12.0);
    maker.words("press", At::Blade, &blade_mould.iter().map(|&m| press[m]).collect::<Vec<_>>(), 0.0);

    // what goes wrong
    let mut tilt = vec![0.0f64; blades];
    let per_mould = blades as f64 / m as f64;
    let clumped = 1.0 + (per_mould - 1.0) * recipe.inside_mould;
    let mut truths = Vec::new();
    for &plant in &recipe.plants {
        let by_heat =
            |codes: &[usize]| -> Vec<usize> { blade_mould.iter().map(|&m| codes[heat_of[m]]).collect() };
        let by_mould = |codes: &[usize]| -> Vec<usize> { blade_mould.iter().map(|&m| codes[m]).collect() };
        let (factor, codes, inside): (_, Vec<usize>, bool) = match plant {
            Plant::SlurryBatch => ("slurry_batch", by_mould(&slurry), false),
            Plant::ShellBatch => ("shell_batch", by_mould(&shell), false),
            Plant::IngotLot => ("ingot_lot", by_heat(&ingot), false),
            Plant::FilterLot => ("filter_lot", by_mould(&filter), false),
            Plant::WaxLot => ("wax_lot", wax.clone(), false),
            Plant::Cavity => ("die_cavity", cavity.clone(), true),
            Plant::TreePosition => ("tree_position", position.clone(), true),
            Plant::Crew => ("dip_crew", by_mould(&crew), false),
            Plant::Seal => ("seal_method", by_mould(&seal), false),
            Plant::Trend | Plant::Threshold => {
                let (factor, z): (_, Vec<f64>) = if maker.chance.uniform() < 0.5 {
                    ("pour_temp", blade_mould.iter().map(|&m| pour[m]).collect())
                } else {
                    ("hold_min", blade_mould.iter().map(|&m| hold[heat_of[m]]).collect())
                };
                let e = recipe.rate * blades as f64;
                let of_heat =
                    per_mould * m as f64 / heats as f64 * recipe.rate * recipe.heat_sd * recipe.heat_sd;
                let clumped = clumped + of_heat;
                if plant == Plant::Trend {
                    let slope = (recipe.strength * (clumped / e).sqrt()).min(1.2);
                    z.iter().zip(&mut tilt).for_each(|(z, t)| *t += slope * z.clamp(-3.0, 3.0));
                } else {
                    let share = 0.16;
                    let ratio = (recipe.strength * (clumped / (share * e)).sqrt()).min(10f64.ln());
                    z.iter().zip(&mut tilt).for_each(|(z, t)| *t += if *z > 1.0 { ratio } else { 0.0 });
                }
                truths.push(Truth { factor, level: None, strength: recipe.strength, expected: e });
                continue;
            }
            Plant::Pair => {
                let codes: Vec<usize> =
                    blade_mould.iter().map(|&m| usize::from(room[m] == 1 && seal[m] == 1)).collect();
                ("drying_room with seal_method", codes, false)
            }
        };
        let levels = codes.iter().max().unwrap_or(&0) + 1;
        let mut count = vec![0usize; levels];
        codes.iter().for_each(|&c| count[c] += 1);
        let spread = Spread { recipe, codes: &codes, blade_mould: &blade_mould, heat_of: &heat_of, inside };
        let level = if plant == Plant::Pair {
            1
        } else {
            // a level of at most a third of the blades, in eight moulds or more, on which the effect can be
            // as strong as it should without more than ten times the rate; else the largest there is
            let least = if inside { 1.0 } else { 8.0 * per_mould };
            let mut some: Vec<usize> = (0..levels)
                .filter(|&l| count[l] as f64 >= least && count[l] * 3 <= blades + 2 * per_mould as usize)
                .filter(|&l| recipe.strength * spread.error(l) <= MOST)
                .collect();
            if some.is_empty() {
                some = (0..levels).filter(|&l| 3 * count[l] <= 2 * blades).collect();
                some.sort_by_key(|&l| std::cmp::Reverse(count[l]));
                some.truncate(1);
            }
            let pick = maker.chance.below(some.len().max(1) as u64) as usize;
            let Some(&level) = some.get(pick) else { continue };
            level
        };
        let error = spread.error(level);
        let ratio = (recipe.strength * error).min(MOST);
        codes.iter().zip(&mut tilt).for_each(|(&c, t)| *t += if c == level { ratio } else { 0.0 });
        let (strength, expected) = (ratio / error, recipe.rate * count[level] as f64);
        truths.push(Truth { factor, level: Some(level.to_string()), strength, expected });
    }

    // outcomes
    let drift = maker.drift(recipe, m);
    let heat: Vec<f64> = (0..heats).map(|_| recipe.heat_sd * maker.chance.normal()).collect();
    let of_part: Vec<f64> =
        (0..parts).map(|p| if p == 0 { 0.0 } else { 0.5 * maker.chance.normal() }).collect();
    let base = (recipe.rate / (1.0 - recipe.rate)).ln();
    let mut defective = Vec::with_capacity(blades);
    let mut first = 0;
    for mould in 0..m {
        let logit = base + drift[mould] + heat[heat_of[mould]] + of_part[part_of[mould]];
        let p = 1.0 / (1.0 + (-logit).exp());
        let here = maker.beta(p, recipe.inside_mould);
        for t in &tilt[first..first + size[mould]] {
            let rate = (here * t.exp()).min(0.97);
            defective.push(if recipe.counts {
                maker.poisson(rate)
            } else {
                u32::from(maker.chance.uniform() < rate)
            });
        }
        first += size[mould];
    }
    let records = Records {
        made: blades,
        blade_mould: blade_mould.iter().map(|&m| m as u32).collect(),
        defective,
        counts: recipe.counts,
        stratum: blade_mould.iter().map(|&m| part_of[m] as u32).collect(),
        strata: (0..parts).map(|p| format!("part {p}")).collect(),
        mould_tags: (0..m).map(|m| m.to_string()).collect(),
        mould_heat: heat_of.iter().map(|&h| h as u32).collect(),
        heat_tags: (0..heats).map(|h| h.to_string()).collect(),
        columns: maker.columns,
    };
    (records, truths)
}

/// The largest effect, on the log rate: ten times.
const MOST: f64 = std::f64::consts::LN_10;

/// What the standard error of a level's log rate ratio is made from.
struct Spread<'a> {
    recipe: &'a Recipe,
    codes: &'a [usize],
    blade_mould: &'a [usize],
    heat_of: &'a [usize],
    inside: bool,
}

impl Spread<'_> {
    /// With everything that clumps: chance, moulds, heats, and the drift between the level's moulds and all.
    fn error(&self, level: usize) -> f64 {
        let moulds = self.heat_of.len();
        let heats = self.heat_of[moulds - 1] + 1;
        let (mut of_mould, mut of_heat) = (vec![0.0; moulds], vec![0.0; heats]);
        for (_, &m) in self.codes.iter().zip(self.blade_mould).filter(|(c, _)| **c == level) {
            of_mould[m] += 1.0;
            of_heat[self.heat_of[m]] += 1.0;
        }
        let n: f64 = of_mould.iter().sum();
        let outside = 1.0 - n / self.codes.len() as f64;
        if self.inside {
            return (outside / (n * self.recipe.rate)).sqrt();
        }
        let clumps: f64 =
            of_mould.iter().map(|n| n + n * (n - 1.0).max(0.0) * self.recipe.inside_mould).sum();
        let heats: f64 = of_heat.iter().map(|n| (n * self.recipe.heat_sd).powi(2)).sum();
        let phi = (-1.0 / (self.recipe.drift_length * moulds as f64)).exp();
        let (mut behind, mut drift) = (0.0, 0.0);
        for n_here in &of_mould {
            let w = n_here / n - 1.0 / moulds as f64;
            behind *= phi;
            drift += w * w + 2.0 * w * behind;
            behind += w;
        }
        let chance = clumps / (n * n * self.recipe.rate) + heats / (n * n);
        (outside * chance + self.recipe.drift_sd.powi(2) * drift.max(0.0)).sqrt()
    }
}

impl Maker {
    /// Levels in runs of a mean length.
    fn runs(&mut self, count: usize, levels: usize, run: f64) -> Vec<usize> {
        let mut now = self.chance.below(levels as u64) as usize;
        (0..count)
            .map(|_| {
                if self.chance.uniform() < 1.0 / run {
                    now = self.chance.below(levels as u64) as usize;
                }
                now
            })
            .collect()
    }

    /// Lots used up one after another, sizes around a mean, the order jittered; with some chance the next
    /// lot is opened before the last is used up.
    fn lots(&mut self, count: usize, mean: f64, overlap: f64) -> Vec<usize> {
        let mut ends = vec![0.0];
        while ends[ends.len() - 1] < count as f64 * 1.2 + mean {
            let size = mean * (0.5 + self.chance.uniform());
            ends.push(ends[ends.len() - 1] + size);
        }
        let jitter = overlap * mean;
        (0..count)
            .map(|i| {
                let at = (i as f64 + jitter * self.chance.normal()).max(0.0);
                ends.partition_point(|e| *e <= at) - 1
            })
            .collect()
    }

    /// A standard reading: white, with a slow part of that share of the variance.
    fn reading(&mut self, count: usize, slow: f64) -> Vec<f64> {
        let phi = (-1.0 / (0.1 * count as f64 + 2.0)).exp();
        let mut wander = self.chance.normal();
        (0..count)
            .map(|_| {
                wander = phi * wander + (1.0 - phi * phi).sqrt() * self.chance.normal();
                slow.sqrt() * wander + (1.0 - slow).sqrt() * self.chance.normal()
            })
            .collect()
    }

    fn drift(&mut self, recipe: &Recipe, count: usize) -> Vec<f64> {
        let length = recipe.drift_length * count as f64;
        match recipe.drift {
            Drift::Wander => {
                let phi = (-1.0 / length).exp();
                let mut now = self.chance.normal();
                (0..count)
                    .map(|_| {
                        now = phi * now + (1.0 - phi * phi).sqrt() * self.chance.normal();
                        recipe.drift_sd * now
                    })
                    .collect()
            }
            Drift::Steps => {
                let mut now = self.chance.normal();
                (0..count)
                    .map(|_| {
                        if self.chance.uniform() < 1.0 / (2.0 * length) {
                            now = self.chance.normal();
                        }
                        recipe.drift_sd * now
                    })
                    .collect()
            }
            Drift::Season => {
                let start = self.chance.uniform();
                let turns = 1.0 + 2.0 * self.chance.uniform();
                let wave =
                    |i: usize| (std::f64::consts::TAU * (start + turns * i as f64 / count as f64)).sin();
                (0..count).map(|i| recipe.drift_sd * std::f64::consts::SQRT_2 * wave(i)).collect()
            }
        }
    }

    /// Beta of mean p and correlation rho.
    fn beta(&mut self, p: f64, rho: f64) -> f64 {
        if rho <= 0.0 {
            return p;
        }
        let total = 1.0 / rho - 1.0;
        let (a, b) = (self.gamma(p * total), self.gamma((1.0 - p) * total));
        if a + b > 0.0 { a / (a + b) } else { f64::from(u8::from(self.chance.uniform() < p)) }
    }

    /// Gamma of a shape (Marsaglia and Tsang 2000).
    fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            let u = self.chance.uniform().max(1e-300);
            return self.gamma(shape + 1.0) * u.powf(1.0 / shape);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.chance.normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.chance.uniform().max(1e-300).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }

    fn poisson(&mut self, mean: f64) -> u32 {
        let (limit, mut product, mut k) = ((-mean).exp(), self.chance.uniform(), 0);
        while product > limit {
            product *= self.chance.uniform();
            k += 1;
        }
        k
    }

    fn words(&mut self, name: &str, at: At, codes: &[usize], missing: f64) {
        let levels = codes.iter().max().map_or(0, |m| m + 1);
        let codes = codes
            .iter()
            .map(|&c| if missing > 0.0 && self.chance.uniform() < missing { MISSING } else { c as u32 })
            .collect();
        let levels = (0..levels).map(|l| l.to_string()).collect();
        self.columns.push(Column::new(name, at, Values::Words { codes, levels }));
    }

    fn numbers(&mut self, name: &str, at: At, x: Vec<f64>) {
        self.columns.push(Column::new(name, at, Values::Numbers(x)));
    }
}
