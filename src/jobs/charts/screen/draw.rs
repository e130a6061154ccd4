//! The chart desk on the screen: the question, the picture, what stands at the cursor.

use crate::jobs::charts::ask::{Drawn, STEPS};
use crate::jobs::charts::screen::{ChartDesk, ChartPage};
use crate::jobs::charts::show::{Chart, LANES, short};
use crate::jobs::charts::show_against::{Against, span};
use crate::jobs::charts::show_places::{RateLine, Rates};
use crate::show::percent;
use crate::show::picture::cells::{Grid, cells};
use crate::show::picture::{Picture, Role as Ink, untitled};
use crate::ui::kit::*;

/// Columns beside the points of a chart: ticks and the axis.
const TICKS: usize = 12;

/// Sentences with the width they are cut to.
struct Text<'a> {
    rows: Vec<Line<'static>>,
    width: usize,
    view: &'a View,
}

impl Text<'_> {
    fn line(&mut self, role: Role, text: &str) {
        self.rows.push(self.view.line(role, fit(text, self.width)));
    }

    /// A sentence on `most` lines at most.
    fn para(&mut self, role: Role, text: &str, most: usize) {
        let all = wrap(text, self.width.saturating_sub(2));
        for (i, part) in all.iter().enumerate().take(most) {
            let cut = i + 1 == most && all.len() > most;
            let text = format!("{}{part}{}", if i == 0 { "" } else { "  " }, if cut { " …" } else { "" });
            self.line(role, &text);
        }
    }
}

impl ChartDesk {
    pub(crate) fn draw_desk(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (width, height) = (usize::from(area.width), usize::from(area.height));
        if width < 4 || height == 0 {
            return;
        }
        let mut top = Text { rows: Vec::new(), width, view };
        self.head(&mut top);
        if let Some(open) = self.question.rows(width, height.saturating_sub(top.rows.len()), view) {
            top.rows.extend(open);
            return lines(frame, area, top.rows);
        }
        if let Some(picker) = &self.picker {
            top.rows.extend(picker.rows(width, height.saturating_sub(top.rows.len()), view));
            return lines(frame, area, top.rows);
        }
        let mut below = Text { rows: Vec::new(), width, view };
        let room = height.saturating_sub(top.rows.len());
        let picture: Option<Box<dyn Fn(usize) -> Picture + '_>> = match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) if !c.points.is_empty() => {
                self.at_point(&mut below, c, if room > 24 { 9 } else { 5 });
                let (from, to) = self.seen(c, width);
                Some(Box::new(move |_| c.window(from, to - from, Some(self.at))))
            }
            (ChartPage::Points, Some(Drawn::Against(a))) if !a.points.is_empty() => {
                self.at_pair(&mut below, a, if room > 24 { 3 } else { 2 });
                Some(Box::new(|_| a.scatter(Some(self.at))))
            }
            (ChartPage::Parts, Some(Drawn::Against(a))) if !a.parts.is_empty() => {
                self.at_part(&mut below, a, if room > 24 { 3 } else { 2 });
                Some(Box::new(|_| a.bars(Some(self.at))))
            }
            (ChartPage::Positions, Some(Drawn::Positions(r))) if !r.columns.is_empty() => {
                self.at_position(&mut below, r);
                Some(Box::new(move |high| self.map(r, width, high)))
            }
            (ChartPage::Zones, Some(Drawn::Zones(r))) if !r.lines.is_empty() => {
                self.at_zone(&mut below, r);
                Some(Box::new(|_| r.zones(Some(self.at))))
            }
            (_, Some(drawn)) if !self.question.runs() => {
                self.nothing(&mut below, drawn);
                None
            }
            _ => None,
        };
        let high = room.saturating_sub(below.rows.len());
        if let Some(picture) = picture {
            let picture = untitled(picture(high));
            let grid = cells(&picture, area.width, high.min(200) as u16, view.theme.ascii);
            top.rows.extend(grid_lines(&grid, view));
        }
        top.rows.extend(below.rows);
        top.rows.truncate(height);
        lines(frame, area, top.rows);
    }

    /// The question in words, what it covers, how far the run is.
    fn head(&self, page: &mut Text) {
        let current = self.question.is_current();
        let said = match (self.page, &self.shown) {
            (ChartPage::Time, Some(Drawn::Chart(c))) if current => {
                Some((c.of.clone(), about(c, self.seen(c, page.width))))
            }
            (ChartPage::Points | ChartPage::Parts, Some(Drawn::Against(a))) if current => {
                Some((a.of.clone(), format!("against {}, by {}: {} points", a.axis(), a.by, a.points.len())))
            }
            (ChartPage::Positions, Some(Drawn::Positions(r))) | (ChartPage::Zones, Some(Drawn::Zones(r)))
                if current =>
            {
                let (with, seen) = r.lines.iter().fold((0, 0), |(y, n), l| (y + l.with, n + l.inspected));
                Some((
                    r.of.clone(),
                    match self.page {
                        ChartPage::Positions => format!("{with} of {seen} inspected blades"),
                        _ => "of all blades inspected by the method, those with it there".into(),
                    },
                ))
            }
            _ => None,
        };
        match said {
            Some((of, about)) => {
                page.line(Role::Strong, &of);
                page.line(Role::Text, &about);
            }
            None => page.line(Role::Strong, &self.question.ask.words()),
        }
        if let Some(run) = &self.question.run {
            let (step, steps) = (run.progress().0, STEPS.len() - 1);
            let what = STEPS[step.min(steps)];
            page.line(Role::Look, &format!("… {what}, piece {step} of {steps}; . stops it"));
        }
        if let Some(trouble) = &self.question.trouble {
            page.para(Role::Bad, &format!("✗ {trouble}"), 3);
        }
        if !current && self.count() > 0 {
            page.line(Role::Quiet, "below: the answer to the question before");
        }
    }

    /// The points in sight: from, and to.
    fn seen(&self, c: &Chart, width: usize) -> (usize, usize) {
        let most = width.saturating_sub(TICKS).max(1);
        let from = window(self.at, c.points.len(), most);
        (from, (from + most).min(c.points.len()))
    }

    /// The point at the cursor: what it is, which rule it breaks, what changed there.
    fn at_point(&self, page: &mut Text, c: &Chart, most: usize) {
        let Some(p) = c.points.get(self.at) else { return };
        let line = |l: &[f64]| l.get(self.at).copied().filter(|v| v.is_finite());
        let date = p.at.get(..10).unwrap_or_default();
        let date = if p.label.contains(date) { String::new() } else { format!(" {date}") };
        let of = match p.with {
            Some(with) => format!(" ({with} of {} blades, {} moulds)", p.n, p.moulds.unwrap_or(0)),
            None if p.n > 1 => format!(" (mean of {})", p.n),
            None => String::new(),
        };
        let mut text = format!("▸ {}{date}: {}{of}", p.label, c.figure(p.value));
        if let (Some(low), Some(high)) = (line(&c.lower), line(&c.upper)) {
            text.push_str(&format!(", limits {} to {}", c.figure(low), c.figure(high)));
        }
        page.line(Role::Chosen, &text);
        let broken: Vec<String> = c
            .signals
            .iter()
            .filter(|s| s.index == self.at + 1)
            .map(|s| match (s.rule, line(&c.lower), line(&c.upper)) {
                ("beyond_limits", _, Some(high)) if p.value > high => {
                    format!("above the upper limit of {}", c.figure(high))
                }
                ("beyond_limits", Some(low), _) if p.value < low => {
                    format!("below the lower limit of {}", c.figure(low))
                }
                _ => s.words.to_string(),
            })
            .collect();
        if broken.is_empty() {
            let text = if line(&c.upper).is_some() { "breaks no rule" } else { "there are no limits here" };
            page.line(Role::Quiet, &format!("  {text}; {} points do", c.signals.len()));
        } else {
            page.line(Role::Bad, &format!("◆ breaks a rule: {}", broken.join("; ")));
        }
        let mut near: Vec<_> =
            c.changes.iter().filter(|e| e.at == p.at || here(e.point, e.exact, self.at)).collect();
        near.sort_by_key(|e| LANES.iter().position(|l| *l == e.lane));
        let room = most.saturating_sub(3);
        for (i, e) in near.iter().enumerate().take(room) {
            let more = near.len() - i - 1;
            let more = if i + 1 == room && more > 0 { format!("  (+{more} more)") } else { String::new() };
            let text = format!("  {}: {} {}", e.lane, clock(&e.at), clocks(&e.what));
            let left = page.width.saturating_sub(more.chars().count());
            page.line(Role::Look, &format!("{}{more}", fit(&text, left).trim_end()));
        }
        if near.is_empty() {
            page.line(Role::Quiet, "  nothing on record changed between its neighbours");
        }
        let moulds: usize = c.points.iter().filter_map(|p| p.moulds).sum();
        let behind = if moulds > 0 { format!(" {moulds} moulds.") } else { String::new() };
        page.line(
            Role::Look,
            &format!("! Association, not cause.{behind} A change at the same time is a suspect."),
        );
    }

    fn at_pair(&self, page: &mut Text, a: &Against, most: usize) {
        if let Some(p) = a.points.get(self.at) {
            let pull = match p.influence {
                Some(d) => format!("; pull on the slope {d:.1}"),
                None if p.influential => "; without it there is no slope".into(),
                None => String::new(),
            };
            let text = format!(
                "▸ {}: {} {}, {} ({} of {} blades){pull}",
                p.label,
                a.reading,
                with_unit(p.reading, &a.unit),
                percent(p.rate()),
                p.with,
                p.inspected
            );
            page.para(Role::Chosen, &text, 2);
        }
        for words in a.words.iter().take(most) {
            page.para(Role::Text, words, 2);
        }
        caution(page, a.moulds, a.heats);
    }

    fn at_part(&self, page: &mut Text, a: &Against, most: usize) {
        if let Some(p) = a.parts.get(self.at) {
            let interval = match p.interval {
                Some([low, high]) => format!(", 95 % {} to {}", percent(low), percent(high)),
                None => String::new(),
            };
            let text = format!(
                "▸ {} {}: {} of {} blades{interval}, {} {}s",
                a.reading,
                span(p.span),
                p.with,
                p.inspected,
                p.points,
                a.by
            );
            page.line(Role::Chosen, &text);
        }
        let all = a.rate.map_or_else(String::new, |r| format!("Upright line: all, {}. ", percent(r)));
        page.para(Role::Text, &format!("{all}Intervals allow for blades of a heat being alike."), 2);
        for words in a.words.iter().take(most) {
            page.para(Role::Text, words, 2);
        }
        caution(page, a.moulds, a.heats);
    }

    fn map(&self, r: &Rates, width: usize, high: usize) -> Picture {
        let widest = |of: &dyn Fn(&RateLine) -> usize| r.lines.iter().map(of).max().unwrap_or(0);
        let beside = widest(&|l| l.label.chars().count()) + widest(&|l| l.count().chars().count());
        // The hand, and the blanks between.
        let most = width.saturating_sub(beside + 6).max(1);
        let from = window(self.at, r.columns.len(), most);
        let rows = high.saturating_sub(3).max(1);
        let first = window(self.row, r.lines.len(), rows);
        r.map((first, rows), (from, most), Some((self.row, self.at)))
    }

    fn at_position(&self, page: &mut Text, r: &Rates) {
        let Some(l) = r.lines.get(self.row) else { return };
        let state = match l.cells.chars().nth(self.at) {
            Some('x') => "with it",
            Some('.') => "inspected, without it",
            Some('?') => "made, not inspected for it",
            _ => "no blade there",
        };
        let mould = r.columns.get(self.at).map_or("", String::as_str);
        page.line(Role::Chosen, &format!("▸ {mould}, {}: {state}", l.label));
        page.line(Role::Text, &line_words(l));
        if let Some(all) = r.lines.iter().map(|l| l.moulds).max() {
            independent(page, all, r.heats);
        }
    }

    fn at_zone(&self, page: &mut Text, r: &Rates) {
        let Some(l) = r.lines.get(self.at) else { return };
        page.line(Role::Chosen, &format!("▸ {} {}", l.label, l.name));
        page.line(Role::Text, &line_words(l));
        independent(page, r.lines.iter().map(|l| l.moulds).max().unwrap_or(0), r.heats);
    }

    /// Why there is no picture.
    fn nothing(&self, page: &mut Text, drawn: &Drawn) {
        let notes = match drawn {
            Drawn::Chart(c) => &c.notes,
            Drawn::Against(a) => &a.notes,
            Drawn::Positions(r) | Drawn::Zones(r) => &r.notes,
        };
        page.line(Role::Strong, "There is nothing to draw: no blade or reading on record fits the question.");
        for note in notes {
            page.para(Role::Text, note, 3);
        }
    }
}

/// What a chart is, in one line.
fn about(c: &Chart, (from, to): (usize, usize)) -> String {
    let centre = c.centre.iter().find(|v| v.is_finite());
    let centre = centre.map_or(String::new(), |v| format!(", centre {}", c.figure(*v)));
    let signals = match c.signals.len() {
        0 => "no signal".to_string(),
        1 => "1 signal".into(),
        n => format!("{n} signals"),
    };
    let kind = c.kind.map_or(String::new(), |kind| format!("{} chart ", kind.word));
    let n = c.points.len();
    let points = if to - from < n { format!("{}–{to} of {n}", from + 1) } else { format!("{n} points") };
    format!("{kind}by {}, {points}{centre}; {signals}, limits from all", c.by)
}

/// A change belongs to the point that it stands at, and to both neighbours where it stands between them.
fn here(point: usize, exact: bool, at: usize) -> bool {
    point == at + 1 || (!exact && point == at)
}

fn with_unit(value: f64, unit: &str) -> String {
    format!("{} {unit}", short(value)).trim_end().to_string()
}

fn line_words(l: &RateLine) -> String {
    let interval = match (l.rate, l.interval) {
        (Some(rate), Some([a, b])) => {
            let low = percent(a);
            format!("{} (95 %: {} to {})", percent(rate), low.trim_end_matches(" %"), percent(b))
        }
        _ => "none inspected".into(),
    };
    format!(
        "  {} of {} inspected ({} made), {interval}, {} of {} moulds",
        l.with, l.inspected, l.made, l.moulds_with, l.moulds
    )
}

fn caution(page: &mut Text, moulds: usize, heats: usize) {
    page.line(Role::Look, &format!("! Association, not cause. {moulds} moulds of {heats} heats."));
}

fn independent(page: &mut Text, moulds: usize, heats: usize) {
    let text =
        format!("! Association, not cause. {moulds} moulds, {heats} heats. Blades taken as independent.");
    page.line(Role::Look, &text);
}

/// Rows of characters as lines in the roles of the theme.
fn grid_lines(grid: &Grid, view: &View) -> Vec<Line<'static>> {
    let role = |ink: Ink| match ink {
        Ink::Ink | Ink::Data => Role::Text,
        Ink::Faint | Ink::Axis | Ink::Limit | Ink::Centre => Role::Quiet,
        Ink::Signal => Role::Bad,
        Ink::Event | Ink::Caution => Role::Look,
        Ink::Cursor => Role::Chosen,
    };
    let row = |cells: &Vec<crate::show::picture::cells::Cell>| {
        let mut spans = Vec::new();
        let mut text = String::new();
        let mut now = None;
        for cell in cells.iter().filter(|c| c.glyph != '\0') {
            let of = role(cell.role);
            if now.is_some_and(|n| n != of) {
                spans.push(view.span(now.unwrap_or(Role::Text), std::mem::take(&mut text)));
            }
            now = Some(of);
            text.push(cell.glyph);
        }
        spans.push(view.span(now.unwrap_or(Role::Text), text));
        Line::from(spans)
    };
    grid.rows.iter().map(row).collect()
}
