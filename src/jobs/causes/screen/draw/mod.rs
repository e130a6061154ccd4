//! The cause desk on the screen: question, ranked list, the panel of the chosen row.

pub(crate) mod pages;

use unicode_width::UnicodeWidthStr;

use crate::jobs::causes::known_show;
use crate::jobs::causes::screen::CauseDesk;
use crate::jobs::causes::screen::PAGES;
use crate::ui::kit::*;
use knowledge::causes::Cause;
use knowledge::causes::Detail;
use knowledge::causes::Ranking;
use knowledge::causes::Verdict;

/// Stands on the desk whatever it shows.
const ASSOCIATION: &str = "Association, not cause: a trial or the metal itself must confirm it.";

/// The symbol and the role of a row's wording; the symbol is never the colour alone.
fn sign(cause: &Cause) -> (&'static str, Role) {
    match cause.verdict() {
        Verdict::Shown if cause.wording == "strong" => ("█", Role::Bad),
        Verdict::Shown | Verdict::ShownPeriod => ("▲", Role::Look),
        Verdict::Explained => ("◦", Role::Quiet),
        Verdict::NotShown => ("·", Role::Quiet),
    }
}

/// A ratio or a limit in few digits.
fn ratio(x: Option<f64>) -> String {
    match x {
        None => "–".into(),
        Some(x) if x >= 100.0 => ">99".into(),
        Some(x) if x >= 10.0 => format!("{x:.0}"),
        Some(x) if x >= 1.0 => format!("{x:.1}"),
        Some(x) => format!("{x:.2}"),
    }
}

/// A ratio with its limits; an end that is open is said in words.
fn limits(cause: &Cause) -> String {
    let told = ratio(cause.ratio);
    match cause.interval {
        [None, None] => format!("{told} (none)"),
        [Some(low), None] => format!("{told} (from {})", ratio(Some(low))),
        [None, Some(high)] => format!("{told} (up to {})", ratio(Some(high))),
        [low, high] => format!("{told} ({}–{})", ratio(low), ratio(high)),
    }
}

fn q(q: f64) -> String {
    match q {
        q if q.is_nan() => "-".into(),
        q if q < 0.001 => "<.001".into(),
        q => format!("{q:.3}"),
    }
}

/// The same in so many columns: the factor gives way, and the level is read whole as long as it can be.
fn name_in(cause: &Cause, wide: usize) -> String {
    let whole = name(cause);
    let level = match &cause.level {
        Some(level) if level.starts_with(['<', '>']) => format!(" {level}"),
        Some(level) => format!(" = {level}"),
        None => String::new(),
    };
    let room = wide.saturating_sub(level.width());
    if whole.width() <= wide || level.is_empty() || room < LEAST_OF_A_NAME {
        return fit(&whole, wide);
    }
    fit(&format!("{}{level}", fit(&cause.factor, room).trim_end()), wide)
}

/// A factor's name is not cut below so many columns.
const LEAST_OF_A_NAME: usize = 6;

/// Factor and level as one name.
fn name(cause: &Cause) -> String {
    match &cause.level {
        Some(level) if level.starts_with(['<', '>']) => format!("{} {level}", cause.factor),
        Some(level) => format!("{} = {level}", cause.factor),
        None => cause.factor.clone(),
    }
}

impl CauseDesk {
    pub(crate) fn draw_desk(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        if width == 0 || height == 0 {
            return;
        }
        let mut rows = self.head(width, view);
        if let Some(open) = self.question.rows(width, height.saturating_sub(rows.len()), view) {
            rows.extend(open);
            return lines(frame, area, rows);
        }
        if let Some(ranking) = self.board.as_ref().map(|b| &b.answer.ranking) {
            let room = height.saturating_sub(rows.len() + 2);
            // The evidence has at least the rest; what it does not need of that, the list takes.
            let least = (room * 2 / 5).clamp(1, 14);
            let panel = self.panel_lines(ranking, width, view);
            let listed = least.max(room.saturating_sub(panel)).min(ranking.causes.len().max(1));
            self.list(&mut rows, ranking, listed, width, view);
            self.panel(&mut rows, ranking, width, height, view);
        }
        rows.truncate(height);
        lines(frame, area, rows);
    }

    /// The question in words, what it covers, how far the run is.
    fn head(&self, width: usize, view: &View) -> Vec<Line<'static>> {
        let answer = self.board.as_ref().map(|b| &b.answer);
        let current = self.question.is_current();
        let words = match answer {
            Some(answer) if current => answer.ask.words(),
            _ => self.question.ask.words(),
        };
        let mut out = Vec::new();
        match answer.map(|a| &a.ranking) {
            Some(r) if current => {
                let b = &r.blades;
                out.push(view.line(
                    Role::Strong,
                    fit(&format!("{words}: {} of {} inspected blades", b.with, b.inspected), width),
                ));
                let mut text = format!(
                    "{} moulds, {} heats; {} blades not inspected",
                    r.moulds, r.heats, b.not_inspected
                );
                if r.tests > 0 {
                    text.push_str(&format!("; {} factors tried", r.tests));
                }
                out.push(view.line(Role::Text, fit(&text, width)));
            }
            _ => out.push(view.line(Role::Strong, fit(&words, width))),
        }
        if let Some(watch) = &self.question.run {
            let text = match watch.progress() {
                (_, 0) => "… reading the records; . stops it".to_string(),
                (done, all) => format!("… ranking, {done} of {all} pieces; . stops it"),
            };
            out.push(view.line(Role::Look, fit(&text, width)));
        }
        out.extend(self.question.trouble_lines(width, view));
        if !current && answer.is_some() {
            out.push(view.line(Role::Quiet, fit("below: the answer to the question before", width)));
        }
        out.push(view.line(Role::Look, fit(&format!("! {ASSOCIATION}"), width)));
        out
    }

    fn list(
        &self,
        rows: &mut Vec<Line<'static>>,
        ranking: &Ranking,
        listed: usize,
        width: usize,
        view: &View,
    ) {
        let causes = &ranking.causes;
        if causes.is_empty() {
            let text = "Nothing found: no factor could be tested on these records.";
            rows.push(view.line(Role::Strong, fit(text, width)));
            return;
        }
        if !causes.iter().any(|c| c.flagged) {
            let near = causes.iter().filter(|c| c.shortlisted).count();
            let text = format!("Nothing found. Shortlist of {near}: worth a look, not a finding.");
            rows.push(view.line(Role::Strong, fit(&text, width)));
        }
        let first = window(self.at, causes.len(), listed);
        // Columns as wide as what they hold, and no wider; a name gives way first.
        let ratios = causes.iter().map(|c| limits(c).width()).max().unwrap_or(0).max("ratio, 95 %".len());
        let names = causes.iter().map(|c| name(c).width()).max().unwrap_or(0).max("factor and level".len());
        let worth = causes.iter().map(|c| c.wording.len()).max().unwrap_or(0);
        let numbers = 6 + 1 + 7 + 1 + 8 + 1 + ratios + 1 + 5 + 1;
        let short = numbers + names + worth > width;
        let worth = if short { worth.min("not shown".len()) } else { worth };
        let wide = names.min(width.saturating_sub(numbers + worth)).max(4);
        let head = format!(
            "  #   {} {:>7} {:>8} {} {:>5} worth",
            fit("factor and level", wide),
            "in",
            "else",
            fit("ratio, 95 %", ratios),
            "q"
        );
        rows.push(view.line(Role::Quiet, fit(&head, width)));
        for (i, cause) in causes.iter().enumerate().skip(first).take(listed) {
            let (symbol, role) = sign(cause);
            let chosen = i == self.at;
            let of = |g: &knowledge::causes::BladeGroup| format!("{}/{}", g.with, g.blades);
            let worth = match cause.wording {
                "worth acting on" if short => "act on it",
                "shown, may be the period" if short => "period?",
                other => other,
            };
            let text = format!(
                "{}{:>3}{symbol} {} {:>7} {:>8} {} {:>5} {worth}",
                if chosen { "▸" } else { " " },
                cause.rank,
                name_in(cause, wide),
                of(&cause.inside),
                of(&cause.outside),
                fit(&limits(cause), ratios),
                q(cause.q),
            );
            rows.push(view.line(if chosen { Role::Chosen } else { role }, fit(&text, width)));
        }
    }

    /// Lines that the longest page of evidence takes, the cautions aside, which are read by scrolling.
    fn panel_lines(&self, ranking: &Ranking, width: usize, view: &View) -> usize {
        let Some(cause) = self.cause() else { return usize::MAX };
        let detail = self.board.as_ref().and_then(|b| b.detail(cause));
        let longest = (1..PAGES - 1)
            .map(|page| self.page_of(page, cause, detail, ranking, width, view).1.len())
            .max()
            .unwrap_or(0);
        // A rule, a title, a heading.
        longest + 3
    }

    fn panel(
        &self,
        rows: &mut Vec<Line<'static>>,
        ranking: &Ranking,
        width: usize,
        height: usize,
        view: &View,
    ) {
        let Some(cause) = self.cause() else {
            rows.extend(pages::cautions(ranking, width, view));
            return;
        };
        let (symbol, _) = sign(cause);
        let hand = if self.in_panel { "▸" } else { "─" };
        rows.push(view.line(Role::Quiet, "─".repeat(width)));
        let room = width.saturating_sub(hand.width() + symbol.width() + cause.wording.width() + 4);
        let title = format!("{hand} {}: {symbol} {}", name_in(cause, room).trim_end(), cause.wording);
        rows.push(view.line(Role::Strong, fit(&title, width)));
        let room = height.saturating_sub(rows.len() + 1);
        let detail = self.board.as_ref().and_then(|b| b.detail(cause));
        let (heading, body) = self.page_of(self.page, cause, detail, ranking, width, view);
        let from = self.from.min(body.len().saturating_sub(room.max(1)));
        let more = if body.len() > room {
            format!(" · lines {}–{} of {}", from + 1, (from + room).min(body.len()), body.len())
        } else {
            String::new()
        };
        let heading = format!("{}/{PAGES} {heading}{more}", self.page + 1);
        rows.push(view.line(Role::Quiet, fit(&heading, width)));
        rows.extend(body.into_iter().skip(from).take(room));
    }

    /// The three lists in which the answer ends, whichever row is chosen.
    fn to_do(&self, width: usize, view: &View) -> Vec<Line<'static>> {
        let Some(answer) = self.board.as_ref().map(|b| &b.answer) else { return Vec::new() };
        pages::to_do(&known_show::three(&answer.known, &answer.ranking), width, view)
    }

    fn page_of(
        &self,
        page: usize,
        cause: &Cause,
        detail: Option<&Detail>,
        ranking: &Ranking,
        width: usize,
        view: &View,
    ) -> (&'static str, Vec<Line<'static>>) {
        let none = || {
            vec![view.line(Role::Quiet, fit("laid out only for the first rows, and not for pairs", width))]
        };
        match page {
            0 => ("what to check, to hold, to pour next", self.to_do(width, view)),
            1 => (
                "every level, with its 95 % interval",
                detail.map_or_else(none, |d| pages::levels(d, width, view)),
            ),
            2 => ("the moulds in pour order", detail.map_or_else(none, |d| pages::strip(d, width, view))),
            3 => {
                ("within heats; once the leading cause is fitted", pages::within(cause, detail, width, view))
            }
            4 => ("what cannot be separated", pages::next(cause, ranking, width, view)),
            _ => ("cautions", pages::cautions(ranking, width, view)),
        }
    }
}
