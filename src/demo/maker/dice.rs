//! Chance, in whole numbers: the same seed gives the same bytes on any machine.

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};

/// A stream of chance.
pub struct Dice(Pcg64Mcg);

impl Dice {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Self {
        Self(Pcg64Mcg::seed_from_u64(seed))
    }

    /// 0 to `n - 1`, by multiplication and shift; the bias for these small `n` is below 1 in 10⁹.
    pub fn below(&mut self, n: u64) -> u64 {
        ((u128::from(self.0.next_u64()) * u128::from(n)) >> 64) as u64
    }

    /// `low` to `high`, both included.
    pub fn from(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high - low + 1)
    }

    /// Around the middle of `low` to `high`, bell-shaped: the mean of four flat draws.
    pub fn bell(&mut self, low: u64, high: u64) -> u64 {
        let n = high - low + 1;
        low + (self.below(n) + self.below(n) + self.below(n) + self.below(n)) / 4
    }

    /// Yes, so many times in a million.
    pub fn yes(&mut self, in_a_million: u64) -> bool {
        self.below(1_000_000) < in_a_million
    }

    /// One of some words.
    pub fn one<'a>(&mut self, words: &[&'a str]) -> &'a str {
        words[self.below(words.len() as u64) as usize]
    }
}
