//! Trials as pages: their size, the assignment, how one stands, its arms side by side.

use crate::jobs::trials::ask::{Assigned, HOPELESS, Planned, TrialShown};
use crate::jobs::trials::compare::ArmsCompared;
use crate::show::{CAUTION, bullets, cell, columns, head, list, notes, percent, tenths};
use records::catalogue::{TrialStatus, Trials};
use records::value::tag::shown;
use records::value::words::counted;

impl Planned {
    pub fn text(&self) -> String {
        let n = self.moulds_per_arm;
        let mut out = format!(
            "To tell {} from {} takes {} blades in each arm: {n} moulds of {} (design effect {:.2}).\n\
             Two-sided {}, power {}; normal approximation, blades of a mould alike with correlation {}.\n",
            percent(self.rate),
            percent(self.worth_having),
            self.blades_per_arm,
            self.per_mould,
            self.design_effect,
            percent(self.alpha),
            percent(self.power),
            self.icc
        );
        if self.hopeless {
            out.push_str(&format!("Needs about {n} moulds an arm: hopeless this way. Better ways:\n"));
        } else if !self.better_ways.is_empty() {
            out.push_str("What would take fewer moulds:\n");
        }
        bullets(&mut out, &self.better_ways);
        out.push_str(
            "Fix size, arms, response and stop rule before the first mould; assign arms at random before assembly; \
             take at most one look before the planned size.\n",
        );
        out
    }
}

impl Assigned {
    /// The list for the assembly bench.
    pub fn text(&self) -> String {
        let mut rows = vec![head(["mould", "arm", "block"])];
        for d in &self.assigned {
            rows.push([&d.mould, &d.arm, d.block.as_deref().unwrap_or("-")].map(cell).to_vec());
        }
        let mut out = format!(
            "{}: {} moulds assigned at random, seed {} (draw {})\n{}",
            shown(&self.trial),
            self.assigned.len(),
            self.seed,
            self.draw,
            columns(&rows)
        );
        bullets(&mut out, &self.cautions);
        out
    }
}

impl TrialShown {
    pub fn text(&self) -> String {
        let trial = &self.record;
        let status = trial.get(Trials::status);
        let word = status.map_or("", TrialStatus::word);
        let question = trial.cell(Trials::question).to_text();
        let mut out = format!("{} ({word}): {}\n", shown(&trial.address()), shown(&question));
        let mut rows = Vec::new();
        let mut row = |name: &str, text: String| rows.push(vec![format!("  {name}"), text]);
        row("factor", cell(&trial.cell(Trials::factor).to_text()));
        row("response", cell(&trial.cell(Trials::response).to_text()));
        row("control", cell(&self.control));
        for a in &self.arms {
            row(
                &format!("arm {}", shown(&a.arm)),
                format!(
                    "{} moulds, {} poured, {} with a result; {} of {} blades inspected",
                    a.moulds, a.poured, a.with_result, a.inspected, a.made
                ),
            );
        }
        let planned = trial.get(Trials::planned_moulds);
        let planned = planned.map_or("no planned size is recorded".into(), |n| format!("{n} moulds"));
        row("planned", planned);
        row("so far", format!("{} moulds with a result, in {} blocks", self.moulds_so_far, self.blocks));
        if let Some(w) = trial.get(Trials::worth_having) {
            let needs = self.needed_for_worth.map_or(String::new(), |n| {
                let word = if n > HOPELESS { ": hopeless this way" } else { "" };
                format!("; needs about {n} moulds an arm (two-sided 5 %, power 80 %){word}")
            });
            row("worth having", format!("a difference of {w}{needs}"));
        }
        for (name, field) in [
            ("held constant", Trials::held_constant),
            ("stop rule", Trials::stop_rule),
            ("seed", Trials::seed),
        ] {
            row(name, trial.get(field).map_or("not recorded".into(), cell));
        }
        let first: Vec<String> =
            self.poured_first.iter().map(|(arm, n)| format!("{} in {n}", shown(arm))).collect();
        if !first.is_empty() {
            row("poured first", format!("{} of {} blocks", first.join(", "), self.blocks));
        }
        for p in &self.permissions {
            row("permission", cell(p));
        }
        out.push_str(&columns(&rows));
        out.push_str("\nMoulds:\n");
        let mut rows =
            vec![head(["mould", "arm", "block", "heat", "record says", "status", "lots", "blades"])];
        for m in &self.moulds {
            let places: Vec<String> = m.places.iter().map(|(p, n)| format!("{n} {p}")).collect();
            rows.push(vec![
                cell(&m.mould),
                cell(&m.arm),
                cell(m.block.as_deref().unwrap_or("-")),
                cell(m.heat.as_deref().unwrap_or("not poured")),
                cell(&m.recorded.join(", ")),
                match m.development_only {
                    Some(true) => "# development only".into(),
                    Some(false) => "approved".into(),
                    None => "? not recorded".into(),
                },
                cell(&m.lots.join(", ")),
                places.join(", "),
            ]);
        }
        out.push_str(&columns(&rows));
        list(&mut out, "Deviations", &self.deviations);
        if self.deviations.is_empty() {
            out.push_str("\nDeviations: none seen in the records.\n");
        }
        if !self.looks.is_empty() {
            out.push_str("\nLooks before the planned size (at most one is allowed):\n");
            for look in &self.looks {
                let by = look.person.as_deref().unwrap_or("no person given");
                out.push_str(&format!("- {} by {}: {}\n", look.at, shown(by), shown(&look.with)));
            }
        }
        match &self.result {
            Some(result) => out.push_str(&format!("\nResult: {}", result.text())),
            None if !self.interim => out.push_str("\nNo result: see below.\n"),
            None => out.push_str(
                "\nThe result is kept back until the planned size is reached. --look takes the one interim look; it is journalled.\n",
            ),
        }
        if let Some(decision) = trial.get(Trials::decision) {
            let by = trial.get(Trials::decided_by).map_or(String::new(), |p| format!(", by {}", shown(p)));
            let at = trial.get(Trials::decided_at).map_or(String::new(), |t| format!(" at {t}"));
            out.push_str(&format!("\nDecision: {}{by}{at}\n", shown(decision)));
        } else if status == Some(TrialStatus::Closed) {
            out.push_str("\nClosed without a recorded decision.\n");
        }
        list(&mut out, "Keep in mind", &self.cautions);
        out.push_str(&format!("\n{CAUTION}\n"));
        out
    }
}

impl ArmsCompared {
    pub fn text(&self) -> String {
        let of_trial = self.trial.as_ref().map_or(String::new(), |t| format!(" (trial {})", shown(t)));
        let method = self.method.as_ref().map_or(String::new(), |m| format!(", found by {m}"));
        let mut out = format!("{}{method}{of_trial}\n\n", shown(&self.response));
        self.pair(&mut out);
        if self.in_both.blades > 0 {
            out.push_str(&format!(
                "{} blades of {} moulds belong to both and are counted in neither.\n",
                self.in_both.blades, self.in_both.moulds
            ));
        }
        for other in &self.others {
            out.push('\n');
            other.pair(&mut out);
        }
        notes(&mut out, &self.cautions);
        out
    }

    fn figure(&self, v: f64) -> String {
        match (self.measure, &self.unit) {
            ("mean", Some(unit)) => format!("{v:.4} {}", shown(unit)),
            ("mean", None) => format!("{v:.4}"),
            _ => tenths(v),
        }
    }

    /// A difference of shares is in points: 5 % and 3 % are 2 points apart.
    fn gap(&self, v: f64) -> String {
        if self.measure == "mean" { format!("{v:+.4}") } else { format!("{:+.1}", 100.0 * v) }
    }

    fn pair(&self, out: &mut String) {
        let mut rows = Vec::new();
        for (which, side) in [("a", &self.a), ("b", &self.b)] {
            let blades = match side.with {
                Some(with) => format!("{with} of {} blades", side.blades),
                None => format!("{} blades", side.blades),
            };
            rows.push(vec![
                which.to_string(),
                cell(&side.arm),
                blades,
                side.rate.map_or("no figure".into(), |r| self.figure(r)),
                format!("{} of {}", counted(side.moulds, "mould"), counted(side.heats, "heat")),
                side.made
                    .zip(side.not_inspected)
                    .map_or(String::new(), |(made, not)| format!("{made} made, {not} not inspected")),
            ]);
        }
        out.push_str(&columns(&rows));
        let found = &self.figures;
        if let Some(difference) = found.difference {
            let unit = if self.measure == "mean" { "" } else { " points" };
            out.push_str(&format!("b less a: {}{unit}", self.gap(difference)));
            match found.interval {
                Some([low, high]) => {
                    out.push_str(&format!(" (95 %: {} to {})", self.gap(low), self.gap(high)));
                }
                None => out.push_str(", no interval"),
            }
            if let Some(ratio) = found.ratio {
                out.push_str(&format!("; b over a: {}", times(ratio)));
                if let Some([low, high]) = found.ratio_interval {
                    out.push_str(&format!(" ({} to {})", times(low), times(high)));
                }
            }
            if let Some(p) = found.p {
                let p = if p < 0.001 { "< 0.001".into() } else { format!("{p:.3}") };
                out.push_str(&format!("; p {p}"));
            }
            if let Some(d) = found.design_effect {
                out.push_str(&format!("; design effect {d:.2}"));
            }
            out.push('\n');
        }
        let verdict = match found.verdict {
            "a better" => format!("{} is better than {}.", shown(&self.a.arm), shown(&self.b.arm)),
            "b better" => format!("{} is better than {}.", shown(&self.b.arm), shown(&self.a.arm)),
            _ => "Cannot tell.".to_string(),
        };
        out.push_str(&verdict);
        out.push('\n');
        if let (Some(needed), "cannot tell") = (found.needed, found.verdict) {
            let k = needed.moulds_per_arm;
            out.push_str(&format!(
                "To tell such a difference, if it is real, takes about {k} moulds an arm (one-sided 5 %, power 80 %){}.\n",
                if k > HOPELESS { ": not worth it this way" } else { "" }
            ));
        }
    }
}

/// A ratio as it is read: two places, and two digits where these would show none (0.0031, not 0.00).
fn times(ratio: f64) -> String {
    match ratio {
        r if r == 0.0 || r >= 0.095 => format!("{r:.2}"),
        r => format!("{r:.*}", (1.0 - r.log10().floor()).clamp(2.0, 12.0) as usize),
    }
}
