//! Capability of a characteristic, and gauge studies.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::show::notes;
use records::value::tag::shown;

/// A signal of the chart by mould.
#[derive(Serialize, Debug, Clone)]
pub struct MouldSignal {
    /// The mould that completes it.
    pub mould: String,
    pub mean: f64,
    pub rule: &'static str,
}

#[derive(Serialize, Debug, Clone, Default)]
pub struct GaugeStudy {
    pub characteristic: String,
    pub unit: String,
    /// Parts, people, readings.
    pub parts: usize,
    pub people: usize,
    pub readings: usize,
    pub instruments: Vec<String>,
    /// Variance of readings of one part by one person.
    pub repeatability: Option<f64>,
    pub reproducibility: Option<f64>,
    /// Variance between people in how they read a part.
    pub interaction: Option<f64>,
    pub part: Option<f64>,
    /// Standard deviation of the gauge: the first three together.
    pub gauge_sd: Option<f64>,
    /// 6 gauge_sd over the width of the tolerance.
    pub of_tolerance: Option<f64>,
    /// Gauge variance over all variance of the study.
    pub of_variance: Option<f64>,
    /// Why there are no figures.
    pub refused: Option<String>,
}

impl GaugeStudy {
    pub fn text(&self) -> String {
        let mut out = format!(
            "gauge study of {}: {} parts, {} people, {} readings{}\n",
            shown(&self.characteristic),
            self.parts,
            self.people,
            self.readings,
            if self.instruments.is_empty() {
                String::new()
            } else {
                format!(", {}", shown(&self.instruments.join(", ")))
            }
        );
        if let Some(refused) = &self.refused {
            out.push_str(&format!("  no figures: {}\n", shown(refused)));
            return out;
        }
        let unit = shown(&self.unit);
        let sd = |v: Option<f64>| v.map_or("-".into(), |v| format!("{:.4} {unit}", v.sqrt()));
        out.push_str(&format!(
            "  standard deviations: one person again {}, between people {}, people by part {}, between parts {}\n",
            sd(self.repeatability),
            sd(self.reproducibility),
            sd(self.interaction),
            sd(self.part)
        ));
        if let Some(gauge) = self.gauge_sd {
            let of = |v: Option<f64>| v.map_or("-".into(), |v| format!("{:.0} %", 100.0 * v));
            out.push_str(&format!(
                "  gauge {gauge:.4} {unit}: {} of the variance in the study, six of it {} of the tolerance\n",
                of(self.of_variance),
                of(self.of_tolerance)
            ));
        }
        out
    }
}

#[derive(Serialize, Debug, Clone, Default)]
pub struct CapabilityShown {
    pub characteristic: String,
    pub unit: String,
    /// Part, window, lot that were asked for.
    pub question: BTreeMap<&'static str, String>,
    /// Values, one a blade.
    pub n: usize,
    pub moulds: usize,
    pub heats: usize,
    /// Blades made and not measured.
    pub not_measured: usize,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
    pub outside: usize,
    pub mean: Option<f64>,
    /// Standard deviation, between and within moulds together.
    pub sd: Option<f64>,
    pub sd_within: Option<f64>,
    pub sd_between: Option<f64>,
    /// Whether the chart of the moulds' means is without signals.
    pub stable: Option<bool>,
    pub signals: Vec<MouldSignal>,
    /// Why there is no capability.
    pub refused: Option<String>,
    /// Moulds that are needed, where they are too few.
    pub needed_moulds: Option<u64>,
    /// (U − L)/6s; null with one limit.
    pub cp: Option<f64>,
    /// The smaller distance from the mean to a limit, over 3s.
    pub cpk: Option<f64>,
    pub cp_interval: Option<[f64; 2]>,
    pub cpk_interval: Option<[f64; 2]>,
    /// Degrees of freedom behind the spread, moulds allowed for.
    pub df: Option<f64>,
    /// A gauge study of this characteristic, where there is one.
    pub gauge: Option<GaugeStudy>,
    pub cautions: Vec<String>,
}

impl CapabilityShown {
    pub fn text(&self) -> String {
        let unit = shown(&self.unit);
        let side = |v: Option<f64>| v.map_or("none".into(), |v| v.to_string());
        let mut out = format!(
            "{} ({unit}), limits {} to {}: {} blades of {} moulds of {} heats, {} made and not measured, {} outside the limits\n",
            shown(&self.characteristic),
            side(self.lower),
            side(self.upper),
            self.n,
            self.moulds,
            self.heats,
            self.not_measured,
            self.outside
        );
        if let (Some(mean), Some(sd)) = (self.mean, self.sd) {
            out.push_str(&format!("mean {mean:.4}, standard deviation {sd:.4}"));
            if let (Some(w), Some(b)) = (self.sd_within, self.sd_between) {
                out.push_str(&format!(" (within moulds {w:.4}, between moulds {b:.4})"));
            }
            out.push('\n');
        }
        if let Some(refused) = &self.refused {
            out.push_str(&format!("No capability: {}\n", shown(refused)));
        }
        for s in self.signals.iter().take(20) {
            out.push_str(&format!("  signal at {}: mean {:.4}, {}\n", shown(&s.mould), s.mean, s.rule));
        }
        if let Some(cpk) = self.cpk {
            let wide =
                |v: Option<[f64; 2]>| v.map_or(String::new(), |[l, h]| format!(" (95 %: {l:.2} to {h:.2})"));
            match self.cp {
                Some(cp) => out.push_str(&format!("Cp {cp:.2}{}\n", wide(self.cp_interval))),
                None => out.push_str("Cp: none, with one limit\n"),
            }
            out.push_str(&format!("Cpk {cpk:.2}{}\n", wide(self.cpk_interval)));
        }
        match &self.gauge {
            Some(gauge) => out.push_str(&gauge.text()),
            None => out.push_str("gauge error: not known, no study of this characteristic is recorded\n"),
        }
        notes(&mut out, &self.cautions);
        out
    }
}
