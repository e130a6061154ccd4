//! Yield by station, what scrap cost, sampling plans.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::show::{bullets, cell, columns, head, notes};
use records::value::tag::shown;

#[derive(Serialize, Debug, Clone)]
pub struct Station {
    pub method: String,
    /// Blades presented for the first time.
    pub presented: u64,
    /// Of them accepted then.
    pub accepted: u64,
    pub rate: Option<f64>,
    /// Wilson, 95 %: as if blades were independent.
    pub interval: Option<[f64; 2]>,
    /// From the spread between moulds, 95 %.
    pub mould_interval: Option<[f64; 2]>,
    /// How many times the variance is that of independent blades.
    pub design_effect: Option<f64>,
    pub moulds: u64,
    /// Blades that no earlier station rejected and that were not presented here.
    pub waiting: u64,
}

#[derive(Serialize, Debug, Clone)]
pub struct Cost {
    pub currency: String,
    /// By station reached.
    pub stations: Vec<CostAt>,
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
    pub blades: u64,
    /// Value of one there; null where several hold.
    pub value: Option<f64>,
    pub cost: f64,
}

#[derive(Serialize, Debug, Clone)]
pub struct Yield {
    /// Part, window, lot that were asked for.
    pub question: BTreeMap<&'static str, String>,
    /// Blades made (poured).
    pub made: u64,
    pub moulds: u64,
    pub heats: u64,
    /// Stations that every blade must pass, in the order of the flow.
    pub stations: Vec<Station>,
    /// Stations that inspect a sample, or that no plan asks for; they are not in the product.
    pub sampled: Vec<Station>,
    pub rolled: Option<f64>,
    /// Blades whose last disposition is accept.
    pub accepted: u64,
    #[serde(rename = "final")]
    pub end: Option<f64>,
    pub final_interval: Option<[f64; 2]>,
    /// By last disposition; `undecided` where there is none.
    pub decisions: BTreeMap<String, u64>,
    /// Cost of scrap, where costs are recorded; one for each currency.
    pub cost: Vec<Cost>,
    pub cautions: Vec<String>,
}

pub(crate) fn share(v: Option<f64>) -> String {
    v.map_or("-".into(), |v| format!("{:.1} %", 100.0 * v))
}

pub(crate) fn limits(v: Option<[f64; 2]>) -> String {
    v.map_or("-".into(), |[l, h]| format!("{:.1} to {:.1} %", 100.0 * l, 100.0 * h))
}

impl Yield {
    pub fn text(&self) -> String {
        let asked: Vec<String> = self.question.iter().map(|(k, v)| format!("{k} {}", shown(v))).collect();
        let mut out = if asked.is_empty() { String::new() } else { format!("{}\n", asked.join(", ")) };
        out.push_str(&format!(
            "{} blades made in {} moulds of {} heats\n\nAccepted at the first presentation:\n",
            self.made, self.moulds, self.heats
        ));
        let names =
            ["station", "accepted", "rate", "95 % (blades)", "95 % (moulds)", "design effect", "waiting"];
        let mut rows = vec![head(names)];
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
            let mut rows = vec![head(["station", "blades", "value", "cost"])];
            for at in &cost.stations {
                rows.push(vec![
                    cell(&at.station),
                    at.blades.to_string(),
                    at.value.map_or("several".into(), |v| format!("{v}")),
                    format!("{:.2}", at.cost),
                ]);
            }
            rows.push(vec!["together".into(), String::new(), String::new(), format!("{:.2}", cost.total)]);
            out.push_str(&columns(&rows));
            bullets(&mut out, &cost.assumptions);
            let counts: Vec<String> = cost.not_priced.iter().map(|(what, n)| format!("{n} {what}")).collect();
            out.push_str(&format!("- counted without a price: {}\n", counts.join(", ")));
        }
        notes(&mut out, &self.cautions);
        out
    }
}
