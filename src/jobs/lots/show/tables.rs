//! The summary as tables of plain text.

use crate::jobs::lots::summary::{Covered, LotSummary, Permission, TextTable};

impl LotSummary {
    /// Chemistry as tables: one for each purpose and set of elements.
    pub fn chemistry_sheets(&self) -> Vec<TextTable> {
        let mut out: Vec<TextTable> = Vec::new();
        for c in &self.chemistry {
            let title = match c.purpose {
                "maker" => "Chemistry, maker's certificate",
                "check" => "Chemistry, check analysis",
                _ => "Chemistry, no analysis",
            };
            let title = format!("{title}, against {}", c.alloy);
            let mut head = vec!["record".to_string(), "analysis".into()];
            let mut limits = vec!["limits".to_string(), String::new()];
            for (name, _, range, unit, _) in &c.elements {
                head.push(format!("{name} {unit}"));
                limits.push(range.clone());
            }
            let mut row = vec![c.subject.clone(), c.analysis.clone().unwrap_or_else(|| "none".into())];
            row.extend(c.elements.iter().map(|(_, value, _, _, ok)| match ok {
                Some(true) => value.clone(),
                Some(false) => format!("{value} OUTSIDE"),
                None => format!("{value} ?"),
            }));
            match out.iter_mut().find(|s| s.title == title && s.rows.first() == Some(&head)) {
                Some(sheet) => sheet.rows.push(row),
                None => out.push(TextTable {
                    title,
                    note: "\"?\": undecided, or no limit".into(),
                    rows: vec![head, limits, row],
                }),
            }
        }
        out
    }

    /// Everything after the head as tables.
    pub fn tables(&self) -> Vec<TextTable> {
        let mut out = self.chemistry_sheets();
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
                    p.blades.join(" "),
                ]
            }),
        ));
        out.push(TextTable::new(
            "What the concessions cover",
            "Words in limits lift nothing; what is not named here is not covered.",
            ["concession", "item", "covers", "lifts here"],
            self.permissions.iter().flat_map(Permission::covers),
        ));
        out.extend(self.sheets.iter().cloned());
        out.push(TextTable::new(
            "Signatures",
            "",
            ["role", "person", "for", "when", "proof"],
            self.signatures.iter().map(|s| {
                [s.role.clone(), s.person.clone(), s.meaning.clone(), s.at.clone(), s.proof.clone()]
            }),
        ));
        out.push(TextTable::new(
            "Serials",
            "",
            ["blade", "mould", "heat", "where"],
            self.serials.iter().map(|(b, m, h, w)| [b.clone(), m.clone(), h.clone(), (*w).to_string()]),
        ));
        out
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
