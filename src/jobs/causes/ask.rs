//! What made these blades bad: the store's records as columns, the question, the ranking.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value, json};

pub use crate::jobs::causes::foundry::Foundry;
pub use crate::jobs::causes::groups::{LevelsCompared, beside, compare, number_column};
use crate::jobs::causes::instruments::is_check;
pub use crate::jobs::causes::known::Known;
use crate::jobs::causes::known::{Before, Knowledge};
pub use crate::jobs::causes::select::{Choices, Scope, choices, counts, scope, within_dates};
pub use crate::jobs::causes::snapshot::columns;

use knowledge::causes::{Cause, Detail, History, Packed, Ranking, Settings};
use records::value::tag::{hint, near, shown};
use records::{Error, Result, Store};

/// The weight, among the tests, of what says again what another factor says: readings of the pots behind
/// the face coat, indices made of elements, the last part of what an oven saw, the age of what keeps, the days since
/// the yearly check of an instrument. Our choice, the same for every question; everything else has 1.
pub(crate) const REPEATED: f64 = 0.25;

/// A question about causes.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct Ask {
    /// The defect term; none: any rejection.
    pub defect: Option<String>,
    pub zone: Option<String>,
    /// Inspection method; none: the one under which the defect is found most.
    pub method: Option<String>,
    /// One part only.
    pub part: Option<String>,
    /// Poured from this date or time on.
    pub since: Option<String>,
    /// Poured until this date (the whole day) or time.
    pub until: Option<String>,
    /// Only moulds with this record above them.
    pub within: Option<String>,
    /// Every round, not the first alone.
    pub all_rounds: bool,
    /// Only findings of a rejecting inspection.
    pub rejected: bool,
    /// The blades in question by tag, instead of those with the defect.
    pub picked: Vec<String>,
    /// Two factors to be looked at together.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pair: Option<[String; 2]>,
}

impl Ask {
    pub fn words(&self) -> String {
        let mut out = match (&self.defect, self.picked.len()) {
            (_, n) if n > 0 => format!("{n} picked blades"),
            (Some(defect), _) => defect.clone(),
            (None, _) => "any rejection".into(),
        };
        let parts = [
            ("in zone", &self.zone),
            ("by", &self.method),
            ("of part", &self.part),
            ("poured since", &self.since),
            ("until", &self.until),
            ("below", &self.within),
        ];
        for (word, text) in parts {
            if let Some(text) = text {
                out.push_str(&format!(" {word} {text}"));
            }
        }
        if self.rejected {
            out.push_str(", rejected only");
        }
        if self.all_rounds {
            out.push_str(", all rounds");
        }
        out
    }
}

/// The ranked causes, with the question as it was understood.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The question, its method filled in.
    pub ask: Ask,
    pub ranking: Ranking,
    /// What the trade knows of it, and what these records say of that.
    pub known: Known,
}

impl Answer {
    pub fn json(&self) -> Map<String, Value> {
        let ask = &self.ask;
        let question = json!({
            "defect": ask.defect,
            "zone": ask.zone,
            "method": ask.method,
            "part": ask.part,
            "since": ask.since,
            "until": ask.until,
            "within": ask.within,
            "round": if ask.all_rounds { json!("all") } else { json!(1) },
            "rejected": ask.rejected,
            "seed": self.ranking.seed,
        });
        let Value::Object(mut question) = question else { return Map::new() };
        if let Some(pair) = &ask.pair {
            question.insert("pair".into(), json!(pair));
        }
        if !ask.picked.is_empty() {
            question.insert("blades".into(), ask.picked.clone().into());
        }
        crate::jobs::causes::show::json(question, &self.ranking, Some(&self.known))
    }

    pub fn text(&self) -> String {
        crate::jobs::causes::show::text(&self.ask.words(), &self.ranking, Some(&self.known))
    }
}

/// Ranks the causes of a defect.
///
/// # Errors
/// An unknown defect, zone, method, part or tag (with near matches), a date that is none; the store
/// cannot be read.
pub fn causes(store: &Store, ask: &Ask, settings: Settings) -> Result<Answer> {
    store.snapshot(|| {
        let (foundry, scope) = question(store, ask)?;
        let (mut answer, _) = ranked(foundry, scope, settings)?;
        answer.known.find_holds(store, &answer.ranking)?;
        Ok(answer)
    })
}

/// The columns and the outcomes of a question; one that cannot be asked is refused before they are read.
fn question(store: &Store, ask: &Ask) -> Result<(Foundry, Scope)> {
    let mut scope = crate::jobs::causes::select::understood(store, ask)?;
    scope.knowledge = Knowledge::read(store, scope.ask.defect.as_deref())?;
    let foundry = columns(store)?;
    store.shrink()?;
    let mut scope = scope.read(store)?;
    if let Some(from) = scope.first_find() {
        let defect = scope.ask.defect.clone();
        scope.knowledge.leave_out_late(store, defect.as_deref(), from)?;
    }
    Ok((foundry, scope))
}

/// Ranks within columns that were read before.
pub fn rank(foundry: Foundry, scope: Scope, settings: Settings) -> Result<Answer> {
    Ok(ranked(foundry, scope, settings)?.0)
}

fn ranked(foundry: Foundry, scope: Scope, settings: Settings) -> Result<(Answer, History)> {
    let (records, mut columns, cautions) = crate::jobs::causes::select::records(foundry, &scope);
    // What was read of a decade's inspections goes before the columns are opened.
    let (ask, knowledge) = (scope.ask.clone(), scope.knowledge.clone());
    drop(scope);
    let pair = ask.pair.as_ref().map(|pair| paired(pair, &columns)).transpose()?;
    let before = Before::new(&knowledge, &records, &columns);
    let twins = crate::jobs::causes::duplicate_columns::take(&records, &mut columns);
    let stands_out = crate::jobs::causes::outlier_heat::heat(&records);
    let light: HashSet<String> = columns.iter().filter(|c| c.weight < 1.0).map(|c| c.name.clone()).collect();
    knowledge.weigh(&mut columns);
    let history = History::packed(records, columns).map_err(Error::untrusted)?;
    let tested = |name: &String| crate::jobs::causes::duplicate_columns::tested(&twins, name).to_string();
    let pair = pair.map(|[a, b]| [tested(&a), tested(&b)]);
    if let (Some([a, b]), Some([one, two])) = (&pair, &ask.pair) {
        if a == b {
            return Err(Error::input(format!(
                "{} and {} say the same of every mould in these records: there is no pair",
                shown(one),
                shown(two)
            )));
        }
    }
    let pair = pair.as_ref().map(|[a, b]| [a.as_str(), b.as_str()]);
    let mut ranking = knowledge::causes::rank(&history, Settings { pair, dated: Some(is_check), ..settings });
    if let Some(refused) = ranking.pair_refused.take() {
        return Err(Error::input(refused));
    }
    let light = ranking.causes.iter().filter(|c| light.contains(&c.factor)).count();
    crate::jobs::causes::duplicate_columns::tell(&mut ranking, &twins);
    if light > 0 {
        ranking.cautions.push(format!(
            "{light} of the factors tried repeat others (readings of the pots behind the face coat, indices made of elements, ovens \
             from a date on, the age of what keeps, days since the check of any instrument but the pyrometer): they \
             were tried at a quarter of the weight of the rest, in every q here."
        ));
    }
    if knowledge.table.weights && !ranking.causes.is_empty() {
        ranking.cautions.push(
            "Known causes weigh among the tests: 3 where primary, 1.5 where contributing, on the side that they name. \
             What agrees with them is no confirmation of them."
                .into(),
        );
    }
    ranking.cautions.extend(stands_out);
    ranking.cautions.extend(cautions);
    ranking.cautions.extend(knowledge.said_of_late());
    let known = before.told(&mut ranking, &history);
    Ok((Answer { ask, ranking, known }, history))
}

/// The two factors that are asked about together, as the columns spell them.
fn paired(pair: &[String; 2], columns: &[Packed]) -> Result<[String; 2]> {
    let find = |name: &String| {
        let found = columns.iter().find(|c| crate::jobs::causes::groups::same_name(&c.name, name));
        found.map(|c| c.name.clone()).ok_or_else(|| {
            let close = near(name, columns.iter().map(|c| c.name.as_str()));
            Error::input(format!("there is no factor {}{}", shown(name), hint(&close)))
        })
    };
    let [a, b] = [find(&pair[0])?, find(&pair[1])?];
    if a == b {
        return Err(Error::input(format!("a pair is two factors, and {} is one", shown(&a))));
    }
    Ok([a, b])
}

/// An answer with the evidence behind its first rows, for a screen.
#[derive(Clone, Debug)]
pub struct Board {
    pub answer: Answer,
    /// What a person looks at behind the first rows; a row's is found by [`Board::detail`].
    pub details: Vec<Detail>,
}

/// Rows that evidence is laid out for.
const ROWS_LAID_OUT: usize = 30;

impl Board {
    /// The evidence behind a row; that of a twin is the tested one's.
    pub fn detail(&self, cause: &Cause) -> Option<&Detail> {
        let of = |name: &str| self.details.iter().find(|d| d.factor == name);
        of(&cause.factor).or_else(|| of(&cause.inseparable_from.first()?.factor))
    }
}

/// Ranks, and lays out the evidence behind the first rows.
///
/// # Errors
/// As [`causes`]; and a sentence where `settings.watch` was stopped.
pub fn board(store: &Store, ask: &Ask, settings: Settings) -> Result<Board> {
    let (foundry, scope) = store.snapshot(|| question(store, ask))?;
    let (mut answer, history) = ranked(foundry, scope, settings)?;
    answer.known.find_holds(store, &answer.ranking)?;
    if settings.watch.is_some_and(knowledge::causes::Watch::is_stopped) {
        return Err(Error::input("stopped"));
    }
    let effect = answer.ranking.clumping.map_or(1.0, |c| c.design_effect);
    let first = answer.ranking.causes.iter().take(ROWS_LAID_OUT);
    let details = first.filter_map(|c| knowledge::causes::detail(&history, c, effect)).collect();
    Ok(Board { answer, details })
}
