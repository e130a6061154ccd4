//! The furnace desk drawn: what is to be poured and was poured last, and the checks of the chosen mould.

use crate::jobs::furnace::clock_screen;
use crate::jobs::furnace::clocks::minutes;
use crate::jobs::furnace::readiness::Check;
use crate::jobs::furnace::screen::Furnace;
use crate::jobs::furnace::screen::rank;
use crate::ui::big_digits::largest;
use crate::ui::kit::*;

/// What to do where nothing is on record.
const FIRST: [&str; 5] = [
    "no mould is on record yet; first:",
    "  b  the bench: people, parts,",
    "     recipes, then what is made",
    "  ?  what each key does here",
    "meltkin help foundry: how to begin",
];

impl Furnace {
    pub(crate) fn draw_list(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let Some(board) = &self.board else {
            return lines(frame, area, vec![view.line(Role::Quiet, "reading the store …")]);
        };
        let mut rows: Vec<Line<'static>> = Vec::new();
        let mut chosen_row = 0;
        let head = |text: String| view.line(Role::Strong, fit(&text, width));
        // Long lists are cut to what can be in sight before any line is made.
        let height = usize::from(area.height);
        let n = board.standing.len();
        rows.push(head(format!("To be poured: {n}")));
        if n == 0 && board.poured.is_empty() {
            rows.extend(FIRST.map(|l| view.line(Role::Text, fit(l, width))));
        } else if n == 0 {
            rows.push(view.line(Role::Quiet, fit("every mould on record is poured", width)));
        }
        let first = window(self.at.min(n), n, height.saturating_sub(8).max(3));
        for (i, s) in board.standing.iter().enumerate().skip(first).take(height) {
            if i - first >= height.saturating_sub(8).max(3) && n > height {
                break;
            }
            if i == self.at {
                chosen_row = rows.len();
            }
            let plan = match (s.planned_on.as_str(), s.furnace.as_str(), s.order.as_str()) {
                ("", ..) => "not planned".to_string(),
                (day, furnace, order) => {
                    let order = if order.is_empty() { String::new() } else { format!(" #{order}") };
                    format!("{} {furnace}{order}", day.get(5..).unwrap_or(day))
                }
            };
            let target = if s.target_c.is_empty() { String::new() } else { format!("{} °C", s.target_c) };
            rows.push(self.row(view, i, width, &s.mould, &plan, &target));
        }
        rows.push(Line::default());
        rows.push(head("Poured last".into()));
        if board.poured.is_empty() {
            rows.push(view.line(Role::Quiet, fit("no pour is on record", width)));
        }
        for (k, p) in board.poured.iter().enumerate() {
            let i = n + k;
            if i == self.at {
                chosen_row = rows.len();
            }
            // Today by its time of day, earlier by its date; both where there is room.
            let today = view.now.to_string().get(..10) == p.at.get(..10);
            let at = match (width >= 48, today) {
                (true, _) => p.at.get(5..16).unwrap_or(&p.at).replace('T', " "),
                (false, true) => p.at.get(11..16).unwrap_or("").to_string(),
                (false, false) => p.at.get(5..10).unwrap_or("").to_string(),
            };
            let last = if p.run_out {
                "! ran out".to_string()
            } else if p.indicated_c.is_empty() {
                "! details".to_string()
            } else {
                format!("{} °C", p.indicated_c)
            };
            rows.push(self.row(view, i, width, &p.mould, &format!("{} {at}", p.heat), &last));
        }
        let skip = (chosen_row + 1).saturating_sub(height);
        lines(frame, area, rows.into_iter().skip(skip).collect());
    }

    fn row(&self, view: &View, i: usize, width: usize, a: &str, b: &str, c: &str) -> Line<'static> {
        let chosen = i == self.at;
        let mark = mark(chosen);
        let (last, wide) = (9.min(width / 3), 9.min(width / 3));
        let middle = width.saturating_sub(last + wide + 4);
        let text = format!("{mark} {} {} {}", fit(a, wide), fit(b, middle), fit(c, last));
        let role = match (chosen, c.starts_with('!')) {
            (true, _) => Role::Chosen,
            (false, true) => Role::Look,
            _ => Role::Text,
        };
        view.line(role, fit(&text, width))
    }

    pub(crate) fn draw_checks(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        if let Some(heat) = self.board.as_ref().and_then(|b| b.heat.as_ref()) {
            rows.push(view.line(Role::Text, fit(&format!("heat in use: {heat}"), width)));
        }
        if let Some(pyrometer) = self.board.as_ref().and_then(|b| b.pyrometer.as_ref()) {
            let (against, text) = pyrometer.line(view.now);
            let (role, mark) = if against { (Role::Look, "! ") } else { (Role::Text, "") };
            rows.push(view.line(role, fit(&format!("{mark}{text}"), width)));
        }
        let Some(mould) = self.mould() else {
            rows.push(view.line(Role::Quiet, fit("scan a mould, or b for the bench", width)));
            return lines(frame, area, rows);
        };
        let Some(ready) = self.checks_at(view.now) else {
            rows.push(view.line(Role::Strong, fit(mould, width)));
            rows.push(view.line(Role::Quiet, "reading its records …"));
            return lines(frame, area, rows);
        };
        let poured = self.poured().is_some();
        let (role, verdict) = match (poured, ready.ready) {
            (true, _) => (Role::Strong, format!("{mould} is poured; its checks at that time:")),
            (_, Some(true)) => (Role::Good, format!("✓ {mould} may be poured by these records")),
            (_, None) => (Role::Look, format!("? {mould}: not every check can be told")),
            _ => (Role::Bad, format!("✗ {mould}: not every check is passed")),
        };
        rows.extend(view.wrapped(role, &verdict, width));
        rows.extend(
            self.like().map(|like| view.wrapped(Role::Quiet, &clocks(like), width)).unwrap_or_default(),
        );
        let checks: Vec<&Check> =
            ready.checks.iter().filter(|c| !poured || c.check != "not poured yet").collect();
        let height = usize::from(area.height);
        // A line for each check that fails, and one for the rest.
        let failing = checks.iter().filter(|c| c.ok != Some(true)).count() + 1;
        rows.extend(self.digits(
            width,
            (height * 2 / 5).min(height.saturating_sub(rows.len() + failing)),
            view,
        ));
        let room = height.saturating_sub(rows.len());
        for (ok, parts) in fitted(&checks, width.saturating_sub(2), room) {
            for (k, part) in parts.into_iter().enumerate() {
                let mark = match (k, ok) {
                    (0, Some(ok)) => view.mark(ok),
                    (0, None) => view.span(Role::Look, "?"),
                    _ => view.span(Role::Text, " "),
                };
                let role = if ok == Some(true) { Role::Text } else { Role::Strong };
                rows.push(Line::from(vec![mark, view.span(role, format!(" {part}"))]));
            }
        }
        lines(frame, area, rows);
    }
}

impl Furnace {
    /// The clock of the chosen mould with its limit in words, in the largest digits that so many rows hold.
    fn digits(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        let Some(clock) = self.clock() else { return Vec::new() };
        let limit = clock.limit(view.now);
        let time = minutes(clock.seconds(view.now));
        let digits = largest(&time, width, height.saturating_sub(1), view.theme.ascii);
        let mut rows: Vec<Line<'static>> = digits
            .into_iter()
            .map(|row| Line::from(clock_screen::span(clock, view, fit(&row, width))))
            .collect();
        let most = clock.limit_s.map(|s| format!(" of {}", minutes(s as i64))).unwrap_or_default();
        let said = format!("{}{time}{most}: {}", clock_screen::mark(limit), limit.words());
        rows.push(Line::from(clock_screen::span(clock, view, fit(&said, width))));
        rows
    }
}

/// The checks as they fit into so many lines: those that fail first and never hidden, then those that are
/// passed; what has no room is counted and named.
fn fitted(checks: &[&Check], width: usize, room: usize) -> Vec<(Option<bool>, Vec<String>)> {
    let block = |c: &&Check| (c.ok, wrap(&format!("{}: {}", c.check, clocks(&c.reason)), width));
    let lines = |all: &[(Option<bool>, Vec<String>)]| all.iter().map(|(_, parts)| parts.len()).sum::<usize>();
    let mut failing: Vec<_> = checks.iter().filter(|c| c.ok != Some(true)).map(block).collect();
    failing.sort_by_key(|(ok, _)| rank(*ok));
    let passed: Vec<&&Check> = checks.iter().filter(|c| c.ok == Some(true)).collect();
    let rest = |from: usize| {
        let names: Vec<&str> = passed[from..].iter().map(|c| c.check).collect();
        let more = if from == 0 { "" } else { "and " };
        format!("{more}{} {}passed: {}", names.len(), if from == 0 { "" } else { "more " }, names.join(", "))
    };
    // Where there is too little room even so, each that fails has one line, its reason cut with a mark.
    let least = usize::from(!passed.is_empty());
    if lines(&failing) + least > room {
        for (_, parts) in &mut failing {
            let whole = parts.len() == 1;
            let first = parts.first().cloned().unwrap_or_default();
            *parts =
                vec![if whole { first } else { fit(&format!("{first} …"), width).trim_end().to_string() }];
        }
    }
    let left = room.saturating_sub(failing.len()).max(1);
    if lines(&failing) + least > room && failing.len() + least > room {
        // A window of a few lines: their names.
        let names: Vec<&str> = checks.iter().filter(|c| c.ok != Some(true)).map(|c| c.check).collect();
        return vec![(Some(false), wrap(&format!("{} fail: {}", names.len(), names.join(", ")), width))];
    }
    for shown in (0..=passed.len()).rev() {
        let mut all = failing.clone();
        all.extend(passed[..shown].iter().copied().map(block));
        if shown < passed.len() {
            all.push((Some(true), wrap(&rest(shown), width)));
        }
        if lines(&all) <= room {
            return all;
        }
    }
    if !passed.is_empty() {
        let short = format!("{} passed; a shows all", passed.len());
        failing.push((Some(true), wrap(&short, width).into_iter().take(left).collect()));
    }
    failing
}

#[cfg(test)]
mod tests {
    use super::{Check, fitted, rank};

    fn check(check: &'static str, ok: bool, reason: &str) -> Check {
        Check { check, ok: Some(ok), reason: reason.into(), absent: false }
    }

    #[test]
    fn what_fails_stands_first_and_is_never_hidden() {
        let long = "no shell batch, so no recipe to hold the coats against, and so on over three lines";
        let names =
            ["not poured yet", "position map", "coats", "dewaxed", "fired", "cracks", "filter", "lots"];
        let rest = ["holds", "instruments", "charge", "chemistry"];
        for failing in 0..=12 {
            // Those that fail stand at the end of the list, where they were cut off.
            let all: Vec<Check> = (names.iter().chain(&rest))
                .enumerate()
                .map(|(i, name)| check(name, i + failing < 12, if i % 2 == 0 { long } else { "in FR31-01" }))
                .collect();
            let all: Vec<&Check> = all.iter().collect();
            for (width, room) in [(40, 14), (40, 15), (40, 16), (63, 30), (63, 60), (40, 13)] {
                let shown = fitted(&all, width, room);
                let text: String = shown.iter().flat_map(|(_, p)| p).map(|l| format!("{l}\n")).collect();
                assert!(
                    shown.iter().map(|(_, p)| p.len()).sum::<usize>() <= room,
                    "{failing} {room}:\n{text}"
                );
                assert!(shown.is_sorted_by_key(|(ok, _)| rank(*ok)), "{failing} {room}:\n{text}");
                for c in &all {
                    let there = text.contains(c.check)
                        || (c.ok == Some(true) && text.contains("passed; a shows all"));
                    assert!(there, "{} of {failing} failing, {width}x{room}:\n{text}", c.check);
                }
                // Passed ones that have no line are counted.
                let lines = shown.iter().filter(|(ok, p)| *ok == Some(true) && p[0].contains(": ")).count();
                if lines < 12 - failing {
                    assert!(text.contains("passed"), "{failing} {room}:\n{text}");
                }
            }
        }
    }
}
