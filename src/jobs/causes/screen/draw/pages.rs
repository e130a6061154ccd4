//! The pages of evidence behind a row of the ranking.

use crate::jobs::causes::known_show;
use crate::jobs::causes::screen::draw::name;
use crate::jobs::causes::screen::draw::q;
use crate::jobs::causes::screen::draw::ratio;
use crate::jobs::causes::show::small;
use crate::show::tenths;
use crate::ui::kit::*;
use knowledge::causes::BladeGroup;
use knowledge::causes::Cause;
use knowledge::causes::Detail;
use knowledge::causes::MouldSeen;
use knowledge::causes::Ranking;
use knowledge::causes::Verdict;
use unicode_width::UnicodeWidthStr;

/// Lines of digits that the moulds are put on before they are grouped.
const STRIPS: usize = 4;

fn para(out: &mut Vec<Line<'static>>, role: Role, text: &str, width: usize, view: &View) {
    for (i, part) in wrap(text, width.saturating_sub(2)).into_iter().enumerate() {
        out.push(view.line(role, fit(&format!("{}{part}", if i == 0 { "" } else { "  " }), width)));
    }
}

fn group(g: &BladeGroup) -> String {
    let share = g.rate().map_or(String::new(), |r| format!(" ({})", tenths(r)));
    format!("{} of {} blades{share}, {} moulds, {} heats", g.with, g.blades, g.moulds, g.heats)
}

/// `├──█──┤` on `cells` columns for a scale from 0 to `most`.
fn whisker(rate: f64, interval: Option<[f64; 2]>, most: f64, cells: usize) -> String {
    if cells == 0 {
        return String::new();
    }
    let place = |x: f64| ((x / most.max(1e-9)).clamp(0.0, 1.0) * (cells - 1) as f64).round() as usize;
    let mut out = vec![' '; cells];
    if let Some([low, high]) = interval {
        let (low, high) = (place(low), place(high));
        for c in &mut out[low..=high.max(low)] {
            *c = '─';
        }
        out[low] = '├';
        out[high.max(low)] = '┤';
    }
    out[place(rate)] = '█';
    out.into_iter().collect()
}

/// What to check, what to hold, what to pour next: the first of each list, then what else there is to check.
pub fn to_do(lists: &[(&'static str, Vec<String>)], width: usize, view: &View) -> Vec<Line<'static>> {
    let mut out = Vec::new();
    let more = |title: &str| title == known_show::CHECK;
    for (title, sentences) in lists {
        let first = if more(title) { 1 } else { sentences.len() };
        for sentence in sentences.iter().take(first) {
            para(&mut out, Role::Text, &format!("{title}: {sentence}"), width, view);
        }
    }
    for (_, sentences) in lists.iter().filter(|(title, _)| more(title)) {
        for sentence in sentences.iter().skip(1) {
            para(&mut out, Role::Quiet, &format!("To check too: {sentence}"), width, view);
        }
    }
    out
}

/// Every level as a bar with its interval.
pub fn levels(detail: &Detail, width: usize, view: &View) -> Vec<Line<'static>> {
    let most = detail.levels.iter().filter_map(|l| l.interval.map(|i| i[1]).or(l.rate)).fold(0.0, f64::max);
    // a level is read whole as long as its bar keeps some room
    let longest = detail.levels.iter().map(|l| l.level.width() + 1).max().unwrap_or(0);
    let label = longest.max(width / 5).clamp(4, (width / 3).max(4));
    let cells = width.saturating_sub(label + 2 + 32).max(1);
    let mut out = Vec::new();
    for l in &detail.levels {
        let (mark, role) = if l.named { ("▸", Role::Strong) } else { (" ", Role::Text) };
        let bar = l.rate.map_or_else(|| " ".repeat(cells), |r| whisker(r, l.interval, most, cells));
        let g = &l.group;
        let text = format!(
            "{mark} {}{bar} {:>9} {:>4} moulds {:>3} heats",
            fit(&l.level, label),
            format!("{}/{}", g.with, g.blades),
            g.moulds,
            g.heats
        );
        out.push(view.line(role, fit(&text, width)));
    }
    let scale = format!("bars from 0 to {:.1} %; ▸ marks the level that the row names", 100.0 * most);
    out.push(view.line(Role::Quiet, fit(&scale, width)));
    out
}

/// One character for one mould or several, and the mark below it.
fn strip_marks(moulds: &[(&MouldSeen, bool)], each: usize) -> (Vec<char>, Vec<char>, f64) {
    let rate = |ms: &[(&MouldSeen, bool)]| {
        let (n, y) = ms.iter().fold((0, 0), |(n, y), (m, _)| (n + m.blades, y + m.with));
        (n > 0).then(|| y as f64 / n as f64)
    };
    let rates: Vec<Option<f64>> = moulds.chunks(each).map(rate).collect();
    let most = rates.iter().flatten().copied().fold(0.0, f64::max);
    let digit = |n: usize| char::from_digit(n as u32, 10).unwrap_or('+');
    let digits = moulds.chunks(each).zip(&rates).map(|(ms, r)| match (each, r) {
        (1, _) => digit(ms[0].0.with),
        (_, Some(r)) if most > 0.0 => digit((9.0 * r / most).round() as usize),
        _ => '0',
    });
    let marks = moulds.chunks(each).map(|ms| {
        let count = |side| ms.iter().filter(|(m, _)| m.inside == side).count();
        let middle = ms.iter().filter(|(m, middle)| m.inside.is_none() && *middle).count();
        let (inside, outside, unknown) = (count(Some(true)), count(Some(false)), count(None) - middle);
        if inside > 0 && inside >= outside {
            '▲'
        } else if unknown > inside + outside + middle {
            '?'
        } else if middle > inside + outside {
            '·'
        } else {
            ' '
        }
    });
    (digits.collect(), marks.collect(), most)
}

/// The moulds in pour order as digits, those of the named set marked below.
pub fn strip(detail: &Detail, width: usize, view: &View) -> Vec<Line<'static>> {
    let middle = |i: usize| detail.middle.get(i).copied().unwrap_or(false);
    let moulds: Vec<(&MouldSeen, bool)> =
        detail.moulds.iter().enumerate().filter(|(_, m)| m.blades > 0).map(|(i, m)| (m, middle(i))).collect();
    let width = width.max(1);
    let each = moulds.len().div_ceil(width * STRIPS).max(1);
    let (digits, marks, most) = strip_marks(&moulds, each);
    let mut out = Vec::new();
    for (d, m) in digits.chunks(width).zip(marks.chunks(width)) {
        out.push(view.line(Role::Text, d.iter().collect::<String>()));
        out.push(view.line(Role::Look, m.iter().collect::<String>()));
    }
    let text = if each == 1 {
        "A digit is a mould: its blades with the defect, + is ten or more.".to_string()
    } else {
        format!("A digit is {each} moulds: their rate, 9 is {:.1} %, 0 next to none.", 100.0 * most)
    };
    let third = if detail.middle.contains(&true) { " · middle third," } else { "" };
    let text = format!("{text} ▲ in the named set,{third} ? not known. First poured at the left.");
    para(&mut out, Role::Quiet, &text, width, view);
    out
}

/// The heats that hold both sides, and what is left once the leading cause is fitted.
pub fn within(cause: &Cause, detail: Option<&Detail>, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut out = Vec::new();
    match detail.and_then(|d| d.same_heats.as_ref()) {
        Some([inside, outside]) => {
            para(&mut out, Role::Text, "Within heats that hold moulds of both sides:", width, view);
            para(&mut out, Role::Strong, &format!("  named set {}", group(inside)), width, view);
            para(&mut out, Role::Text, &format!("  the rest  {}", group(outside)), width, view);
        }
        None => para(&mut out, Role::Text, "No heat holds moulds of both sides.", width, view),
    }
    let known = format!("Known for {} moulds; its unit is the {}.", cause.known_moulds, cause.unit);
    para(&mut out, Role::Quiet, &known, width, view);
    match &cause.explained_by {
        Some(by) if cause.verdict() == Verdict::Explained => {
            let text = format!("! Nothing of it is left once {by} is allowed for.");
            para(&mut out, Role::Look, &text, width, view);
        }
        _ if cause.rank == 1 => para(&mut out, Role::Text, "This is the leading cause.", width, view),
        _ => {
            let text = "No better cause on the list explains it away.";
            para(&mut out, Role::Text, text, width, view);
        }
    }
    if let Some(n) = cause.explained {
        let range = match cause.explained_interval {
            [Some(low), Some(high)] => format!("95 %: {low:.0} to {high:.0}"),
            [Some(low), None] => format!("95 %: {low:.0} or more"),
            [None, Some(high)] => format!("95 %: up to {high:.0}"),
            [None, None] => "no interval".into(),
        };
        let text = format!("It would explain {n:.0} defective blades ({range}).");
        para(&mut out, Role::Text, &text, width, view);
    }
    if let Some(note) = &cause.note {
        para(&mut out, Role::Text, note, width, view);
    }
    out
}

/// What cannot be separated, pairs.
pub fn next(cause: &Cause, ranking: &Ranking, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut out = Vec::new();
    if cause.inseparable_from.is_empty() {
        para(
            &mut out,
            Role::Text,
            "Nothing on record goes along with it too closely to tell apart.",
            width,
            view,
        );
    } else {
        para(&mut out, Role::Look, "! These records cannot separate it from:", width, view);
        for n in &cause.inseparable_from {
            let level = n.level.as_ref().map_or(String::new(), |l| format!(" {l}"));
            para(&mut out, Role::Text, &format!("  {}{level}", n.factor), width, view);
        }
    }
    for p in &ranking.pairs {
        let text = format!(
            "The pair that was asked for: {}, {}/{} against {}/{}, ratio {}, q {}",
            name(p),
            p.inside.with,
            p.inside.blades,
            p.outside.with,
            p.outside.blades,
            ratio(p.ratio),
            q(p.q)
        );
        para(&mut out, Role::Text, &text, width, view);
    }
    out
}

/// What the reader must know.
pub fn cautions(ranking: &Ranking, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut out = Vec::new();
    let tried = match (ranking.tests, ranking.blades.inspected) {
        (0, 0) => "No blade is inspected for it on record, so there is nothing to compare yet.".to_string(),
        (0, _) => "No factor could be tried on these records: too few readings differ.".to_string(),
        (1, _) => "1 factor was tried; it was a chance for a false finding.".to_string(),
        (n, _) => format!("{n} factors were tried; each was a chance for a false finding."),
    };
    para(&mut out, Role::Look, &format!("! {tried}"), width, view);
    if let Some(p) = ranking.time.p {
        let at = ranking.time.changed_at.as_ref().map_or(String::new(), |m| format!("; a change at {m}"));
        para(&mut out, Role::Text, &format!("The pour order itself: p {}{at}.", small(p)), width, view);
    }
    for caution in &ranking.cautions {
        para(&mut out, Role::Text, caution, width, view);
    }
    let decide =
        "Decision support: approved specifications, the design authority and qualified people prevail.";
    para(&mut out, Role::Text, decide, width, view);
    for n in ranking.not_testable.iter().take(200) {
        para(&mut out, Role::Quiet, &format!("not testable: {}: {}", n.factor, n.reason), width, view);
    }
    out
}
