//! The published tables of single sampling (MIL-STD-105E of 1989, Tables I, II-A, II-B and II-C; ANSI/ASQ Z1.4
//! has the same; of normal and tightened inspection ISO 2859-1 too, its reduced plans are others).
//!
//! Each table is one pattern along its diagonals, so it is kept as the pattern. All plans are compared with
//! the tables as somebody else typed them, normal ones of AQL 0.65 to 15 also with a printed extract. Above AQL 10, which counts nonconformities and not pieces, only the normal
//! table is kept.

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

/// How strictly lots are inspected; the switching rules lead from one to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Severity {
    /// Normal inspection, where a series of lots begins.
    Normal,
    /// Tightened inspection.
    Tightened,
    /// Reduced inspection.
    Reduced,
}

impl Severity {
    /// As it is written.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::Tightened => "tightened",
            Self::Reduced => "reduced",
        }
    }

    /// Reads a severity as it is written.
    ///
    /// # Errors
    /// Anything else.
    ///
    /// ```
    /// use knowledge::sampling::published::Severity;
    /// assert_eq!(Severity::read("tightened"), Ok(Severity::Tightened));
    /// ```
    pub fn read(text: &str) -> Result<Self, String> {
        [Self::Normal, Self::Tightened, Self::Reduced]
            .into_iter()
            .find(|s| s.word().eq_ignore_ascii_case(text.trim()))
            .ok_or_else(|| format!("{text:?} is no severity; there are normal, tightened, reduced"))
    }

    /// The sample size of each letter. Tightened inspection has one letter more, S.
    fn sizes(self) -> &'static [u64] {
        match self {
            Self::Normal => &SIZES[..16],
            Self::Tightened => &SIZES,
            Self::Reduced => &REDUCED,
        }
    }
}

/// The code letters, in order; I and O are not used.
pub const LETTERS: [char; 16] =
    ['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'Q', 'R'];

/// The sample size of each letter, and of S, which only tightened inspection at AQL 0.025 leads to.
const SIZES: [u64; 17] = [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000, 3150];

/// The same for reduced inspection.
const REDUCED: [u64; 16] = [2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800];

/// The largest AQL of which tightened and reduced plans are kept.
const PIECES: f64 = 10.0;

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
    /// Rejection number. Under reduced inspection there may be a gap between the two: what falls into it is
    /// accepted, and the next lot is inspected normally.
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
    Ok(at(Severity::Normal, row_of(letter)?, column_of(aql)?))
}

/// The plan of a lot under normal inspection. See [`plan_under`].
///
/// # Errors
/// As there.
///
/// ```
/// use knowledge::sampling::published::{InspectionLevel, plan};
/// let found = plan(600, InspectionLevel::II, 0.65).unwrap();
/// assert_eq!((found.letter, found.n, found.accept, found.reject), ('J', 80, 1, 2));
/// ```
pub fn plan(lot: u64, level: InspectionLevel, aql: f64) -> Result<PublishedPlan, String> {
    plan_under(Severity::Normal, lot, level, aql)
}

/// The plan of a lot: its letter, then the cell, then along the arrow to the first plan. An arrow that
/// leaves the table (A at 10, R at 0.015) turns round, as the standard's own long arrows do.
///
/// # Errors
/// A lot of fewer than two pieces, an AQL that the table does not have, or that is above 10 where inspection
/// is not normal.
///
/// ```
/// use knowledge::sampling::published::{InspectionLevel, Severity, plan_under};
/// let found = plan_under(Severity::Reduced, 600, InspectionLevel::II, 0.65).unwrap();
/// assert_eq!((found.letter, found.n, found.accept, found.reject), ('J', 32, 0, 2));
/// ```
pub fn plan_under(
    severity: Severity,
    lot: u64,
    level: InspectionLevel,
    aql: f64,
) -> Result<PublishedPlan, String> {
    let letter_of_lot = letter(lot, level)?;
    let (mut row, column) = (row_of(letter_of_lot)?, column_of(aql)?);
    if severity != Severity::Normal && aql > PIECES {
        return Err(format!("AQL {aql} counts nonconformities; its {} plans are not kept", severity.word()));
    }
    let sizes = severity.sizes();
    let mut up = at(severity, row, column) == TableCell::Up;
    // one way and, at most, once back
    for _ in 0..3 * sizes.len() {
        if let TableCell::Plan(accept, reject) = at(severity, row, column) {
            let letter = LETTERS.get(row).copied().unwrap_or('S');
            return Ok(PublishedPlan { letter_of_lot, letter, n: sizes[row], accept, reject });
        }
        if (up && row == 0) || (!up && row + 1 == sizes.len()) {
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

/// Along each diagonal first arrows down, then 0/1, arrows, then rising numbers, and arrows up where they end.
fn at(severity: Severity, row: usize, column: usize) -> TableCell {
    match severity {
        Severity::Normal => normal(row, column),
        Severity::Tightened => tightened(row, column),
        Severity::Reduced => reduced(row, column),
    }
}

/// Table II-A: letter A has 0/1 at AQL 6.5, the fifteenth column; behind it one arrow each way.
fn normal(row: usize, column: usize) -> TableCell {
    const ACCEPT: [u64; 10] = [1, 2, 3, 5, 7, 10, 14, 21, 30, 44];
    // the two largest numbers stand at letters A to E only
    let largest = if row < 5 { 10 } else { 8 };
    match (row + column).checked_sub(14) {
        None | Some(2) => TableCell::Down,
        Some(0) => TableCell::Plan(0, 1),
        Some(d) if (3..3 + largest).contains(&d) => TableCell::Plan(ACCEPT[d - 3], ACCEPT[d - 3] + 1),
        Some(_) => TableCell::Up,
    }
}

/// Table II-B up to AQL 10: letter B has 0/1 at AQL 6.5, and A nowhere; behind it both arrows lead down.
fn tightened(row: usize, column: usize) -> TableCell {
    const ACCEPT: [u64; 7] = [1, 2, 3, 5, 8, 12, 18];
    match (row + column).checked_sub(15) {
        Some(0) if row > 0 => TableCell::Plan(0, 1),
        None | Some(0..=2) => TableCell::Down,
        Some(d) if d - 3 < ACCEPT.len() => TableCell::Plan(ACCEPT[d - 3], ACCEPT[d - 3] + 1),
        Some(_) => TableCell::Up,
    }
}

/// Table II-C up to AQL 10: as II-A, with gaps between its numbers.
fn reduced(row: usize, column: usize) -> TableCell {
    const PLANS: [(u64, u64); 8] = [(0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13)];
    match (row + column).checked_sub(14) {
        None | Some(2) => TableCell::Down,
        Some(0) => TableCell::Plan(0, 1),
        Some(d) if (3..3 + PLANS.len()).contains(&d) => TableCell::Plan(PLANS[d - 3].0, PLANS[d - 3].1),
        Some(_) => TableCell::Up,
    }
}
