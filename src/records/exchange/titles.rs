//! The titles of a sheet: over one row or several, with their units, and the column that a name means.

use std::collections::BTreeSet;

use crate::exchange::cells::{is_bracketed_unit, is_unit};
use crate::exchange::grid::{CellValue, Grid, letters, place};
use crate::exchange::unread::Unread;
use crate::value::tag::{hint, near};

/// Merged cells: corners.
type Merged = ((u32, u32), (u32, u32));

/// Titles of the columns, from their first row to the last; blanks and line breaks in them taken as one blank. What is
/// merged over several columns stands before the title of each.
pub fn titles(grid: &Grid, head: u32, to: u32) -> Vec<(u32, String)> {
    let above: Vec<&Merged> = grid.merged.iter().filter(|m| (head..=to).contains(&m.0.0)).collect();
    let columns: BTreeSet<u32> = grid
        .cells
        .range((head, 0)..=(to, u32::MAX))
        .map(|((_, c), _)| *c)
        .chain(above.iter().flat_map(|m| m.0.1..=m.1.1.min(m.0.1 + 1000)))
        .collect();
    let over = |row: u32, c: u32| {
        let merged = above.iter().find(|m| m.0.0 == row && (m.0.1..=m.1.1).contains(&c) && head < to);
        grid.at(row, c).or_else(|| merged.and_then(|m| grid.at(m.0.0, m.0.1)))
    };
    let title = |c: &u32| {
        let all: Vec<String> = (head..=to).filter_map(|row| over(row, *c)).map(CellValue::text).collect();
        (*c, all.join(" ").split_whitespace().collect::<Vec<_>>().join(" "))
    };
    columns.iter().map(title).filter(|(_, t)| !t.is_empty()).collect()
}

/// The unit in a title: in brackets, or its last word.
pub(super) fn title_unit(title: &str) -> Option<&str> {
    match bracketed(title) {
        Some(bracket) => Some(bracket).filter(|u| is_bracketed_unit(u)),
        None => title.rsplit_once(' ').map(|t| t.1.trim()).filter(|u| is_unit(u)),
    }
}

/// What stands in brackets at the end of a title.
fn bracketed(title: &str) -> Option<&str> {
    let inside = title.trim_end().strip_suffix([']', ')'])?.rsplit_once(['[', '('])?.1;
    Some(inside.trim())
}

/// The offset to UTC that a title says its times have, in minutes: `melted at (UTC)`, `at [GMT+2]`, `at (+01:00)`.
pub(super) fn title_offset(title: &str) -> Option<i32> {
    let said = bracketed(title)?.to_uppercase().replace(' ', "");
    let named = said.strip_prefix("UTC").or_else(|| said.strip_prefix("GMT"));
    let rest = named.unwrap_or(&said);
    if rest.is_empty() || (named.is_none() && rest == "Z") {
        return Some(0);
    }
    let (sign, figures) = match rest.split_at_checked(1)? {
        ("+", figures) => (1, figures),
        ("-" | "−", figures) => (-1, figures),
        _ => return None,
    };
    let (h, m) = figures.split_once(':').unwrap_or((figures, "0"));
    let (h, m): (i32, i32) = (h.parse().ok()?, m.parse().ok()?);
    (h <= 14 && m < 60).then_some(sign * (60 * h + m))
}

/// A title without what stands in brackets at its end, or the unit that is its last word.
pub fn bare(title: &str) -> &str {
    let cut = title.strip_suffix([']', ')']).and_then(|t| t.rsplit_once(['[', '('])).map(|t| t.0.trim());
    let word = || title.rsplit_once(' ').filter(|(_, unit)| is_unit(unit)).map(|t| t.0.trim());
    cut.filter(|t| !t.is_empty()).or_else(word).unwrap_or(title)
}

/// The column that a name means: its whole title, that without its unit, or of several rows the last.
pub(super) fn find(titles: &[(u32, String)], name: &str, several: bool) -> Result<u32, Unread> {
    let name = name.trim();
    if let Some(at) = name.strip_prefix('#').and_then(|letters| place(&format!("{letters}1"))) {
        return Ok(at.1);
    }
    let wanted = name.to_lowercase();
    let ways: [&dyn Fn(&str) -> bool; 4] = [
        &|t| t == wanted,
        &|t| bare(t) == wanted,
        &|t| several && t.strip_suffix(wanted.as_str()).is_some_and(|before| before.ends_with(' ')),
        &|t| several && bare(t).strip_suffix(wanted.as_str()).is_some_and(|before| before.ends_with(' ')),
    ];
    for way in ways {
        let mut found = titles.iter().filter(|(_, t)| !wanted.is_empty() && way(&t.to_lowercase()));
        match (found.next(), found.next()) {
            (Some((at, _)), None) => return Ok(*at),
            (Some((a, _)), Some((b, _))) => {
                return Err(format!(
                    "two columns are called {name}; say which: #{} or #{}",
                    letters(*a),
                    letters(*b)
                )
                .into());
            }
            (None, _) => {}
        }
    }
    let close = near(name, titles.iter().map(|(_, t)| t.as_str()));
    let all: Vec<&str> = titles.iter().map(|(_, t)| t.as_str()).collect();
    let all = if all.is_empty() { "nothing".to_string() } else { all.join(", ") };
    Err(format!("the row of titles has no column {name}{}; it has: {all}", hint(&close)).into())
}
