//! Sets and maps of ids: one multiplication instead of a keyed hash, as ids are not chosen by an
//! adversary.

use std::collections::{HashMap, HashSet};
use std::hash::{BuildHasherDefault, Hasher};

/// Spreads an id over the bits.
#[derive(Default, Clone)]
pub struct Spread(u64);

impl Hasher for Spread {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        for b in bytes {
            self.write_u64(u64::from(*b));
        }
    }
    fn write_u64(&mut self, v: u64) {
        self.0 = (self.0.rotate_left(5) ^ v).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 ^= self.0 >> 32;
    }
    fn write_i64(&mut self, v: i64) {
        self.write_u64(v as u64);
    }
}

/// A set of ids.
pub type IdSet = HashSet<i64, BuildHasherDefault<Spread>>;
/// A map from ids.
pub type IdMap<V> = HashMap<i64, V, BuildHasherDefault<Spread>>;
