//! The published tables of single sampling, normal inspection (MIL-STD-105E of 1989, Tables I and II-A;
//! ISO 2859-1 has the same plans).
//!
//! Table II-A is one pattern along its diagonals, so it is kept as the pattern. AQL 0.65 to 15 and letters A
//! to Q were compared cell by cell with a printed extract; the rest, and the code letters of levels other
//! than II, are from memory.

/// An inspection level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InspectionLevel {
    /// Special level S-1.
    S1,
    /// Special level S-2.
    S2,
    /// Special level S-3.
    S3,
    /// Special level S-4.
    S4,
    /// General level I.
    I,
    /// General level II, the usual one.
    II,
    /// General level III.
    III,
}

impl InspectionLevel {
    /// Reads a level as it is written, `II` or `S-3`.
    ///
    /// # Errors
    /// Anything else.
    ///
    /// ```
    /// use knowledge::sampling::published::InspectionLevel;
    /// assert_eq!(InspectionLevel::read("S-3"), Ok(InspectionLevel::S3));
    /// ```
    pub fn read(text: &str) -> Result<Self, String> {
        match text.trim().to_ascii_uppercase().replace('-', "").as_str() {
            "S1" => Ok(Self::S1),
            "S2" => Ok(Self::S2),
            "S3" => Ok(Self::S3),
            "S4" => Ok(Self::S4),
            "I" | "1" => Ok(Self::I),
            "II" | "2" => Ok(Self::II),
            "III" | "3" => Ok(Self::III),
            _ => Err(format!("{text:?} is no inspection level; there are I, II, III, S-1, S-2, S-3, S-4")),
        }
    }
}

/// The code letters, in order; I and O are not used.
pub const LETTERS: [char; 16] =
    ['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'Q', 'R'];

/// The sample size of each letter.
const SIZES: [u64; 16] = [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000];

/// The acceptable quality levels, in per cent or nonconformities per hundred.
pub const AQLS: [f64; 26] = [
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0,
    25.0, 40.0, 65.0, 100.0, 150.0, 250.0, 400.0, 650.0, 1000.0,
];

/// The largest lot of each row of Table I, and its letters for S-1, S-2, S-3, S-4, I, II, III.
const TABLE_I: [(u64, &[u8; 7]); 15] = [
    (8, b"AAAAAAB"),
    (15, b"AAAAABC"),
    (25, b"AABBBCD"),
    (50, b"ABBCCDE"),
    (90, b"BBCCCEF"),
    (150, b"BBCDDFG"),
    (280, b"BCDEEGH"),
    (500, b"BCDEFHJ"),
    (1_200, b"CCEFGJK"),
    (3_200, b"CDEGHKL"),
    (10_000, b"CDFGJLM"),
    (35_000, b"CDFHKMN"),
    (150_000, b"DEGJLNP"),
    (500_000, b"DEGJMPQ"),
    (u64::MAX, b"DEHKNQR"),
];

/// A cell of Table II-A.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TableCell {
    /// Acceptance and rejection number.
    Plan(u64, u64),
    /// Use the first plan above, with its sample size.
    Up,
    /// Use the first plan below, with its sample size.
    Down,
}

/// A plan found in the tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PublishedPlan {
    /// The letter of the lot's size and level.
    pub letter_of_lot: char,
    /// The letter of the plan, after arrows.
    pub letter: char,
    /// The sample size; where it is not below the lot, every piece is inspected.
    pub n: u64,
    /// Acceptance number.
    pub accept: u64,
    /// Rejection number.
    pub reject: u64,
}

/// The code letter of a lot size and level (Table I).
///
/// # Errors
/// A lot of fewer than two pieces.
///
/// ```
/// use knowledge::sampling::published::{InspectionLevel, letter};
/// assert_eq!(letter(600, InspectionLevel::II), Ok('J'));
/// ```
pub fn letter(lot: u64, level: InspectionLevel) -> Result<char, String> {
    if lot < 2 {
        return Err(format!("a lot of {lot}: the tables begin at 2; inspect every piece"));
    }
    let row = TABLE_I.partition_point(|(largest, _)| *largest < lot);
    Ok(char::from(TABLE_I[row].1[level as usize]))
}

/// The cell of a letter and an AQL (Table II-A).
///
/// # Errors
/// No such letter or AQL.
///
/// ```
/// use knowledge::sampling::published::{TableCell, cell};
/// assert_eq!(cell('J', 2.5), Ok(TableCell::Plan(5, 6)));
/// ```
pub fn cell(letter: char, aql: f64) -> Result<TableCell, String> {
    Ok(at(row_of(letter)?, column_of(aql)?))
}

/// The plan of a lot: its letter, then the cell, then along the arrow to the first plan. An arrow that
/// leaves the table (A at 10, R at 0.015) turns round, as the standard's own long arrows do.
///
/// # Errors
/// A lot of fewer than two pieces, an AQL that the table does not have.
///
/// ```
/// use knowledge::sampling::published::{InspectionLevel, plan};
/// let found = plan(600, InspectionLevel::II, 0.65).unwrap();
/// assert_eq!((found.letter, found.n, found.accept, found.reject), ('J', 80, 1, 2));
/// ```
pub fn plan(lot: u64, level: InspectionLevel, aql: f64) -> Result<PublishedPlan, String> {
    let letter_of_lot = letter(lot, level)?;
    let (mut row, column) = (row_of(letter_of_lot)?, column_of(aql)?);
    let mut up = at(row, column) == TableCell::Up;
    // one way and, at most, once back
    for _ in 0..3 * LETTERS.len() {
        if let TableCell::Plan(accept, reject) = at(row, column) {
            return Ok(PublishedPlan { letter_of_lot, letter: LETTERS[row], n: SIZES[row], accept, reject });
        }
        if (up && row == 0) || (!up && row + 1 == LETTERS.len()) {
            up = !up;
        }
        row = if up { row - 1 } else { row + 1 };
    }
    Err(format!("the table has no plan for letter {letter_of_lot} at AQL {aql}"))
}

fn row_of(letter: char) -> Result<usize, String> {
    LETTERS
        .iter()
        .position(|l| *l == letter)
        .ok_or_else(|| format!("{letter:?} is no code letter; there are A to R without I and O"))
}

fn column_of(aql: f64) -> Result<usize, String> {
    AQLS.iter().position(|a| (a - aql).abs() <= 1e-9 * a).ok_or_else(|| {
        let all: Vec<String> = AQLS.iter().map(f64::to_string).collect();
        format!("AQL {aql} is not in the table, which has {}", all.join(", "))
    })
}

/// The pattern: along each diagonal first arrows down, then 0/1, one arrow each way, then rising numbers.
fn at(row: usize, column: usize) -> TableCell {
    // letter A has 0/1 at AQL 6.5, the fifteenth column
    const ZERO: usize = 14;
    const ACCEPT: [u64; 10] = [1, 2, 3, 5, 7, 10, 14, 21, 30, 44];
    // the two largest numbers stand at letters A to E only
    let largest = if row < 5 { 10 } else { 8 };
    match (row + column).checked_sub(ZERO) {
        None | Some(2) => TableCell::Down,
        Some(0) => TableCell::Plan(0, 1),
        Some(1) => TableCell::Up,
        Some(d) if d - 3 < largest => TableCell::Plan(ACCEPT[d - 3], ACCEPT[d - 3] + 1),
        Some(_) => TableCell::Up,
    }
}
