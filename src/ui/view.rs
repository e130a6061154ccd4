//! Small drawing helpers: lines, fitted text, windows on long lists.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Clear, Paragraph};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::show::laid::unmarked;
use crate::ui::theme::{Role, Theme};
use records::Stamp;
use records::value::tag::shown;

/// What a screen reads while it draws.
pub struct View {
    pub theme: Theme,
    pub now: Stamp,
}

impl View {
    /// A piece of text in a role. What must not reach a terminal is escaped.
    pub fn span(&self, role: Role, text: impl AsRef<str>) -> Span<'static> {
        Span::styled(shown(text.as_ref()).into_owned(), self.theme.style(role))
    }

    pub fn line(&self, role: Role, text: impl AsRef<str>) -> Line<'static> {
        Line::from(self.span(role, text))
    }

    /// The role of a row of a list.
    pub fn row(&self, chosen: bool) -> Role {
        if chosen { Role::Chosen } else { Role::Text }
    }

    /// A sentence on as many lines as it needs.
    pub fn wrapped(&self, role: Role, text: &str, width: usize) -> Vec<Line<'static>> {
        wrap(text, width).into_iter().map(|l| self.line(role, l)).collect()
    }

    /// A tick, or what stands for its absence.
    pub fn mark(&self, ok: bool) -> Span<'static> {
        if ok { self.span(Role::Good, "✓") } else { self.span(Role::Bad, "✗") }
    }
}

/// Draws lines from the top of an area; what does not fit is left out. An area that lies outside of
/// the window is no fault.
pub fn lines(frame: &mut Frame, area: Rect, lines: Vec<Line<'static>>) {
    let area = area.intersection(frame.area());
    if area.width > 0 && area.height > 0 {
        frame.render_widget(Paragraph::new(lines), area);
    }
}

/// The caution above everything that bears on flight parts.
pub fn caution(view: &View, width: usize) -> Vec<Line<'static>> {
    view.wrapped(Role::Look, &format!("! {}", crate::show::CAUTION), width)
}

/// A line of a page as it fits: prose is broken with its indent kept, what stands behind a label below
/// itself; a row of a table is left for the eye to move along.
pub fn broken(line: &str, width: usize) -> Vec<String> {
    let prose = line.trim_start();
    let indent = line.len() - prose.len();
    // Two blanks in a row end a label; twice of them make a table.
    let label = prose.split_once("  ").map(|(label, value)| (label, value.trim_start()));
    let (hang, prose) = match label {
        Some((_, value)) => (line.len() - value.len(), value),
        None => (indent + 2, prose),
    };
    if line.width() <= width || prose.contains("  ") || hang + 20 > width {
        return vec![line.to_string()];
    }
    let parts = wrap(prose, width - hang);
    if label.is_some() {
        let head = line[..hang].to_string();
        let rest = parts.iter().skip(1).map(|p| format!("{}{p}", " ".repeat(hang)));
        return std::iter::once(head + &parts[0]).chain(rest).collect();
    }
    parts
        .iter()
        .enumerate()
        .map(|(i, p)| format!("{}{p}", " ".repeat(if i == 0 { indent } else { hang })))
        .collect()
}

/// An area cut in two, side by side, with columns left free between them.
pub fn split(area: Rect, left: u16, gap: u16) -> (Rect, Rect) {
    let rest = area.width.saturating_sub(left + gap);
    (Rect { width: left, ..area }, Rect { x: area.x + left + gap, width: rest, ..area })
}

/// Lines between two rules, across the middle of an area.
pub fn dialog(frame: &mut Frame, area: Rect, view: &View, title: &str, body: Vec<Line<'static>>) {
    let width = area.width;
    let title = wrap(title, usize::from(width).saturating_sub(4));
    let height = area.height.min((body.len() + title.len()) as u16 + 3);
    let place =
        Rect { x: area.x + (area.width - width) / 2, y: area.y + (area.height - height) / 2, width, height }
            .intersection(frame.area());
    if place.width == 0 || place.height == 0 {
        return;
    }
    frame.render_widget(Clear, place);
    frame.buffer_mut().set_style(place, view.theme.style(Role::Text));
    let rule = "─".repeat(usize::from(width));
    let mut all = vec![view.line(Role::Quiet, &rule)];
    all.extend(title.into_iter().map(|t| view.line(Role::Strong, format!("  {t}"))));
    all.extend(body);
    all.truncate(usize::from(height.saturating_sub(1)));
    while all.len() + 1 < usize::from(height) {
        all.push(Line::default());
    }
    all.push(view.line(Role::Quiet, rule));
    lines(frame, place, all);
}

/// Text cut to a width, with `…` where something is missing, and filled up with blanks.
pub fn fit(text: &str, width: usize) -> String {
    let text = shown(text);
    let mut out = String::new();
    let mut used = 0;
    let full = text.width();
    for c in text.chars() {
        let w = c.width().unwrap_or(0);
        if full > width && used + w + 1 > width {
            if used < width {
                out.push('…');
                used += 1;
            }
            break;
        }
        out.push(c);
        used += w;
    }
    out.push_str(&" ".repeat(width.saturating_sub(used)));
    out
}

/// Text broken at blanks into lines of at most this width.
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(8);
    let mut out = vec![String::new()];
    // Blanks that the text starts with are its indent; where a line is broken they are not carried on.
    let mut begun = false;
    for word in text.split(' ') {
        let mut word = word;
        loop {
            let n = out.len() - 1;
            let used = out[n].width();
            if n > 0 && used == 0 && word.is_empty() {
                break;
            }
            let gap = usize::from(if n == 0 { begun } else { used > 0 });
            begun = true;
            if used + gap + word.width() <= width {
                if gap == 1 {
                    out[n].push(' ');
                }
                out[n].push_str(word);
                break;
            }
            if used > 0 {
                out.push(String::new());
                continue;
            }
            let mut at = 0;
            let mut w = 0;
            for (i, c) in word.char_indices() {
                let cw = c.width().unwrap_or(0);
                if w + cw > width {
                    break;
                }
                w += cw;
                at = i + c.len_utf8();
            }
            out[n].push_str(&word[..at]);
            word = &word[at..];
            out.push(String::new());
        }
    }
    out
}

/// The first line of a window of `height` lines that keeps `chosen` in sight.
pub fn window(chosen: usize, total: usize, height: usize) -> usize {
    if height == 0 || total <= height {
        return 0;
    }
    chosen.saturating_sub(height / 2).min(total - height)
}

/// A line filled to a width with the ground of its role.
pub fn bar(text: &str, width: usize, style: Style) -> Line<'static> {
    Line::from(Span::styled(fit(text, width), style))
}

/// A sentence or a row with every stamp in it as the screens print them. In a row of a table the cell keeps
/// its width, so that the columns stay below each other; the marks of its columns are for a pipe.
pub fn clocks(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let text = unmarked(text);
    let mut rest = text.as_str();
    while let Some(at) = rest.find('T') {
        let part_of_stamp = |c: char| c.is_ascii_digit() || matches!(c, ':' | '.' | '+' | '-' | 'Z');
        // A stamp that is part of an address is a name: it is typed as it stands.
        let free = |s: &usize| rest.is_char_boundary(*s) && !rest[..*s].ends_with(['/', ':', '=']);
        let start = at.checked_sub(10).filter(free);
        let end = rest[at + 1..].find(|c| !part_of_stamp(c)).map_or(rest.len(), |n| at + 1 + n);
        // A full stop that ends the sentence is none of the time.
        let end = at + 1 + rest[at + 1..end].trim_end_matches(['.', ':', '-', '+']).len();
        match start.map(|s| (s, &rest[s..end])).filter(|(_, stamp)| Stamp::parse(stamp).is_ok()) {
            Some((start, stamp)) => {
                let short = clock(stamp);
                out.push_str(&rest[..start]);
                out.push_str(&short);
                if rest[end..].starts_with("  ") {
                    out.push_str(&" ".repeat(stamp.len().saturating_sub(short.len())));
                }
                rest = &rest[end..];
            }
            None => {
                out.push_str(&rest[..=at]);
                rest = &rest[at + 1..];
            }
        }
    }
    out.push_str(rest);
    out
}

/// Day and time of day, as the screens print a stamp; what is no stamp stays as it is.
pub fn clock(text: &str) -> String {
    match (text.get(0..10), text.get(11..16)) {
        (Some(day), Some(time)) if Stamp::parse(text).is_ok() => format!("{day} {time}"),
        _ => text.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_a_page_are_broken_where_they_may_be() {
        let long = "  melt: chemistry of H31-025 outside its limits";
        assert_eq!(broken(long, 30), ["  melt: chemistry of H31-025", "    outside its limits"]);
        let told = "  worth having   a difference of 0.05; hopeless this way";
        assert_eq!(
            broken(told, 42),
            ["  worth having   a difference of 0.05;", "                 hopeless this way"]
        );
        let row = "  M31-081  C  H31-041  development only, and more of it";
        assert_eq!(broken(row, 30), [row]);
        assert_eq!(broken("short", 30), ["short"]);
    }

    #[test]
    fn text_is_fitted_by_width() {
        assert_eq!(fit("mould", 3), "mo…");
        assert_eq!(fit("mould", 7), "mould  ");
        assert_eq!(fit("鋳型鋳型", 5), "鋳型…");
        assert_eq!(fit("x", 0), "");
        assert_eq!(wrap("one two three", 8), ["one two", "three"]);
        assert_eq!(wrap("abcdefghijkl", 8), ["abcdefgh", "ijkl"]);
    }

    #[test]
    fn no_blank_is_lost_where_a_line_is_broken() {
        // An indent stays, blanks inside stay, none is carried to the next line.
        assert_eq!(wrap("  one two", 12), ["  one two"]);
        assert_eq!(wrap(" afterwards by OP-11", 12), [" afterwards", "by OP-11"]);
        assert_eq!(wrap("a  b", 9), ["a  b"]);
        for width in 8..40 {
            let text = "pours:M31-075: filled in afterwards by OP-11: five records in a row";
            let joined = wrap(text, width).join(" ");
            assert!(joined.split_whitespace().eq(text.split_whitespace()) || width < 14, "{width}: {joined}");
        }
    }

    #[test]
    fn stamps_inside_a_sentence_are_shown_short_and_columns_stay() {
        let said = "poured at 2031-04-02T16:10:00+00:00 from H31-001; T31-01 at 2031-04-02T16:10:00Z.";
        assert_eq!(clocks(said), "poured at 2031-04-02 16:10 from H31-001; T31-01 at 2031-04-02 16:10.");
        const ADDRESS: &str = "slurry_checks:PS31-05/2031-03-31T07:40:00+00:00 typed in late";
        let row = "quality  2031-04-02T16:10:00+00:00  PIN given";
        assert_eq!(clocks(row), "quality  2031-04-02 16:10           PIN given");
        for other in ["T31-01: THE TRIAL", "ä2031-04-02T", "2031-04-02T99:10:00+00:00", "°°°°°T", ADDRESS, ""]
        {
            assert_eq!(clocks(other), other);
        }
    }

    #[test]
    fn the_window_follows_the_choice() {
        assert_eq!(window(0, 100_000, 10), 0);
        assert_eq!(window(50_000, 100_000, 10), 49_995);
        assert_eq!(window(99_999, 100_000, 10), 99_990);
        assert_eq!(window(3, 5, 10), 0);
        assert_eq!(window(3, 5, 0), 0);
    }
}
