//! How the trace desk looks. Only the rows in sight are made.

use crate::jobs::trace::screen::tree::Below;
use crate::jobs::trace::screen::{Face, TraceDesk, marks};
use crate::jobs::trace::show::{Contain, Rate, Siblings, Trace};
use crate::show::tenths;
use crate::ui::kit::*;
use records::value::place::Place;
use records::value::words::counted;

fn noun(kind: &str) -> &str {
    records::catalogue::kind(kind).map_or("record", |k| k.noun)
}

/// Draws the face that is in sight.
pub(crate) fn draw(desk: &TraceDesk, frame: &mut Frame, area: Rect, view: &View) {
    let (width, height) = (usize::from(area.width), usize::from(area.height));
    let waits = |text: &str| vec![view.line(Role::Quiet, text)];
    let all = match (desk.face, &desk.trace, &desk.out, &desk.siblings) {
        (Face::Into, Some(trace), ..) => into(desk, trace, width, height, view),
        (Face::Out, _, Some(out), _) => out_of(desk, out, width, height, view),
        (Face::Siblings, _, _, Some(siblings)) => beside(desk, siblings, width, height, view),
        _ if desk.trouble => waits("no parentage can be shown for that tag; / takes another"),
        _ => waits("reading … Esc leaves it"),
    };
    lines(frame, area, all);
}

fn role(chosen: bool) -> Role {
    if chosen { Role::Chosen } else { Role::Text }
}

fn point(chosen: bool) -> &'static str {
    if chosen { "▸ " } else { "  " }
}

fn into(desk: &TraceDesk, trace: &Trace, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
    let place = trace.place.map(|p| format!(", now: {p}")).unwrap_or_default();
    let head = format!("What went into {} {}{place}", noun(trace.kind), trace.tag);
    let mut out = vec![view.line(Role::Strong, fit(&head, width))];
    let room = height.saturating_sub(1);
    let from = window(desk.at, desk.rows.len(), room);
    for (i, row) in desk.rows.iter().enumerate().skip(from).take(room) {
        let Some(node) = trace.nodes.get(row.node) else { continue };
        let sign = match row.open {
            Some(true) => "- ",
            Some(false) => "+ ",
            None => "  ",
        };
        let indent = "  ".repeat(row.depth.min(20));
        let mut text = format!("{}{indent}{sign}{} {}", point(i == desk.at), noun(node.kind), node.tag);
        let named = |v: &&String| !["source", "heat", noun(node.kind)].contains(&v.as_str());
        let via: Vec<&str> = row.via.iter().filter(named).map(String::as_str).collect();
        match (via.first(), via.len()) {
            (Some(one), 1) => text.push_str(&format!(" ({one})")),
            (Some(one), n) => text.push_str(&format!(" ({one} … {}: {n} times)", via[n - 1])),
            _ => {}
        }
        if let Some(kg) = row.mass_kg {
            text.push_str(&format!(" {} kg", (kg * 1000.0).round() / 1000.0));
        }
        // The share of a record is that of all its ways together, and may be more than that of the record
        // it hangs on: it is told once.
        match node.share.filter(|_| !row.again) {
            Some(share) if row.ways => {
                text.push_str(&format!(", {} of the metal in all ways", tenths(share)))
            }
            Some(share) => text.push_str(&format!(", {} of the metal", tenths(share))),
            None => {}
        }
        if row.above {
            text.push_str(" (opened above)");
        } else if row.again && node.share.is_some() {
            text.push_str(" (see above)");
        }
        let signs = marks(view, node.holds > 0, node.suspect);
        let left = width.saturating_sub(signs.iter().map(|s| s.content.chars().count()).sum());
        let text = text.trim_end();
        let text = if text.chars().count() > left { fit(text, left) } else { text.to_string() };
        let mut spans = vec![view.span(role(i == desk.at), text)];
        spans.extend(signs);
        out.push(Line::from(spans));
    }
    out
}

fn out_of(desk: &TraceDesk, c: &Contain, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
    let head = format!("What came out of {} {}: {}", noun(c.kind), c.tag, counted(c.blades.len(), "blade"));
    let mut out = vec![view.line(Role::Strong, fit(&head, width))];
    let parts: Vec<String> = Place::ALL
        .iter()
        .map(|p| (c.totals.get(p.word()).copied().unwrap_or(0), p.word()))
        .filter(|(n, _)| *n > 0)
        .map(|(n, word)| format!("{n} {word}"))
        .collect();
    if !parts.is_empty() {
        let sum = format!("{} = {}", c.blades.len(), parts.join(" + "));
        out.extend(wrap(&sum, width).into_iter().take(2).map(|l| view.line(Role::Text, l)));
    }
    if c.not_poured > 0 {
        out.push(view.line(Role::Quiet, format!("{} of them in moulds not poured yet", c.not_poured)));
    }
    if let Some((left, unit)) = c.stock.as_ref().and_then(|s| Some((s.left?, s.unit))) {
        out.push(view.line(Role::Quiet, format!("{left:.1} {unit} of it are not used")));
    }
    if c.bands.len() > 1 {
        let bands: Vec<String> = c.bands.iter().map(|b| format!("{} with {}", b.blades, b.words())).collect();
        let all = format!("of the metal {}", bands.join(" · "));
        out.extend(wrap(&all, width).into_iter().take(2).map(|l| view.line(Role::Text, l)));
    }
    if c.blades.is_empty() {
        out.push(view.line(Role::Quiet, "no blade came out of it"));
    }
    let room = height.saturating_sub(out.len());
    let from = window(desk.below_at, desk.below.len(), room);
    for (i, row) in desk.below.iter().enumerate().skip(from).take(room) {
        let here = i == desk.below_at;
        let line = match *row {
            Below::Mould(first, n, open) => {
                let blades = &c.blades[first..first + n];
                let held = blades.iter().filter(|b| b.held).count();
                let suspect = blades.iter().filter(|b| b.suspect).count();
                let mould = blades[0].mould.as_deref().unwrap_or("no mould");
                let heat = blades[0].heat.as_deref().map(|h| format!(", heat {h}")).unwrap_or_default();
                let share =
                    blades[0].share.map(|s| format!(", {} of the metal", tenths(s))).unwrap_or_default();
                let sign = if open { "-" } else { "+" };
                let text =
                    format!("{}{sign} mould {mould}{heat}: {}{share}", point(here), counted(n, "blade"));
                let mut spans = vec![view.span(role(here), text)];
                if held > 0 {
                    spans.push(view.span(Role::Bad, format!(" ✗ {held} held")));
                }
                if suspect > 0 {
                    spans.push(view.span(Role::Look, format!(" ! {suspect} suspect")));
                }
                Line::from(spans)
            }
            Below::Blade(b) => {
                let b = &c.blades[b];
                let sent = match (&b.shipped_at, &b.certificate) {
                    (Some(at), Some(with)) => format!(" {} with {with}", at.get(..10).unwrap_or(at)),
                    _ => String::new(),
                };
                let text = format!("{}    {} {}{sent}", point(here), fit(&b.tag, 14), b.place);
                let mut spans = vec![view.span(role(here), text)];
                spans.extend(marks(view, b.held, b.suspect));
                Line::from(spans)
            }
        };
        out.push(line);
    }
    out
}

fn rate(name: &str, r: Rate, width: usize, view: &View) -> Line<'static> {
    let value = r.value().map_or("none".into(), tenths);
    let left = match r.made.saturating_sub(r.inspected) {
        0 => String::new(),
        n => format!(", {n} not yet"),
    };
    let text = format!(
        "{} {value:>7}  {} of {} inspected, {}, {}{left}",
        fit(name, 22),
        r.with,
        r.inspected,
        counted(r.moulds as usize, "mould"),
        counted(r.heats as usize, "heat"),
    );
    view.line(Role::Text, fit(&text, width))
}

fn beside(desk: &TraceDesk, s: &Siblings, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
    let head = format!("{} shares {} with {}", s.blade, s.of, counted(s.siblings.len(), "blade"));
    let mut out = vec![view.line(Role::Strong, fit(&head, width))];
    let method = s.method.as_ref().map(|m| format!(" by {m}, first round")).unwrap_or_default();
    let what = s.defect.as_deref().unwrap_or("any reject");
    out.push(view.line(Role::Strong, fit(&format!("rate of {what}{method}"), width)));
    out.push(rate(&format!("below {}", s.of), s.counts_in, width, view));
    out.push(rate("same heats, without it", s.counts_same_heats, width, view));
    out.push(rate("all others", s.counts_out, width, view));
    let caution = "! association, not cause; blades of one mould are no independent proofs";
    out.push(view.line(Role::Look, fit(caution, width)));
    if s.siblings.is_empty() {
        out.push(view.line(Role::Quiet, "no other blade came out of it"));
    }
    let room = height.saturating_sub(out.len());
    let from = window(desk.sibling_at, s.siblings.len(), room);
    for (i, b) in s.siblings.iter().enumerate().skip(from).take(room) {
        let found = b.found();
        let found = match (found.is_empty(), b.inspected) {
            (false, _) => format!("✗ {}", found.join("; ")),
            (true, true) => "✓ nothing found".into(),
            (true, false) => "· not yet inspected".into(),
        };
        let text = format!("{}{} {:10} {found}", point(i == desk.sibling_at), fit(&b.blade, 14), b.place);
        out.push(view.line(role(i == desk.sibling_at), fit(&text, width)));
    }
    out
}
