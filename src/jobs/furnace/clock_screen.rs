//! The clocks on every screen: a line below the title for the moulds that are out of their ovens and not poured.

use std::collections::HashMap;

use crate::jobs::furnace::clocks::{Clock, Limit, clocks, minutes};
use crate::ui::kit::*;
use records::Stamp;

/// Seconds before the limit at which the bell rings first.
const BEFORE_S: f64 = 60.0;

#[derive(Default)]
pub struct Clocks {
    clocks: Vec<Clock>,
    /// How often the bell was due for each.
    rung: HashMap<(String, Stamp), u8>,
}

/// The look of a clock; the words beside it say the same.
pub fn role(limit: Limit) -> Role {
    match limit {
        Limit::Within => Role::Good,
        Limit::NoLimit => Role::Look,
        Limit::Past => Role::Bad,
    }
}

/// The mark before it. Within its limit a clock has none: a tick beside a mould says that it may be poured, and that is not
/// the clock's to say.
pub fn mark(limit: Limit) -> &'static str {
    match limit {
        Limit::Within => "",
        Limit::NoLimit => "? ",
        Limit::Past => "✗ ",
    }
}

/// The words of a clock; past the limit they are bold.
pub fn span(clock: &Clock, view: &View, text: String) -> Span<'static> {
    let limit = clock.limit(view.now);
    let mut span = view.span(role(limit), text);
    if limit == Limit::Past {
        span.style = span.style.add_modifier(view.theme.style(Role::Strong).add_modifier);
    }
    span
}

impl Strip for Clocks {
    fn ask(&self, now: Stamp) -> Box<dyn AnyOrder> {
        Box::new(Read::new(now, |store, now| clocks(store, *now)))
    }

    fn reply(&mut self, mut reply: Reply) {
        if let Some(clocks) = reply.take() {
            self.clocks = clocks;
        }
    }

    fn line(&self, view: &View, width: usize) -> Option<Line<'static>> {
        // The one that is over its limit, or next to it, stands first; those without a limit last.
        let mut clocks: Vec<&Clock> = self.clocks.iter().collect();
        let left = |c: &Clock| c.left_s(view.now).unwrap_or(f64::INFINITY);
        clocks.sort_by(|a, b| left(a).total_cmp(&left(b)));
        let first = *clocks.first()?;
        let limit = first.limit(view.now);
        let whole = format!(" {}{}: {}", mark(limit), first.words(view.now), limit.words());
        let more = clocks.len() - 1;
        let rest = if more == 0 { 0 } else { format!(" · and {more} more").chars().count() };
        // Where the whole has no room, the word about the limit has: it is never what is cut off.
        // Several stand beside each other rather than one in many words.
        let said = if whole.chars().count() + rest <= width && (more == 0 || width >= 120) {
            whole
        } else {
            let time = minutes(first.seconds(view.now));
            let short = format!(" {time} {}", limit.words());
            let room = width.saturating_sub(short.chars().count() + rest + 3);
            format!(" {}{}{short}", mark(limit), fit(&first.mould, room.min(first.mould.chars().count())))
        };
        let mut used = said.chars().count();
        let mut spans = vec![span(first, view, said)];
        for (i, &clock) in clocks.iter().enumerate().skip(1) {
            let limit = clock.limit(view.now);
            let time = minutes(clock.seconds(view.now));
            let said = format!(" · {}{} {time} {}", mark(limit), clock.mould, limit.words());
            let rest = format!(" · and {} more", clocks.len() - i);
            let last = i + 1 == clocks.len();
            let room = width.saturating_sub(used + if last { 0 } else { rest.chars().count() });
            if said.chars().count() > room {
                if used + rest.chars().count() <= width {
                    spans.push(view.span(Role::Strong, rest));
                }
                break;
            }
            used += said.chars().count();
            spans.push(span(clock, view, said));
        }
        Some(Line::from(spans))
    }

    fn rings(&mut self, now: Stamp) -> bool {
        let mut rings = false;
        for clock in &self.clocks {
            let Some(left) = clock.left_s(now) else { continue };
            let due = if left < 0.0 { 2 } else { u8::from(left <= BEFORE_S) };
            // What had come so far when it was first seen is no news.
            let before = self.rung.entry((clock.mould.clone(), clock.out_at)).or_insert(due);
            rings |= due > *before;
            *before = due;
        }
        rings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ui::theme::{Depth, Room, Theme};

    fn strip(clocks: &[(&str, i64, Option<f64>)]) -> Clocks {
        let clock = |(mould, ago_s, limit_s): &(&str, i64, Option<f64>)| Clock {
            mould: (*mould).into(),
            oven_run: "OV-12".into(),
            out_at: now().later_ms(-ago_s * 1000),
            limit_s: *limit_s,
        };
        Clocks { clocks: clocks.iter().map(clock).collect(), ..Clocks::default() }
    }

    fn now() -> Stamp {
        Stamp::parse("2031-05-26T08:00:00+00:00").unwrap()
    }

    fn line(strip: &Clocks, now: Stamp, width: usize) -> String {
        let view = View { theme: Theme { room: Room::Dark, depth: Depth::None, ascii: false }, now };
        strip.line(&view, width).map(|l| l.to_string()).unwrap_or_default()
    }

    #[test]
    fn the_seconds_run_without_a_question() {
        let strip = strip(&[("M31-041", 221, Some(600.0))]);
        assert_eq!(
            line(&strip, now(), 80),
            " M31-041 out of OV-12 for 3:41 of 10:00 by its recipe: within the limit"
        );
        assert_eq!(
            line(&strip, now().later_ms(380_000), 80),
            " ✗ M31-041 out of OV-12 for 10:01 of 10:00 by its recipe: past the limit"
        );
    }

    #[test]
    fn what_has_no_room_is_counted() {
        let strip = strip(&[("M-1", 5, Some(600.0)), ("M-2", 65, Some(600.0)), ("M-3", 70, None)]);
        let said = line(&strip, now(), 200);
        assert!(said.contains("· M-1 0:05 within the limit · ? M-3 1:10 no limit on record"), "{said}");
        for width in 50..200 {
            let said = line(&strip, now(), width);
            assert!(said.chars().count() <= width, "{width}: {said}");
            assert!(said.contains("within the limit"), "{width}: {said}");
            let named = ["M-1", "M-3"].iter().filter(|m| said.contains(**m)).count();
            assert!(named == 2 || said.contains(&format!("and {} more", 2 - named)), "{width}: {said}");
        }
        assert_eq!(line(&Clocks::default(), now(), 80), "");
    }

    #[test]
    fn the_one_over_its_limit_stands_first_whatever_came_out_last() {
        let clocks = strip(&[("M-3", 60, Some(180.0)), ("M-2", 121, Some(180.0)), ("M-1", 602, Some(180.0))]);
        let said = line(&clocks, now(), 80);
        assert!(said.starts_with(" ✗ M-1 10:02 past the limit · M-2 2:01"), "{said}");
        assert!(said.ends_with("and 1 more") || said.contains("M-3"), "{said}");
    }

    #[test]
    fn the_bell_rings_once_before_and_once_after() {
        let mut strip = strip(&[("M-1", 500, Some(600.0)), ("M-2", 5000, Some(600.0))]);
        let rings: Vec<i64> = (0..200).filter(|s| strip.rings(now().later_ms(s * 1000))).collect();
        // 600 - 500 - 60 s, and the first second past 600.
        assert_eq!(rings, [40, 101]);
    }
}
