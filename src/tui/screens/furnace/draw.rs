//! The furnace desk drawn: what is to be poured and was poured last, and the checks of the chosen mould.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;

use super::Furnace;
use crate::tui::theme::Role;
use crate::tui::view::{View, fit, lines, window, wrap};

impl Furnace {
    pub(super) fn draw_list(&self, frame: &mut Frame, area: Rect, view: &View) {
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
        if n == 0 {
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
        let mark = if chosen { "▸" } else { " " };
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

    pub(super) fn draw_checks(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        if let Some(heat) = self.board.as_ref().and_then(|b| b.heat.as_ref()) {
            rows.push(view.line(Role::Text, fit(&format!("heat in use: {heat}"), width)));
        }
        let Some(mould) = self.mould() else {
            rows.push(view.line(Role::Quiet, fit("scan a mould, or b for the bench", width)));
            return lines(frame, area, rows);
        };
        let Some(ready) = self.checks() else {
            rows.push(view.line(Role::Strong, fit(mould, width)));
            rows.push(view.line(Role::Quiet, "reading its records …"));
            return lines(frame, area, rows);
        };
        let poured = self.poured().is_some();
        let (role, verdict) = match (poured, ready.ready) {
            (true, _) => (Role::Strong, "is poured; its checks at that time:"),
            (_, true) => (Role::Good, "✓ may be poured by these records"),
            _ => (Role::Bad, "✗ not every check is passed"),
        };
        rows.push(view.line(Role::Strong, fit(mould, width)));
        rows.push(view.line(role, fit(verdict, width)));
        for check in ready.checks.iter().filter(|c| !poured || c.check != "not poured yet") {
            let text = format!("{}: {}", check.check, check.reason);
            for (k, part) in wrap(&text, width.saturating_sub(2)).into_iter().enumerate() {
                let mark = if k == 0 { view.mark(check.ok) } else { view.span(Role::Text, " ") };
                let role = if check.ok { Role::Text } else { Role::Strong };
                rows.push(Line::from(vec![mark, view.span(role, format!(" {part}"))]));
            }
        }
        lines(frame, area, rows);
    }
}
