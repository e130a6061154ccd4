//! Whether readers say the same of the same films.

use std::collections::{BTreeMap, BTreeSet, HashSet};

use serde::Serialize;

use crate::jobs::trace::siblings::question;
use crate::jobs::yields::gauge::{GaugeStudy, gauges};
use knowledge::stats::dist::t_quantile;
use knowledge::stats::kappa::{Weights, cohen, fleiss};
use knowledge::stats::proportion::wilson;
use records::catalogue::{InspectionPurpose, Method};
use records::read::yield_queries::Read;
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

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

/// Agreement of readers beyond chance: on the films that were read by more than one of them (purpose overlap), the
/// call being a reject, or a finding of one defect. Several readers: Fleiss's kappa over the films that all of
/// them read, with an interval from leaving out one film at a time (jackknife; Quenouille 1956, Tukey 1958); each
/// pair: Cohen's, with ± 1.96 standard errors.
pub fn agreement(
    store: &Store,
    method: Option<&str>,
    defect: Option<&str>,
    characteristic: Option<&str>,
) -> Result<Agreement> {
    store.snapshot(|| {
        let method = method_of(store, method)?;
        let asked = question(store, defect, None, Some(method.word()))?;
        let found: Option<HashSet<i64>> =
            asked.defect.map(|id| store.inspections_with(id, None)).transpose()?;
        let called = |r: &Read| found.as_ref().map_or(r.reject, |f| f.contains(&r.inspection));
        let mut cautions = Vec::new();
        let reads = store.reads(method.word(), InspectionPurpose::Overlap.word())?;
        let unnamed = reads.iter().filter(|r| r.person.is_none()).count();
        if unnamed > 0 {
            cautions.push(format!("{unnamed} reads name no reader and are left out."));
        }
        // film (blade and technique) → reader → first call
        let mut films: BTreeMap<(String, String), BTreeMap<String, bool>> = BTreeMap::new();
        let mut again: HashSet<(String, String, String)> = HashSet::new();
        for r in &reads {
            let Some(person) = &r.person else { continue };
            let film = (r.blade.clone(), r.technique.clone().unwrap_or_default());
            let calls = films.entry(film.clone()).or_default();
            if calls.contains_key(person) {
                again.insert((film.0, film.1, person.clone()));
            } else {
                calls.insert(person.clone(), called(r));
            }
        }
        films.retain(|_, calls| calls.len() > 1);
        if !again.is_empty() {
            cautions.push(format!(
                "{} films were read more than once by one reader; the first read counts.",
                again.len()
            ));
        }
        let people: Vec<String> =
            films.values().flat_map(|c| c.keys().cloned()).collect::<BTreeSet<_>>().into_iter().collect();
        let of_all: Vec<&BTreeMap<String, bool>> =
            films.values().filter(|c| people.iter().all(|p| c.contains_key(p))).collect();
        let (kappa, interval) = together(&of_all, people.len(), method.word(), &mut cautions);
        let production = {
            let all = store.reads(method.word(), InspectionPurpose::Product.word())?;
            let calls = all.iter().filter_map(|r| Some((r.person.as_deref()?, called(r))));
            rates(calls)
        };
        if let (Some(name), true) = (defect, reads.iter().all(|r| !called(r))) {
            cautions.push(format!("No film of the overlap carries {}.", shown(name)));
        }
        cautions.push(
            "Agreement is not truth: readers can agree and be wrong; only sections or a reference film tell."
                .into(),
        );
        if !production.is_empty() {
            cautions.push("Rates on product compare the blades each reader had, not the readers.".into());
        }
        Ok(Agreement {
            method: method.word(),
            defect: defect.map(String::from),
            films: films.len(),
            films_of_all: of_all.len(),
            readers: rates(films.values().flat_map(|c| c.iter().map(|(p, v)| (p.as_str(), *v)))),
            kappa,
            interval,
            all_agree: of_all.iter().filter(|c| c.values().all(|v| Some(v) == c.values().next())).count(),
            patterns: patterns(&films),
            pairs: pairs(&films, &people),
            repeated: again.len(),
            production,
            gauge: gauges(store, characteristic)?,
            cautions,
        })
    })
}

/// The method as it is called, else the one with the most films read again.
fn method_of(store: &Store, text: Option<&str>) -> Result<Method> {
    let Some(text) = text else {
        let most = store.methods_for(InspectionPurpose::Overlap.word())?.into_iter().next();
        return Ok(most.and_then(|(word, _)| Method::of(&word)).unwrap_or(Method::Radiograph));
    };
    method(text)
}

/// An inspection method by its name.
pub fn method(text: &str) -> Result<Method> {
    let found = Method::ALL.iter().find(|m| m.word().eq_ignore_ascii_case(text));
    found.copied().ok_or_else(|| {
        let all = Method::WORDS;
        let close = hint(&near(text, all.iter().copied()));
        let all = all.join(", ");
        Error::input(format!("{} is not an inspection method; there are {all}{close}", shown(text)))
    })
}

fn rates<'a>(calls: impl Iterator<Item = (&'a str, bool)>) -> Vec<FilmReader> {
    let mut by: BTreeMap<&str, (u64, u64)> = BTreeMap::new();
    for (person, with) in calls {
        let sums = by.entry(person).or_default();
        sums.0 += 1;
        sums.1 += u64::from(with);
    }
    by.into_iter()
        .map(|(person, (read, with))| FilmReader {
            person: person.to_string(),
            read,
            with,
            rate: (read > 0).then(|| with as f64 / read as f64),
            interval: wilson(with, read, 0.95).ok().map(|(l, h)| [l, h]),
        })
        .collect()
}

/// Kappa of all readers together, with its interval.
fn together(
    films: &[&BTreeMap<String, bool>],
    readers: usize,
    method: &str,
    cautions: &mut Vec<String>,
) -> (Option<f64>, Option<[f64; 2]>) {
    if readers < 2 {
        cautions.push(format!(
            "No {method} film was read by more than one reader for this purpose: there is nothing to hold against each \
             other. Log second reads with purpose=overlap."
        ));
        return (None, None);
    }
    let counts: Vec<Vec<u64>> = films
        .iter()
        .map(|c| {
            let yes = c.values().filter(|v| **v).count() as u64;
            vec![yes, c.len() as u64 - yes]
        })
        .collect();
    let of = |rows: &[Vec<u64>]| fleiss(rows).ok().flatten().map(|k| k.kappa);
    if films.is_empty() {
        cautions.push(format!("No film was read by all {readers} readers: see the pairs."));
        return (None, None);
    }
    let Some(kappa) = of(&counts) else {
        cautions.push(
            "All readers called every film the same: agreement beyond chance is not determined.".into(),
        );
        return (None, None);
    };
    let n = counts.len();
    let left_out: Option<Vec<f64>> = (0..n)
        .map(|i| {
            let mut rest = counts.clone();
            rest.remove(i);
            of(&rest)
        })
        .collect();
    let interval = left_out.filter(|_| n > 2).and_then(|all| {
        let centre = all.iter().sum::<f64>() / n as f64;
        let square: f64 = all.iter().map(|k| (k - centre).powi(2)).sum();
        let error = ((n as f64 - 1.0) / n as f64 * square).sqrt();
        let half = t_quantile(0.975, n as f64 - 1.0)? * error;
        (error > 0.0).then_some([(kappa - half).max(-1.0), (kappa + half).min(1.0)])
    });
    if interval.is_none() {
        cautions.push("The films are too few, or too much alike, for an interval of kappa.".into());
    }
    if n < 30 {
        cautions.push(format!(
            "{n} films are few: with fewer than about 30 kappa says little (common practice, no source)."
        ));
    }
    (Some(kappa), interval)
}

fn word(call: bool) -> &'static str {
    if call { "yes" } else { "no" }
}

fn patterns(films: &BTreeMap<(String, String), BTreeMap<String, bool>>) -> Vec<Pattern> {
    let mut by: BTreeMap<BTreeMap<String, &'static str>, Vec<String>> = BTreeMap::new();
    for ((blade, _), calls) in films {
        let key = calls.iter().map(|(p, v)| (p.clone(), word(*v))).collect();
        by.entry(key).or_default().push(blade.clone());
    }
    let mut out: Vec<Pattern> = by
        .into_iter()
        .map(|(calls, blades)| {
            let agree = calls.values().all(|v| Some(v) == calls.values().next());
            Pattern { films: blades.len(), blades: if agree { Vec::new() } else { blades }, calls }
        })
        .collect();
    out.sort_by_key(|p| std::cmp::Reverse(p.films));
    out
}

fn pairs(films: &BTreeMap<(String, String), BTreeMap<String, bool>>, people: &[String]) -> Vec<ReaderPair> {
    let mut out = Vec::new();
    for (i, a) in people.iter().enumerate() {
        for b in &people[i + 1..] {
            let mut table = [[0u64; 2]; 2];
            for calls in films.values() {
                if let (Some(x), Some(y)) = (calls.get(a), calls.get(b)) {
                    table[usize::from(!x)][usize::from(!y)] += 1;
                }
            }
            let n: u64 = table.iter().flatten().sum();
            if n == 0 {
                continue;
            }
            let rows: Vec<Vec<u64>> = table.iter().map(|r| r.to_vec()).collect();
            let found = cohen(&rows, Weights::None).ok().flatten();
            let interval = found.and_then(|k| {
                let half = 1.96 * k.std_error.filter(|e| *e > 0.0)?;
                Some([(k.kappa - half).max(-1.0), (k.kappa + half).min(1.0)])
            });
            out.push(ReaderPair {
                a: a.clone(),
                b: b.clone(),
                films: n,
                table,
                kappa: found.map(|k| k.kappa),
                interval,
                note: found
                    .is_none()
                    .then(|| "both called every film the same, so kappa is not determined".into()),
            });
        }
    }
    out
}
