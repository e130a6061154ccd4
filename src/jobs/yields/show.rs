//! Yield by station with what scrap cost, agreement of readers, capability, for a terminal.

use crate::jobs::yields::agreement::{Agreement, FilmReader};
use crate::jobs::yields::ask::{Station, Yield};
use crate::jobs::yields::capability::CapabilityShown;
use crate::jobs::yields::gauge::GaugeStudy;
use crate::show::{bullets, cell, columns, head, notes, tenths};
use records::value::tag::shown;

fn share(v: Option<f64>) -> String {
    v.map_or("-".into(), tenths)
}

fn limits(v: Option<[f64; 2]>) -> String {
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
                    at.station.into(),
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

impl Agreement {
    pub fn text(&self) -> String {
        let call = self.defect.as_deref().map_or("reject".into(), cell);
        let mut out = format!(
            "{}, calls of {call}: {} films read by more than one reader, {} by all {}\n",
            self.method,
            self.films,
            self.films_of_all,
            self.readers.len()
        );
        let table = |readers: &[FilmReader]| {
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
                cell(&p.blades.join(", ")),
            ]);
        }
        out.push_str(&columns(&rows));
        for p in &self.pairs {
            let figure = match (p.kappa, p.interval) {
                (Some(k), Some([l, h])) => format!("kappa {k:.2} (95 %: {l:.2} to {h:.2})"),
                (Some(k), None) => format!("kappa {k:.2}"),
                _ => cell(p.note.as_deref().unwrap_or("no kappa")),
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
