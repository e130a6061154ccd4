//! A maker of invented foundry histories of any size, in the form of a bundle. Same plan, same bytes.
//!
//! Time runs from heat to heat: four a day, five days a week. Everything that a heat's moulds need
//! (lots, pots, batches, runs) is made when it is first used and kept until it is used up, so that
//! memory does not grow with the history.

pub(crate) mod book;
pub(crate) mod definitions;
pub(crate) mod dice;
pub(crate) mod inspect;
pub(crate) mod melt;
pub(crate) mod sheet;
pub(crate) mod shell;

pub use crate::demo::maker::book::Open;

use std::io;

use crate::demo::maker::book::Book;
use crate::demo::maker::dice::Dice;

/// What to make.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// Moulds; each holds eight blades.
    pub moulds: u32,
    pub seed: u64,
}

/// What was made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Made {
    pub moulds: u32,
    pub blades: u32,
    pub heats: u32,
    pub inspections: u64,
    pub findings: u64,
}

const DAY: i64 = 1_440;
/// 2021-03-01T00:00:00Z, a Monday, in minutes since 1970.
const FIRST_DAY: i64 = 26_909_280;
/// Minutes from the last pour to the time at which the clock of a made history stands still.
const CLOCK_AFTER: i64 = 60 * DAY;
/// Blades of a mould.
const POSITIONS: u32 = 8;
/// Heats at the end of the history whose blades are still being worked on.
const UNFINISHED: u32 = 6;

/// The foundry as it stands: what is in use, and how many of each there have been.
struct Shop {
    book: Book,
    dice: Dice,
    plan: Plan,
    heats: u32,
    made: Made,
    shell: shell::Shell,
    melt: melt::Melt,
    release: inspect::Release,
}

/// A heat with its place in time.
#[derive(Clone, Copy)]
struct Heat {
    /// From 1.
    number: u32,
    /// Its first pour, in minutes since 1970.
    at: i64,
    /// Position of its alloy.
    alloy: usize,
    /// Position of the part cast from it.
    part: usize,
    /// Degrees, in tenths, that its pours lie above the usual.
    hot: u64,
    /// Pyrometer in use.
    pyrometer: &'static str,
}

/// Makes a history. `open` gives the place to write the file of each kind to.
///
/// # Errors
/// A file cannot be opened or written.
///
/// # Example
/// ```
/// use meltkin::demo::maker::{Plan, make};
/// let made = make(&Plan { moulds: 10, seed: 1 }, &mut |_| Ok(Box::new(std::io::sink())))?;
/// assert_eq!((made.moulds, made.blades), (10, 80));
/// # Ok::<(), std::io::Error>(())
/// ```
pub fn make(plan: &Plan, open: Open) -> io::Result<Made> {
    let mut book = Book::open(open)?;
    definitions::write(&mut book)?;
    let heats = heats(plan.moulds);
    // Its clock stands still after the last of its records: it is no foundry of today.
    book.settings.t("clock").at(pour_time(heats) + CLOCK_AFTER).end()?;
    let mut shop = Shop {
        book,
        dice: Dice::new(plan.seed),
        plan: *plan,
        heats,
        made: Made::default(),
        shell: shell::Shell::default(),
        melt: melt::Melt::default(),
        release: inspect::Release::default(),
    };
    let (begin, end) = (pour_time(1) - 30 * DAY, pour_time(heats) + 30 * DAY);
    definitions::checks(&mut shop.book, &mut shop.dice, begin, end)?;
    let mut mould = 0;
    for number in 1..=heats {
        // So many moulds up to this heat: the rest is spread evenly.
        let until = (u64::from(plan.moulds) * u64::from(number) / u64::from(heats)) as u32;
        let alloy = shop.melt.alloy_of(number);
        let heat = Heat {
            number,
            at: pour_time(number),
            alloy,
            part: alloy + 2 * shop.dice.below(2) as usize,
            hot: shop.dice.bell(0, 300),
            pyrometer: definitions::PYROMETERS[shop.dice.below(3) as usize],
        };
        shop.heat(heat, until - mould)?;
        shop.shell_batches(heat, mould + 1, until)?;
        shop.pours(heat, mould + 1, until)?;
        for m in mould + 1..=until {
            shop.blades(heat, m)?;
        }
        mould = until;
    }
    shop.holds()?;
    shop.made.moulds = mould;
    shop.made.blades = mould * POSITIONS;
    shop.made.heats = heats;
    shop.book.close()?;
    Ok(shop.made)
}

/// Heats for so many moulds: three moulds a heat in a small history, 12.5 in one of 125,000 moulds.
fn heats(moulds: u32) -> u32 {
    let n = u64::from(moulds);
    // Moulds a heat, in hundredths.
    let each = match n {
        0..=1_000 => 300,
        1_001..=20_000 => 300 + (n - 1_000) * 500 / 19_000,
        20_001..=125_000 => 800 + (n - 20_000) * 450 / 105_000,
        _ => 1_250,
    };
    (n * 100).div_ceil(each).max(u64::from(moulds > 0)) as u32
}

/// When a heat is poured: four a day, Monday to Friday.
fn pour_time(number: u32) -> i64 {
    let n = i64::from(number.saturating_sub(1));
    let (day, turn) = (n / 4, n % 4);
    FIRST_DAY + (day / 5 * 7 + day % 5) * DAY + 400 + turn * 180
}

#[cfg(test)]
mod tests {
    use super::*;
    use records::Stamp;

    #[test]
    fn sizes_come_out_as_planned() {
        assert_eq!(heats(125_000), 10_000);
        assert_eq!(heats(20_000), 2_500);
        assert_eq!(heats(96), 32);
        assert_eq!(heats(0), 0);
        let first = Stamp::new(pour_time(1) * 60_000, 0);
        assert_eq!((first.to_string().as_str(), first.weekday()), ("2021-03-01T06:40:00+00:00", 0));
    }
}
