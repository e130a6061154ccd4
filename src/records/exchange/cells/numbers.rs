//! Numbers as people write them: either decimal mark, thousands apart, a unit beside them.

use crate::exchange::cells::units::unit_of;
use crate::exchange::cells::{Habits, Seen};
use crate::exchange::unread::{SheetHint, Unread};

/// A number, and whether a mark parted its thousands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct NumberRead {
    pub(crate) text: String,
    pub(crate) thousands: bool,
}

/// The figures with which a text begins, and what stands behind them.
pub(crate) fn figures_and_rest(text: &str) -> (&str, &str) {
    let end = text.find(|c: char| !(c.is_ascii_digit() || ".,-+".contains(c))).unwrap_or(text.len());
    let (figures, rest) = text.split_at(end);
    // 1.2e-3
    if let Some(power) = rest.strip_prefix(['e', 'E']) {
        let sign = usize::from(power.starts_with(['+', '-']));
        let digits = power[sign..].bytes().take_while(u8::is_ascii_digit).count();
        if digits > 0 {
            let end = end + 1 + sign + digits;
            return (&text[..end], text[end..].trim());
        }
    }
    (figures, rest.trim())
}

/// One mark with three figures behind it and one to three before: 1.450 may be a thousand and more.
pub(super) fn maybe_thousands(figures: &str) -> bool {
    let bare = figures.trim_start_matches(['-', '+']);
    let Some((before, after)) = bare.split_once([',', '.']) else { return false };
    (1..=3).contains(&before.len()) && !before.starts_with('0') && after.len() == 3
}

/// One to three figures, then threes, each behind this mark.
fn in_threes(whole: &str, mark: char) -> bool {
    let mut parts = whole.trim_start_matches(['-', '+']).split(mark);
    let figures = |p: &str| p.bytes().all(|b| b.is_ascii_digit());
    let first = parts.next().unwrap_or_default();
    (1..=3).contains(&first.len()) && figures(first) && parts.all(|p| p.len() == 3 && figures(p))
}

/// Thousands that a blank or an apostrophe parts, as 1 234,5 and 1'234.5, put together; else as it was.
pub(super) fn without_gaps(text: &str) -> (String, bool) {
    const GAPS: [char; 6] = [' ', '\u{a0}', '\u{2009}', '\u{202f}', '\'', '’'];
    let Some(gap) = text.chars().find(|c| !c.is_ascii_digit() && !"+-<".contains(*c)) else {
        return (text.into(), false);
    };
    let end =
        text.find(|c: char| !(c.is_ascii_digit() || c == gap || "+-".contains(c))).unwrap_or(text.len());
    let whole = text[..end].trim_end_matches(gap);
    if !GAPS.contains(&gap) || !whole.contains(gap) || !in_threes(whole, gap) {
        return (text.into(), false);
    }
    (format!("{}{}", whole.replace(gap, ""), &text[whole.len()..]), true)
}

/// Marks that leave one reading: of two sorts the last parts decimals, several of one sort part thousands.
pub(super) fn plain_marks(figures: &str) -> Option<(String, char)> {
    let (comma, point) = (figures.matches(',').count(), figures.matches('.').count());
    let mark = match (comma, point) {
        (0, 2..) => '.',
        (2.., 0) => ',',
        (1.., 1) if figures.rfind('.') > figures.rfind(',') => ',',
        (1, 1..) if figures.rfind(',') > figures.rfind('.') => '.',
        _ => return None,
    };
    let other = if mark == '.' { ',' } else { '.' };
    let whole = figures.split(other).next().unwrap_or_default();
    in_threes(whole, mark).then(|| (figures.replace(mark, "").replace(',', "."), mark))
}

/// Reads a number in the unit of its field.
///
/// # Errors
/// Another unit, or a mark that may be read in two ways.
pub(crate) fn number(
    text: &str,
    unit: &str,
    counted: bool,
    habits: &Habits,
    seen: &Seen,
) -> Result<NumberRead, Unread> {
    let as_is = |text: String| NumberRead { text, thousands: false };
    let bare = text.replace('≤', "<").replace('−', "-");
    let bare = bare.trim_matches(|c: char| c.is_whitespace() || c == '\u{202f}');
    let (below, bare) = match bare.strip_prefix('<') {
        Some(rest) => ("<", rest.trim_start_matches('=').trim_start()),
        None => ("", bare),
    };
    let (bare, gaps) = without_gaps(bare);
    let bare = bare.replace(['\u{a0}', '\u{202f}', '\u{2009}'], " ");
    let (figures, rest) = figures_and_rest(&bare);
    if figures.is_empty() {
        return Ok(as_is(text.to_string()));
    }
    let pieces = ["pcs", "pc", "pieces", "stk", "stück", "ea"];
    let known = counted && pieces.contains(&rest.trim_end_matches('.').to_lowercase().as_str());
    if !rest.is_empty() && !known {
        if unit.is_empty() {
            return Err(format!("has {rest:?} beside the number; the field takes the number alone").into());
        }
        if unit_of(rest) != unit_of(unit) {
            return Err(format!("is in {rest}; the field is in {unit}, and nothing is converted").into());
        }
    }
    let (decimal, thousands) = match (figures.matches(',').count(), figures.matches('.').count()) {
        (0, 0) => (figures.to_string(), gaps),
        // Where gaps part the thousands, a mark can only part the decimals.
        (1, 0) | (0, 1) if gaps => (figures.replace(',', "."), true),
        (1, 0) | (0, 1) => one_mark(figures, habits, seen)?,
        _ => match plain_marks(figures).filter(|_| !gaps) {
            Some((plain, _)) => (plain, true),
            None => {
                return Err(
                    "has marks that part neither thousands nor decimals; 1.234,5 and 1,234.5 are numbers"
                        .into(),
                );
            }
        },
    };
    let whole = decimal.split_once('.').filter(|(_, rest)| counted && rest.bytes().all(|b| b == b'0'));
    let text = format!("{below}{}", whole.map_or(decimal.as_str(), |(whole, _)| whole));
    Ok(NumberRead { text, thousands })
}

/// A number with one mark, which parts decimals, or thousands where the sheet writes them so.
fn one_mark(figures: &str, habits: &Habits, seen: &Seen) -> Result<(String, bool), Unread> {
    let comma = figures.contains(',');
    let (whole, parted) = (figures.replace([',', '.'], ""), figures.replace(',', "."));
    if !maybe_thousands(figures) {
        return Ok((parted, false));
    }
    // What its column shows, of this mark and of the other one.
    let (as_decimal, as_thousands, other) = match comma {
        true => (seen.comma, seen.thousands_comma, seen.point),
        false => (seen.point, seen.thousands_point, seen.comma),
    };
    if (habits.thousands && comma != habits.decimal_comma) || (as_thousands && other && !as_decimal) {
        return Ok((whole, true));
    }
    let decimal = match comma {
        true => habits.decimal_comma || (as_decimal && !other && !as_thousands),
        false => !habits.decimal_comma && !other,
    };
    if decimal && !as_thousands {
        return Ok((parted, false));
    }
    let message = format!("may be {whole} or {parted}");
    Err(Unread::hint(message, SheetHint::Marks))
}
