//! First-pass yield by station, rolled and final yield, what scrap cost.

use std::collections::{BTreeMap, HashMap, HashSet};

use serde::Serialize;

use crate::jobs::lots::readers::day;
use knowledge::stats::dist::t_quantile;
use knowledge::stats::proportion::wilson;
use records::Stamp;
use records::catalogue::{Decision, InspectionPurpose, Lots, Method};
use records::read::yield_queries::{Made, Scope};
use records::value::tag::shown;
use records::{Error, Result, Store};

#[derive(Serialize, Debug, Clone)]
pub struct Station {
    pub method: &'static str,
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
    pub station: &'static str,
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

/// What a question is narrowed to, as it was typed.
#[derive(Clone, Debug, Default)]
pub struct BladesAsked {
    /// Part, `TAG` or `TAG@REV`.
    pub part: Option<String>,
    /// Poured at or after this time or date.
    pub since: Option<String>,
    /// Poured before this time, or up to the end of this date.
    pub until: Option<String>,
    pub lot: Option<String>,
}

impl BladesAsked {
    /// The scope, and the question in words.
    pub fn scope(&self, store: &Store) -> Result<(Scope, BTreeMap<&'static str, String>)> {
        let mut scope = Scope::default();
        let mut question = BTreeMap::new();
        if let Some(part) = &self.part {
            scope.parts = store.part_ids(part)?;
            question.insert("part", part.clone());
        }
        let time = |name: &str, text: &str, end: bool| -> Result<Stamp> {
            if let Ok(day) = Stamp::parse_date(text) {
                return Ok(if end { Stamp::new(day.ms() + 86_400_000, day.offset_min()) } else { day });
            }
            Stamp::parse(text).map_err(|e| {
                Error::input(format!("--{name} {}: {e}; a date such as 2031-03-04 will do", shown(text)))
            })
        };
        if let Some(since) = &self.since {
            scope.since = Some(time("since", since, false)?);
            question.insert("since", since.clone());
        }
        if let Some(until) = &self.until {
            scope.before = Some(time("until", until, true)?);
            question.insert("until", until.clone());
        }
        if let Some(lot) = &self.lot {
            let (key, tag) = store.key_of::<Lots>(lot)?;
            scope.lot = Some(key.id);
            question.insert("lot", tag);
        }
        Ok((scope, question))
    }
}

/// First-pass yield by station: blades accepted at their first presentation over blades presented; rolled, their
/// product over the stations that every blade must pass; final, blades whose last disposition is accept over
/// blades made.
pub fn yields(store: &Store, narrow: &BladesAsked) -> Result<Yield> {
    store.snapshot(|| {
        let (scope, question) = narrow.scope(store)?;
        let made = store.made_blades(&scope)?;
        let place: HashMap<i64, usize> = made.iter().enumerate().map(|(i, m)| (m.blade, i)).collect();
        let mut calls: Calls = vec![[None; METHODS]; made.len()];
        let mut twice = 0u64;
        store.presentations(&mut |blade, method, accepted, at| {
            let (Some(&i), Some(method)) = (place.get(&blade), Method::of(method)) else { return };
            let call = &mut calls[i][method as usize];
            twice += u64::from(call.is_some());
            if call.is_none_or(|(earlier, _)| at < earlier) {
                *call = Some((at, accepted));
            }
        })?;
        let full = stations_of(store, &made)?;
        let mut cautions = Vec::new();
        let (mut stations, mut sampled) = (Vec::new(), Vec::new());
        for method in Method::ALL {
            let station = station(&made, &calls, *method, &full);
            if full[*method as usize] {
                stations.push(station);
            } else if station.presented > 0 {
                sampled.push(station);
            }
        }
        let last = store.last_dispositions()?;
        let mut decisions: BTreeMap<String, u64> = BTreeMap::new();
        for m in &made {
            let word = last.get(&m.blade).map_or("undecided", |(d, _)| d.as_str());
            *decisions.entry(word.to_string()).or_default() += 1;
        }
        let accepted = decisions.get(Decision::Accept.word()).copied().unwrap_or(0);
        let n = made.len() as u64;
        let rates: Vec<Option<f64>> = stations.iter().map(|s| s.rate).collect();
        let rolled = if rates.is_empty() { None } else { rates.iter().copied().product::<Option<f64>>() };
        if made.is_empty() {
            cautions.push("No blade was made in this scope, so no yield.".into());
        }
        if twice > 0 {
            cautions.push(format!("{twice} further first-round inspections of the same blade and method; the earliest counts."));
        }
        let waiting: u64 = stations.iter().map(|s| s.waiting).sum();
        if waiting > 0 {
            cautions.push("Blades wait for inspection, so the rates can still change: see waiting.".into());
        }
        let again = [Decision::Rework, Decision::Repair, Decision::Concession].map(Decision::word);
        if decisions.keys().any(|d| again.contains(&d.as_str())) {
            cautions.push("Rework and concession make the final yield differ from the rolled one.".into());
        }
        if !made.is_empty() {
            cautions.push(
                "The first interval treats blades as independent; blades of a mould are not. The second is from the \
                 spread between moulds."
                    .into(),
            );
        }
        let cost = costs(store, &made, &calls, &last)?;
        let moulds: HashSet<i64> = made.iter().map(|m| m.mould).collect();
        let heats: HashSet<i64> = made.iter().map(|m| m.heat).collect();
        Ok(Yield {
            question,
            made: n,
            moulds: moulds.len() as u64,
            heats: heats.len() as u64,
            stations,
            sampled,
            rolled,
            accepted,
            end: (n > 0).then(|| accepted as f64 / n as f64),
            final_interval: wilson(accepted, n, 0.95).ok().map(|(l, h)| [l, h]).filter(|_| n > 0),
            decisions,
            cost,
            cautions,
        })
    })
}

/// Which methods every blade must pass: required and not sampled in the plan of each part; without any plan,
/// every method that was used.
fn stations_of(store: &Store, made: &[Made]) -> Result<[bool; METHODS]> {
    let parts: HashSet<i64> = made.iter().map(|m| m.part).collect();
    let rows = store.planned_stations()?;
    let mine: Vec<_> = rows.iter().filter(|(part, ..)| parts.contains(part)).collect();
    let mut out = [false; METHODS];
    if mine.is_empty() {
        for (word, _) in store.methods_for(InspectionPurpose::Product.word())? {
            out.iter_mut().zip(Method::WORDS).for_each(|(used, method)| *used |= *method == word);
        }
        return Ok(out);
    }
    let all = |sampling: &str| sampling.trim().is_empty() || sampling.trim().eq_ignore_ascii_case("all");
    for (_, word, required, sampling) in mine {
        let every = *required && sampling.as_deref().is_none_or(all);
        out.iter_mut().zip(Method::WORDS).for_each(|(full, method)| *full |= every && method == word);
    }
    Ok(out)
}

/// Of each blade made, by method: time and call of the first presentation.
type Calls = Vec<[Option<(i64, bool)>; METHODS]>;
const METHODS: usize = Method::ALL.len();

fn station(made: &[Made], calls: &Calls, method: Method, full: &[bool; METHODS]) -> Station {
    let at = method as usize;
    let (mut presented, mut accepted, mut waiting) = (0u64, 0u64, 0u64);
    let mut by_mould: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
    for (blade, row) in made.iter().zip(calls) {
        match row[at] {
            Some((_, ok)) => {
                presented += 1;
                accepted += u64::from(ok);
                let sums = by_mould.entry(blade.mould).or_default();
                sums.0 += 1.0;
                sums.1 += f64::from(u8::from(ok));
            }
            None => {
                let stopped = (0..at).any(|e| full[e] && matches!(row[e], Some((_, false))));
                waiting += u64::from(!stopped && full[at]);
            }
        }
    }
    let rate = (presented > 0).then(|| accepted as f64 / presented as f64);
    let mut mould_interval = None;
    let mut design_effect = None;
    let k = by_mould.len() as f64;
    if let (Some(rate), Some(t)) = (rate, t_quantile(0.975, (k - 1.0).max(1.0)).filter(|_| k > 1.0)) {
        let n = presented as f64;
        let sum: f64 = by_mould.values().map(|(n, y)| (y - n * rate).powi(2)).sum();
        let variance = sum / (n * n) * k / (k - 1.0);
        let binomial = rate * (1.0 - rate) / n;
        if binomial > 0.0 {
            design_effect = Some(variance / binomial);
            let half = t * variance.sqrt();
            mould_interval = Some([(rate - half).max(0.0), (rate + half).min(1.0)]);
        }
    }
    Station {
        method: method.word(),
        presented,
        accepted,
        rate,
        interval: wilson(accepted, presented, 0.95).ok().map(|(l, h)| [l, h]).filter(|_| presented > 0),
        mould_interval,
        design_effect,
        moulds: by_mould.len() as u64,
        waiting,
    }
}

/// Value by (part, station): from which date, value, currency, in the order of the dates.
type StationValues = HashMap<(i64, String), Vec<(String, f64, String)>>;

/// Scrapped blades by the last station they reached, at the value recorded for it at the time of the decision.
fn costs(
    store: &Store,
    made: &[Made],
    calls: &Calls,
    last: &HashMap<i64, (String, Stamp)>,
) -> Result<Vec<Cost>> {
    let mut values = StationValues::new();
    for (part, station, value, currency, from) in store.cost_rows()? {
        if let Some(value) = value {
            values.entry((part, station.to_lowercase())).or_default().push((from, value, currency));
        }
    }
    if values.is_empty() {
        return Ok(Vec::new());
    }
    let mut without = 0;
    let mut by: BTreeMap<String, BTreeMap<usize, Vec<f64>>> = BTreeMap::new();
    let name = |slot: usize| if slot == 0 { "pour" } else { Method::WORDS[slot - 1] };
    for (blade, row) in made.iter().zip(calls) {
        let Some((_, at)) = last.get(&blade.blade).filter(|(d, _)| d == Decision::Scrap.word()) else {
            continue;
        };
        let mut slot = row.iter().rposition(Option::is_some).map_or(0, |m| m + 1);
        // A station without a value of its own counts as the last one before it that has one.
        while !values.contains_key(&(blade.part, name(slot).to_string())) && slot > 0 {
            slot -= 1;
        }
        let day = day(*at);
        let found = values
            .get(&(blade.part, name(slot).to_string()))
            .and_then(|list| list.iter().rfind(|(from, _, _)| *from <= day));
        match found {
            Some((_, value, currency)) => {
                by.entry(currency.clone()).or_default().entry(slot).or_default().push(*value);
            }
            None => without += 1,
        }
    }
    let mine: HashSet<i64> = made.iter().map(|m| m.blade).collect();
    let count = |all: HashMap<i64, u64>| -> u64 {
        all.into_iter().filter(|(b, _)| mine.contains(b)).map(|(_, n)| n).sum()
    };
    let decided = |decision: Decision| store.decided(decision.word()).map(count);
    let not_priced: BTreeMap<&'static str, u64> = BTreeMap::from([
        ("rework decisions", decided(Decision::Rework)? + decided(Decision::Repair)?),
        ("inspections of later rounds", count(store.later_rounds()?)),
        ("concession decisions", decided(Decision::Concession)?),
        ("returned blades", store.returned()?.iter().filter(|b| mine.contains(b)).count() as u64),
    ]);
    if by.is_empty() && without > 0 {
        by.insert(String::from("no currency"), BTreeMap::new());
    }
    let several = by.len() > 1;
    let cost = |(currency, slots): (String, BTreeMap<usize, Vec<f64>>)| {
        let stations: Vec<CostAt> = slots
            .into_iter()
            .map(|(slot, list)| CostAt {
                station: name(slot),
                blades: list.len() as u64,
                value: list.first().copied().filter(|v| list.iter().all(|x| x == v)),
                cost: list.iter().sum(),
            })
            .collect();
        let mut assumptions = vec![
            "scrap is a last disposition of scrap, at the recorded value of a blade that reaches its last inspected station".into(),
            "the value is that in force on the day of the decision; revert credit is not taken off, as none is recorded".into(),
        ];
        if without > 0 {
            assumptions
                .push(format!("{without} scrapped blades have no recorded value and are not in the sum"));
        }
        if several {
            assumptions.push("several currencies are recorded; they are not added up".into());
        }
        Cost {
            currency,
            total: stations.iter().map(|s| s.cost).sum(),
            stations,
            without_value: without,
            assumptions,
            not_priced: not_priced.clone(),
        }
    };
    Ok(by.into_iter().map(cost).collect())
}
