//! How far readers agree on the same films.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::jobs::yields::show::{limits, share};
use crate::jobs::yields::show_capability::GaugeStudy;
use crate::show::{cell, columns, notes};
use records::value::tag::shown;

/// A reader's calls.
#[derive(Serialize, Debug, Clone)]
pub struct FilmReader {
    pub person: String,
    pub read: u64,
    /// Of them called so.
    pub with: u64,
    pub rate: Option<f64>,
    pub interval: Option<[f64; 2]>,
}

/// How often one pattern of calls came.
#[derive(Serialize, Debug, Clone)]
pub struct Pattern {
    /// Reader → call.
    pub calls: BTreeMap<String, &'static str>,
    pub films: usize,
    /// Their blades, where the readers do not agree.
    pub blades: Vec<String>,
}

/// Two readers on the films that both read.
#[derive(Serialize, Debug, Clone)]
pub struct ReaderPair {
    pub a: String,
    pub b: String,
    /// Films that both read.
    pub films: u64,
    /// Rows: a called yes, no; columns: b called yes, no.
    pub table: [[u64; 2]; 2],
    pub kappa: Option<f64>,
    pub interval: Option<[f64; 2]>,
    /// Why there is none.
    pub note: Option<String>,
}

/// How far readers agree on the same films.
#[derive(Serialize, Debug, Clone)]
pub struct Agreement {
    pub method: &'static str,
    /// The defect whose finding is the call; none: reject or accept.
    pub defect: Option<String>,
    /// Films that more than one reader read.
    pub films: usize,
    /// Films that all readers read, behind kappa.
    pub films_of_all: usize,
    pub readers: Vec<FilmReader>,
    /// Fleiss's kappa of all readers (of two: Cohen's).
    pub kappa: Option<f64>,
    pub interval: Option<[f64; 2]>,
    /// Films on which all agree.
    pub all_agree: usize,
    pub patterns: Vec<Pattern>,
    pub pairs: Vec<ReaderPair>,
    /// Films that one reader read more than once.
    pub repeated: usize,
    /// The same method on product, by reader: other blades for each, so no test of readers.
    pub production: Vec<FilmReader>,
    pub gauge: Vec<GaugeStudy>,
    /// Why there is no kappa, and what to keep in mind.
    pub cautions: Vec<String>,
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
