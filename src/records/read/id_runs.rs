//! Integer keys that mostly follow each other without gaps: a decade of blades in a few bytes.

use serde::{Deserialize, Serialize};

/// Keys, as runs without a gap: the first key of each, and how many keys there are before it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Keys {
    runs: Vec<(i64, u32)>,
    len: u32,
}

impl Keys {
    /// Adds a key.
    pub fn push(&mut self, key: i64) {
        let next = self.runs.last().map(|(first, before)| first.wrapping_add(i64::from(self.len - before)));
        if next != Some(key) {
            self.runs.push((key, self.len));
        }
        self.len += 1;
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.len as usize
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The key at a place.
    pub fn get(&self, place: usize) -> Option<i64> {
        let place = u32::try_from(place).ok().filter(|p| *p < self.len)?;
        let run = self.runs.partition_point(|(_, before)| *before <= place);
        let (first, before) = self.runs.get(run.checked_sub(1)?)?;
        Some(first + i64::from(place - before))
    }

    /// Where a key stands, among keys that rise.
    pub fn place(&self, key: i64) -> Option<usize> {
        let run = self.runs.partition_point(|(first, _)| *first <= key);
        let (first, before) = self.runs.get(run.checked_sub(1)?)?;
        let end = self.runs.get(run).map_or(self.len, |(_, before)| *before);
        let at = key.checked_sub(*first).filter(|at| *at < i64::from(end - before))?;
        Some(*before as usize + usize::try_from(at).ok()?)
    }

    /// All keys in their order.
    pub fn iter(&self) -> impl Iterator<Item = i64> + '_ {
        let ends = self.runs.iter().skip(1).map(|(_, before)| *before).chain([self.len]);
        let run = |(&(first, before), end): (&(i64, u32), u32)| {
            (before..end).map(move |place| first + i64::from(place - before))
        };
        self.runs.iter().zip(ends).flat_map(run)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_with_gaps_come_back() {
        let keys: Vec<i64> = (1..10).chain([20]).chain(40..43).chain([i64::MAX]).collect();
        let mut packed = Keys::default();
        assert!(packed.is_empty() && packed.place(1).is_none() && packed.get(0).is_none());
        keys.iter().for_each(|&k| packed.push(k));
        assert_eq!(packed.iter().collect::<Vec<_>>(), keys);
        assert_eq!(packed.len(), keys.len());
        for (place, &key) in keys.iter().enumerate() {
            assert_eq!((packed.get(place), packed.place(key)), (Some(key), Some(place)));
        }
        assert_eq!(packed.get(keys.len()), None);
        for absent in [i64::MIN, -1, 0, 10, 19, 21, 43, i64::MAX - 1] {
            assert_eq!(packed.place(absent), None, "{absent}");
        }
    }
}
