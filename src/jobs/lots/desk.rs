//! The lead's desk: every lot with its state and what blocks it in a word, and what waits for a decision of quality.

use serde::Serialize;

use crate::jobs::lots::ask;
use crate::jobs::lots::readers::day;
use crate::jobs::lots::standing;
use crate::jobs::lots::summary::{Counts, LotSummary};
use crate::jobs::records::look::hold_line;
use crate::jobs::records::show::HoldLine;
use records::catalogue::{Blades, Concessions, Findings, Inspections, Key, Lots, Recorded};
use records::value::words::counted;
use records::{Result, Stamp, Store, Who};

/// What a lot comes to.
#[derive(Serialize, Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    #[serde(rename = "may go")]
    MayGo,
    #[serde(rename = "blocked")]
    Blocked,
    #[serde(rename = "final")]
    Final,
    #[serde(rename = "void")]
    Void,
    /// Released, and no blade of it is in the house.
    #[serde(rename = "shipped")]
    Shipped,
}

impl State {
    pub fn of(lot: &LotSummary) -> Self {
        let c = &lot.counts;
        let here = c.accepted + c.concession + c.held + c.in_process;
        match lot.state {
            "void" => Self::Void,
            "final" if here == 0 && c.shipped > 0 => Self::Shipped,
            "final" => Self::Final,
            _ if lot.blocked.is_empty() => Self::MayGo,
            _ => Self::Blocked,
        }
    }
}

/// A lot as it was opened.
#[derive(Serialize, Debug, Clone, PartialEq, Eq)]
pub struct LotHead {
    pub lot: String,
    pub part: String,
    pub purchaser: String,
    pub order: String,
    pub ordered: Option<i64>,
    pub opened_at: String,
}

/// A lot and what it comes to.
#[derive(Serialize, Debug, Clone)]
pub struct LotLine {
    #[serde(flatten)]
    pub head: LotHead,
    pub state: State,
    /// How many reasons block it.
    pub reasons: usize,
    pub counts: Counts,
}

impl LotLine {
    /// `12 reasons`, `may go`, `final`, `void`, `shipped`.
    pub fn word(&self) -> String {
        match self.state {
            State::MayGo => "may go".into(),
            State::Blocked => counted(self.reasons, "reason"),
            State::Final => "final".into(),
            State::Void => "void".into(),
            State::Shipped => "shipped".into(),
        }
    }

    /// Nothing stands in its way.
    pub fn good(&self) -> bool {
        !matches!(self.state, State::Blocked | State::Void)
    }

    /// Where its blades are, in a few words.
    pub fn places(&self) -> String {
        let c = &self.counts;
        let all = [
            (c.accepted + c.concession, "good"),
            (c.held, "held"),
            (c.in_process, "in process"),
            (c.shipped, "shipped"),
            (c.returned, "returned"),
        ];
        let said = all.iter().filter(|(n, _)| *n > 0).map(|(n, word)| format!("{n} {word}"));
        let said: Vec<String> = said.collect();
        match said.is_empty() {
            true => format!("{} made", c.made),
            false => format!("{} of {} made", said.join(", "), c.made),
        }
    }
}

/// A blade that was rejected, and on which nobody has decided since.
#[derive(Serialize, Debug, Clone)]
pub struct RejectedBlade {
    pub blade: String,
    /// The lot that it is in; null: none.
    pub lot: Option<String>,
    pub method: &'static str,
    pub inspection: String,
    /// Defects, each with its zone where one is named.
    pub found: Vec<Found>,
    pub since: String,
    pub age_h: f64,
}

/// A defect and where.
#[derive(Serialize, Debug, Clone)]
pub struct Found {
    pub defect: String,
    pub zone: Option<String>,
}

/// A blade that came back, and on which nobody has decided since.
#[derive(Serialize, Debug, Clone)]
pub struct ReturnedBlade {
    pub blade: String,
    pub lot: Option<String>,
    pub since: String,
    pub age_h: f64,
    pub reason: Option<String>,
}

/// A concession and what is left of it.
#[derive(Serialize, Debug, Clone)]
pub struct ConcessionLine {
    pub concession: String,
    #[serde(rename = "type")]
    pub kind: &'static str,
    pub part: String,
    /// Null: for no number.
    pub quantity: Option<i64>,
    /// Blades under it, in all lots.
    pub used: i64,
    pub left: Option<i64>,
    pub expires_on: Option<String>,
    pub expired: bool,
}

/// What waits for quality.
#[derive(Serialize, Debug, Clone)]
pub struct Waits {
    pub rejected: Vec<RejectedBlade>,
    pub holds: Vec<HoldLine>,
    pub returned: Vec<ReturnedBlade>,
    pub concessions: Vec<ConcessionLine>,
}

/// The whole desk.
#[derive(Serialize, Debug, Clone)]
pub struct Desk {
    /// The clock by which ages are reckoned.
    pub now: String,
    /// The newest first.
    pub lots: Vec<LotLine>,
    #[serde(flatten)]
    pub waits: Waits,
}

/// Every lot as it was opened, the newest first.
pub fn heads(store: &Store) -> Result<Vec<LotHead>> {
    let mut all = store.rows::<Lots>()?;
    all.sort_by_key(|r| std::cmp::Reverse(r.own_time().map(Stamp::ms)));
    Ok(all.iter().map(head).collect())
}

fn head(lot: &Recorded<Lots>) -> LotHead {
    LotHead {
        lot: lot.address(),
        part: lot.cell(Lots::part).to_text(),
        purchaser: lot.cell(Lots::purchaser).to_text(),
        order: lot.cell(Lots::purchase_order).to_text(),
        ordered: lot.get(Lots::ordered_count),
        opened_at: lot.cell(Lots::opened_at).to_text(),
    }
}

/// What one lot comes to: its summary in a word.
pub fn line(store: &Store, who: &Who, tag: &str) -> Result<LotLine> {
    let summary = ask::summary(store, who, tag)?;
    let (_, lot) = store.named::<Lots>(tag)?;
    Ok(LotLine {
        head: head(&lot),
        state: State::of(&summary),
        reasons: summary.reasons.len(),
        counts: summary.counts,
    })
}

/// What waits for quality.
pub fn waits(store: &Store, now: Stamp) -> Result<Waits> {
    store.snapshot(|| {
        Ok(Waits {
            rejected: rejected(store, now)?,
            holds: store.open_holds()?.iter().filter_map(hold_line).collect(),
            returned: returned(store, now)?,
            concessions: concessions(store, now)?,
        })
    })
}

/// The whole desk of this moment.
pub fn desk(store: &Store, who: &Who) -> Result<Desk> {
    store.snapshot(|| {
        let mut lots = Vec::new();
        for head in heads(store)? {
            lots.push(line(store, who, &head.lot)?);
        }
        Ok(Desk { now: who.now.to_string(), lots, waits: waits(store, who.now)? })
    })
}

/// The longest wait first.
fn rejected(store: &Store, now: Stamp) -> Result<Vec<RejectedBlade>> {
    let qualifications = store.rows()?;
    let mut out: Vec<(Option<i64>, RejectedBlade)> = Vec::new();
    for id in store.rejected_since()? {
        for reject in standing::undecided_rejects(store, Key::<Blades>::new(id), &qualifications)? {
            let at = reject.own_time();
            let inspection = reject.address();
            let (key, _) = store.key_of::<Inspections>(&inspection)?;
            let findings = store.rows_of(Findings::inspection, key)?;
            let found = findings.iter().map(|f| {
                let zone = f.get(Findings::zone).map(String::from);
                Ok(Found { defect: f.need(Findings::defect)?.to_string(), zone })
            });
            out.push((
                at.map(Stamp::ms),
                RejectedBlade {
                    blade: reject.need(Inspections::blade)?.to_string(),
                    lot: store.lot_of(id)?,
                    method: reject.need(Inspections::method)?.word(),
                    inspection,
                    found: found.collect::<Result<_>>()?,
                    since: reject.cell(Inspections::inspected_at).to_text(),
                    age_h: at.map_or(0.0, |at| hours(now, at)),
                },
            ));
        }
    }
    out.sort_by(|a, b| (a.0, &a.1.blade).cmp(&(b.0, &b.1.blade)));
    Ok(out.into_iter().map(|r| r.1).collect())
}

fn hours(now: Stamp, since: Stamp) -> f64 {
    (now.minutes_since(since) / 6.0).round() / 10.0
}

fn returned(store: &Store, now: Stamp) -> Result<Vec<ReturnedBlade>> {
    let mut out = Vec::new();
    for back in store.came_back()? {
        let (key, _) = store.key_of::<Blades>(&back.blade)?;
        out.push(ReturnedBlade {
            lot: store.lot_of(key.id)?,
            blade: back.blade,
            since: back.at.to_string(),
            age_h: hours(now, back.at),
            reason: back.reason,
        });
    }
    Ok(out)
}

/// The newest first.
fn concessions(store: &Store, now: Stamp) -> Result<Vec<ConcessionLine>> {
    let today = day(now);
    let mut all = store.rows::<Concessions>()?;
    all.sort_by_key(|r| std::cmp::Reverse(r.own_time().map(Stamp::ms)));
    let mut out = Vec::new();
    for c in all {
        let (tag, quantity) = (c.address(), c.get(Concessions::quantity));
        let (key, _) = store.key_of::<Concessions>(&tag)?;
        let used = store.counted_under(key.id, &tag)?.len() as i64;
        let expires_on = c.get(Concessions::expires_on).map(String::from);
        out.push(ConcessionLine {
            kind: c.need(Concessions::r#type)?.word(),
            part: c.need(Concessions::part)?.to_string(),
            left: quantity.map(|q| (q - used).max(0)),
            expired: expires_on.as_ref().is_some_and(|e| *e < today),
            concession: tag,
            quantity,
            used,
            expires_on,
        });
    }
    Ok(out)
}
