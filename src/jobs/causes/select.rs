//! The question: which blades are inspected, which are with it, which moulds are in its scope.

use std::collections::{HashMap, HashSet};

use crate::jobs::causes::ask::Ask;
use crate::jobs::causes::foundry::Foundry;
use crate::jobs::causes::instruments::Register;
use crate::jobs::causes::known::Knowledge;
use crate::jobs::trace::siblings;
use knowledge::causes::Codes;
use knowledge::causes::{At, Column, MISSING, Packed, Records, Values};
use records::catalogue::{Blades, DefectTerms, Findings, Instruments, Method, Parts, Zones};
use records::read::columns::{NO_WORD, NOTHING};
use records::read::outcomes::{Examined, Question};
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Stamp, Store};

/// A question with its outcomes, read from the store.
#[derive(Clone, Debug)]
pub struct Scope {
    /// The question, its method and part filled in as the store spells them.
    pub ask: Ask,
    question: Question,
    pub outcomes: Examined,
    /// What the trade knows of the defect; only a ranking reads it.
    pub(crate) knowledge: Knowledge,
    /// Blades that have what `within` names above them.
    within: Option<HashSet<i64>>,
    /// The blades in question.
    picked: HashSet<i64>,
    /// Tags of instruments by key.
    instruments: HashMap<i64, String>,
    register: Register,
    /// Other methods that found the defect, with the number of blades.
    other_methods: Vec<(String, u64)>,
}

/// A bound on the time of pouring.
#[derive(Clone, Copy)]
enum PourBound {
    Time(i64),
    Day((i64, u32, u32)),
}

impl PourBound {
    fn parse(text: &str, option: &str) -> Result<Self> {
        if let Ok(time) = Stamp::parse(text) {
            return Ok(Self::Time(time.ms()));
        }
        match Stamp::parse_date(text) {
            Ok(day) => Ok(Self::Day(day.date())),
            Err(_) => Err(Error::input(format!(
                "{option} {}: give a date such as 2031-04-09, or a time such as 2031-04-09T06:00:00+02:00",
                shown(text)
            ))),
        }
    }

    fn before(self, at: Stamp) -> bool {
        match self {
            Self::Time(ms) => ms <= at.ms(),
            Self::Day(day) => day <= at.date(),
        }
    }

    fn after(self, at: Stamp) -> bool {
        match self {
            Self::Time(ms) => at.ms() <= ms,
            Self::Day(day) => at.date() <= day,
        }
    }
}

/// Reads the outcomes of a question.
///
/// # Errors
/// An unknown defect, zone, method, part or tag, with near matches.
pub fn scope(store: &Store, ask: &Ask) -> Result<Scope> {
    understood(store, ask)?.read(store)
}

impl Scope {
    /// When the first of the findings in question was made, packed: of those within the dates asked for.
    pub(crate) fn first_find(&self) -> Option<i64> {
        let since = self.ask.since.as_ref().and_then(|t| PourBound::parse(t, "").ok());
        let with = self.outcomes.inspected_at.iter().zip(&self.outcomes.with).filter(|(_, with)| **with);
        let asked =
            |at: &i64| *at != NOTHING && since.is_none_or(|since| since.before(Stamp::from_packed(*at)));
        with.map(|(at, _)| *at).filter(asked).min()
    }

    /// The question with its outcomes.
    pub(crate) fn read(mut self, store: &Store) -> Result<Self> {
        self.outcomes = store.examined(&self.question)?;
        store.shrink()?;
        Ok(self)
    }
}

/// A question that can be asked, before its outcomes are read.
pub(crate) fn understood(store: &Store, ask: &Ask) -> Result<Scope> {
    let mut ask = ask.clone();
    if let Some(method) = &ask.method {
        if !Method::WORDS.contains(&method.as_str()) {
            let close = near(method, Method::WORDS.iter().copied());
            let all = Method::WORDS.join(", ");
            return Err(Error::input(format!(
                "there is no inspection method {}{}; there are {all}",
                shown(method),
                hint(&close)
            )));
        }
    }
    for (text, option) in [(&ask.since, "since"), (&ask.until, "until")] {
        if let Some(text) = text {
            PourBound::parse(text, option)?;
        }
    }
    if let Some(zone) = &ask.zone {
        known_zone(store, zone)?;
        if ask.defect.is_none() {
            return Err(Error::input(format!(
                "zone {}: a finding lies in a zone, a rejection does not; choose the defect too",
                shown(zone)
            )));
        }
    }
    if let Some(part) = &ask.part {
        ask.part = Some(known_part(store, part)?);
    }
    let question =
        siblings::question(store, ask.defect.as_deref(), ask.zone.as_deref(), ask.method.as_deref())?;
    let question = Question { all_rounds: ask.all_rounds, rejected: ask.rejected, ..question };
    let other_methods = match question.defect {
        Some(id) => store
            .methods_of(id, ask.zone.as_deref())?
            .into_iter()
            .filter(|(m, _)| Some(m) != question.method.as_ref())
            .collect(),
        None => Vec::new(),
    };
    ask.method.clone_from(&question.method);
    let within = match &ask.within {
        Some(tag) => {
            let (link, _) = store.link(tag)?;
            Some(store.contained(link)?.blades.iter().map(|b| b.id).collect())
        }
        None => None,
    };
    let mut picked = HashSet::new();
    for tag in &ask.picked {
        let blade = store.link(tag)?.0.key::<Blades>();
        picked.insert(blade.ok_or_else(|| Error::input(format!("{} is not a blade", shown(tag))))?.id);
    }
    let instruments = store.text_by_key(Instruments::instrument)?;
    let register = Register::read(store)?;
    let (outcomes, knowledge) = (Examined::default(), Knowledge::default());
    Ok(Scope { ask, question, outcomes, knowledge, within, picked, instruments, register, other_methods })
}

fn known_zone(store: &Store, zone: &str) -> Result<()> {
    let mut all = store.texts(Zones::zone)?;
    all.extend(store.texts(Findings::zone)?);
    all.sort();
    all.dedup_by(|a, b| a.eq_ignore_ascii_case(b));
    if all.iter().any(|z| z.eq_ignore_ascii_case(zone)) {
        return Ok(());
    }
    let close = near(zone, all.iter().map(String::as_str));
    let list = if all.is_empty() { String::new() } else { format!("; there are {}", shown(&all.join(", "))) };
    Err(Error::input(format!("there is no zone {}{}{list}", shown(zone), hint(&close))))
}

fn known_part(store: &Store, part: &str) -> Result<String> {
    let base = part.split('@').next().unwrap_or(part);
    let levels = store.texts(Parts::part)?;
    match levels.iter().find(|l| l.eq_ignore_ascii_case(base)) {
        Some(found) => Ok(found.clone()),
        None => {
            let close = near(part, levels.iter().map(String::as_str));
            Err(Error::input(format!("there is no part {}{}", shown(part), hint(&close))))
        }
    }
}

/// The records of a question, their columns beside them, and what is to be said of them.
pub(crate) fn records(foundry: Foundry, scope: &Scope) -> (Records, Vec<Packed>, Vec<String>) {
    let ask = &scope.ask;
    let bound = |t: &Option<String>| t.as_ref().and_then(|t| PourBound::parse(t, "").ok());
    let (since, until) = (bound(&ask.since), bound(&ask.until));
    let part = ask.part.as_ref().and_then(|p| foundry.parts.iter().position(|q| q == p).map(|i| i as u32));
    let mut above = scope.within.as_ref().map(|_| vec![false; foundry.moulds.len()]);
    if let (Some(above), Some(within)) = (&mut above, &scope.within) {
        for (b, id) in foundry.blades.iter().enumerate() {
            if within.contains(&id) {
                above[foundry.blade_mould[b] as usize] = true;
            }
        }
    }
    let in_scope: Vec<bool> = (0..foundry.moulds.len())
        .map(|m| {
            let at = foundry.poured[m];
            since.is_none_or(|s| s.before(at))
                && until.is_none_or(|u| u.after(at))
                && (ask.part.is_none() || Some(foundry.mould_part[m]) == part)
                && above.as_ref().is_none_or(|a| a[m])
        })
        .collect();
    let mut outcome = vec![MISSING; foundry.blades.len()];
    let mut placed = 0;
    for (i, id) in scope.outcomes.blades.iter().enumerate() {
        if let Some(b) = foundry.blades.place(id) {
            outcome[b] = i as u32;
            placed += 1;
        }
    }
    // Blades of the scope that were inspected: row in the foundry, and in the outcomes.
    let (mut rows, mut seen, mut made) = (Vec::with_capacity(placed), Vec::with_capacity(placed), 0);
    for (b, &i) in outcome.iter().enumerate() {
        if !in_scope[foundry.blade_mould[b] as usize] {
            continue;
        }
        made += 1;
        if i != MISSING {
            rows.push(b as u32);
            seen.push(i);
        }
    }
    drop(outcome);
    let with = |b: u32, i: u32| match ask.picked.is_empty() {
        true => scope.outcomes.with[i as usize],
        false => foundry.blades.get(b as usize).is_some_and(|id| scope.picked.contains(&id)),
    };
    let defective: Vec<u32> = rows.iter().zip(&seen).map(|(&b, &i)| u32::from(with(b, i))).collect();
    // Moulds of the scope, and their heats, numbered anew.
    let mut mould_at = vec![MISSING; foundry.moulds.len()];
    let mut heat_at = vec![MISSING; foundry.heats.len()];
    let (mut moulds, mut heats) = (Vec::new(), Vec::new());
    for m in (0..foundry.moulds.len()).filter(|&m| in_scope[m]) {
        mould_at[m] = moulds.len() as u32;
        moulds.push(m as u32);
        let h = foundry.mould_heat[m] as usize;
        if heat_at[h] == MISSING {
            heat_at[h] = heats.len() as u32;
            heats.push(h as u32);
        }
    }
    let several =
        moulds.iter().any(|&m| foundry.mould_part[m as usize] != foundry.mould_part[moulds[0] as usize]);
    // Each column goes as its part is taken: a decade is not held twice.
    let mut columns: Vec<Packed> = foundry
        .columns
        .into_iter()
        .enumerate()
        .map(|(c, column)| {
            let keep = match column.at {
                At::Blade => &rows,
                At::Mould => &moulds,
                At::Heat => &heats,
            };
            let mut column = column.pick(keep);
            if let Some((_, since, times)) = foundry.since.iter().find(|(of, ..)| of.contains(&c)) {
                hide_later(&mut column, &rows, &seen, (since, times), &scope.outcomes.inspected_at);
            }
            column
        })
        .collect();
    columns.extend(readers(scope, &seen));
    let stratum = match several {
        true => rows.iter().map(|&b| foundry.mould_part[foundry.blade_mould[b as usize] as usize]).collect(),
        false => Vec::new(),
    };
    let records = Records {
        made,
        blade_mould: rows.iter().map(|&b| mould_at[foundry.blade_mould[b as usize] as usize]).collect(),
        defective,
        counts: false,
        stratum,
        strata: if several { foundry.parts.clone() } else { Vec::new() },
        mould_tags: moulds.iter().map(|&m| foundry.moulds[m as usize].clone()).collect(),
        mould_heat: moulds.iter().map(|&m| heat_at[foundry.mould_heat[m as usize] as usize]).collect(),
        heat_tags: heats.iter().map(|&h| foundry.heats[h as usize].clone()).collect(),
        columns: Vec::new(),
    };
    (records, columns, cautions(scope, scope.outcomes.blades.len() - placed))
}

/// What was done to a blade after its inspection is no cause of what the inspection found.
fn hide_later(
    column: &mut Packed,
    rows: &[u32],
    seen: &[u32],
    (since, times): (&Codes, &[i64]),
    inspected: &[i64],
) {
    for (k, (&b, &i)) in rows.iter().zip(seen).enumerate() {
        let from = times.get(since.get(b as usize) as usize).copied().unwrap_or(NOTHING);
        let at = inspected[i as usize];
        let later =
            from == NOTHING || at == NOTHING || Stamp::from_packed(from).ms() > Stamp::from_packed(at).ms();
        if later {
            column.hide(k);
        }
    }
}

/// Who read, with what, by which technique sheet.
fn readers(scope: &Scope, seen: &[u32]) -> Vec<Packed> {
    let out = &scope.outcomes;
    let mut columns = Vec::new();
    // Over all methods the reader of a reject would be compared with the readers of other methods.
    if scope.ask.method.is_none() {
        return columns;
    }
    let mut add = |name: &str, codes: Vec<u32>, levels: Vec<String>| {
        if codes.iter().any(|&c| c != MISSING) {
            let values = Values::Words { codes, levels };
            let column = Column::new(name, At::Blade, values);
            columns.push(Packed::new(column));
        }
    };
    for (name, few) in [("inspection.person", &out.people), ("inspection.technique", &out.techniques)] {
        let code = |&i: &u32| match few.codes.get(i as usize) {
            NO_WORD => MISSING,
            code => code,
        };
        add(name, seen.iter().map(code).collect(), few.levels.clone());
    }
    let mut levels: Vec<String> = Vec::new();
    let mut known: HashMap<u32, u32> = HashMap::new();
    let codes = seen
        .iter()
        .map(|&i| {
            let code = out.instruments.codes.get(i as usize);
            let id = out.instruments.levels.get(code as usize);
            let Some(tag) = id.and_then(|id| scope.instruments.get(id)) else { return MISSING };
            *known.entry(code).or_insert_with(|| {
                levels.push(tag.clone());
                levels.len() as u32 - 1
            })
        })
        .collect();
    add("inspection.instrument", codes, levels);
    let reading = |&i: &u32| {
        let id = out.instruments.levels.get(out.instruments.codes.get(i as usize) as usize)?;
        let when = out.inspected_at.get(i as usize).filter(|t| **t != NOTHING)?;
        Some((*id, Stamp::from_packed(*when)))
    };
    let name = ("inspection.instrument", "");
    let checks = scope.register.columns(seen.iter().map(reading), At::Blade, name, false);
    columns.extend(checks.into_iter().map(Packed::new));
    columns
}

fn cautions(scope: &Scope, unplaced: usize) -> Vec<String> {
    let mut out = Vec::new();
    if let (Some(method), Some(defect)) = (&scope.ask.method, &scope.ask.defect) {
        let others: Vec<String> =
            scope.other_methods.iter().map(|(m, n)| format!("{m} found it on {n} blades")).collect();
        if !others.is_empty() {
            out.push(format!(
                "{defect} by {method} is what was asked; {} are not in these figures.",
                others.join(", ")
            ));
        }
    }
    if scope.outcomes.rejected_without_finding > 0 {
        out.push(format!(
            "{} inspections rejected a blade without a finding; they count as inspected.",
            scope.outcomes.rejected_without_finding
        ));
    }
    if unplaced > 0 {
        out.push(format!(
            "{unplaced} inspected blades have no poured mould on record and are in no figure here."
        ));
    }
    out
}

/// What a question may ask for, as the store knows it: for lists on a screen.
#[derive(Clone, Debug, Default)]
pub struct Choices {
    /// Defect terms, each with the number of findings, those that were found first.
    pub defects: Vec<(String, usize)>,
    pub zones: Vec<String>,
    pub methods: Vec<String>,
    pub parts: Vec<String>,
}

/// What a question may ask for.
pub fn choices(store: &Store) -> Result<Choices> {
    let sorted = |mut levels: Vec<String>| {
        levels.sort();
        levels.dedup_by(|a, b| a.eq_ignore_ascii_case(b));
        levels
    };
    store.snapshot(|| {
        let mut count: HashMap<i64, usize> = HashMap::new();
        let [found] = store.columns([Findings::defect.any()])?;
        for &id in found.links() {
            *count.entry(id).or_default() += 1;
        }
        let terms = store.text_by_key(DefectTerms::defect)?;
        let found = |id: &i64| count.get(id).copied().unwrap_or(0);
        let mut defects: Vec<(String, usize)> =
            terms.into_iter().map(|(id, tag)| (tag, found(&id))).collect();
        defects.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        Ok(Choices {
            defects,
            zones: sorted(store.texts(Zones::zone)?),
            methods: Method::WORDS.iter().map(|m| (*m).to_string()).collect(),
            parts: sorted(store.texts(Parts::part)?),
        })
    })
}

/// The outcomes of a question by mould, without any factor; and what is to be said of them.
pub fn counts(foundry: &Foundry, scope: &Scope) -> (Records, Vec<String>) {
    let bare = Foundry {
        moulds: foundry.moulds.clone(),
        poured: foundry.poured.clone(),
        mould_part: foundry.mould_part.clone(),
        parts: foundry.parts.clone(),
        mould_heat: foundry.mould_heat.clone(),
        heats: foundry.heats.clone(),
        blades: foundry.blades.clone(),
        blade_mould: foundry.blade_mould.clone(),
        ..Foundry::default()
    };
    let (records, _, cautions) = records(bare, scope);
    (records, cautions)
}

/// Whether a time lies within the dates of a question.
pub fn within_dates(ask: &Ask) -> Result<impl Fn(Stamp) -> bool + use<>> {
    let bound =
        |text: &Option<String>, option: &str| text.as_ref().map(|t| PourBound::parse(t, option)).transpose();
    let (since, until) = (bound(&ask.since, "since")?, bound(&ask.until, "until")?);
    Ok(move |at| since.is_none_or(|s| s.before(at)) && until.is_none_or(|u| u.after(at)))
}
