//! Chance that repeats: PCG-64, unbiased whole numbers, shuffles, normal deviates.

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// The seed that is taken when none is asked for; it is printed with every result.
pub const SEED: u64 = 20_260_101;

/// A stream of chance.
pub struct Chance {
    stream: Pcg64,
    spare: Option<f64>,
}

impl Chance {
    /// The stream of draw `b` of a seed, so that draws can be made in any order. Both are mixed, so that
    /// the draws of neighbouring seeds have nothing in common.
    #[must_use]
    pub fn of_draw(seed: u64, b: u64) -> Self {
        Self { stream: Pcg64::seed_from_u64(mix(mix(seed).wrapping_add(b))), spare: None }
    }

    /// A whole number from 0 to `bound - 1`, without bias; 0 for a bound of 0.
    ///
    /// Source: Lemire 2019, ACM Trans. Model. Comput. Simul. 29(1):3 (multiply and reject).
    pub fn below(&mut self, bound: u64) -> u64 {
        let mut wide = u128::from(self.stream.next_u64()) * u128::from(bound);
        if (wide as u64) < bound {
            let threshold = bound.wrapping_neg() % bound;
            while (wide as u64) < threshold {
                wide = u128::from(self.stream.next_u64()) * u128::from(bound);
            }
        }
        (wide >> 64) as u64
    }

    /// Uniform on [0, 1), in steps of 2^-53.
    pub fn uniform(&mut self) -> f64 {
        (self.stream.next_u64() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// A standard normal deviate, by the polar method (Marsaglia and Bray 1964).
    pub fn normal(&mut self) -> f64 {
        if let Some(z) = self.spare.take() {
            return z;
        }
        loop {
            let (u, v) = (2.0 * self.uniform() - 1.0, 2.0 * self.uniform() - 1.0);
            let s = u * u + v * v;
            if s < 1.0 && s > 0.0 {
                let scale = (-2.0 * s.ln() / s).sqrt();
                self.spare = Some(v * scale);
                return u * scale;
            }
        }
    }

    /// Shuffles in place: Fisher and Yates, from the end.
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for i in (1..items.len()).rev() {
            let j = self.below(i as u64 + 1) as usize;
            items.swap(i, j);
        }
    }
}

/// A whole number onto another one, one to one, each bit hanging on every bit: the output function of
/// SplitMix64 (Steele, Lea and Flood 2014, OOPSLA, Fast splittable pseudorandom number generators).
fn mix(x: u64) -> u64 {
    let x = x.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mixing_is_that_of_splitmix64() {
        // first outputs of SplitMix64 from state 1234567, as printed with the reference implementation
        // (rosettacode.org, "Pseudo-random numbers/Splitmix64")
        let state = |i: u64| 1_234_567u64.wrapping_add(i.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let printed = [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423];
        assert_eq!([0, 1, 2].map(|i| mix(state(i))), printed);
    }

    #[test]
    fn neighbouring_seeds_share_no_draw() {
        let mut seen = std::collections::HashSet::new();
        for seed in 0..8 {
            for b in 1..=199 {
                assert!(seen.insert(Chance::of_draw(seed, b).stream.next_u64()), "{seed} {b}");
            }
        }
    }

    #[test]
    fn every_order_of_three_comes_equally_often() {
        let mut seen = std::collections::HashMap::new();
        for b in 0..6000 {
            let mut items = [0, 1, 2];
            Chance::of_draw(SEED, b).shuffle(&mut items);
            *seen.entry(items).or_insert(0u32) += 1;
        }
        assert_eq!(seen.len(), 6);
        // six cells of 1,000 each: chi-square on 5 degrees of freedom, 25.7 at one in 10,000
        let chi2: f64 = seen.values().map(|&n| (f64::from(n) - 1000.0).powi(2) / 1000.0).sum();
        assert!(chi2 < 25.7, "{chi2}");
    }

    #[test]
    fn normal_deviates_have_their_moments() {
        let mut chance = Chance::of_draw(SEED, 1);
        let z: Vec<f64> = (0..40_000).map(|_| chance.normal()).collect();
        let mean = z.iter().sum::<f64>() / z.len() as f64;
        let square = z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64;
        // standard errors 0.005 and 0.0071: five of them
        assert!(mean.abs() < 0.025 && (square - 1.0).abs() < 0.036, "{mean} {square}");
    }
}
