//! The summary as tables of plain text.

use std::collections::BTreeSet;

use crate::jobs::lots::summary::{Covered, LotSummary, Permission, TextTable};
use crate::jobs::lots::tables::BARS;
use crate::show::ranges::ranges;
use records::value::place::Place;

impl LotSummary {
    /// Everything after the head as tables for reading, without the blades.
    pub fn tables(&self) -> Vec<TextTable> {
        let mut out = self.inspection();
        out.extend(self.chemistry_down());
        out.extend(self.bars());
        out.extend(self.rest());
        out
    }

    /// How it was inspected, and who read.
    pub fn inspection(&self) -> Vec<TextTable> {
        let mut out = Vec::new();
        out.push(TextTable::new(
            "Inspection by method",
            "",
            [
                "method",
                "plan",
                "technique",
                "class",
                "presented",
                "accepted first",
                "accepted, all that stands",
                "coverage",
            ],
            self.methods.iter().map(|m| {
                [
                    m.method.to_string(),
                    m.plan.clone(),
                    m.techniques.join(", "),
                    m.classes.join(", "),
                    m.presented.to_string(),
                    m.accepted_first.to_string(),
                    m.accepted_standing.to_string(),
                    m.coverage.clone(),
                ]
            }),
        ));
        out.push(TextTable::new(
            "Readers and their qualification",
            "Results that stand on blades that are not scrapped; the qualification as it was in force on those days.",
            ["method", "technique", "class", "reader", "blades", "from", "to", "qualification"],
            self.readings.iter().map(|r| {
                [
                    r.method.to_string(),
                    r.technique.clone(),
                    r.class.clone(),
                    r.person.clone(),
                    r.blades.to_string(),
                    r.from.clone(),
                    r.until.clone(),
                    r.qualification.clone(),
                ]
            }),
        ));
        let side = |v: Option<f64>| v.map_or("…".to_string(), |v| v.to_string());
        out.push(TextTable::new(
            "Dimensional actuals",
            "Capability is not stated here: it needs a stable process and a known gauge error.",
            ["characteristic", "unit", "n", "least", "mean", "greatest", "limits", "outside, not scrapped"],
            self.actuals.iter().map(|a| {
                [
                    a.characteristic.clone(),
                    a.unit.clone(),
                    a.n.to_string(),
                    format!("{:.3}", a.least),
                    format!("{:.3}", a.mean),
                    format!("{:.3}", a.greatest),
                    format!("{} to {}", side(a.limits.0), side(a.limits.1)),
                    a.outside.to_string(),
                ]
            }),
        ));
        out
    }

    /// What lifts, what was done to the blades, what it was done by, who signed.
    pub fn rest(&self) -> Vec<TextTable> {
        let mut out = Vec::new();
        let or = |v: Option<i64>| v.map_or("no limit".to_string(), |v| v.to_string());
        out.push(TextTable::new(
            "Deviations and concessions",
            "Those that blades of this lot were dispositioned to.",
            ["tag", "type", "limits", "quantity", "used", "left", "granted", "expires", "blades of this lot"],
            self.permissions.iter().map(|p| {
                let late = if p.after_the_pour.is_empty() { "" } else { ", entered after the pour" };
                [
                    p.concession.clone(),
                    format!("{}{late}", p.kind),
                    p.limits.clone(),
                    or(p.quantity),
                    p.used.to_string(),
                    or(p.left),
                    p.granted.clone(),
                    p.expires_on.clone(),
                    ranges(&p.blades).join("; "),
                ]
            }),
        ));
        out.push(TextTable::new(
            "What the concessions cover",
            "Words in limits lift nothing; what is not named here is not covered.",
            ["concession", "item", "covers", "lifts here"],
            self.permissions.iter().flat_map(Permission::covers),
        ));
        out.extend(self.sheets.iter().filter(|s| s.title != BARS).cloned());
        out.push(TextTable::new(
            "Signatures",
            "",
            ["role", "person", "for", "when", "proof"],
            self.signatures.iter().map(|s| {
                [s.role.clone(), s.person.clone(), s.meaning.clone(), s.at.clone(), s.proof.clone()]
            }),
        ));
        out
    }

    /// Test bars below their limits; one outside says so.
    pub fn bars(&self) -> Option<TextTable> {
        let mut table = self.sheets.iter().find(|s| s.title == BARS)?.clone();
        let (head, bars) = table.rows.split_first_mut()?;
        for (c, property) in head.iter().enumerate() {
            for limit in self.bar_limits.iter().filter(|l| l.property == property) {
                for cell in bars.iter_mut().filter_map(|r| r.get_mut(c)) {
                    let outside =
                        |v: f64| limit.min.is_some_and(|l| v < l) || limit.max.is_some_and(|m| v > m);
                    if cell.parse().is_ok_and(outside) {
                        cell.push_str(" OUTSIDE");
                    }
                }
            }
        }
        let scopes: BTreeSet<&str> = self.bar_limits.iter().map(|l| l.scope.as_str()).collect();
        let limits = scopes.into_iter().map(|scope| {
            let of = |property: &String| {
                let mine = self.bar_limits.iter().filter(|l| l.scope == scope && l.property == property);
                mine.map(|l| limit_range(l.min, l.max)).collect::<String>()
            };
            let title = if scope.is_empty() { "limits".into() } else { format!("limits of {scope}") };
            std::iter::once(title).chain(head.iter().skip(1).map(of)).collect()
        });
        let limits: Vec<Vec<String>> = limits.collect();
        if !bars.is_empty() && limits.is_empty() {
            table.note =
                "No limits for test bars are on record (process_limits of test_bars, stop_min and stop_max)."
                    .into();
        }
        table.rows.splice(1..1, limits);
        Some(table)
    }

    /// Each blade with its parents, a row each.
    pub fn serial_rows(&self) -> TextTable {
        TextTable::new(
            "Serials",
            "",
            ["blade", "mould", "heat", "where"],
            self.serials.iter().map(|(b, m, h, w)| [b.clone(), m.clone(), h.clone(), (*w).to_string()]),
        )
    }

    /// The blades as ranges, by heat and mould: those that are not scrapped, and those that are.
    pub fn blade_ranges(&self) -> [TextTable; 2] {
        let rows = |scrapped: bool| {
            let mut groups: Vec<([&str; 3], Vec<&str>)> = Vec::new();
            let wanted = |place: &str| (place == Place::Scrapped.word()) == scrapped;
            for (blade, mould, heat, place) in self.serials.iter().filter(|s| wanted(s.3)) {
                let key = [heat.as_str(), mould, place];
                match groups.iter_mut().find(|g| g.0 == key) {
                    Some(g) => g.1.push(blade),
                    None => groups.push((key, vec![blade])),
                }
            }
            groups.into_iter().map(|([heat, mould, place], blades)| {
                [
                    heat.into(),
                    mould.into(),
                    ranges(&blades).join("; "),
                    blades.len().to_string(),
                    place.into(),
                ]
            })
        };
        let head = ["heat", "mould", "blades", "number", "where"];
        [
            TextTable::new("Blades", "", head, rows(false)),
            TextTable::new("Scrapped blades", "No part of what is released.", head, rows(true)),
        ]
    }
}

/// Limits as one writes them.
fn limit_range(min: Option<f64>, max: Option<f64>) -> String {
    match (min, max) {
        (Some(min), Some(max)) => format!("{min}–{max}"),
        (Some(min), None) => format!("≥ {min}"),
        (None, Some(max)) => format!("≤ {max}"),
        (None, None) => String::new(),
    }
}

impl Permission {
    /// A row for each item; one that says so where there is none.
    fn covers(&self) -> Vec<[String; 4]> {
        if self.items.is_empty() {
            let none = "no items: its words lift nothing".to_string();
            return vec![[self.concession.clone(), String::new(), none, "nothing".into()]];
        }
        let row = |i: &Covered| {
            let lifts = if i.lifts.is_empty() { "nothing".into() } else { i.lifts.join(", ") };
            [self.concession.clone(), i.item.to_string(), i.covers.clone(), lifts]
        };
        self.items.iter().map(row).collect()
    }
}
