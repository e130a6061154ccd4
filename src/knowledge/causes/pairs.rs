//! Two factors that do harm together beyond what each does singly: looked at only for two that were named,
//! since among all pairs of a foundry chance shows one too often.

use crate::causes::block::BlockForm;
use crate::causes::block::Variances;
use crate::causes::block::blocks;
use crate::causes::block::recentre;
use crate::causes::block::variances;
use crate::causes::effect::fit_set;
use crate::causes::factors::Factor;
use crate::causes::factors::FactorKind;
use crate::causes::factors::Labels;
use crate::causes::history::History;
use crate::causes::judge::Settings;
use crate::causes::pvalue::LEAST_SCALE;
use crate::causes::pvalue::p_value;
use crate::causes::random::Chance;
use crate::causes::ranking::Cause;
use crate::causes::ranking::SHOWN;
use crate::causes::records::MISSING;
use crate::causes::scan::largest_p;
use crate::causes::score::ELIGIBLE;
use crate::causes::score::signed_root;
use crate::causes::sets::BladeGroup;
use crate::causes::sets::Membership;
use crate::causes::sets::short;

/// Categories with more levels are not paired.
const MOST_LEVELS: usize = 4;

/// Cells of a pair at most.
const CELLS: usize = MOST_LEVELS * MOST_LEVELS;

/// With fewer heats the p of a pair is not given: draws of so few say too much (with twelve heats, 16 of 100 shuffled
/// histories gave p below 0.05). The limit between is ours.
const FEWEST_HEATS: usize = 20;

/// The code of a mould that is in no cell.
const NO_CELL: u8 = u8::MAX;

/// A pair whose screen is above this keeps it as its p.
const CLEAR: f64 = 0.1;

/// A pair, scored.
struct Pair<'a> {
    sides: [&'a Side<'a>; 2],
    p: f64,
    evidence: f64,
}

/// The pair of two named factors, with the leading cause fitted where it is shown and is none of them.
///
/// # Errors
/// What cannot be paired, as a sentence: an unknown name, levels that are too many or differ inside
/// moulds, no cell with enough blades.
pub(crate) fn pair(
    history: &History,
    names: [&str; 2],
    after: Option<&[f64]>,
    settings: Settings,
) -> Result<Cause, String> {
    let [a, b] = names;
    if a == b {
        return Err(format!("A pair needs two factors, and {a} is one."));
    }
    let (a, b) = (side(history, a)?, side(history, b)?);
    let block_of = blocks(history.heats());
    let expected = after.unwrap_or(&history.expected);
    let mut table = Table::default();
    table.fill(&a.codes, &b.codes);
    table.fit(history, expected, &block_of);
    let (p, cell, evidence) = table.p(history, &block_of, settings);
    let Some(cell) = cell else {
        return Err(format!("Too few blades in any combination of {} with {}.", names[0], names[1]));
    };
    Ok(pair_row(history, &table, &Pair { sides: [&a, &b], p, evidence }, cell))
}

/// One of the two factors: its levels along the moulds.
struct Side<'a> {
    factor: &'a Factor,
    levels: Vec<String>,
    codes: Vec<u8>,
}

/// A factor of at most four levels as it is; a number cut at its median.
fn side<'a>(history: &'a History, name: &str) -> Result<Side<'a>, String> {
    let factor = history
        .factors
        .iter()
        .find(|f| f.name == name)
        .ok_or_else(|| format!("{name} is none of the factors of this question."))?;
    let small = |code: u32| if code == MISSING { NO_CELL } else { code as u8 };
    let of_moulds = |of_heats: bool, value: &dyn Fn(usize) -> u8| -> Vec<u8> {
        (0..history.moulds()).map(|m| value(if of_heats { history.heat_of[m] as usize } else { m })).collect()
    };
    let few = factor.levels.len() <= MOST_LEVELS;
    let (levels, codes) = match &factor.labels {
        Labels::Heat(codes) if few => (factor.levels.clone(), of_moulds(true, &|h| small(codes[h]))),
        Labels::Mould(runs) if few => (
            factor.levels.clone(),
            runs.iter().flat_map(|(moulds, code)| moulds.map(move |_| small(code))).collect(),
        ),
        Labels::Number(number) if !number.cuts.is_empty() => {
            let middle = number.cuts[number.cuts.len() / 2];
            let of = |i: usize| match number.raw[i] {
                x if x.is_nan() => NO_CELL,
                x => u8::from(x >= middle),
            };
            let levels = ["<", ">="].map(|sign| format!("{sign} {}", short(middle))).to_vec();
            (levels, of_moulds(factor.kind == FactorKind::Heat, &of))
        }
        Labels::Cell(_) => return Err(format!("{name} differs inside moulds and cannot be paired.")),
        Labels::Number(_) => return Err(format!("{name} hardly varies and cannot be paired.")),
        _ => {
            let count = factor.levels.len();
            return Err(format!(
                "{name} has {count} levels; a pair takes factors of at most {MOST_LEVELS}. Join its levels under a field \
                 of your own, or hold two of them against each other."
            ));
        }
    };
    Ok(Side { factor, levels, codes })
}

/// The cells of two factors laid along the moulds.
#[derive(Default)]
struct Table {
    cell: Vec<u8>,
    expected: Vec<f64>,
    form: BlockForm,
    variances: Variances,
}

/// U, C and I of each cell.
#[derive(Clone, Copy, Default)]
struct Cells {
    u: [f64; CELLS],
    c: [f64; CELLS],
    i: [f64; CELLS],
    w: f64,
}

impl Table {
    fn fill(&mut self, a: &[u8], b: &[u8]) {
        self.cell.clear();
        self.cell.extend(
            a.iter().zip(b).map(|(&a, &b)| {
                if a == NO_CELL || b == NO_CELL { NO_CELL } else { a * MOST_LEVELS as u8 + b }
            }),
        );
    }

    /// Fits both factors singly: four rounds of proportional fitting with a half added.
    fn fit(&mut self, history: &History, expected: &[f64], block_of: &[u32]) {
        self.expected.clear();
        self.expected.extend_from_slice(expected);
        let side = |cell: u8, first: bool| {
            usize::from(if first { cell / MOST_LEVELS as u8 } else { cell % MOST_LEVELS as u8 })
        };
        for round in 0..8 {
            let first = round % 2 == 0;
            let (mut y, mut e) = ([0.5; MOST_LEVELS], [0.5; MOST_LEVELS]);
            for (m, &cell) in self.cell.iter().enumerate().filter(|(_, cell)| **cell != NO_CELL) {
                y[side(cell, first)] += history.y[m];
                e[side(cell, first)] += self.expected[m];
            }
            for (m, &cell) in self.cell.iter().enumerate().filter(|(_, cell)| **cell != NO_CELL) {
                self.expected[m] *= y[side(cell, first)] / e[side(cell, first)];
            }
        }
        let outcomes = history.outcomes();
        self.variances = variances(outcomes, &self.expected, block_of);
        recentre(outcomes, &mut self.expected, self.variances, block_of);
        self.form.fill(outcomes, &self.expected, self.variances, block_of);
    }

    /// p from the screen, or from draws where the screen is not clear; the cell that stands out most.
    fn p(&mut self, history: &History, block_of: &[u32], settings: Settings) -> (f64, Option<usize>, f64) {
        let observed = self.observed(history, block_of);
        let (screen, cell) = verdict(&observed);
        let evidence = -screen.max(1e-300).ln();
        if screen > CLEAR || cell.is_none() {
            return (screen, cell, evidence);
        }
        let form = &self.form;
        // u' = u − (a g)(Σu/Σ a g)
        let (mut u_all, mut weight) = (0.0, 0.0);
        for (m, &h) in history.heat_of.iter().enumerate() {
            u_all += form.u[m];
            weight += form.a[m] * form.g[h as usize];
        }
        let mean = u_all / weight;
        let mut order: Vec<u32> = Vec::new();
        let draws: Vec<f64> = (1..=settings.first_draws(history) as u64)
            .map(|b| {
                order.clear();
                order.extend(0..history.heats() as u32);
                Chance::of_draw(settings.seed, b).shuffle(&mut order);
                let mut cells = Cells { w: weight, ..Cells::default() };
                let mut place = 0;
                for &h in &order {
                    let h = h as usize;
                    let (g, f) = (form.g[h], form.f[h]);
                    let mut sums = [0.0; CELLS];
                    for m in history.heat_start[h]..history.heat_start[h + 1] {
                        let cell = usize::from(self.cell[place]);
                        place += 1;
                        if cell < CELLS {
                            cells.u[cell] += form.u[m] - form.a[m] * g * mean;
                            sums[cell] += form.a[m];
                        }
                    }
                    for (cell, a) in sums.into_iter().enumerate().filter(|(_, a)| *a > 0.0) {
                        cells.i[cell] += a - f * a * a;
                        cells.c[cell] += g * a;
                    }
                }
                cells.take_out_singles();
                -verdict(&cells).0.max(1e-300).ln()
            })
            .collect();
        (p_value(evidence, &draws, LEAST_SCALE), cell, evidence)
    }

    fn observed(&self, history: &History, block_of: &[u32]) -> Cells {
        let form = &self.form;
        let mut cells = Cells::default();
        let mut first = 0;
        for (b, of_block) in block_of.chunk_by(|a, b| a == b).enumerate() {
            let mut block = [0.0; CELLS];
            for h in first..first + of_block.len() {
                let mut sums = [0.0; CELLS];
                for m in history.heat_start[h]..history.heat_start[h + 1] {
                    cells.w += form.a[m] * form.g[h] * form.g_block[b];
                    let cell = usize::from(self.cell[m]);
                    if cell < CELLS {
                        cells.u[cell] += form.u[m];
                        sums[cell] += form.a[m];
                    }
                }
                for (cell, a) in sums.into_iter().enumerate().filter(|(_, a)| *a > 0.0) {
                    cells.i[cell] += a - form.f[h] * a * a;
                    cells.c[cell] += form.g[h] * form.g_block[b] * a;
                    block[cell] += form.g[h] * a;
                }
            }
            for (cell, a) in block.into_iter().enumerate() {
                cells.i[cell] -= form.f_block[b] * a * a;
            }
            first += of_block.len();
        }
        cells
    }
}

impl Cells {
    /// Takes out of each cell's U what the two factors do singly, as the fit does for the history itself.
    fn take_out_singles(&mut self) {
        let (mut row, mut column, mut all) = ([[0.0; 2]; MOST_LEVELS], [[0.0; 2]; MOST_LEVELS], 0.0);
        for cell in 0..CELLS {
            for (sum, term) in [self.u[cell], self.c[cell]].into_iter().enumerate() {
                row[cell / MOST_LEVELS][sum] += term;
                column[cell % MOST_LEVELS][sum] += term;
            }
            all += self.u[cell];
        }
        for cell in (0..CELLS).filter(|&cell| self.c[cell] > 0.0) {
            let ([u_row, c_row], [u_column, c_column]) =
                (row[cell / MOST_LEVELS], column[cell % MOST_LEVELS]);
            self.u[cell] -= self.c[cell] * (u_row / c_row + u_column / c_column - all / self.w);
        }
    }
}

/// λ of each cell: what fitting the two factors singly leaves of a cell's variance,
/// [1 − w/w_a − w/w_b + w/W]/(1 − w/W), between 0.05 and 1.
fn shrinkage(cells: &Cells) -> [f64; CELLS] {
    let (mut row, mut column) = ([0.0; MOST_LEVELS], [0.0; MOST_LEVELS]);
    for (cell, c) in cells.c.iter().enumerate() {
        row[cell / MOST_LEVELS] += c;
        column[cell % MOST_LEVELS] += c;
    }
    std::array::from_fn(|cell| {
        let (c, w) = (cells.c[cell], cells.w);
        if c <= 0.0 {
            return 1.0;
        }
        let rest = 1.0 - c / row[cell / MOST_LEVELS] - c / column[cell % MOST_LEVELS] + c / w;
        let lambda = rest / (1.0 - c / w);
        if lambda.is_finite() { lambda.clamp(0.05, 1.0) } else { 0.05 }
    })
}

/// The analytic p of the largest score over the eligible cells, and its cell. The sum of squares is no
/// use here: fitting the two factors singly ties the cells together, in a two by two table to one.
fn verdict(cells: &Cells) -> (f64, Option<usize>) {
    let shrink = shrinkage(cells);
    let (mut best, mut count) = ((f64::NEG_INFINITY, None), 0usize);
    for cell in 0..CELLS {
        let (c, w) = (cells.c[cell], cells.w);
        let v = (cells.i[cell] - c * c / w) * shrink[cell];
        let Some((r, e)) = signed_root(cells.u[cell], v, c / w) else { continue };
        if e >= ELIGIBLE {
            count += 1;
            if r > best.0 {
                best = (r, Some(cell));
            }
        }
    }
    (largest_p(best.0, count), best.1)
}

fn pair_row(history: &History, table: &Table, pair: &Pair<'_>, cell: usize) -> Cause {
    let [a, b] = pair.sides;
    let inside = |m: usize| usize::from(table.cell[m]) == cell;
    let sides: Vec<Membership> = (0..history.moulds())
        .map(|m| match usize::from(table.cell[m]) {
            c if c >= CELLS => Membership::Unknown,
            c if c == cell => Membership::In,
            _ => Membership::Out,
        })
        .collect();
    let effect = fit_set(history, &table.expected, &sides).effect;
    let mut groups = [BladeGroup::default(); CELLS];
    let mut last = [u32::MAX; CELLS];
    for m in (0..history.moulds()).filter(|&m| usize::from(table.cell[m]) < CELLS) {
        let group = &mut groups[usize::from(table.cell[m])];
        group.blades += history.n[m] as usize;
        group.with += history.y[m] as usize;
        group.moulds += 1;
        let heat = &mut last[usize::from(table.cell[m])];
        group.heats += usize::from(*heat != history.heat_of[m]);
        *heat = history.heat_of[m];
    }
    let level = |cell: usize| {
        let (one, two) = (&a.levels[cell / MOST_LEVELS], &b.levels[cell % MOST_LEVELS]);
        format!("{one} with {two}")
    };
    let mut outside = BladeGroup::default();
    let mut last = u32::MAX;
    for m in (0..history.moulds()).filter(|&m| usize::from(table.cell[m]) < CELLS && !inside(m)) {
        outside.blades += history.n[m] as usize;
        outside.with += history.y[m] as usize;
        outside.moulds += 1;
        outside.heats += usize::from(last != history.heat_of[m]);
        last = history.heat_of[m];
    }
    let rates: Vec<String> = (0..CELLS)
        .filter(|&c| groups[c].blades > 0)
        .map(|c| format!("{}: {} of {}", level(c), groups[c].with, groups[c].blades))
        .collect();
    let known = table.cell.iter().filter(|c| **c != NO_CELL).count();
    let heats = history.heats();
    let name = format!("{} with {}", a.factor.name, b.factor.name);
    // one test that was asked for; what the interval does not bear out is not called shown
    let stands = effect.low.is_some_and(|low| low > 1.0);
    let few = heats < FEWEST_HEATS;
    let flagged = stands && !few && pair.p < SHOWN;
    // a figure is right or absent
    let p = if few { f64::NAN } else { pair.p };
    let mut notes = vec![format!(
        "Asked for by name. The ratio is beyond what the two do singly. With the defect: {}.",
        rates.join("; ")
    )];
    if !stands && !few && pair.p < SHOWN {
        notes.push("Its interval leaves 1 open, so it is not shown, whatever q is.".into());
    }
    if few {
        notes.push(format!(
            "{heats} heats: with fewer than {FEWEST_HEATS} no p of a pair can be trusted; none is given."
        ));
    }
    let mut row = Cause {
        rank: 1,
        rank_unweighted: 1,
        factor: name,
        level: Some(level(cell)),
        unit: if pair.sides.iter().all(|s| s.factor.kind == FactorKind::Heat) { "heat" } else { "mould" },
        kind: "level",
        side: None,
        rate_in: groups[cell].rate(),
        rate_out: outside.rate(),
        inside: groups[cell],
        outside,
        ratio: effect.ratio,
        interval: [effect.low, effect.high],
        p,
        q: p,
        weight: 1.0,
        q_unweighted: p,
        explained: None,
        explained_interval: [None; 2],
        share_of_belief: 0.0,
        inseparable_from: Vec::new(),
        flagged,
        shortlisted: false,
        explained_by: None,
        wording: "",
        period: false,
        effective_expected: None,
        effective_observed: None,
        evidence: pair.evidence,
        known_moulds: known,
        note: Some(notes.join(" ")),
    };
    row.wording = row.word();
    row
}
