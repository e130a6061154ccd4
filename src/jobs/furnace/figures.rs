//! How the figures beside a pour came about.

use crate::jobs::furnace::board::PourFigures;
use crate::show::working::Working;
use knowledge::metallurgy::fill;
use records::catalogue::{OvenLoads, Pours};
use records::{Record, Stamp};

/// The working of every figure that stands beside a pour as it is typed.
pub fn pour(record: &Record, figures: &PourFigures) -> Vec<Working> {
    let mut out = Vec::new();
    let Some(typed) = record.of::<Pours>() else { return out };
    let (mould, heat) = (typed.cell(Pours::mould).to_text(), typed.cell(Pours::heat).to_text());
    let pyrometer = typed.cell(Pours::pyrometer).to_text();
    if let (Some(t), Some(liquidus)) = (typed.get(Pours::indicated_c), figures.liquidus_c) {
        if let Ok(above) = fill::superheat(t, liquidus) {
            let source = if figures.alloy_source.is_empty() {
                "the alloy's record names no source of its liquidus".into()
            } else {
                format!("liquidus: {}", figures.alloy_source)
            };
            out.push(Working {
                title: format!("superheat {above:.0} °C"),
                formula: "indicated temperature − liquidus".into(),
                inputs: vec![
                    ("indicated temperature".into(), format!("{t} °C by {}", blank(&pyrometer))),
                    ("liquidus".into(), format!("{liquidus} °C")),
                ],
                listed: "",
                records: vec![figures.alloy.clone(), heat, pyrometer]
                    .into_iter()
                    .filter(|t| !t.is_empty())
                    .collect(),
                source,
                assumptions: vec![
                    "the pyrometer reads right: see its last check".into(),
                    "the liquidus of the alloy, not of this heat's own analysis".into(),
                ],
            });
        }
    }
    let (mass, time) = (typed.get(Pours::mass_kg), typed.get(Pours::pour_s));
    if let (Some(mass), Some(time), Some(density), Some(area)) =
        (mass, time, figures.density_g_cm3, figures.gate_area_mm2)
    {
        if let Ok(v) = fill::gate_velocity(mass, density * 1000.0, time, area) {
            out.push(Working {
                title: format!("gate velocity {v:.2} m/s"),
                formula: "mass / (density × time × gate area)".into(),
                inputs: vec![
                    ("mass".into(), format!("{mass} kg")),
                    ("pouring time".into(), format!("{time} s")),
                    ("density".into(), format!("{density} g/cm³")),
                    ("gate area".into(), format!("{area} mm²")),
                ],
                listed: "",
                records: vec![figures.running_system.clone(), figures.alloy.clone()],
                source: "continuity".into(),
                assumptions: vec![
                    "a mean over the pour; the first metal may come faster".into(),
                    "all of the mass passes the gates".into(),
                ],
            });
        }
    }
    if let (Some((left, run)), Some(at)) = (&figures.out_of_oven, typed.get(Pours::poured_at)) {
        let mut inputs =
            vec![("out of the oven".into(), left.to_string()), ("poured".into(), at.to_string())];
        inputs.extend(figures.oven_to_pour_max_s.map(|m| ("allowed by the recipe".into(), format!("{m} s"))));
        out.push(Working {
            title: match at.minutes_since(*left) * 60.0 {
                s if s < 0.0 => format!("out of {run} only after this pour"),
                s => format!("oven to pour {s:.0} s"),
            },
            formula: "time of the pour − time out of the last preheat, or firing where nothing is preheated"
                .into(),
            inputs,
            listed: "",
            records: vec![format!("{}:{run}/{mould}", OvenLoads::NAME), run.clone()],
            source: "difference of times on record".into(),
            assumptions: vec!["both clocks agree".into()],
        });
    }
    out.extend(figures.workings.iter().cloned());
    out
}

/// The time from the oven to a pour at this time, and whether that is as the recipe allows.
pub fn oven_to_pour(figures: &PourFigures, at: Stamp) -> Option<(bool, String)> {
    let (left, run) = figures.out_of_oven.as_ref()?;
    let s = at.minutes_since(*left) * 60.0;
    if s < 0.0 {
        return Some((false, format!("oven to pour: out of {run} only at {left}, after this pour")));
    }
    let most = figures.oven_to_pour_max_s;
    let allows = most.map_or(String::new(), |m| format!(", the recipe allows {m} s"));
    Some((most.is_none_or(|most| s <= most), format!("oven to pour {s:.0} s since {run}{allows}")))
}

fn blank(text: &str) -> String {
    if text.is_empty() { "an instrument that is not recorded".into() } else { text.into() }
}
