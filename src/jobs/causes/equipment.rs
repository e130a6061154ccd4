//! An oven or a furnace from a date on: a thermocouple that drifts spoils what went through one piece of
//! equipment after some day that nobody wrote down, and neither the piece nor the day alone shows it.

use std::collections::BTreeMap;

use crate::jobs::causes::ask::REPEATED;
use crate::jobs::causes::columns::Maker;
use knowledge::causes::{At, Column, MISSING, Packed, Values};
use records::Stamp;

/// What went last through each piece of equipment: its last half, quarter and eighth. Whenever a drift began, as long
/// as it spoilt a twelfth of what went through, one of these (or the whole of the piece, a factor of its own) holds
/// at least 1/√2 of what is spoilt and nothing else, or all of it and at most √2 times as much: the score loses a
/// sixth at the worst. More days would find little more and be more chances for a false finding; they are tried at
/// [`REPEATED`] weight, as they say in part what the piece says. Our choice; no source.
const LAST: [(&str, usize); 3] = [("half", 2), ("quarter", 4), ("eighth", 8)];

/// The fewest moulds (heats, blades) that a last part is worth a level for.
const FEWEST: usize = 3;

/// What went through anything before its last part: the level the last parts are held against.
const BEFORE: &str = "before that";

/// Adds a column for each last part. `used` is the piece of equipment of each unit, an index into `pieces`, and
/// when; a single piece has no other beside it, and a date of its own is then the pour order itself.
pub(crate) fn since(
    maker: &mut Maker,
    (name, suffix): (&str, &str),
    pieces: &[String],
    used: &[Option<(u32, Stamp)>],
    at: At,
) {
    let mut of: BTreeMap<u32, Vec<Stamp>> = BTreeMap::new();
    for (piece, when) in used.iter().flatten() {
        of.entry(*piece).or_default().push(*when);
    }
    if of.len() < 2 {
        return;
    }
    of.values_mut().for_each(|times| times.sort_by_key(|t| t.ms()));
    for (part, share) in LAST {
        if let Some(values) = last_part(pieces, used, &of, share) {
            let column = Column::new(&format!("{name}_last_{part}{suffix}"), at, values);
            maker.columns.push(Packed::new(Column { weight: REPEATED, ..column }));
        }
    }
}

fn last_part(
    pieces: &[String],
    used: &[Option<(u32, Stamp)>],
    of: &BTreeMap<u32, Vec<Stamp>>,
    share: usize,
) -> Option<Values> {
    // From when on, and the level, of each piece that has a last part: whole days, as a person would say it.
    let mut from: BTreeMap<u32, ((i64, u32, u32), u32)> = BTreeMap::new();
    let mut levels = vec![BEFORE.to_string()];
    for (&piece, times) in of {
        let Some(day) = times.get(times.len() - times.len() / share).map(|t| t.date()) else { continue };
        let later = times.iter().filter(|t| t.date() >= day).count();
        if later < FEWEST || later == times.len() {
            continue;
        }
        from.insert(piece, (day, levels.len() as u32));
        let (year, month, day) = day;
        levels.push(format!("{} from {year:04}-{month:02}-{day:02}", pieces.get(piece as usize)?));
    }
    let code = |one: &Option<(u32, Stamp)>| match one {
        None => MISSING,
        Some((piece, when)) => match from.get(piece) {
            Some((day, level)) if when.date() >= *day => *level,
            _ => 0,
        },
    };
    (levels.len() > 1).then(|| Values::Words { codes: used.iter().map(code).collect(), levels })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_part_of_each_piece_is_a_level_from_its_day_on() {
        let day = |n: usize| Some(Stamp::parse(&format!("2031-03-{n:02}T10:00:00Z")).unwrap());
        // Sixteen days in turn: eight of A, eight of B; what is not recorded stays so.
        let mut used: Vec<Option<(u32, Stamp)>> =
            (0..16).map(|i| day(i + 1).map(|t| ((i % 2) as u32, t))).collect();
        used.push(None);
        let mut of: BTreeMap<u32, Vec<Stamp>> = BTreeMap::new();
        used.iter().flatten().for_each(|(p, t)| of.entry(*p).or_default().push(*t));
        let pieces = ["A".to_string(), "B".to_string()];
        let Some(Values::Words { codes, levels }) = last_part(&pieces, &used, &of, 2) else {
            panic!("no column")
        };
        // A is used on days 1, 3 … 15, its last four from day 9 on; B on days 2, 4 … 16, from day 10 on.
        assert_eq!(levels, ["before that", "A from 2031-03-09", "B from 2031-03-10"]);
        let expected = [0, 0, 0, 0, 0, 0, 0, 0, 1, 2, 1, 2, 1, 2, 1, 2, MISSING];
        assert_eq!(codes, expected);
        // An eighth of eight is one: no level is worth that.
        assert!(last_part(&pieces, &used, &of, 8).is_none());
    }
}
