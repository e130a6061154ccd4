//! The rows of a form, and what follows from what is typed.

use crate::jobs::furnace::board::PourFigures;
use crate::jobs::furnace::figures;
use crate::jobs::records::form_screen::Entry;
use crate::ui::blade_map;
use crate::ui::form::{Form, LATE, NOW, Origin, Row};
use crate::ui::kit::*;
use knowledge::metallurgy::fill;
use records::catalogue::{Charges, Coats, Findings, Investments, Pours, PowderLots, StuccoLots};
use records::check::Guard;
use records::value::tag::shown;
use records::{Record, Type};
use unicode_width::UnicodeWidthStr;

/// So far in stands what had no room beside its field.
const BELOW: usize = 4;

impl Entry {
    pub(crate) fn row(
        &self,
        form: &Form,
        row: &Row,
        chosen: bool,
        width: usize,
        view: &View,
    ) -> Vec<Line<'static>> {
        let mark = if chosen { "▸ " } else { "  " };
        let label = fit(&row.label(), 22.min(width / 3));
        let wide = 24.min(width / 3);
        // The end of a long text is what the person is typing.
        let text = if row.is_time() { clocks(&row.text) } else { row.text.clone() };
        let cut = text.chars().count().saturating_sub(wide.saturating_sub(1));
        let tail: String = text.chars().skip(if chosen { cut } else { 0 }).collect();
        let value = fit(&tail, wide);
        let unit = fit(row.unit(), 10.min(width / 8));
        let rest = width.saturating_sub(label.chars().count() + wide + unit.chars().count() + 5);
        let (role, remark) = self.remark(form, row, chosen, view);
        let value_role = match (chosen, row.origin) {
            (true, _) => Role::Field,
            (_, Origin::Carried | Origin::Given | Origin::Before) => Role::Text,
            _ => Role::Strong,
        };
        // What must be read is read whole: where it has no room beside the field it stands below it.
        let whole = role != Role::Quiet || (chosen && form.limit(row).is_none());
        let below = whole && shown(&remark).width() > rest;
        let mut out = vec![Line::from(vec![
            view.span(if chosen { Role::Strong } else { Role::Text }, format!("{mark}{label} ")),
            view.span(value_role, value),
            view.span(Role::Text, format!(" {unit} ")),
            view.span(role, fit(if below { "" } else { &remark }, rest)),
        ])];
        if below {
            let parts = wrap(&remark, width.saturating_sub(BELOW));
            out.extend(parts.into_iter().map(|p| view.line(role, format!("{:BELOW$}{p}", ""))));
        }
        out
    }

    fn remark(&self, form: &Form, row: &Row, chosen: bool, view: &View) -> (Role, String) {
        if let Some(fault) = &row.fault {
            return (Role::Bad, clocks(&format!("✗ {fault}")));
        }
        let to_come = form.to_come(view.now).into_iter().find(|f| f.column == row.name());
        match row.understood(form.clock(view.now)) {
            // While it is typed, nothing is a fault yet.
            Some(Err(_)) if chosen => return (Role::Quiet, "9:05 or -10 min".into()),
            Some(Err(fault)) => return (Role::Bad, format!("✗ {fault}")),
            Some(Ok(read)) => {
                let short = read.in_short(view.now);
                let doubt = read.doubt.map_or(String::new(), |d| format!(" ({d})"));
                return match to_come {
                    Some(fault) => (Role::Look, clocks(&format!("→ {short}: {}", fault.message))),
                    // The time of saving is said as that.
                    None if row.text == NOW && row.origin == Origin::Given => {
                        (Role::Quiet, "the time of saving".into())
                    }
                    None if doubt.is_empty() => (Role::Text, format!("→ {short}")),
                    None => (Role::Look, format!("→ {short}{doubt}")),
                };
            }
            None => {}
        }
        if let Some(fault) = to_come {
            return (Role::Look, clocks(&format!("! {}", fault.message)));
        }
        if let Some((low, high)) = row.outside() {
            return (Role::Look, format!("! outside {low} to {high}: a reason is asked"));
        }
        match form.limit(row) {
            Some((true, text)) => return (Role::Look, format!("! {text}: why is asked")),
            Some((false, text)) if chosen || row.number().is_some() => return (Role::Quiet, text),
            _ => {}
        }
        // A form that was left half-filled stands at the moment when it was left.
        if self.kept && row.origin == Origin::Given && form.kind.time == Some(row.name()) {
            return (Role::Look, "! when the form was left; F5 for now".into());
        }
        match (row.text.as_str(), row.ty()) {
            ("", Type::Choice(words)) if chosen => return (Role::Quiet, words.join(" · ")),
            ("", _) if chosen && row.name() == "zone" && !self.zones.0.is_empty() => {
                let all: Vec<String> = self.zones.0.iter().map(|(z, n)| format!("{z} {n}")).collect();
                return (Role::Quiet, all.join(" · "));
            }
            ("", _) if !row.optional() => return (Role::Look, "! must be filled".into()),
            ("", Type::Time) if chosen => return (Role::Quiet, "9:05, or F5 for now".into()),
            ("", _) => return (Role::Quiet, "not recorded".into()),
            ("n/a", _) => return (Role::Text, "does not apply".into()),
            ("illegible", _) => return (Role::Text, "cannot be read".into()),
            (t, Type::Number) if t.starts_with('<') => return (Role::Text, "below detection".into()),
            (_, Type::Choice(words)) if chosen => return (Role::Quiet, words.join(" · ")),
            _ => {}
        }
        if let Some((_, name)) = self.zones.0.iter().find(|(z, _)| row.name() == "zone" && *z == row.text) {
            return (Role::Text, name.clone());
        }
        let text = match row.origin {
            Origin::Carried => "as last time",
            Origin::Scanned => "scanned",
            Origin::Given if form.numbered(row) => "the next number",
            Origin::Given if row.text == "now" => "the time of saving",
            _ => "",
        };
        (Role::Quiet, text.into())
    }

    /// The question why, in at most so many lines; the line to type the answer in is always among them.
    pub(crate) fn asking(reason: &Reason, width: usize, most: usize, view: &View) -> Vec<Line<'static>> {
        let late = |why: &String| why.starts_with(LATE);
        let question = if reason.why.iter().all(late) { "Why is it late? " } else { "Why is it right? " };
        let mut out = vec![Line::default()];
        for why in &reason.why {
            out.extend(view.wrapped(Role::Look, &clocks(&format!("! {why}")), width));
        }
        out.truncate(most.saturating_sub(1));
        // The end of a long answer is what the person is typing.
        let room = width.saturating_sub(question.len() + 1);
        let cut = reason.text.chars().count().saturating_sub(room);
        let tail: String = reason.text.chars().skip(cut).collect();
        out.push(Line::from(vec![
            view.span(Role::Strong, question),
            view.span(Role::Field, format!("{tail} ")),
        ]));
        out
    }

    /// What follows from what is typed.
    pub(crate) fn computed(&self, form: &Form, width: usize, view: &View) -> Vec<Line<'static>> {
        let record = form.record(view.now);
        let mut out = Vec::new();
        let mut put = |role: Role, text: String| out.extend(view.wrapped(role, &clocks(&text), width));
        if form.address.is_none() {
            if let Some(minutes) = form.late(view.now) {
                put(Role::Look, format!("! late entry: {minutes:.0} min after; it will be marked as such"));
            }
        }
        // Beside the field there is little room: the whole sentence of a limit stands here.
        if let Some((outside, text)) = form.chosen().and_then(|row| form.limit(row)) {
            if outside {
                put(Role::Look, format!("! {text}"));
            } else {
                put(Role::Quiet, format!("limits {text}"));
            }
        }
        if form.kind.is::<Pours>() {
            for (role, text) in pour_lines(&record, &self.figures) {
                put(role, text);
            }
            for text in &self.figures.misfits {
                put(Role::Bad, format!("✗ {text}"));
            }
        }
        if form.kind.is::<Charges>() {
            for (role, text) in self.figures.charge.iter().map(charge_line) {
                put(role, text);
            }
        }
        // What is said of the metal already is not said twice.
        let told = |g: &&Guard| !self.figures.misfits.contains(&g.message);
        for guard in form.asks.iter().filter(told) {
            match guard.needs_reason {
                true => put(Role::Look, format!("! {}: why is asked", guard.message)),
                false => put(Role::Text, format!("  {}", guard.message)),
            }
        }
        if form.kind.is::<Findings>() && !self.zones.0.is_empty() {
            let chosen = form.text(Findings::zone.name);
            for row in blade_map::draw(&self.zones.0, chosen, width, view.theme.ascii) {
                let role = if row.contains('>') || row.contains('[') { Role::Strong } else { Role::Text };
                put(role, row);
            }
            put(
                Role::Quiet,
                "On zone: its digit, or ← →. F7 turns the side. Esc: no further finding.".into(),
            );
        }
        if !form.answered.is_empty() {
            put(Role::Text, format!("✓ {}; it goes into the note", form.answered));
        }
        if form.kind.is::<Findings>()
            && self.zones.0.is_empty()
            && !form.text(Findings::inspection.name).is_empty()
        {
            put(Role::Quiet, "no zones are on record for this part".into());
        }
        if matches!(form.kind.name, Investments::NAME | PowderLots::NAME | StuccoLots::NAME | Coats::NAME) {
            put(Role::Quiet, "Silica dust: site rules; no dry sweeping.".into());
        }
        out
    }
}

fn charge_line((ok, text): &(bool, String)) -> (Role, String) {
    let (role, mark) = if *ok { (Role::Text, "✓") } else { (Role::Bad, "✗") };
    (role, format!("{mark} charge {text}"))
}

/// Superheat, gate velocity and oven-to-pour time of a pour as far as it is typed.
pub fn pour_lines(record: &Record, figures: &PourFigures) -> Vec<(Role, String)> {
    let mut out = Vec::new();
    let Some(pour) = record.of::<Pours>() else { return out };
    match (pour.get(Pours::indicated_c), figures.liquidus_c) {
        (Some(t), Some(liquidus)) => {
            if let Ok(above) = fill::superheat(t, liquidus) {
                let role = if above > 0.0 { Role::Strong } else { Role::Bad };
                let mark = if above > 0.0 { "" } else { "✗ " };
                out.push((
                    role,
                    format!(
                        "{mark}superheat {above:.0} °C above the liquidus {liquidus} °C of {}",
                        figures.alloy
                    ),
                ));
            }
        }
        (_, Some(liquidus)) => {
            out.push((
                Role::Quiet,
                format!("superheat: indicated less the liquidus {liquidus} °C of {}", figures.alloy),
            ));
        }
        _ => out.push((Role::Quiet, "superheat: the heat's alloy has no liquidus on record".into())),
    }
    let from =
        (pour.get(Pours::mass_kg), pour.get(Pours::pour_s), figures.density_g_cm3, figures.gate_area_mm2);
    if let (Some(mass), Some(time), Some(density), Some(area)) = from {
        if let Ok(v) = fill::gate_velocity(mass, density * 1000.0, time, area) {
            out.push((Role::Strong, format!("gate velocity {v:.2} m/s through {area} mm² (mean)")));
        }
    } else if figures.gate_area_mm2.is_some() {
        out.push((Role::Quiet, "gate velocity: from mass and pouring time".into()));
    }
    if let Some((ok, text)) = pour.get(Pours::poured_at).and_then(|at| figures::oven_to_pour(figures, at)) {
        let (role, mark) = if ok { (Role::Strong, "") } else { (Role::Look, "! ") };
        out.push((role, format!("{mark}{text}")));
    }
    // The share of revert; the chemistry stands on the form of the charge.
    out.extend(figures.charge.first().map(charge_line));
    out
}
