//! How a run looks: in large letters what each scan records, the tally, what came of the last.

use crate::jobs::bench::run::record::Begun;
use crate::jobs::bench::run::screen::{Asking, Done, Rejecting, RunScreen, word};
use crate::ui::big_letters::large;
use crate::ui::form::{Origin, Row};
use crate::ui::kit::*;
use records::Type;
use records::catalogue::Verdict;
use records::value::words::counted;

impl RunScreen {
    pub(crate) fn draw_head(&self, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        if self.stopped.is_some() {
            let text = format!("F2 goes on as {}", self.person.as_deref().unwrap_or("nobody"));
            let big = large(&text, width, false, view.theme.ascii);
            rows.extend(big.into_iter().map(|l| view.line(Role::Look, l)));
            // What was scanned in vain comes before the fields: a long head leaves no room behind them.
            rows.extend(self.said(width, view));
        }
        rows.extend(view.wrapped(
            Role::Strong,
            "What is the same for all; then each scan records one line.",
            width,
        ));
        rows.push(Line::default());
        for (i, row) in self.head.form.rows.iter().enumerate() {
            rows.push(self.head_row(row, i == self.head.form.at, width, view));
        }
        let here = self.head.form.chosen().is_none();
        let role = if here { Role::Chosen } else { Role::Strong };
        rows.push(view.line(role, fit(&format!("{} F2 begins", mark(here)), width)));
        rows.push(Line::default());
        if let Some((role, text)) = self.last.as_ref().filter(|_| self.stopped.is_none()) {
            rows.extend(view.wrapped(*role, text, width));
        }
        lines(frame, area, rows);
    }

    fn head_row(&self, row: &Row, here: bool, width: usize, view: &View) -> Line<'static> {
        let label = fit(&row.label(), 18);
        let blank = row.text.is_empty() && self.run.found.contains(&row.name()) && !here;
        let text = if blank { "the next of each" } else { row.text.as_str() };
        let role = if here { Role::Field } else { Role::Text };
        let (remark_role, remark) = match (&row.fault, row.ty(), row.origin) {
            (Some(fault), ..) => (Role::Bad, format!("✗ {fault}")),
            (None, Type::Choice(words), _) if here => (Role::Quiet, words.join(" · ")),
            (None, _, Origin::Carried) => (Role::Quiet, "as last time".into()),
            (None, _, Origin::Blank) if !row.optional() && !self.run.found.contains(&row.name()) => {
                (Role::Look, "! scan it or type it".into())
            }
            _ => (Role::Quiet, String::new()),
        };
        let rest = width.saturating_sub(46);
        Line::from(vec![
            view.span(if here { Role::Strong } else { Role::Text }, format!("{} {label} ", mark(here))),
            view.span(role, fit(text, 22)),
            view.span(Role::Text, format!(" {} ", row.unit())),
            view.span(remark_role, fit(&remark, rest)),
        ])
    }

    pub(crate) fn draw_run(&self, begun: &Begun, frame: &mut Frame, area: Rect, view: &View) {
        let width = usize::from(area.width);
        let mut rows = Vec::new();
        let wide = area.height >= 30;
        let big = |text: &str, role: Role| -> Vec<Line<'static>> {
            large(text, width, wide, view.theme.ascii).into_iter().map(|l| view.line(role, l)).collect()
        };
        // What the next key or scan is about stands there: no ACCEPT while a reject is said.
        rows.extend(match &self.rejecting {
            _ if self.loud => big("NOT RECORDED", Role::Bad),
            None if self.asking.is_some() => big(&format!("{}?", self.run.large), Role::Look),
            Some(_) => big("REJECT", Role::Bad),
            None => big(self.run.large, Role::Strong),
        });
        // A reject that was not taken leaves the blade as it is: that is not to be overlooked.
        if let (true, None, Some(last)) = (self.loud && self.inspects(), &self.rejecting, self.done.last()) {
            let last = self.hand().unwrap_or(last);
            rows.extend(big(&format!("{} still stands as {}", last.tag, word(self.run, last)), Role::Look));
        }
        rows.extend(view.wrapped(Role::Strong, &self.sentence(begun), width));
        for warning in &begun.warnings {
            rows.extend(view.wrapped(Role::Look, &marked(Role::Look, &clocks(warning)), width));
        }
        if let Some(asking) = &self.asking {
            rows.push(Line::default());
            let what = if self.inspects() { "ACCEPT" } else { self.run.large };
            let about = format!("{what} of {}?", asking.scan.tag);
            rows.push(view.line(Role::Strong, fit(&about, width)));
            rows.extend(asked(asking, self.inspects(), width, view));
            rows.extend(self.said(width, view));
            return lines(frame, area, rows);
        }
        if let Some(rejecting) = &self.rejecting {
            rows.extend(self.reject_rows(rejecting, width, view));
            rows.extend(self.said(width, view));
            return lines(frame, area, rows);
        }
        rows.push(Line::default());
        let (accepted, rejected) = self.tally();
        match self.inspects() {
            true => {
                rows.extend(big(&format!("{accepted} OK  {rejected} REJ"), Role::Text));
                let text = format!("{} accepted, {} rejected", accepted, rejected);
                rows.push(view.line(Role::Quiet, fit(&text, width)));
            }
            false => {
                rows.extend(big(&accepted.to_string(), Role::Text));
                let noun = self.run.scans().noun;
                rows.push(
                    view.line(Role::Quiet, fit(&format!("{} recorded", counted(accepted, noun)), width)),
                );
            }
        }
        rows.extend(self.said(width, view));
        if !self.queue.is_empty() {
            let text = format!("… {} scanned and waiting", self.queue.len());
            rows.push(view.line(Role::Look, fit(&text, width)));
        }
        let left = usize::from(area.height).saturating_sub(rows.len());
        // The blade in somebody's hand comes first: what is keyed next is about it.
        let hand = if self.inspects() { self.hand() } else { self.done.last() };
        let others = self.done.iter().rev().filter(|d| hand.is_none_or(|h| h.address != d.address));
        let newest = hand.map(|d| (d, true)).into_iter();
        for (done, newest) in newest.chain(others.map(|d| (d, false))).take(left) {
            rows.push(self.done_row(done, newest, width, view));
        }
        if self.done.is_empty() && left > 0 {
            let text = format!("scan the first {}", self.run.scans().noun);
            rows.push(view.line(Role::Quiet, fit(&text, width)));
        }
        lines(frame, area, rows);
    }

    /// What came of the last scan or key.
    fn said(&self, width: usize, view: &View) -> Vec<Line<'static>> {
        let said = self.last.as_ref();
        said.map_or_else(Vec::new, |(role, text)| view.wrapped(*role, &marked(*role, &clocks(text)), width))
    }

    fn done_row(&self, done: &Done, newest: bool, width: usize, view: &View) -> Line<'static> {
        let (mark, role) = match done.verdict {
            Verdict::Accept => ("✓", Role::Good),
            Verdict::Reject => ("✗", Role::Bad),
        };
        let what: Vec<&str> =
            [done.what.as_str(), done.seen.as_str()].into_iter().filter(|t| !t.is_empty()).collect();
        let hand = if newest { "▸" } else { " " };
        let text =
            format!("{hand} {mark} {} {}  {}", fit(&done.tag, 16), word(self.run, done), what.join(", "));
        let role = if newest { role } else { Role::Text };
        if !done.unqualified {
            return view.line(role, fit(&text, width));
        }
        let remark = "! reader not qualified";
        let left = width.saturating_sub(remark.len() + 1);
        Line::from(vec![view.span(role, format!("{} ", fit(&text, left))), view.span(Role::Look, remark)])
    }

    /// The numbered defects, then the numbered zones.
    fn reject_rows(&self, rejecting: &Rejecting, width: usize, view: &View) -> Vec<Line<'static>> {
        let tag = self.rejected_tag();
        let mut rows = vec![Line::default()];
        let mut number = |n: usize, name: &str, more: &str| {
            rows.push(view.line(Role::Strong, fit(&format!("  {n}  {}  {more}", fit(name, 24)), width)));
        };
        let head = match &rejecting.defect {
            None => {
                let page = self.defects().iter().skip(rejecting.page * 9).take(9);
                for (i, d) in page.enumerate() {
                    let more = if d.found > 0 { format!("{} times of late", d.found) } else { String::new() };
                    number(i + 1, &d.name, &more);
                }
                format!("✗ REJECT {tag}: which defect?")
            }
            Some(defect) => {
                number(0, "no zone", "");
                for (i, (zone, name)) in self.zones().iter().skip(rejecting.page * 9).take(9).enumerate() {
                    number(i + 1, &format!("{zone} {name}"), "");
                }
                format!("✗ REJECT {tag}: {}, in which zone?", defect.name)
            }
        };
        rows[0] = view.line(Role::Bad, fit(&head, width));
        let text = match &rejecting.defect {
            None if self.defects().is_empty() => "! no defect terms are on record".to_string(),
            None if self.defects().len() > 9 => "PgDn the next nine · Esc no reject".into(),
            None => "Esc no reject".into(),
            Some(_) if self.zones().len() > 9 => {
                "PgDn the next nine · the zone's number records it · Esc no reject".into()
            }
            Some(_) => "the zone's number records it · Backspace another defect · Esc no reject".into(),
        };
        rows.push(view.line(Role::Look, fit(&text, width)));
        rows
    }
}

fn marked(role: Role, text: &str) -> String {
    match role {
        Role::Bad => format!("✗ {text}"),
        Role::Look => format!("! {text}"),
        _ => text.to_string(),
    }
}

/// What is asked about one line.
fn asked(asking: &Asking, inspects: bool, width: usize, view: &View) -> Vec<Line<'static>> {
    let mut rows = Vec::new();
    for why in &asking.reason.why {
        rows.extend(view.wrapped(Role::Look, &format!("! {}", clocks(why)), width));
    }
    rows.push(view.line(Role::Strong, fit("Not recorded yet. Why is it right?", width)));
    let typed = format!("{} ", asking.reason.text);
    let tail: String =
        typed.chars().skip(typed.chars().count().saturating_sub(width.saturating_sub(2))).collect();
    rows.push(Line::from(vec![view.span(Role::Text, "  "), view.span(Role::Field, tail)]));
    rows.push(view.line(
        Role::Quiet,
        fit(
            match inspects {
                true => "F2 records the accept with this reason · F3 reject instead · Esc leaves it out",
                false => "F2 records it with this reason · Esc leaves this line out",
            },
            width,
        ),
    ));
    rows
}
