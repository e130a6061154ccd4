//! What the trade knows of the defect in question: the rows that a shop has on record, the weight that each gives its
//! factor, and what the records of this question say of it.

use serde::Serialize;

use knowledge::causes::ranking::FactorLevel;
use knowledge::causes::{Cause, Column, Direction, History, Packed, Ranking, Values};
use records::catalogue::{
    HarmSide, Instruments, KnowledgeSources, KnownCauses, Recorded, SourceStatus, Strength,
};
use records::graph::lineage::can_be_held;
use records::value::tag::{hint, near};
use records::{Result, Store, catalogue};

use crate::jobs::causes::instruments::{ReadBy, is_check};
use crate::jobs::causes::what_to_check::{Doubted, checks};
use knowledge::causes::Records;
use records::catalogue::starter;

/// Stands wherever known causes are shown.
pub const CAUTION: &str = "Known causes are a reading list. They approve no process, part, alloy, temperature, repair or release: the \
     approved specification, the design authority and qualified people come first, and a process changes only by the \
     shop's own change control. A row says that somebody published or practises it, not that it happened here; a \
     missing row acquits nothing.";

/// The weights among the tests: named by itself, acting through another. Fixed before any outcome is looked at; the
/// ratio is small so that wrong knowledge costs little.
const PRIMARY: f64 = 3.0;
const CONTRIBUTING: f64 = 1.5;

/// How a remark begins that lets a row count, and one that gives the weight to the twin that it names. Every other
/// remark is doubt, and a row in doubt counts as none.
const NOTE: &str = "note:";
const TWIN: &str = "note: twin of ";

/// Known of a smaller share of the moulds than this, a factor is not tried.
const ENOUGH_KNOWN: f64 = 0.5;

/// The rows of a question, read before its outcomes.
#[derive(Clone, Debug, Default)]
pub struct Knowledge {
    pub table: Table,
    rows: Vec<Row>,
    /// Factors of rows that were written after looking at the findings in question: they weigh nothing for them.
    late: Vec<String>,
}

/// Which table stood behind an answer.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Table {
    /// Twelve signs that change with any row.
    pub version: String,
    pub rows: usize,
    /// Terms whose rows a metallurgist of the shop has signed as they stand.
    pub signed_terms: Vec<String>,
    /// Who has signed the rows of the term that was asked for, or why it counts as not signed.
    pub review: String,
    /// The rows of the term weigh among the tests.
    pub weights: bool,
}

#[derive(Clone, Debug)]
struct Row {
    factor: String,
    direction: HarmSide,
    strength: Strength,
    mechanism: String,
    check: String,
    remedy: Option<String>,
    source: String,
    references: Vec<String>,
    source_status: SourceStatus,
    doubtful: Option<String>,
}

/// A known cause with what the records say of it.
#[derive(Clone, Debug, Serialize)]
pub struct KnownCause {
    pub factor: String,
    /// higher, lower, either, level.
    pub direction: &'static str,
    /// primary, contributing.
    pub strength: &'static str,
    pub mechanism: String,
    pub check: String,
    pub remedy: Option<String>,
    pub source: String,
    /// The sources in full.
    pub references: Vec<String>,
    /// read, cited, memory, practice.
    pub source_status: &'static str,
    pub doubtful: Option<String>,
    /// Among the tests; 1 where it has none.
    pub weight: f64,
    /// supported, against, unclear, not supported, not tested, not recorded.
    pub records: &'static str,
    /// Why, in a few words.
    pub said: String,
    pub rank: Option<usize>,
    pub q: Option<f64>,
}

/// A record that could be held: a shown cause names it.
#[derive(Clone, Debug, Serialize)]
pub struct HoldCandidate {
    pub tag: String,
    pub kind: &'static str,
    pub factor: String,
    /// An open hold lies on it already.
    pub held: bool,
    /// Of an instrument: bad blades of what is shown for which it read.
    pub read_for: Option<u32>,
}

/// What an answer says beside its ranking.
#[derive(Clone, Debug, Default)]
pub struct Known {
    pub table: Table,
    /// In the order in which to look: primary first, read before cited before practice.
    pub causes: Vec<KnownCause>,
    pub check: Vec<String>,
    pub hold: Vec<HoldCandidate>,
    pub doubted: Vec<Doubted>,
}

/// What was recorded of a factor, before any outcome.
struct Recording {
    factor: String,
    /// The share of the moulds, heats or blades of which it is known.
    share: f64,
    /// It differs somewhere.
    differs: bool,
    /// The ends of a reading.
    ends: Option<[f64; 2]>,
}

impl Knowledge {
    /// The rows of a defect, as the store has them; only the table where no one defect is asked for.
    pub fn read(store: &Store, defect: Option<&str>) -> Result<Self> {
        let all = store.known_causes()?;
        let mut signed_terms: Vec<String> =
            all.reviews.iter().filter(|r| r.void.is_none()).map(|r| r.defect.clone()).collect();
        signed_terms.sort();
        signed_terms.dedup();
        let mut rows = Vec::new();
        let mut term = None;
        for known in &all.causes {
            let of = known.need(KnownCauses::defect)?;
            if defect.is_some_and(|defect| defect.eq_ignore_ascii_case(of)) {
                term = Some(of);
                rows.push(Row::of(known, &all.sources)?);
            }
        }
        // Of one strength and status the file's order is that of the names.
        rows.sort_by(|a, b| a.place().cmp(&b.place()).then_with(|| a.factor.cmp(&b.factor)));
        let weights = term.is_some_and(|term| signed_terms.iter().any(|s| s == term));
        let of_term = || all.reviews.iter().filter(|r| term == Some(r.defect.as_str()));
        let last = of_term().filter(|r| !weights || r.void.is_none()).max_by_key(|r| r.at.ms());
        let review = match (term, last) {
            (None, _) => "no known cause of it is on record".to_string(),
            (_, None) => "not reviewed by a metallurgist of this shop; its rows have no weight".into(),
            (_, Some(r)) => match &r.void {
                None => format!("signed by {} at {}; its rows weigh among the tests", r.person, r.at),
                Some(why) => format!(
                    "not reviewed as it stands: {} signed at {}, and {why}; its rows have no weight",
                    r.person, r.at
                ),
            },
        };
        let table = Table { version: all.version, rows: all.causes.len(), signed_terms, review, weights };
        Ok(Self { table, rows, late: Vec::new() })
    }

    /// Takes the weight from rows that were written after the first of these findings was on record (`from` is when
    /// the first of them was made, packed): written after looking, they would prove themselves.
    pub(crate) fn leave_out_late(&mut self, store: &Store, defect: Option<&str>, from: i64) -> Result<()> {
        if let (true, Some(defect)) = (self.table.weights, defect) {
            self.late = store.written_after_findings(defect, from)?;
        }
        Ok(())
    }

    /// What is to be said of them.
    pub(crate) fn said_of_late(&self) -> Option<String> {
        let (rows, have) = match self.late.len() {
            0 => return None,
            1 => ("1 row".to_string(), "has"),
            n => (format!("{n} rows"), "have"),
        };
        Some(format!(
            "{rows} of what is known of it {have} no weight here: written or changed after the first of these \
             findings was on record. What is added after looking is for later findings."
        ))
    }

    fn weight(&self, row: &Row) -> f64 {
        if !self.table.weights || self.late.contains(&row.factor) { 1.0 } else { row.weight() }
    }

    /// Gives the columns of a question their weights, where the term is signed.
    pub(crate) fn weigh(&self, columns: &mut [Packed]) {
        if !self.table.weights {
            return;
        }
        for column in columns {
            let Some(row) = self.rows.iter().find(|r| r.factor == column.name) else { continue };
            column.bonus = self.weight(row);
            column.expects = row.expects();
        }
    }

    /// What is recorded of each known cause.
    fn recordings(&self, columns: &[Packed]) -> Vec<Recording> {
        let known = |c: &&Packed| self.rows.iter().any(|r| r.factor == c.name);
        columns.iter().filter(known).map(|c| Recording::of(&c.clone().open())).collect()
    }
}

impl Row {
    fn of(known: &Recorded<KnownCauses>, sources: &[Recorded<KnowledgeSources>]) -> Result<Self> {
        let text = |t: Option<&str>| t.unwrap_or_default().to_string();
        let source = text(known.get(KnownCauses::source));
        let reference = |key: &str| {
            let found = sources.iter().find(|s| s.get(KnowledgeSources::source) == Some(key.trim()))?;
            found.get(KnowledgeSources::reference).map(String::from)
        };
        Ok(Self {
            factor: known.need(KnownCauses::factor)?.to_string(),
            direction: known.need(KnownCauses::direction)?,
            strength: known.need(KnownCauses::strength)?,
            mechanism: known.need(KnownCauses::mechanism)?.to_string(),
            check: known.need(KnownCauses::check)?.to_string(),
            remedy: known.get(KnownCauses::remedy).map(String::from),
            references: source.split(';').filter_map(reference).collect(),
            source,
            source_status: known.need(KnownCauses::source_status)?,
            doubtful: known.get(KnownCauses::doubtful).map(String::from),
        })
    }

    /// Where it stands among those to look at.
    fn place(&self) -> (Strength, SourceStatus) {
        (self.strength, self.source_status)
    }

    /// See [`PRIMARY`]; 1 where the row is in doubt, or its twin carries the weight.
    fn weight(&self) -> f64 {
        let remark = self.doubtful.as_deref().unwrap_or(NOTE);
        match self.strength {
            _ if !remark.starts_with(NOTE) || remark.starts_with(TWIN) => 1.0,
            Strength::Primary => PRIMARY,
            Strength::Contributing => CONTRIBUTING,
        }
    }

    fn expects(&self) -> Option<Direction> {
        match self.direction {
            HarmSide::Higher => Some(Direction::Higher),
            HarmSide::Lower => Some(Direction::Lower),
            HarmSide::Either | HarmSide::Level => None,
        }
    }

    /// What the records say of it, and why.
    fn standing(
        &self,
        ranking: &Ranking,
        recordings: &[Recording],
        names: &[String],
    ) -> (&'static str, String) {
        let recording = recordings.iter().find(|r| r.factor == self.factor);
        let Some(cause) = ranking.causes.iter().find(|c| c.factor == self.factor) else {
            return match recording {
                None => {
                    // what the program carries is spelled right, and waits for a shop that records it
                    let published = starter::published().iter().any(|row| row.factor == self.factor);
                    let close = match published {
                        true => Vec::new(),
                        false => near(&self.factor, names.iter().map(String::as_str)),
                    };
                    ("not recorded", format!("no such factor is on record{}", hint(&close)))
                }
                Some(r) if r.share < ENOUGH_KNOWN => {
                    ("not recorded", format!("known of {:.0} % only", 100.0 * r.share))
                }
                Some(r) if !r.differs => ("not tested", "the same everywhere: nothing to compare".into()),
                Some(_) => {
                    let why = ranking.not_testable.iter().find(|n| n.factor == self.factor);
                    ("not tested", why.map_or("too few pours to tell".into(), |n| n.reason.clone()))
                }
            };
        };
        if !cause.flagged {
            return ("not supported", "tried, not shown; that excludes nothing".into());
        }
        let named = cause.level.as_ref().map_or("trend".to_string(), |level| format!("shown at {level}"));
        if let Some(by) = &cause.explained_by {
            return ("unclear", format!("{named}, and explained by {by}"));
        }
        let alike = |f: &FactorLevel| format!("; cannot be told apart from {}", f.factor);
        let alike = cause.inseparable_from.first().map_or(String::new(), alike);
        match (self.expects(), side(cause, recording.and_then(|r| r.ends))) {
            (Some(stated), Some(found)) if stated != found => {
                ("against", format!("{named}, on the other side"))
            }
            (Some(_), None) => ("unclear", format!("{named}; on which side cannot be told")),
            _ => ("supported", format!("{named}{alike}")),
        }
    }
}

/// On which side of a reading a cause is shown; none for a category.
fn side(cause: &Cause, ends: Option<[f64; 2]>) -> Option<Direction> {
    let harms = cause.ratio.is_none_or(|ratio| ratio >= 1.0);
    let high = match (cause.side, cause.level.as_deref()) {
        (Some(side), _) => return Some(if side == "higher" { Direction::Higher } else { Direction::Lower }),
        (_, Some(level)) => {
            let (value, [low, high]) = (level.parse::<f64>().ok()?, ends?);
            match value {
                v if v >= high && v > low => true,
                v if v <= low && v < high => false,
                _ => return None,
            }
        }
        _ => return None,
    };
    Some(if high == harms { Direction::Higher } else { Direction::Lower })
}

impl Recording {
    fn of(column: &Column) -> Self {
        let all = column.values.len().max(1);
        let (known, differs, ends) = match &column.values {
            Values::Words { codes, levels } => {
                let known: Vec<u32> =
                    codes.iter().copied().filter(|&c| (c as usize) < levels.len()).collect();
                (known.len(), known.iter().any(|c| *c != known[0]), None)
            }
            Values::Shares { of, .. } => {
                let known: Vec<_> = of.iter().flatten().collect();
                (known.len(), known.iter().any(|s| *s != known[0]), None)
            }
            Values::Numbers(x) => {
                let known: Vec<f64> = x.iter().copied().filter(|x| !x.is_nan()).collect();
                let low = known.iter().copied().reduce(f64::min);
                let ends = low.zip(known.iter().copied().reduce(f64::max)).map(|(low, high)| [low, high]);
                (known.len(), ends.is_some_and(|[low, high]| low < high), ends)
            }
        };
        Self { factor: column.name.clone(), share: known as f64 / all as f64, differs, ends }
    }
}

/// What the columns say of each known cause before any is taken out as a twin.
pub(crate) struct Before<'k> {
    knowledge: &'k Knowledge,
    recordings: Vec<Recording>,
    names: Vec<String>,
    read_by: ReadBy,
}

impl<'k> Before<'k> {
    pub(crate) fn new(knowledge: &'k Knowledge, records: &Records, columns: &[Packed]) -> Self {
        let names = columns.iter().map(|c| c.name.clone()).collect();
        let read_by = ReadBy::new(records, columns);
        Self { knowledge, recordings: knowledge.recordings(columns), names, read_by }
    }

    /// Each known cause with what the ranking says of it; what to pour next is put right where it is an instrument
    /// that is in doubt. What could be held is asked of the store later.
    pub(crate) fn told(self, ranking: &mut Ranking, history: &History) -> Known {
        let doubted = self.doubted(ranking, history);
        for next in &mut ranking.next {
            let in_doubt = |s: &&FactorLevel| is_check(&s.factor) || self.read_by.names(&s.factor);
            let Some(of) = next.separates.iter().find(in_doubt).cloned() else { continue };
            let [a, b] = next.separates.each_ref().map(|s| match &s.level {
                Some(level) => format!("{} {level}", s.factor),
                None => s.factor.clone(),
            });
            let named = of.level.filter(|_| self.read_by.names(&of.factor)).unwrap_or_default();
            let tags = doubted.iter().find(|d| d.factor == of.factor).map_or(named, Doubted::tags);
            let what = if tags.is_empty() { "the instruments".to_string() } else { tags };
            next.moulds = None;
            next.pour = format!(
                "{a} and {b}: pour nothing on a reading in doubt. Check or replace {what}, and compare before and after."
            );
        }
        let ranking = &*ranking;
        let Knowledge { table, rows, .. } = self.knowledge;
        let causes: Vec<KnownCause> = rows
            .iter()
            .map(|row| {
                let cause = ranking.causes.iter().find(|c| c.factor == row.factor);
                let (records, said) = row.standing(ranking, &self.recordings, &self.names);
                KnownCause {
                    factor: row.factor.clone(),
                    direction: row.direction.word(),
                    strength: row.strength.word(),
                    mechanism: row.mechanism.clone(),
                    check: row.check.clone(),
                    remedy: row.remedy.clone(),
                    source: row.source.clone(),
                    references: row.references.clone(),
                    source_status: row.source_status.word(),
                    doubtful: row.doubtful.clone(),
                    weight: self.knowledge.weight(row),
                    records,
                    said,
                    rank: cause.map(|c| c.rank),
                    q: cause.map(|c| c.q),
                }
            })
            .collect();
        let check = checks(&causes, ranking, &doubted);
        Known { table: table.clone(), causes, check, hold: Vec::new(), doubted }
    }

    /// The instruments behind each shown factor about checks: those that read for bad blades of what it names.
    fn doubted(&self, ranking: &Ranking, history: &History) -> Vec<Doubted> {
        let first = ranking.causes.first().map(|c| c.factor.as_str());
        let wanted =
            |c: &&Cause| is_check(&c.factor) && (c.verdict().is_shown() || Some(c.factor.as_str()) == first);
        let of = |cause: &Cause| {
            // a twin says the same of every mould as the one that was tested
            let twin = || {
                let other = cause.inseparable_from.first()?;
                let tested = ranking.causes.iter().find(|c| c.factor == other.factor)?;
                knowledge::causes::detail(history, tested, 1.0)
            };
            let detail = knowledge::causes::detail(history, cause, 1.0).or_else(twin)?;
            let moulds = detail.moulds.iter().filter(|m| m.inside == Some(true)).map(|m| m.mould.as_str());
            let instruments = self.read_by.of(&cause.factor, moulds);
            Some(Doubted { factor: cause.factor.clone(), instruments })
        };
        ranking.causes.iter().filter(wanted).filter_map(of).collect()
    }
}

impl Known {
    /// The instruments behind what is shown, where their checks are.
    pub fn in_doubt(&self, ranking: &Ranking) -> Option<String> {
        let shown =
            |d: &&Doubted| ranking.causes.iter().any(|c| c.factor == d.factor && c.verdict().is_shown());
        self.doubted.iter().find(shown).map(Doubted::tags).filter(|tags| !tags.is_empty())
    }

    /// The row of a factor.
    pub fn of(&self, factor: &str) -> Option<&KnownCause> {
        self.causes.iter().find(|c| c.factor == factor)
    }

    /// The records that shown causes name and that a hold would fence: a lot, a batch, a run, an instrument. What is
    /// not shown, or explained by another, is no reason to hold anything.
    pub fn find_holds(&mut self, store: &Store, ranking: &Ranking) -> Result<()> {
        let shown = |c: &&Cause| c.verdict().is_shown() && c.kind == "level";
        for cause in ranking.causes.iter().filter(shown) {
            let Some(tag) = cause.level.as_deref() else { continue };
            let Some((kind, id, primary)) = store.look_up(tag)? else { continue };
            let Some(kind) = catalogue::kind(kind).filter(|k| can_be_held(k.name)) else { continue };
            // A level that is spelled like some record is not that record: the factor must be one of its kind.
            let stem = cause.factor.split(['/', '.']).next().unwrap_or_default();
            if stem != kind.noun.replace(' ', "_") && !(kind.is::<Instruments>() && cause.factor != stem) {
                continue;
            }
            let held = !store.holds_fencing(kind.name, id)?.is_empty();
            let known = self.hold.iter().any(|h| h.tag == primary);
            if !known {
                let factor = cause.factor.clone();
                self.hold.push(HoldCandidate { tag: primary, kind: kind.name, factor, held, read_for: None });
            }
        }
        for of in self.doubted.clone() {
            if !ranking.causes.iter().any(|c| c.factor == of.factor && c.verdict().is_shown()) {
                continue;
            }
            for (tag, bad) in of.instruments {
                let Some((kind, id, primary)) = store.look_up(&tag)? else { continue };
                let Some(kind) = catalogue::kind(kind).filter(|k| k.is::<Instruments>()) else { continue };
                if self.hold.iter().any(|h| h.tag == primary) {
                    continue;
                }
                let held = !store.holds_fencing(kind.name, id)?.is_empty();
                let (factor, read_for) = (of.factor.clone(), Some(bad));
                self.hold.push(HoldCandidate { tag: primary, kind: kind.name, factor, held, read_for });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(direction: HarmSide, strength: Strength, doubtful: Option<&str>) -> Row {
        Row {
            factor: "pour.superheat_c".into(),
            direction,
            strength,
            mechanism: String::new(),
            check: String::new(),
            remedy: None,
            source: String::new(),
            references: Vec::new(),
            source_status: SourceStatus::Read,
            doubtful: doubtful.map(String::from),
        }
    }

    /// Fixed with the table, before any outcome: primary 3, contributing 1.5; doubt and twins 1.
    #[test]
    fn a_weight_is_that_of_the_strength_unless_in_doubt_or_a_twin() {
        let weight = |strength, doubtful| row(HarmSide::Lower, strength, doubtful).weight();
        assert_eq!(weight(Strength::Primary, None), 3.0);
        assert_eq!(weight(Strength::Contributing, None), 1.5);
        assert_eq!(weight(Strength::Primary, Some("note: thin parts only")), 3.0);
        for doubt in ["doubtful: a proxy", "disputed: both ways", "note: twin of superheat", "says who"] {
            assert_eq!(weight(Strength::Primary, Some(doubt)), 1.0, "{doubt}");
        }
    }

    #[test]
    fn only_signed_rows_weigh_and_they_say_their_side() {
        let column = || {
            Packed::new(Column::new(
                "pour.superheat_c",
                knowledge::causes::At::Mould,
                Values::Numbers(vec![1.0]),
            ))
        };
        let rows = vec![row(HarmSide::Lower, Strength::Primary, None)];
        let mut knowledge = Knowledge { table: Table::default(), rows, late: Vec::new() };
        let mut columns = [column()];
        knowledge.weigh(&mut columns);
        assert_eq!((columns[0].bonus, columns[0].expects), (1.0, None));
        knowledge.table.weights = true;
        knowledge.weigh(&mut columns);
        assert_eq!((columns[0].bonus, columns[0].expects), (3.0, Some(Direction::Lower)));
        assert_eq!(row(HarmSide::Either, Strength::Primary, None).expects(), None);
    }
}
