//! Two groups of moulds against each other, as JSON and as a page.

use serde::Serialize;

use crate::show::{cell, columns, notes};
use knowledge::causes::Comparison;
use knowledge::causes::Needed;
use records::value::tag::shown;

/// More moulds an arm than this are not worth a trial (our convention, the same as for what to pour next).
pub const HOPELESS: u64 = 60;

/// One arm, or one group.
#[derive(Serialize, Debug, Clone, Default)]
pub struct Side {
    /// Its name: the arm, or the level of the factor.
    pub arm: String,
    /// Inspected (or measured) blades.
    pub blades: usize,
    pub moulds: usize,
    pub heats: usize,
    /// Of them with the response; null for a mean.
    pub with: Option<usize>,
    /// The share with the response, or the mean of the values.
    pub rate: Option<f64>,
    /// Standard deviation of the values; null for a share.
    pub sd: Option<f64>,
    /// Blades made; null where only inspected ones were read.
    pub made: Option<usize>,
    /// Made, and not inspected (or measured, or decided) yet.
    pub not_inspected: Option<usize>,
}

/// Two arms against each other.
#[derive(Serialize, Debug, Clone)]
pub struct Compared {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trial: Option<String>,
    pub response: String,
    /// `rate` (share of blades) or `mean` (of measured values): what the keys named rate hold.
    pub measure: &'static str,
    /// Unit of a mean.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Inspection method behind a rate.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<String>,
    /// The first arm; of a trial the control.
    pub a: Side,
    /// The second arm.
    pub b: Side,
    /// Of b less that of a.
    pub difference: Option<f64>,
    pub interval: Option<[f64; 2]>,
    /// Of b over that of a; null for a mean.
    pub ratio: Option<f64>,
    pub ratio_interval: Option<[f64; 2]>,
    /// Two-sided, from arms dealt anew.
    pub p: Option<f64>,
    /// How many times the variance is that of independent blades.
    pub design_effect: Option<f64>,
    /// a better, b better, cannot tell.
    pub verdict: &'static str,
    /// Moulds it would take to tell such arms apart, one-sided 5 %, power 80 %.
    pub needed: Option<Needed>,
    /// What arms are compared within: `block` or `heat`.
    pub within: &'static str,
    pub seed: u64,
    /// Further arms, each against the control.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub others: Vec<Compared>,
    pub cautions: Vec<String>,
}

impl Compared {
    /// The figures of a comparison, with names and counts still to be filled in.
    pub fn new(found: &Comparison, response: &str, measure: &'static str, seed: u64) -> Self {
        let side = |arm: &knowledge::causes::Arm| Side {
            blades: arm.group.blades,
            moulds: arm.group.moulds,
            heats: arm.group.heats,
            with: (measure == "rate").then_some(arm.group.with),
            rate: arm.rate,
            sd: arm.sd,
            ..Side::default()
        };
        Self {
            trial: None,
            response: response.to_string(),
            measure,
            unit: None,
            method: None,
            a: side(&found.a),
            b: side(&found.b),
            difference: found.difference,
            interval: found.interval,
            ratio: found.ratio,
            ratio_interval: found.ratio_interval,
            p: found.p,
            design_effect: found.design_effect,
            verdict: found.verdict,
            needed: found.needed,
            within: "heat",
            seed,
            others: Vec::new(),
            cautions: found.notes.clone(),
        }
    }

    pub fn text(&self) -> String {
        let of_trial = self.trial.as_ref().map_or(String::new(), |t| format!(" (trial {})", shown(t)));
        let method = self.method.as_ref().map_or(String::new(), |m| format!(", found by {m}"));
        let mut out = format!("{}{method}{of_trial}\n\n", shown(&self.response));
        self.pair(&mut out);
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
            _ => format!("{:.1} %", 100.0 * v),
        }
    }

    /// A difference of shares is in points: 5 % and 3 % are 2 points apart.
    fn gap(&self, v: f64) -> String {
        if self.measure == "mean" { format!("{v:+.4}") } else { format!("{:+.1}", 100.0 * v) }
    }

    fn pair(&self, out: &mut String) {
        let mut rows = Vec::new();
        for (which, side) in [("a", &self.a), ("b", &self.b)] {
            let counted = match side.with {
                Some(with) => format!("{with} of {} blades", side.blades),
                None => format!("{} blades", side.blades),
            };
            rows.push(vec![
                which.to_string(),
                cell(&side.arm),
                counted,
                side.rate.map_or("no figure".into(), |r| self.figure(r)),
                format!("{} moulds of {} heats", side.moulds, side.heats),
                side.made
                    .zip(side.not_inspected)
                    .map_or(String::new(), |(made, not)| format!("{made} made, {not} not inspected")),
            ]);
        }
        out.push_str(&columns(&rows));
        if let Some(difference) = self.difference {
            let unit = if self.measure == "mean" { "" } else { " points" };
            out.push_str(&format!("b less a: {}{unit}", self.gap(difference)));
            match self.interval {
                Some([low, high]) => {
                    out.push_str(&format!(" (95 %: {} to {})", self.gap(low), self.gap(high)));
                }
                None => out.push_str(", no interval"),
            }
            if let Some(ratio) = self.ratio {
                out.push_str(&format!("; b over a: {ratio:.2}"));
                if let Some([low, high]) = self.ratio_interval {
                    out.push_str(&format!(" ({low:.2} to {high:.2})"));
                }
            }
            if let Some(p) = self.p {
                let p = if p < 1e-6 { "<1e-6".into() } else { format!("{p:.3}") };
                out.push_str(&format!("; p {p}"));
            }
            if let Some(d) = self.design_effect {
                out.push_str(&format!("; design effect {d:.2}"));
            }
            out.push('\n');
        }
        let verdict = match self.verdict {
            "a better" => format!("{} is better than {}.", shown(&self.a.arm), shown(&self.b.arm)),
            "b better" => format!("{} is better than {}.", shown(&self.b.arm), shown(&self.a.arm)),
            _ => "Cannot tell.".to_string(),
        };
        out.push_str(&verdict);
        out.push('\n');
        if let (Some(needed), "cannot tell") = (self.needed, self.verdict) {
            let k = needed.moulds_per_arm;
            out.push_str(&format!(
                "To tell such a difference, if it is real, takes about {k} moulds an arm (one-sided 5 %, power 80 %){}.\n",
                if k > HOPELESS { ": not worth it this way" } else { "" }
            ));
        }
    }
}
