//! Chemistry and certificates for a terminal.

use crate::jobs::chemistry::ask::{Checked, plain, range};
use crate::jobs::chemistry::certificate::{CertificateFault, CertificateTaken};
use crate::show::{CAUTION, cell, columns, head};
use records::value::tag::shown;

impl Checked {
    pub fn text(&self) -> String {
        let mut out = format!("{} against {}\n", shown(&self.subject), shown(&self.alloy));
        match (&self.analysis, &self.purpose) {
            (Some(_), _) if self.analyses.len() > 1 => {
                let all: Vec<_> = self.analyses.iter().map(|a| shown(a)).collect();
                out.push_str(&format!("by {}: of each element the worst\n", all.join(", ")));
            }
            (Some(a), Some(p)) => out.push_str(&format!("by {} ({p} analysis)\n", shown(a))),
            _ if !self.set_aside.is_empty() => out.push_str("no analysis stands\n"),
            _ => out.push_str("no analysis is on record\n"),
        }
        for aside in &self.set_aside {
            out.push_str(&format!("{}\n", shown(aside)));
        }
        let mut rows = vec![head(["element", "value", "limits", "unit", ""])];
        for e in &self.elements {
            rows.push(vec![
                cell(&e.element),
                e.value.as_ref().map_or("not analysed".into(), plain),
                range(e.min, e.max),
                e.unit.clone(),
                match e.ok {
                    Some(true) => "ok",
                    Some(false) => "OUTSIDE",
                    None => "cannot tell",
                }
                .into(),
            ]);
        }
        out.push_str(&columns(&rows));
        for i in &self.indices {
            match (i.value, &i.why_none) {
                (Some(v), _) => {
                    // Limits on Md are stated to three decimals, the others to two at most.
                    let places = if matches!(i.name, "Md" | "Ti/Al") { 3 } else { 2 };
                    out.push_str(&format!("{} {v:.places$} ({})", i.name, i.convention));
                }
                (None, why) => {
                    out.push_str(&format!("{} none: {}\n", i.name, why.as_deref().unwrap_or("no value")));
                    continue;
                }
            }
            if let Some((low, high)) = i.at_detection_limits {
                out.push_str(&format!(", {low:.3} to {high:.3} within the detection limits"));
            }
            if !i.not_analysed.is_empty() {
                out.push_str(&format!(", counted as 0, not analysed: {}", i.not_analysed.join(" ")));
            }
            out.push('\n');
        }
        if let Some(why) = &self.no_indices {
            out.push_str(&format!("no indices: {}\n", shown(why)));
        }
        out.push_str(&format!("Limits as specified, not widened check limits. {CAUTION}\n"));
        out
    }
}

impl CertificateTaken {
    pub fn text(&self) -> String {
        let rows: Vec<Vec<String>> = self
            .contents
            .iter()
            .map(|(e, v, u, c)| [e, v, u, c].into_iter().map(|t| shown(t).into_owned()).collect())
            .collect();
        let mut out = columns(&rows);
        for r in &self.remarks {
            out.push_str(&format!("  {}\n", shown(r)));
        }
        out.push_str(&match (self.faults.len(), self.checked_only) {
            (0, true) => "nothing is wrong; nothing was written (--check)".into(),
            (0, false) => format!("wrote {}", shown(&self.analysis)),
            (n, _) => format!("{n} faults; nothing was written"),
        });
        out
    }
}

impl CertificateFault {
    pub fn text(&self) -> String {
        let place = [&self.sheet, &self.cell].into_iter().filter(|p| !p.is_empty());
        let place = place.map(|p| shown(p).into_owned()).collect::<Vec<_>>().join("!");
        let value = if self.value.is_empty() { String::new() } else { format!(" = {}", shown(&self.value)) };
        format!("{place}{value}: {}", shown(&self.message)).trim_start_matches(": ").to_string()
    }
}
