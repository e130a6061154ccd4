//! Where things stand: one function for each picture.

use crate::show::percent;
use crate::show::picture::plane::{Area, Plane};
use crate::show::picture::scale::{Scale, label, thinned, ticks, with_room};
use crate::show::picture::{
    Anchor, Bars, Canvas, Control, Fill, Item, Map, Picture, Role, Scatter, Shape, State, Zones,
};

impl Picture {
    /// The picture laid out on a canvas.
    pub fn items(&self, canvas: Canvas) -> Vec<Item> {
        let mut plane = Plane::new(canvas);
        let area = plane.frame(self.title(), self.caution());
        match self {
            Self::Control(p) => control(&mut plane, area, p),
            Self::Bars(p) => bars(&mut plane, area, p),
            Self::Scatter(p) => scatter(&mut plane, area, p),
            Self::Map(p) => map(&mut plane, area, p),
            Self::Zones(p) => zones(&mut plane, area, p),
        }
        plane.items
    }
}

/// The scale of a vertical axis, its ticks drawn; gives the area to the right of them.
fn vertical(plane: &mut Plane, area: Area, (low, high): (f64, f64), share: bool) -> (Area, Scale) {
    let (lw, lh) = plane.canvas.letter;
    let most = ((area.bottom - area.top) / lh / 2.5) as usize;
    let k = if share { 100.0 } else { 1.0 };
    let (at, step) = ticks(low * k, high * k, most.clamp(2, 8));
    let labels: Vec<String> = at.iter().map(|v| label(*v, step) + if share { " %" } else { "" }).collect();
    let wide = labels.iter().map(|l| Plane::wide(l)).fold(0.0, f64::max);
    let inner = Area { left: area.left + (wide + 1.0) * lw, ..area };
    let scale = Scale::new(low, high, inner.bottom - lh * 0.5, inner.top);
    for (v, text) in at.iter().zip(&labels) {
        let y = scale.at(v / k);
        plane.text((inner.left - lw * 0.7, y), Anchor::End, text, Role::Faint);
    }
    (inner, scale)
}

/// Places of `n` things side by side.
fn across(area: Area, n: usize, lw: f64) -> (impl Fn(f64) -> f64 + Copy, f64) {
    let from = area.left + lw;
    let step = (area.right - from) / n.max(1) as f64;
    (move |i: f64| from + (i + 0.5) * step, step)
}

/// Names under a row of things, with dates under the names.
fn names(plane: &mut Plane, y: f64, area: Area, x: impl Fn(f64) -> f64, list: &[(&str, &str)], two: bool) {
    let (lw, lh) = plane.canvas.letter;
    let wide = list.iter().map(|(a, b)| Plane::wide(a).max(Plane::wide(b))).fold(1.0, f64::max) + 2.0;
    let most = (((area.right - area.left) / lw / wide) as usize).max(1);
    for i in thinned(list.len(), most) {
        let at = x(i as f64) - lw * 0.5;
        if i > 0 && at + (wide - 2.0) * lw > area.right + lw {
            continue;
        }
        plane.text((at, y), Anchor::Start, list[i].0, Role::Faint);
        if two {
            plane.text((at, y + lh), Anchor::Start, list[i].1, Role::Faint);
        }
    }
}

/// The lanes of changes, the telling ones first, with the letter of each.
pub(crate) const LANES: [(&str, &str); 7] = [
    ("checks", "C"),
    ("revisions", "R"),
    ("tools", "T"),
    ("lots", "L"),
    ("people", "P"),
    ("holds", "H"),
    ("entries", "E"),
];

fn control(plane: &mut Plane, mut area: Area, p: &Control) {
    let (lw, lh) = plane.canvas.letter;
    let dated = p.points.iter().any(|q| !q.date.is_empty() && q.date != q.label);
    let lanes: Vec<(&str, &str)> =
        LANES.into_iter().filter(|(lane, _)| p.events.iter().any(|e| e.lane == *lane)).collect();
    let rows = plane.canvas.size.1 / lh;
    let apart = rows - lanes.len() as f64 > 16.0;
    let lane_rows = if lanes.is_empty() {
        0.0
    } else if apart {
        lanes.len() as f64
    } else {
        1.0
    };
    area.bottom -= lh * (1.0 + f64::from(u8::from(dated)) + lane_rows + 0.6);
    let share = p.unit == "%";
    let all = p.points.iter().flat_map(|q| q.value.into_iter().chain(q.limits.into_iter().flatten()));
    let (mut low, high) = with_room(all);
    if share && low < 0.0 {
        low = 0.0;
    }
    let high = if share { high.max(0.01) } else { high };
    let lane_wide = if apart { lanes.iter().map(|l| Plane::wide(l.0)).fold(0.0, f64::max) } else { 7.0 };
    let lane_wide = if lanes.is_empty() { 0.0 } else { lane_wide + 1.0 };
    let (mut inner, _) = vertical(&mut Plane::new(plane.canvas), area, (low, high), share);
    if inner.left < lane_wide * lw {
        area.left += lane_wide * lw - inner.left;
    }
    let (drawn, y) = vertical(plane, area, (low, high), share);
    inner = drawn;
    plane.edges(inner);
    let (x, step) = across(inner, p.points.len(), lw);
    // limits as steps: equal neighbours are one line
    for (which, role) in [(0, Role::Centre), (1, Role::Limit), (2, Role::Limit)] {
        let mut i = 0;
        while i < p.points.len() {
            let Some(limits) = p.points[i].limits else {
                i += 1;
                continue;
            };
            let mut j = i + 1;
            while j < p.points.len() && p.points[j].limits.is_some_and(|l| l[which] == limits[which]) {
                j += 1;
            }
            let at = y.at(limits[which]);
            plane.rule((x(i as f64) - step * 0.5, at), (x(j as f64 - 1.0) + step * 0.5, at), role);
            i = j;
        }
    }
    let mut run: Vec<(f64, f64)> = Vec::new();
    for (i, q) in p.points.iter().enumerate() {
        match q.value {
            Some(v) => run.push((x(i as f64), y.at(v))),
            None if !run.is_empty() => {
                plane.items.push(Item::Path { points: std::mem::take(&mut run), role: Role::Data });
            }
            None => {}
        }
    }
    if !run.is_empty() {
        plane.items.push(Item::Path { points: run, role: Role::Data });
    }
    if let Some(c) = p.chosen {
        plane.rule((x(c as f64), area.top), (x(c as f64), inner.bottom), Role::Cursor);
    }
    // signals last: where points share a place, the signal is seen
    for signal in [false, true] {
        for (i, q) in p.points.iter().enumerate().filter(|(_, q)| q.signal == signal) {
            let Some(v) = q.value else { continue };
            let (shape, role) =
                if signal { (Shape::Diamond, Role::Signal) } else { (Shape::Dot, Role::Data) };
            let shown = if share { percent(v) } else { format!("{} {}", round(v), p.unit) };
            let role = if p.chosen == Some(i) { Role::Cursor } else { role };
            plane.mark((x(i as f64), y.at(v)), shape, role, format!("{} {}: {shown}", q.label, q.date));
        }
    }
    let list: Vec<(&str, &str)> = p.points.iter().map(|q| (q.label.as_str(), q.date.as_str())).collect();
    names(plane, inner.bottom + lh, inner, x, &list, dated);
    let first = inner.bottom + lh * if dated { 3.0 } else { 2.0 };
    if !lanes.is_empty() && !apart {
        plane.text((0.0, first), Anchor::Start, "changes", Role::Faint);
    }
    // the telling ones are put down last, and stay where several share a place
    for (k, (lane, letter)) in lanes.iter().enumerate().rev() {
        let at = if apart { first + k as f64 * lh } else { first };
        if apart {
            plane.text((0.0, at), Anchor::Start, lane, Role::Faint);
        }
        for e in p.events.iter().filter(|e| e.lane == *lane) {
            plane.text((x(e.at), at), Anchor::Middle, letter, Role::Event);
        }
    }
}

fn round(v: f64) -> String {
    label(v, 10f64.powf((v.abs().max(1e-9)).log10().floor() - 3.0).min(1.0))
}

fn bars(plane: &mut Plane, mut area: Area, p: &Bars) {
    let (lw, lh) = plane.canvas.letter;
    area.bottom -= lh * 1.6;
    let wide = p.rows.iter().map(|r| Plane::wide(&r.label)).fold(0.0, f64::max).min(30.0);
    let counts = p.rows.iter().map(|r| Plane::wide(&r.counts)).fold(0.0, f64::max);
    let hand = if p.chosen.is_some() { 2.0 * lw } else { 0.0 };
    let left = area.left + hand + (wide + 1.0) * lw;
    let inner = Area { left, right: area.right - (counts + 1.0) * lw, ..area };
    let top =
        p.rows.iter().filter_map(|r| r.interval.map(|i| i.1).or(r.rate)).chain(p.all).fold(0.0, f64::max);
    let high = if top > 0.0 { (top * 1.05).min(1.0) } else { 0.1 };
    let x = Scale::new(0.0, high, inner.left, inner.right);
    let row = ((area.bottom - area.top) / p.rows.len().max(1) as f64).min(lh * 2.0).max(lh);
    let row = if plane.is_cells() { row.floor() } else { row };
    area.bottom = area.bottom.min(area.top + row * p.rows.len() as f64 + lh * 0.4);
    let (at, step) = ticks(0.0, high * 100.0, 5);
    for v in at {
        plane.text(
            (x.at(v / 100.0), area.bottom + lh),
            Anchor::Middle,
            &(label(v, step) + " %"),
            Role::Faint,
        );
    }
    if let Some(all) = p.all {
        plane.rule((x.at(all), area.top), (x.at(all), area.bottom), Role::Centre);
    }
    for (i, r) in p.rows.iter().enumerate() {
        let y = area.top + (i as f64 + 0.5) * row;
        let name = plane.fit(&r.label, wide * lw);
        let chosen = p.chosen == Some(i);
        if chosen {
            plane.text((0.0, y), Anchor::Start, "▸", Role::Cursor);
        }
        plane.text((hand, y), Anchor::Start, &name, if chosen { Role::Cursor } else { Role::Ink });
        plane.text((inner.right + lw, y), Anchor::Start, &r.counts, Role::Faint);
        if let Some((low, high)) = r.interval {
            plane.rule((x.at(low), y), (x.at(high), y), Role::Limit);
        }
        if let Some(rate) = r.rate {
            plane.mark((x.at(rate), y), Shape::Dot, Role::Data, format!("{}: {}", r.label, percent(rate)));
        }
    }
    plane.rule((inner.left, area.bottom), (inner.right, area.bottom), Role::Axis);
}

fn scatter(plane: &mut Plane, mut area: Area, p: &Scatter) {
    let (lw, lh) = plane.canvas.letter;
    plane.text((0.0, area.top + lh * 0.3), Anchor::Start, &p.y, Role::Faint);
    plane.text((area.right, area.top + lh * 0.3), Anchor::End, &p.key, Role::Faint);
    area.top += lh;
    area.bottom -= lh * 2.6;
    let (_, high) = with_room(p.points.iter().map(|q| q.y).chain([0.0]));
    let (inner, y) = vertical(plane, area, (0.0, high.clamp(0.02, 1.0)), true);
    plane.edges(inner);
    let (low, high) = with_room(p.points.iter().map(|q| q.x));
    let x = Scale::new(low, high, inner.left + lw, inner.right);
    let most = ((inner.right - inner.left) / lw / 12.0) as usize;
    let (at, step) = ticks(low, high, most.clamp(2, 8));
    for v in at {
        plane.text((x.at(v), inner.bottom + lh * 0.8), Anchor::Middle, &label(v, step), Role::Faint);
    }
    plane.text((inner.right, inner.bottom + lh * 1.8), Anchor::End, &p.x, Role::Faint);
    if let Some((a, b)) = p.curve {
        let n = ((inner.right - inner.left) / lw).clamp(20.0, 200.0).round() as u32;
        let rate = |v: f64| 1.0 / (1.0 + (-(a + b * v)).exp());
        let points: Vec<(f64, f64)> = (0..=n)
            .map(|i| low + (high - low) * f64::from(i) / f64::from(n))
            .map(|v| (x.at(v), y.at(rate(v))))
            .collect();
        plane.items.push(Item::Path { points, role: Role::Centre });
    }
    let place = |q: &crate::show::picture::ScatterPoint| (x.at(q.x), y.at(q.y));
    if let Some(q) = p.chosen.and_then(|c| p.points.get(c)) {
        plane.rule((place(q).0, inner.top), (place(q).0, inner.bottom), Role::Cursor);
    }
    // the flagged, then the chosen last: where points share a place, they are seen
    let mut order: Vec<usize> = (0..p.points.len()).collect();
    order.sort_by_key(|&i| (p.chosen == Some(i), p.points[i].flagged));
    for i in order {
        let (q, chosen) = (&p.points[i], p.chosen == Some(i));
        let (shape, role) = match (q.flagged, chosen) {
            (true, false) => (Shape::Triangle, Role::Signal),
            (true, true) => (Shape::Triangle, Role::Cursor),
            (false, true) => (Shape::Dot, Role::Cursor),
            (false, false) => (Shape::Ring, Role::Data),
        };
        let at = place(q);
        plane.mark(at, shape, role, format!("{}: {} at {}", q.label, percent(q.y), round(q.x)));
        if q.flagged || chosen {
            let right = at.0 + (Plane::wide(&q.label) + 2.0) * lw > inner.right;
            let (dx, anchor) = if right { (-1.2, Anchor::End) } else { (1.2, Anchor::Start) };
            let role = if chosen { Role::Cursor } else { Role::Ink };
            plane.text((at.0 + dx * lw, at.1), anchor, &q.label, role);
        }
    }
}

/// The pattern of a state, and its word.
fn of_state(state: State) -> (Fill, &'static str) {
    match state {
        State::With => (Fill::Solid, "with"),
        State::Clean => (Fill::Dots, "inspected, without"),
        State::NotInspected => (Fill::Hatch, "not inspected"),
        State::Nothing => (Fill::Empty, "no blade"),
    }
}

fn map(plane: &mut Plane, mut area: Area, p: &Map) {
    let (lw, lh) = plane.canvas.letter;
    // the key
    let mut at = 0.0;
    for state in [State::With, State::Clean, State::NotInspected] {
        let (fill, word) = of_state(state);
        plane.fill((at, area.top), (lw, lh * 0.9), fill, false, String::new());
        plane.text((at + lw * 2.0, area.top + lh * 0.5), Anchor::Start, word, Role::Faint);
        at += (Plane::wide(word) + 4.0) * lw;
    }
    area.top += lh * 1.2;
    area.bottom -= lh;
    let wide = p.rows.iter().map(|r| Plane::wide(&r.0)).fold(0.0, f64::max);
    let counts = p.rows.iter().map(|r| Plane::wide(&r.1)).fold(0.0, f64::max);
    let hand = if p.chosen.is_some() { 2.0 * lw } else { 0.0 };
    let left = area.left + hand + (wide + 1.0) * lw;
    let inner = Area { left, right: area.right - (counts + 1.0) * lw, ..area };
    let mut height = ((inner.bottom - inner.top) / p.rows.len().max(1) as f64).min(lh * 1.6).max(lh);
    let mut width = ((inner.right - inner.left) / p.columns.len().max(1) as f64).min(lw * 3.0);
    if plane.is_cells() {
        // Whole characters, or neighbours would differ in size.
        (height, width) = (1.0, width.floor().max(1.0));
    }
    for (r, (name, count)) in p.rows.iter().enumerate() {
        let top = inner.top + r as f64 * height;
        let here = p.chosen.filter(|c| c.0 == r);
        if here.is_some() {
            plane.text((0.0, top + height * 0.5), Anchor::Start, "▸", Role::Cursor);
        }
        let role = if here.is_some() { Role::Cursor } else { Role::Ink };
        plane.text((hand, top + height * 0.5), Anchor::Start, name, role);
        plane.text((inner.right + lw, top + height * 0.5), Anchor::Start, count, Role::Faint);
        // the ones with the defect last: where columns share a place, they are seen
        for with in [false, true] {
            for (c, state) in p.cells[r].iter().enumerate().filter(|(_, s)| (**s == State::With) == with) {
                if *state == State::Nothing {
                    continue;
                }
                let (fill, word) = of_state(*state);
                let at = (inner.left + c as f64 * width, top + height * 0.05);
                let words = format!("{}, position {name}: {word}", p.columns[c]);
                plane.fill(at, (width * 0.86, height * 0.9), fill, false, words);
            }
        }
    }
    let mut bottom = inner.top + p.rows.len() as f64 * height + lh * 0.5;
    if let Some((_, c)) = p.chosen {
        let x = inner.left + (c as f64 + 0.43) * width;
        plane.text((x, bottom), Anchor::Middle, "▲", Role::Cursor);
        bottom += lh;
    }
    let list: Vec<(&str, &str)> = p.columns.iter().map(|c| (c.as_str(), "")).collect();
    let used = Area { right: inner.left + width * p.columns.len() as f64, ..inner };
    names(plane, bottom, used, |i| inner.left + (i + 0.5) * width, &list, false);
}

/// Places on the outline of a blade, root below: words of a zone's name, then left, top, width and
/// height as shares of the outline.
const PLACES: [(&str, [f64; 4]); 8] = [
    ("tip", [0.18, 0.0, 0.64, 0.12]),
    ("leading", [0.18, 0.12, 0.16, 0.53]),
    ("trailing", [0.66, 0.12, 0.16, 0.53]),
    ("aerofoil", [0.34, 0.12, 0.32, 0.53]),
    ("shroud", [0.82, 0.0, 0.18, 0.12]),
    ("platform", [0.0, 0.65, 1.0, 0.12]),
    ("root", [0.2, 0.77, 0.6, 0.15]),
    ("gate", [0.36, 0.92, 0.28, 0.08]),
];

fn zones(plane: &mut Plane, area: Area, p: &Zones) {
    let (lw, lh) = plane.canvas.letter;
    let text = |z: &crate::show::picture::ZoneRate| format!("{} {}/{}", z.zone, z.with, z.inspected);
    let most = p.zones.iter().map(rate).fold(0.0, f64::max);
    let list: Vec<String> = p
        .zones
        .iter()
        .map(|z| {
            format!("{} {}: {} of {} inspected, {}", z.zone, z.name, z.with, z.inspected, percent(rate(z)))
        })
        .collect();
    let wide = list.iter().map(|l| Plane::wide(l)).fold(0.0, f64::max);
    let hand = if p.chosen.is_some() { 2.0 * lw } else { 0.0 };
    let width = (area.right - (wide + 3.0) * lw - hand).max(lw * 20.0).min(lw * 44.0);
    let leading = if plane.is_cells() { 1.0 } else { 1.2 };
    let height = area.bottom - area.top - lh * 0.5;
    for (i, z) in p.zones.iter().enumerate() {
        let name = z.name.to_lowercase();
        let Some((_, [x, y, w, h])) = PLACES.iter().find(|(word, _)| name.contains(word)) else { continue };
        let mut at = (area.left + x * width, area.top + y * height);
        let mut size = (w * width, h * height);
        if plane.is_cells() {
            // Neighbours share an edge, so the edges are what is rounded.
            let end = ((at.0 + size.0).round(), (at.1 + size.1).round());
            at = (at.0.round(), at.1.round());
            size = (end.0 - at.0, end.1 - at.1);
        }
        let share = if most > 0.0 { rate(z) / most } else { 0.0 };
        let fill = match share {
            s if s <= 0.0 => Fill::Empty,
            s if s < 0.34 => Fill::Dots,
            s if s < 0.99 => Fill::Hatch,
            _ => Fill::Solid,
        };
        plane.fill(at, size, fill, true, text(z));
        let label = if (Plane::wide(&text(z)) + 2.0) * lw <= size.0 { text(z) } else { z.zone.clone() };
        let role = if p.chosen == Some(i) { Role::Cursor } else { Role::Ink };
        // A blank on either side keeps it readable on a pattern.
        let label = if Plane::wide(&label) + 4.0 <= size.0 / lw { format!(" {label} ") } else { label };
        let middle = at.0 + size.0 * 0.5 - if plane.is_cells() { 0.5 } else { 0.0 };
        plane.text((middle, at.1 + size.1 * 0.5), Anchor::Middle, &label, role);
    }
    for (i, line) in list.iter().enumerate() {
        let y = area.top + (i as f64 + 0.5) * lh * leading;
        let chosen = p.chosen == Some(i);
        if chosen {
            plane.text((width + lw * 2.0, y), Anchor::Start, "▸", Role::Cursor);
        }
        let line = plane.fit(line, area.right - width - lw * 2.0 - hand);
        let role = if chosen { Role::Cursor } else { Role::Ink };
        plane.text((width + lw * 2.0 + hand, y), Anchor::Start, &line, role);
    }
}

fn rate(z: &crate::show::picture::ZoneRate) -> f64 {
    if z.inspected == 0 { 0.0 } else { z.with as f64 / z.inspected as f64 }
}
