//! Yield by station, capability, agreement of readers, gauge studies.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::domain::tag::shown;
use crate::report::{columns, percent};

/// One station of a yield.
#[derive(Serialize, Debug, Clone)]
pub struct Station {
    /// Inspection method.
    pub method: String,
    /// Blades presented for the first time.
    pub presented: u64,
    /// Of them accepted then.
    pub accepted: u64,
    /// First-pass yield.
    pub rate: Option<f64>,
    /// Wilson, 95 %: as if blades were independent.
    pub interval: Option<[f64; 2]>,
    /// From the spread between moulds, 95 %.
    pub mould_interval: Option<[f64; 2]>,
    /// How many times the variance is that of independent blades.
    pub design_effect: Option<f64>,
    /// Moulds behind it.
    pub moulds: u64,
    /// Blades that no earlier station rejected and that were not presented here.
    pub waiting: u64,
}

/// What scrap cost.
#[derive(Serialize, Debug, Clone)]
pub struct Cost {
    /// Currency.
    pub currency: String,
    /// By station reached.
    pub stations: Vec<CostAt>,
    /// The sum.
    pub total: f64,
    /// Scrapped blades without a recorded value.
    pub without_value: u64,
    /// What it rests on.
    pub assumptions: Vec<String>,
    /// What is counted and has no price: rework decisions, later inspections, concessions, returned blades.
    pub not_priced: BTreeMap<&'static str, u64>,
}

/// Scrap at one station.
#[derive(Serialize, Debug, Clone)]
pub struct CostAt {
    /// The last station that a scrapped blade reached.
    pub station: String,
    /// Scrapped blades.
    pub blades: u64,
    /// Value of one there; null where several hold.
    pub value: Option<f64>,
    /// Their value together.
    pub cost: f64,
}

/// Yield by station.
#[derive(Serialize, Debug, Clone)]
pub struct Yield {
    /// Part, window, lot that were asked for.
    pub question: BTreeMap<&'static str, String>,
    /// Blades made (poured).
    pub made: u64,
    /// Moulds.
    pub moulds: u64,
    /// Heats.
    pub heats: u64,
    /// Stations that every blade must pass, in the order of the flow.
    pub stations: Vec<Station>,
    /// Stations that inspect a sample, or that no plan asks for; they are not in the product.
    pub sampled: Vec<Station>,
    /// Product of the first-pass yields.
    pub rolled: Option<f64>,
    /// Blades whose last disposition is accept.
    pub accepted: u64,
    /// Accepted of made.
    #[serde(rename = "final")]
    pub end: Option<f64>,
    /// Wilson, 95 %.
    pub final_interval: Option<[f64; 2]>,
    /// By last disposition; `undecided` where there is none.
    pub decisions: BTreeMap<String, u64>,
    /// Cost of scrap, where costs are recorded; one for each currency.
    pub cost: Vec<Cost>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

fn share(v: Option<f64>) -> String {
    v.map_or("-".into(), |v| format!("{:.1} %", 100.0 * v))
}

fn limits(v: Option<[f64; 2]>) -> String {
    v.map_or("-".into(), |[l, h]| format!("{:.1} to {:.1} %", 100.0 * l, 100.0 * h))
}

impl Yield {
    /// The page.
    #[must_use]
    pub fn text(&self) -> String {
        let asked: Vec<String> = self.question.iter().map(|(k, v)| format!("{k} {}", shown(v))).collect();
        let mut out = if asked.is_empty() { String::new() } else { format!("{}\n", asked.join(", ")) };
        out.push_str(&format!(
            "{} blades made in {} moulds of {} heats\n\nAccepted at the first presentation:\n",
            self.made, self.moulds, self.heats
        ));
        let head =
            ["station", "accepted", "rate", "95 % (blades)", "95 % (moulds)", "design effect", "waiting"];
        let mut rows = vec![head.map(String::from).to_vec()];
        let row = |s: &Station, mark: &str| {
            vec![
                format!("{}{mark}", s.method),
                format!("{} of {}", s.accepted, s.presented),
                share(s.rate),
                limits(s.interval),
                limits(s.mould_interval),
                s.design_effect.map_or("-".into(), |d| format!("{d:.2}")),
                s.waiting.to_string(),
            ]
        };
        rows.extend(self.stations.iter().map(|s| row(s, "")));
        rows.extend(self.sampled.iter().map(|s| row(s, " (sample)")));
        out.push_str(&columns(&rows));
        let decided: Vec<String> = self.decisions.iter().map(|(d, n)| format!("{n} {}", shown(d))).collect();
        out.push_str(&format!(
            "\nrolled (product of the stations) {}\nfinal {} ({} of {} made; 95 % {})\nby last disposition: {}\n",
            share(self.rolled),
            share(self.end),
            self.accepted,
            self.made,
            limits(self.final_interval),
            decided.join(", ")
        ));
        for cost in &self.cost {
            out.push_str(&format!("\nScrap by the station it reached, {}:\n", shown(&cost.currency)));
            let mut rows = vec![["station", "blades", "value", "cost"].map(String::from).to_vec()];
            for at in &cost.stations {
                rows.push(vec![
                    shown(&at.station).into_owned(),
                    at.blades.to_string(),
                    at.value.map_or("several".into(), |v| format!("{v}")),
                    format!("{:.2}", at.cost),
                ]);
            }
            rows.push(vec!["together".into(), String::new(), String::new(), format!("{:.2}", cost.total)]);
            out.push_str(&columns(&rows));
            for assumption in &cost.assumptions {
                out.push_str(&format!("- {}\n", shown(assumption)));
            }
            let counts: Vec<String> = cost.not_priced.iter().map(|(what, n)| format!("{n} {what}")).collect();
            out.push_str(&format!("- counted without a price: {}\n", counts.join(", ")));
        }
        notes(&mut out, &self.cautions);
        out
    }
}

fn notes(out: &mut String, cautions: &[String]) {
    if !cautions.is_empty() {
        out.push('\n');
    }
    for caution in cautions {
        out.push_str(&format!("- {}\n", shown(caution)));
    }
}

/// A signal of the chart by mould.
#[derive(Serialize, Debug, Clone)]
pub struct MouldSignal {
    /// The mould that completes it.
    pub mould: String,
    /// Its mean.
    pub mean: f64,
    /// Which rule.
    pub rule: &'static str,
}

/// A gauge study.
#[derive(Serialize, Debug, Clone)]
pub struct GaugeStudy {
    /// Characteristic.
    pub characteristic: String,
    /// Unit.
    pub unit: String,
    /// Parts, people, readings.
    pub parts: usize,
    /// People.
    pub people: usize,
    /// Readings in all.
    pub readings: usize,
    /// Instruments.
    pub instruments: Vec<String>,
    /// Variance of readings of one part by one person.
    pub repeatability: Option<f64>,
    /// Variance between people.
    pub reproducibility: Option<f64>,
    /// Variance between people in how they read a part.
    pub interaction: Option<f64>,
    /// Variance between parts.
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
    /// In words.
    #[must_use]
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

/// Capability of a characteristic.
#[derive(Serialize, Debug, Clone)]
pub struct CapabilityShown {
    /// Characteristic.
    pub characteristic: String,
    /// Unit.
    pub unit: String,
    /// Part, window, lot that were asked for.
    pub question: BTreeMap<&'static str, String>,
    /// Values, one a blade.
    pub n: usize,
    /// Moulds.
    pub moulds: usize,
    /// Heats.
    pub heats: usize,
    /// Blades made and not measured.
    pub not_measured: usize,
    /// Lower limit.
    pub lower: Option<f64>,
    /// Upper limit.
    pub upper: Option<f64>,
    /// Blades outside the limits.
    pub outside: usize,
    /// Mean.
    pub mean: Option<f64>,
    /// Standard deviation, between and within moulds together.
    pub sd: Option<f64>,
    /// Of it within moulds.
    pub sd_within: Option<f64>,
    /// Of it between moulds.
    pub sd_between: Option<f64>,
    /// Whether the chart of the moulds' means is without signals.
    pub stable: Option<bool>,
    /// Its signals.
    pub signals: Vec<MouldSignal>,
    /// Why there is no capability.
    pub refused: Option<String>,
    /// Moulds that are needed, where they are too few.
    pub needed_moulds: Option<u64>,
    /// (U − L)/6s; null with one limit.
    pub cp: Option<f64>,
    /// The smaller distance from the mean to a limit, over 3s.
    pub cpk: Option<f64>,
    /// Interval of cp.
    pub cp_interval: Option<[f64; 2]>,
    /// Interval of cpk.
    pub cpk_interval: Option<[f64; 2]>,
    /// Degrees of freedom behind the spread, moulds allowed for.
    pub df: Option<f64>,
    /// A gauge study of this characteristic, where there is one.
    pub gauge: Option<GaugeStudy>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

impl CapabilityShown {
    /// The page.
    #[must_use]
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

/// A reader's calls.
#[derive(Serialize, Debug, Clone)]
pub struct Reader {
    /// Person.
    pub person: String,
    /// Blades read.
    pub read: u64,
    /// Of them called so.
    pub with: u64,
    /// Share.
    pub rate: Option<f64>,
    /// Wilson, 95 %.
    pub interval: Option<[f64; 2]>,
}

/// How often one pattern of calls came.
#[derive(Serialize, Debug, Clone)]
pub struct Pattern {
    /// Reader → call.
    pub calls: BTreeMap<String, &'static str>,
    /// Films.
    pub films: usize,
    /// Their blades, where the readers do not agree.
    pub blades: Vec<String>,
}

/// Two readers on the films that both read.
#[derive(Serialize, Debug, Clone)]
pub struct Pair {
    /// First reader.
    pub a: String,
    /// Second reader.
    pub b: String,
    /// Films that both read.
    pub films: u64,
    /// Rows: a called yes, no; columns: b called yes, no.
    pub table: [[u64; 2]; 2],
    /// Cohen's kappa.
    pub kappa: Option<f64>,
    /// Its interval.
    pub interval: Option<[f64; 2]>,
    /// Why there is none.
    pub note: Option<String>,
}

/// How far readers agree on the same films.
#[derive(Serialize, Debug, Clone)]
pub struct Agreement {
    /// Inspection method.
    pub method: String,
    /// The defect whose finding is the call; none: reject or accept.
    pub defect: Option<String>,
    /// Films that more than one reader read.
    pub films: usize,
    /// Films that all readers read, behind kappa.
    pub films_of_all: usize,
    /// Readers.
    pub readers: Vec<Reader>,
    /// Fleiss's kappa of all readers (of two: Cohen's).
    pub kappa: Option<f64>,
    /// Its 95 % interval.
    pub interval: Option<[f64; 2]>,
    /// Films on which all agree.
    pub all_agree: usize,
    /// Who said what.
    pub patterns: Vec<Pattern>,
    /// Reader by reader.
    pub pairs: Vec<Pair>,
    /// Films that one reader read more than once.
    pub repeated: usize,
    /// The same method on product, by reader: other blades for each, so no test of readers.
    pub production: Vec<Reader>,
    /// Gauge studies.
    pub gauge: Vec<GaugeStudy>,
    /// Why there is no kappa, and what to keep in mind.
    pub cautions: Vec<String>,
}

impl Agreement {
    /// The page.
    #[must_use]
    pub fn text(&self) -> String {
        let call = self.defect.as_deref().map_or("reject".into(), |d| shown(d).into_owned());
        let mut out = format!(
            "{}, calls of {call}: {} films read by more than one reader, {} by all {}\n",
            shown(&self.method),
            self.films,
            self.films_of_all,
            self.readers.len()
        );
        let table = |readers: &[Reader]| {
            let rows: Vec<Vec<String>> = readers
                .iter()
                .map(|r| {
                    vec![
                        format!("  {}", shown(&r.person)),
                        format!("{} of {}", r.with, r.read),
                        share(r.rate),
                        limits(r.interval),
                    ]
                })
                .collect();
            columns(&rows)
        };
        out.push_str(&table(&self.readers));
        match self.kappa {
            Some(kappa) => {
                let wide = self.interval.map_or(String::new(), |[l, h]| format!(" (95 %: {l:.2} to {h:.2})"));
                out.push_str(&format!(
                    "kappa {kappa:.2}{wide}; all agree on {} of {} films\n",
                    self.all_agree, self.films_of_all
                ));
            }
            None => out.push_str("no kappa\n"),
        }
        if !self.patterns.is_empty() {
            out.push_str("\nWho said what:\n");
        }
        let mut rows = Vec::new();
        for p in &self.patterns {
            let calls: Vec<String> =
                p.calls.iter().map(|(who, call)| format!("{} {call}", shown(who))).collect();
            rows.push(vec![
                format!("  {}", calls.join(", ")),
                format!("{} films", p.films),
                shown(&p.blades.join(", ")).into_owned(),
            ]);
        }
        out.push_str(&columns(&rows));
        for p in &self.pairs {
            let figure = match (p.kappa, p.interval) {
                (Some(k), Some([l, h])) => format!("kappa {k:.2} (95 %: {l:.2} to {h:.2})"),
                (Some(k), None) => format!("kappa {k:.2}"),
                _ => shown(p.note.as_deref().unwrap_or("no kappa")).into_owned(),
            };
            out.push_str(&format!("  {} and {}: {} films, {figure}\n", shown(&p.a), shown(&p.b), p.films));
        }
        if !self.production.is_empty() {
            out.push_str("\nOn product (each reader had other blades):\n");
            out.push_str(&table(&self.production));
        }
        for gauge in &self.gauge {
            out.push('\n');
            out.push_str(&gauge.text());
        }
        notes(&mut out, &self.cautions);
        out
    }
}

/// A sampling plan for a lot.
#[derive(Serialize, Debug, Clone)]
pub struct SamplingOf {
    /// Inspection method.
    pub method: String,
    /// What the inspection plan says.
    pub says: String,
    /// Blades in the lot.
    pub lot: u64,
    /// Sample size; the whole lot where every blade is inspected.
    pub n: Option<u64>,
    /// Acceptance number.
    pub accept: Option<u64>,
    /// Points of the operating curve: share nonconforming in the lot, chance of accepting it.
    pub curve: Vec<[f64; 2]>,
    /// Why there is no plan, or which table it is from.
    pub note: String,
}

impl SamplingOf {
    /// One line.
    #[must_use]
    pub fn text(&self) -> String {
        let size = match (self.n, self.accept) {
            (Some(n), _) if n >= self.lot => format!("all {} blades", self.lot),
            (Some(n), Some(c)) => format!("{n} of {} blades, accepted with up to {c}", self.lot),
            _ => "no plan".into(),
        };
        let at = |p: f64| self.curve.iter().find(|c| (c[0] - p).abs() < 1e-9).map(|c| c[1]);
        let curve = at(0.10).map_or(String::new(), |a| format!("; a lot 10 % bad passes in {}", percent(a)));
        format!("{}: {size}{curve} ({})", shown(&self.method), shown(&self.note))
    }
}
