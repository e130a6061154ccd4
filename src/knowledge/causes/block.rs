//! The block form: time in blocks of heats instead of drift models. The coverage of the intervals was
//! measured with it, so effects and pairs use it.

use crate::causes::components::Outcomes;
use crate::causes::components::quotient;

/// Variances of moulds, heats and time blocks, on the relative scale.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Variances {
    pub mould: f64,
    pub heat: f64,
    pub block: f64,
}

/// K = round(H/25) blocks, between 4 and 40, of equal numbers of consecutive heats: block ⌊hK/H⌋.
pub(crate) fn blocks(heats: usize) -> Vec<u32> {
    let count = ((heats as f64 / 25.0).round() as usize).clamp(4, 40);
    (0..heats).map(|h| (h * count / heats) as u32).collect()
}

/// Moment estimates: κ² = max(0, c3), τ² = max(0, c2 − κ²), σ² = max(0, c1 − τ² − κ²).
pub(crate) fn variances(outcomes: Outcomes<'_>, e: &[f64], block_of: &[u32]) -> Variances {
    let moments = outcomes.moments(e);
    let (mut up, mut down, mut first, mut single) = (0.0, 0.0, 0, true);
    for of_block in block_of.chunk_by(|a, b| a == b) {
        let (mut r_block, mut e_block) = (0.0, 0.0);
        for w in outcomes.heat_start[first..first + of_block.len() + 1].windows(2) {
            let e_heat: f64 = e[w[0]..w[1]].iter().sum();
            let r_heat = outcomes.y[w[0]..w[1]].iter().sum::<f64>() - e_heat;
            up -= r_heat * r_heat;
            down -= e_heat * e_heat;
            r_block += r_heat;
            e_block += e_heat;
        }
        up += r_block * r_block;
        down += e_block * e_block;
        single &= of_block.len() == 1;
        first += of_block.len();
    }
    let block = if single { 0.0 } else { quotient(up, down).max(0.0) };
    let heat = (moments.c2 - block).max(0.0);
    Variances { mould: (moments.c1 - heat - block).max(0.0), heat, block }
}

/// U, C and I of a set, with Σu and W over all moulds.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct BlockScore {
    pub u: f64,
    pub c: f64,
    pub i: f64,
    pub u_all: f64,
    pub w: f64,
}

impl BlockScore {
    /// V = I − C²/W.
    pub fn v(&self) -> f64 {
        self.i - self.c * self.c / self.w
    }
}

/// The score of the set (or number) x of each mould, in one pass:
/// u = s − a f_h S_h − a g_h f_b S_b, w = a g_h g_b,
/// I = Σx²a − Σ_h f_h(Σxa)² − Σ_b f_b(Σ_h g_h Σxa)².
pub(crate) fn block_score(
    outcomes: Outcomes<'_>,
    e: &[f64],
    variances: Variances,
    block_of: &[u32],
    x: impl Fn(usize) -> f64,
) -> BlockScore {
    let mut score = BlockScore::default();
    let mut first = 0;
    for of_block in block_of.chunk_by(|a, b| a == b) {
        let (mut a_block, mut s_block, mut c_block) = (0.0, 0.0, 0.0);
        for w in outcomes.heat_start[first..first + of_block.len() + 1].windows(2) {
            let (mut whole, mut sum, mut xa) = (0.0, 0.0, 0.0);
            for m in w[0]..w[1] {
                let (a, s) = outcomes.weight(m, e[m], variances.mould);
                let x = x(m);
                whole += a;
                sum += s;
                xa += x * a;
                score.u += x * s;
                score.i += x * x * a;
            }
            let g = 1.0 / (1.0 + variances.heat * whole);
            let f = variances.heat * g;
            score.u -= f * sum * xa;
            score.i -= f * xa * xa;
            a_block += g * whole;
            s_block += g * sum;
            c_block += g * xa;
        }
        let g = 1.0 / (1.0 + variances.block * a_block);
        let f = variances.block * g;
        score.u -= f * s_block * c_block;
        score.i -= f * c_block * c_block;
        score.c += g * c_block;
        score.u_all += g * s_block;
        score.w += g * a_block;
        first += of_block.len();
    }
    score
}

/// Shifts the expected counts until the weighted excess vanishes: at most two updates.
pub(crate) fn recentre(outcomes: Outcomes<'_>, e: &mut [f64], variances: Variances, block_of: &[u32]) {
    for _ in 0..2 {
        let all = block_score(outcomes, e, variances, block_of, |_| 1.0);
        let mu = all.u_all / all.w;
        if mu.abs() < 1e-6 {
            break;
        }
        e.iter_mut().for_each(|e| *e *= (1.0 + mu).clamp(0.5, 2.0));
    }
}

/// The block form mould by mould, for sets that are many.
#[derive(Clone, Debug, Default)]
pub(crate) struct BlockForm {
    pub a: Vec<f64>,
    pub u: Vec<f64>,
    /// By heat.
    pub g: Vec<f64>,
    pub f: Vec<f64>,
    /// By block.
    pub g_block: Vec<f64>,
    pub f_block: Vec<f64>,
}

impl BlockForm {
    pub fn fill(&mut self, outcomes: Outcomes<'_>, e: &[f64], variances: Variances, block_of: &[u32]) {
        outcomes.weigh(e, variances.mould, &mut self.a, &mut self.u);
        self.g.clear();
        self.f.clear();
        self.g_block.clear();
        self.f_block.clear();
        let mut first = 0;
        for of_block in block_of.chunk_by(|a, b| a == b) {
            let heats = first..first + of_block.len();
            let (mut a_block, mut s_block) = (0.0, 0.0);
            for w in outcomes.heat_start[heats.start..heats.end + 1].windows(2) {
                let whole: f64 = self.a[w[0]..w[1]].iter().sum();
                let sum: f64 = self.u[w[0]..w[1]].iter().sum();
                let g = 1.0 / (1.0 + variances.heat * whole);
                let f = variances.heat * g;
                (w[0]..w[1]).for_each(|m| self.u[m] -= self.a[m] * f * sum);
                a_block += g * whole;
                s_block += g * sum;
                self.g.push(g);
                self.f.push(f);
            }
            let g_block = 1.0 / (1.0 + variances.block * a_block);
            let f_block = variances.block * g_block;
            for h in heats.clone() {
                let of_heat = outcomes.heat_start[h]..outcomes.heat_start[h + 1];
                for m in of_heat {
                    self.u[m] -= self.a[m] * self.g[h] * f_block * s_block;
                }
            }
            self.g_block.push(g_block);
            self.f_block.push(f_block);
            first = heats.end;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::causes::score::signed_root;
    use crate::stats::dist::normal_sf;

    #[track_caller]
    fn near(value: f64, printed: f64) {
        assert!((value - printed).abs() < 6e-7, "{value} is not {printed}");
    }

    fn level(score: BlockScore) -> (f64, f64) {
        signed_root(score.u, score.v(), score.c / score.w).unwrap()
    }

    fn even(outcomes: Outcomes<'_>) -> Vec<f64> {
        let rate = outcomes.y.iter().sum::<f64>() / outcomes.n.iter().sum::<f64>();
        outcomes.n.iter().map(|n| n * rate).collect()
    }

    const A: Outcomes<'static> = Outcomes {
        n: &[10.; 8],
        y: &[0., 1., 3., 2., 0., 0., 1., 5.],
        heat_start: &[0, 2, 4, 6, 8],
        counts: false,
    };
    const A_MASK: [f64; 8] = [0., 1., 0., 1., 0., 0., 1., 1.];

    #[test]
    fn eight_moulds_without_blocks() {
        let e = even(A);
        let given = Variances { mould: 1.0, heat: 0.5, block: 0.0 };
        let score = block_score(A, &e, given, &[0; 4], |m| A_MASK[m]);
        near(score.w, 3.243243);
        near(score.u, 0.810811);
        near(score.i, 1.898034);
        near(score.c, 1.621622);
        near(score.v(), 1.087224);
        let (r, e) = level(score);
        near(e, 2.174447);
        near(r, 0.787101);
        // moment estimates without blocks
        let found = variances(A, &even(A), &[0, 1, 2, 3]);
        near(found.mould, 0.506173);
        near(found.heat, 0.222222);
    }

    #[test]
    fn eight_moulds_in_two_blocks() {
        let given = Variances { mould: 1.0, heat: 0.5, block: 0.3 };
        let score = block_score(A, &even(A), given, &[0, 0, 1, 1], |m| A_MASK[m]);
        near(score.w, 2.181818);
        near(score.i, 1.632678);
        near(score.c, 1.090909);
        near(score.u, 0.810811);
        near(score.v(), 1.087224);
        near(level(score).1, 2.174447);
        near(level(score).0, 0.787101);
    }

    /// Weil 1970, Food Cosmet. Toxicol. 8:177-182: survivors of litters; a death is the defect, each
    /// litter a mould and a heat of its own.
    #[test]
    fn litters() {
        let size = [
            13., 12., 9., 9., 8., 8., 13., 12., 10., 10., 9., 13., 5., 7., 10., 10., 12., 11., 10., 9., 11.,
            10., 10., 9., 9., 5., 9., 7., 10., 6., 10., 7.,
        ];
        let alive = [
            13., 12., 9., 9., 8., 8., 12., 11., 9., 9., 8., 11., 4., 5., 7., 7., 12., 11., 10., 9., 10., 9.,
            9., 8., 8., 4., 7., 4., 5., 3., 3., 0.,
        ];
        let dead: Vec<f64> = size.iter().zip(&alive).map(|(n, y)| n - y).collect();
        let starts: Vec<usize> = (0..=32).collect();
        let outcomes = Outcomes { n: &size, y: &dead, heat_start: &starts, counts: false };
        let mut e = even(outcomes);
        let sigma2 = outcomes.moments(&e).c1;
        near(sigma2, 1.111087);
        let given = Variances { mould: sigma2, ..Variances::default() };
        let block_of = vec![0; 32];
        recentre(outcomes, &mut e, given, &block_of);
        let score = block_score(outcomes, &e, given, &block_of, |m| f64::from(m >= 16));
        near(score.w, 21.229451);
        near(score.u, 4.285228);
        near(score.v(), 5.306795);
        let (r, e) = level(score);
        near(e, 10.504946);
        near(r, 1.884248);
        assert!((normal_sf(r) - 0.0298).abs() < 5e-5);
    }

    #[test]
    fn unequal_moulds_recentred() {
        let outcomes = Outcomes {
            n: &[8., 8., 6., 8., 4., 8., 8., 7., 8., 8.],
            y: &[0., 2., 1., 3., 0., 0., 1., 4., 0., 1.],
            heat_start: &[0, 2, 5, 7, 9, 10],
            counts: false,
        };
        let block_of = [0, 0, 1, 1, 1];
        let mask = [1., 0., 0., 1., 1., 0., 0., 1., 0., 0.];
        let given = Variances { mould: 0.8, heat: 0.4, block: 0.2 };
        let mut e = even(outcomes);
        let found = variances(outcomes, &e, &block_of);
        near(found.mould, 0.561216);
        assert_eq!((found.heat, found.block), (0.0, 0.0));
        recentre(outcomes, &mut e, given, &block_of);
        let score = block_score(outcomes, &e, given, &block_of, |m| mask[m]);
        near(score.w, 3.069793);
        near(score.u, 1.217654);
        near(score.i, 1.861677);
        near(score.c, 1.143370);
        near(score.v(), 1.435820);
        let (r, e) = level(score);
        near(e, 2.288007);
        near(r, 0.994715);
    }
}
