//! Columns in as few bytes as their distinct values need: a decade of them is held while a question is
//! asked.

use std::collections::HashMap;

use crate::causes::records::At;
use crate::causes::records::Column;
use crate::causes::records::Direction;
use crate::causes::records::MISSING;
use crate::causes::records::Values;

/// A column that takes one byte a value where it has few distinct ones, two where it has more.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub struct Packed {
    /// See [`Column::name`].
    pub name: String,
    /// See [`Column::at`].
    pub at: At,
    /// See [`Column::below_detection`].
    pub below_detection: usize,
    /// See [`Column::weight`].
    pub weight: f64,
    /// See [`Column::bonus`].
    pub bonus: f64,
    /// See [`Column::expects`].
    pub expects: Option<Direction>,
    /// See [`Column::limits`].
    pub limits: Vec<f64>,
    cells: Cells,
}

#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
enum Cells {
    Words {
        codes: Codes,
        levels: Vec<String>,
    },
    /// Each an index into `values`.
    Numbers {
        codes: Codes,
        values: Vec<f64>,
    },
    /// Numbers that are nearly all different.
    Plain(Vec<f64>),
    Shares {
        of: Vec<Option<Vec<(u32, f64)>>>,
        levels: Vec<String>,
    },
}

/// More distinct numbers than this are kept as they are.
const MOST_DISTINCT: usize = u16::MAX as usize;

impl Packed {
    /// Packs a column.
    #[must_use]
    pub fn new(column: Column) -> Self {
        let Column { name, at, values, below_detection, weight, bonus, expects, limits } = column;
        let cells = match values {
            Values::Words { codes, levels } => {
                Cells::Words { codes: Codes::new(&codes, levels.len()), levels }
            }
            Values::Numbers(x) => match distinct(&x) {
                Some((codes, values)) => Cells::Numbers { codes: Codes::new(&codes, values.len()), values },
                None => Cells::Plain(x),
            },
            Values::Shares { of, levels } => Cells::Shares { of, levels },
        };
        Self { name, at, below_detection, weight, bonus, expects, limits, cells }
    }

    /// The column as it was.
    #[must_use]
    pub fn open(self) -> Column {
        let values = match self.cells {
            Cells::Words { codes, levels } => Values::Words { codes: codes.all(), levels },
            Cells::Numbers { codes, values } => {
                let of = |i| values.get(codes.get(i) as usize).copied().unwrap_or(f64::NAN);
                Values::Numbers((0..codes.len()).map(of).collect())
            }
            Cells::Plain(x) => Values::Numbers(x),
            Cells::Shares { of, levels } => Values::Shares { of, levels },
        };
        let Self { name, at, below_detection, weight, bonus, expects, limits, .. } = self;
        Column { name, at, values, below_detection, weight, bonus, expects, limits }
    }

    /// Whether it holds numbers.
    #[must_use]
    pub fn is_number(&self) -> bool {
        matches!(self.cells, Cells::Numbers { .. } | Cells::Plain(_))
    }

    /// The number at a place; NaN where it is not recorded or the column holds none.
    #[must_use]
    pub fn number(&self, place: usize) -> f64 {
        let known = match &self.cells {
            Cells::Numbers { codes, values } => values.get(codes.get(place) as usize),
            Cells::Plain(x) => x.get(place),
            Cells::Words { .. } | Cells::Shares { .. } => None,
        };
        known.copied().unwrap_or(f64::NAN)
    }

    /// The values at some places, in that order.
    #[must_use]
    pub fn pick(self, places: &[u32]) -> Self {
        let cells = match self.cells {
            Cells::Words { codes, levels } => Cells::Words { codes: codes.pick(places), levels },
            Cells::Numbers { codes, values } => Cells::Numbers { codes: codes.pick(places), values },
            Cells::Plain(x) => Cells::Plain(places.iter().map(|&i| x[i as usize]).collect()),
            Cells::Shares { mut of, levels } => {
                Cells::Shares { of: places.iter().map(|&i| of[i as usize].take()).collect(), levels }
            }
        };
        Self { cells, ..self }
    }

    /// Makes a value one that was not recorded.
    pub fn hide(&mut self, place: usize) {
        match &mut self.cells {
            Cells::Words { codes, .. } | Cells::Numbers { codes, .. } => codes.hide(place),
            Cells::Plain(x) => x[place] = f64::NAN,
            Cells::Shares { of, .. } => of[place] = None,
        }
    }
}

/// Numbers as indices into their distinct values, if those are few.
fn distinct(x: &[f64]) -> Option<(Vec<u32>, Vec<f64>)> {
    let mut known: HashMap<u64, u32> = HashMap::new();
    let (mut codes, mut values) = (Vec::with_capacity(x.len()), Vec::new());
    let (mut last, mut code) = (0.0, MISSING);
    for &value in x {
        if value.is_nan() {
            codes.push(MISSING);
            continue;
        }
        if code == MISSING || f64::to_bits(last) != value.to_bits() {
            code = *known.entry(value.to_bits()).or_insert_with(|| {
                values.push(value);
                values.len() as u32 - 1
            });
            last = value;
            if values.len() >= MOST_DISTINCT {
                return None;
            }
        }
        codes.push(code);
    }
    Some((codes, values))
}

/// Codes of one, two or four bytes each; the largest of its width is [`MISSING`].
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub struct Codes {
    width: Width,
    #[serde(with = "whole")]
    bytes: Vec<u8>,
}

#[derive(Clone, Copy, Debug, Default, serde::Serialize, serde::Deserialize)]
enum Width {
    #[default]
    One = 1,
    Two = 2,
    Four = 4,
}

impl Codes {
    /// Packs codes below `levels`, and [`MISSING`].
    #[must_use]
    pub fn new(codes: &[u32], levels: usize) -> Self {
        let width = match levels {
            0..=0xff => Width::One,
            0x100..=0xffff => Width::Two,
            _ => Width::Four,
        };
        let mut bytes = Vec::with_capacity(codes.len() * width as usize);
        match width {
            Width::One => bytes.extend(codes.iter().map(|&c| c as u8)),
            Width::Two => bytes.extend(codes.iter().flat_map(|&c| (c as u16).to_le_bytes())),
            Width::Four => bytes.extend(codes.iter().flat_map(|c| c.to_le_bytes())),
        }
        Self { width, bytes }
    }

    /// How many there are.
    pub(crate) fn len(&self) -> usize {
        self.bytes.len() / self.width as usize
    }

    /// The code at a place.
    #[must_use]
    pub fn get(&self, place: usize) -> u32 {
        let b = &self.bytes;
        match self.width {
            Width::One => widened(u32::from(b[place]), u8::MAX.into()),
            Width::Two => {
                widened(u16::from_le_bytes([b[2 * place], b[2 * place + 1]]).into(), u16::MAX.into())
            }
            Width::Four => {
                u32::from_le_bytes([b[4 * place], b[4 * place + 1], b[4 * place + 2], b[4 * place + 3]])
            }
        }
    }

    fn all(&self) -> Vec<u32> {
        (0..self.len()).map(|i| self.get(i)).collect()
    }

    fn pick(&self, places: &[u32]) -> Self {
        let mut bytes = Vec::with_capacity(places.len() * self.width as usize);
        match self.width {
            Width::One => bytes.extend(places.iter().map(|&i| self.bytes[i as usize])),
            width => {
                let width = width as usize;
                let of = |&i: &u32| &self.bytes[i as usize * width..][..width];
                places.iter().for_each(|i| bytes.extend_from_slice(of(i)));
            }
        }
        Self { width: self.width, bytes }
    }

    fn hide(&mut self, place: usize) {
        let width = self.width as usize;
        self.bytes[place * width..][..width].fill(u8::MAX);
    }
}

fn widened(code: u32, missing: u32) -> u32 {
    if code == missing { MISSING } else { code }
}

/// Bytes in one piece, not one by one.
mod whole {
    use std::fmt;

    use serde::de::{Error, Visitor};
    use serde::{Deserializer, Serializer};

    pub fn serialize<S: Serializer>(bytes: &[u8], to: S) -> Result<S::Ok, S::Error> {
        to.serialize_bytes(bytes)
    }

    pub fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<Vec<u8>, D::Error> {
        struct Whole;
        impl Visitor<'_> for Whole {
            type Value = Vec<u8>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("bytes")
            }

            fn visit_bytes<E: Error>(self, bytes: &[u8]) -> Result<Vec<u8>, E> {
                Ok(bytes.to_vec())
            }
        }
        from.deserialize_bytes(Whole)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: Values) -> Column {
        Column { below_detection: 1, weight: 0.25, ..Column::new("c", At::Mould, values) }
    }

    #[test]
    fn numbers_come_back_bit_by_bit() {
        for n in [5_u32, 255, 256, 65_534, 65_535, 70_000] {
            let mut x: Vec<f64> = (0..n).map(|i| f64::from(i) * 0.1 - 3.0).collect();
            x.extend([f64::NAN, -0.0, 0.0, 0.1 + 0.2]);
            let packed = Packed::new(column(Values::Numbers(x.clone())));
            let Values::Numbers(back) = packed.clone().open().values else { unreachable!() };
            let bits = |x: &[f64]| x.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(&back), bits(&x), "{n}");
            let one_by_one: Vec<f64> = (0..x.len()).map(|i| packed.number(i)).collect();
            assert_eq!(bits(&one_by_one), bits(&x), "{n}");
            let Values::Numbers(picked) = packed.pick(&[n + 1, 0, n]).open().values else { unreachable!() };
            assert_eq!(bits(&picked), bits(&[-0.0, -3.0, f64::NAN]));
        }
    }

    #[test]
    fn words_of_every_width_come_back() {
        for n in [1_u32, 255, 256, 65_535, 65_536, 70_000] {
            let levels: Vec<String> = (0..n).map(|i| i.to_string()).collect();
            let mut codes: Vec<u32> = (0..n).rev().collect();
            codes.push(MISSING);
            let mut packed = Packed::new(column(Values::Words { codes: codes.clone(), levels }));
            let Values::Words { codes: back, .. } = packed.clone().open().values else { unreachable!() };
            assert_eq!(back, codes, "{n}");
            packed.hide(0);
            let Values::Words { codes: hidden, .. } = packed.open().values else { unreachable!() };
            assert_eq!(hidden[0], MISSING);
            assert_eq!(hidden[1..], codes[1..]);
        }
    }
}
