//! Codes of a million rows in two bytes each, as long as they are few.

use crate::read::columns::NO_WORD;

/// A growing list of codes and [`NO_WORD`]: two bytes each until one is too large for that.
#[derive(Clone, Debug)]
pub struct CompactCodes(Width);

#[derive(Clone, Debug)]
enum Width {
    Two(Vec<u16>),
    Four(Vec<u32>),
}

impl Default for CompactCodes {
    fn default() -> Self {
        Self(Width::Two(Vec::new()))
    }
}

impl CompactCodes {
    /// How many there are.
    pub fn len(&self) -> usize {
        match &self.0 {
            Width::Two(codes) => codes.len(),
            Width::Four(codes) => codes.len(),
        }
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The code at a place; [`NO_WORD`] where there is none.
    pub fn get(&self, place: usize) -> u32 {
        match &self.0 {
            Width::Two(codes) => {
                codes.get(place).filter(|c| **c != u16::MAX).map_or(NO_WORD, |&c| u32::from(c))
            }
            Width::Four(codes) => codes.get(place).copied().unwrap_or(NO_WORD),
        }
    }

    /// Puts a code at a place, or after the last.
    pub fn put(&mut self, place: usize, code: u32) {
        if let Width::Two(_) = &self.0 {
            if code != NO_WORD && code >= u32::from(u16::MAX) {
                self.0 = Width::Four((0..self.len()).map(|i| self.get(i)).collect());
            }
        }
        match &mut self.0 {
            Width::Two(codes) => put(codes, place, code as u16),
            Width::Four(codes) => put(codes, place, code),
        }
    }
}

fn put<T>(codes: &mut Vec<T>, place: usize, code: T) {
    match codes.get_mut(place) {
        Some(at) => *at = code,
        None => codes.push(code),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_come_back_from_both_widths() {
        let mut codes = CompactCodes::default();
        let mut expected = Vec::new();
        for code in [0, NO_WORD, 65_534, 3, 65_535, NO_WORD, 4_000_000_000] {
            codes.put(codes.len(), code);
            expected.push(code);
            assert_eq!((0..codes.len()).map(|i| codes.get(i)).collect::<Vec<_>>(), expected);
        }
        codes.put(0, 7);
        assert_eq!((codes.get(0), codes.get(99)), (7, NO_WORD));
    }
}
