//! The frame that every screen stands in: name, clock and person above; what was saved and the keys below.

use ratatui::Frame;
use ratatui::layout::Rect;
use ratatui::text::Line;
use unicode_width::UnicodeWidthStr;

use crate::ui::app::App;
use crate::ui::keys::Shown;
use crate::ui::theme::Role;
use crate::ui::view::{View, bar, clock, clocks, fit, lines, wrap};

pub fn draw(app: &App, frame: &mut Frame) {
    let area = frame.area();
    let view = View { theme: app.theme, now: app.now };
    frame.buffer_mut().set_style(area, app.theme.style(Role::Text));
    let least = app.least();
    if area.width < least.0 || area.height < least.1 {
        small(frame, area, &view, least);
    } else {
        whole(app, frame, area, &view);
    }
    app.theme.finish(frame.buffer_mut());
}

fn small(frame: &mut Frame, area: Rect, view: &View, least: (u16, u16)) {
    let text = format!(
        "This window is {} by {}; the screens need {} by {}. Make it larger: nothing is lost.",
        area.width, area.height, least.0, least.1
    );
    lines(frame, area, view.wrapped(Role::Text, &text, usize::from(area.width)));
}

fn whole(app: &App, frame: &mut Frame, area: Rect, view: &View) {
    let width = usize::from(area.width);
    let screens = app.in_sight();
    let Some(top) = screens.last() else { return };
    let strip = |y: u16, height: u16| Rect { x: area.x, y: area.y + y, width: area.width, height };
    // First line: where, and on the right when and who.
    let time = clock(&app.now.to_string());
    // A window too narrow for the day has the time of day.
    let time = if width < 60 { time.get(11..).unwrap_or(&time).to_string() } else { time };
    let word = if width < 60 { "" } else { "clock " };
    let time = match (app.demo, app.clock_given) {
        (true, _) => format!("demo {word}{time}"),
        (false, true) => format!("{word}given {time}"),
        (false, false) => time,
    };
    let who = app.who.as_deref().unwrap_or("no person given");
    let right = format!("{time}  {who} ");
    let left = width.saturating_sub(right.width());
    let head = format!("{}{right}", fit(&format!(" {}", top.title()), left));
    lines(frame, strip(0, 1), vec![bar(&head, width, app.theme.style(Role::Chosen))]);
    let wall = screens.first().is_some_and(|s| s.is_wall());
    if let (Some(bar), false) = (screens.iter().rev().find_map(|s| s.bar(view)), wall) {
        lines(frame, strip(1, 1), vec![bar]);
    }
    if let (Some(line), false) = (app.strip_line(view, width), wall) {
        lines(frame, strip(2, 1), vec![line]);
    }
    let mut keys = footer(&app.footer(), width, view);
    let (above, margin) = if wall { (1, 0) } else { (3, 1) };
    keys.truncate(if wall { 1 } else { 2 });
    let said = status(app, width, view);
    let below = (said.len() + keys.len()) as u16;
    let body = Rect {
        x: area.x + margin,
        y: area.y + above,
        width: area.width.saturating_sub(2 * margin),
        height: area.height.saturating_sub(above + below),
    };
    for screen in &screens {
        screen.draw(frame, body, view);
    }
    let bottom = area.height.saturating_sub(below);
    let tall = said.len() as u16;
    lines(frame, strip(bottom, tall), said);
    lines(frame, strip(bottom + tall, keys.len() as u16), keys);
}

/// A sentence has at most so many lines.
const STATUS_LINES: usize = 3;

/// What is waited for, what is wrong, or what was last saved: on one line, or as many as the sentence needs.
fn status(app: &App, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut role = Role::Good;
    let mut text = String::new();
    // From across the bay what was saved is of use for as long as it can be taken back.
    let wall = app.in_sight().first().is_some_and(|s| s.is_wall());
    if let Some(saved) = app.saved.as_ref().filter(|_| !wall || app.undo_left_s().is_some()) {
        text = format!("✓ {}", saved.text);
        if let Some(left) = app.undo_left_s() {
            text.push_str(&format!(" · u takes it back, {left} s left"));
        }
    }
    if let Some((r, notice)) = &app.notice {
        let notice = clocks(notice);
        let mark = match r {
            Role::Bad => "✗ ",
            Role::Look => "! ",
            _ => "",
        };
        role = *r;
        text = if text.is_empty() || *r == Role::Bad {
            format!("{mark}{notice}")
        } else {
            format!("{text} · {mark}{notice}")
        };
    }
    if let Some((writes, seconds)) = app.slow() {
        role = Role::Look;
        text = if writes {
            format!("! waiting to save, {seconds} s: another station is writing; nothing is lost")
        } else {
            format!("… reading the store, {seconds} s")
        };
    }
    let count = if app.codes > 0 { format!("{} scanned ", app.codes) } else { String::new() };
    let mut parts = wrap(&text, width.saturating_sub(count.width() + 2));
    if parts.len() > STATUS_LINES {
        let rest = parts.split_off(STATUS_LINES - 1).join(" ");
        parts.push(rest);
    }
    let left = width.saturating_sub(count.width() + if count.is_empty() { 1 } else { 2 });
    let line = |(i, part): (usize, &String)| {
        let end = if i == 0 && !count.is_empty() { format!(" {count}") } else { String::new() };
        view.line(role, fit(&format!(" {}{end}", fit(part, left)), width))
    };
    parts.iter().enumerate().map(line).collect()
}

/// The keys that work now, on one line or two.
fn footer(keys: &[Shown], width: usize, view: &View) -> Vec<Line<'static>> {
    let mut out: Vec<Vec<_>> = vec![Vec::new()];
    let mut used = 1;
    for key in keys.iter().filter(|k| k.works && !k.label.is_empty()) {
        let wide = key.key.width() + key.label.width() + 3;
        if used + wide > width {
            if out.len() == 2 {
                break;
            }
            out.push(Vec::new());
            used = 1;
        }
        let line = out.len() - 1;
        out[line].push(view.span(Role::Strong, format!(" {}", key.key)));
        out[line].push(view.span(Role::Text, format!(" {} ", key.label)));
        used += wide;
    }
    out.into_iter().map(Line::from).collect()
}
