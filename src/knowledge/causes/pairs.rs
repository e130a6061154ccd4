//! Two factors that do harm together beyond what each does singly: hints.

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
use crate::causes::judge::Judged;
use crate::causes::judge::Settings;
use crate::causes::parallel_map::parallel_map;
use crate::causes::pvalue::p_value;
use crate::causes::random::Chance;
use crate::causes::ranking::Cause;
use crate::causes::ranking::SHOWN;
use crate::causes::records::MISSING;
use crate::causes::rows::add_note;
use crate::causes::rows::wording;
use crate::causes::scan::largest_p;
use crate::causes::score::ELIGIBLE;
use crate::causes::score::signed_root;
use crate::causes::sets::BladeGroup;
use crate::stats::fdr::benjamini_hochberg;

/// Categories with more levels are not paired.
const MOST_LEVELS: usize = 3;

/// Cells of a pair at most.
const CELLS: usize = MOST_LEVELS * MOST_LEVELS;

/// The code of a mould that is in no cell.
const NO_CELL: u8 = u8::MAX;

/// Pairs that are listed.
const LISTED: usize = 5;

/// A pair whose screen is above this keeps it as its p.
const CLEAR: f64 = 0.1;

/// One pair, scored.
struct Pair {
    factors: [usize; 2],
    cell: Option<usize>,
    p: f64,
    evidence: f64,
}

/// Scores every pair of mould or heat categories of at most three levels, with the leading cause fitted
/// where it is shown; its own family of q. The best few are listed.
pub(crate) fn pairs(
    history: &History,
    judged: &Judged,
    after: Option<&[f64]>,
    settings: Settings,
    causes: &mut [Cause],
) -> Vec<Cause> {
    let small: Vec<usize> = (0..history.factors.len())
        .filter(|&f| {
            let factor = &history.factors[f];
            let laid = matches!(factor.labels, Labels::Heat(_) | Labels::Mould(_));
            judged.scores[f].is_some() && laid && factor.levels.len() <= MOST_LEVELS
        })
        .collect();
    let codes: Vec<Vec<u8>> = small.iter().map(|&f| codes(history, &history.factors[f])).collect();
    let all: Vec<(usize, usize)> =
        (0..small.len()).flat_map(|i| (i + 1..small.len()).map(move |j| (i, j))).collect();
    let block_of = blocks(history.heats());
    let expected = after.unwrap_or(&history.expected);
    settings.more_to_do(all.len());
    let scored = parallel_map(settings.threads, all.len(), Table::default, |table, place| {
        let (i, j) = all[place];
        if !settings.go_on() {
            return Pair { factors: [small[i], small[j]], cell: None, p: 1.0, evidence: 0.0 };
        }
        table.fill(&codes[i], &codes[j]);
        table.fit(history, expected, &block_of);
        let (p, cell, evidence) = table.p(history, &block_of, settings);
        Pair { factors: [small[i], small[j]], cell, p, evidence }
    });
    let p: Vec<f64> = scored.iter().map(|pair| pair.p).collect();
    let q = benjamini_hochberg(&p).unwrap_or_else(|_| vec![1.0; p.len()]);
    let mut order: Vec<usize> = (0..scored.len()).filter(|&i| scored[i].cell.is_some()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]).then(scored[b].evidence.total_cmp(&scored[a].evidence)));
    order.truncate(LISTED);
    let mut rows = Vec::new();
    for (place, i) in order.into_iter().enumerate() {
        let pair = &scored[i];
        let Some(cell) = pair.cell else { continue };
        let at = |f: usize| small.iter().position(|&s| s == f).unwrap_or(0);
        let mut table = Table::default();
        table.fill(&codes[at(pair.factors[0])], &codes[at(pair.factors[1])]);
        table.fit(history, expected, &block_of);
        let mut row = pair_row(history, &table, pair, cell, q[i]);
        row.rank = place + 1;
        if row.flagged {
            for f in pair.factors {
                let name = &history.factors[f].name;
                if let Some(main) = causes.iter_mut().find(|c| c.flagged && c.factor == *name) {
                    add_note(main, &format!("See the pair {}: it may do harm only together.", row.factor));
                }
            }
        }
        rows.push(row);
    }
    rows
}

/// The level of each mould.
fn codes(history: &History, factor: &Factor) -> Vec<u8> {
    let small = |code: u32| if code == MISSING { NO_CELL } else { code as u8 };
    match &factor.labels {
        Labels::Heat(codes) => history.heat_of.iter().map(|&h| small(codes[h as usize])).collect(),
        Labels::Mould(runs) => {
            runs.iter().flat_map(|(moulds, code)| moulds.map(move |_| small(code))).collect()
        }
        _ => vec![NO_CELL; history.moulds()],
    }
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
        let draws: Vec<f64> = (1..=settings.draws(history) as u64)
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
        (p_value(evidence, &draws), cell, evidence)
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

fn pair_row(history: &History, table: &Table, pair: &Pair, cell: usize, q: f64) -> Cause {
    let [a, b] = pair.factors.map(|f| &history.factors[f]);
    let inside = |m: usize| usize::from(table.cell[m]) == cell;
    let effect = fit_set(history, &table.expected, inside).effect;
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
    let name = format!("{} with {}", a.name, b.name);
    Cause {
        rank: 0,
        factor: name,
        level: Some(level(cell)),
        unit: if a.kind == FactorKind::Heat && b.kind == FactorKind::Heat { "heat" } else { "mould" },
        kind: "level",
        rate_in: groups[cell].rate(),
        rate_out: outside.rate(),
        inside: groups[cell],
        outside,
        ratio: effect.ratio,
        interval: [effect.low, effect.high],
        p: pair.p,
        q,
        explained: None,
        explained_interval: [None; 2],
        share_of_belief: 0.0,
        inseparable_from: Vec::new(),
        flagged: q < SHOWN,
        shortlisted: false,
        explained_by: None,
        wording: wording(q),
        effective_expected: 0.0,
        effective_observed: 0.0,
        evidence: pair.evidence,
        known_moulds: known,
        note: Some(format!(
            "A hint. The ratio is beyond what the two do singly. With the defect: {}.",
            rates.join("; ")
        )),
    }
}
