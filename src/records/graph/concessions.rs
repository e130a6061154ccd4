//! Concessions as the store has them: items with the ids that they are only for, the order in which blades count, and
//! what the journal says of dispositions, lots and pours.

use std::collections::BTreeMap;

use rusqlite::OptionalExtension;

use crate::catalogue::{Blades, ConcessionItems, Dispositions, LotBlades, Pours, RevertSources};
use crate::error::Result;
use crate::graph::lineage;
use crate::graph::lineage::Fence;
use crate::graph::release_basis::{Row, collect};
use crate::read::rows::Link;
use crate::read::tags::Tags;
use crate::value::tag::in_order;
use crate::write::journal;
use crate::{Record, Stamp, Store};

const DECIDED: &str =
    "SELECT d.blade, d.decided_at, d.entry, d.decision = 'concession' AND d.concession IS ?1
     FROM dispositions d WHERE d.blade IN (SELECT blade FROM dispositions WHERE concession = ?1)";
const SENT: &str = "SELECT blade, shipped_at, entry FROM shipments
     WHERE blade IN (SELECT blade FROM dispositions WHERE concession = ?1)";
const FORMER: &str = "SELECT seq, old, new FROM journal WHERE kind = 'dispositions' AND action = 'correct'";
const SENT_BETWEEN: &str =
    "SELECT EXISTS (SELECT 1 FROM shipments WHERE blade = ?1 AND entry > ?2 AND entry < ?3)";
const POUR: &str =
    "SELECT p.entry, p.poured_at, m.mould FROM pours p JOIN moulds m ON m.id = p.mould WHERE p.mould = +?1";
const LOTS_OF: &str =
    "SELECT l.lot, l.entry, t.lot FROM lot_blades l JOIN lots t ON t.id = l.lot WHERE l.blade = +?1";

/// The queries of this module, for the test that reads their plans.
pub fn queries() -> Vec<String> {
    [DECIDED, SENT, FORMER, SENT_BETWEEN, POUR, LOTS_OF].map(String::from).into()
}

/// A row of an item.
#[derive(Clone, Debug)]
pub struct ConcessionItem {
    pub record: Record<'static>,
    /// The journal entry that wrote it last.
    pub entry: i64,
    /// What it is only for: fixed by id, so that a re-tag does not move it.
    pub only_for: Option<Link>,
}

/// A decision on a blade, as counting needs it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DecisionAt {
    /// When it was decided, in milliseconds.
    pub at: i64,
    /// The entry since which it says this.
    pub entry: i64,
    /// It is to the concession.
    pub to: bool,
}

/// From which place on a blade counts under a concession: the entry and time of the first of its decisions in a row
/// that are to it. It counts while its last decision is to it, and for ever once it was shipped under it, by the times
/// of the records or by their order in the journal.
pub fn counts(decisions: &[DecisionAt], shipped: &[(i64, i64)]) -> Option<(i64, i64)> {
    let mut all = decisions.to_vec();
    all.sort_by_key(|d| (d.at, d.entry));
    let run = |of: &[DecisionAt]| -> Option<(i64, i64)> {
        of.iter().rev().take_while(|d| d.to).map(|d| (d.entry, d.at)).min()
    };
    let by_time = shipped.iter().map(|s| all.iter().filter(|d| d.at <= s.0).copied().collect::<Vec<_>>());
    let by_entry = shipped.iter().map(|s| all.iter().filter(|d| d.entry < s.1).copied().collect::<Vec<_>>());
    by_time.chain(by_entry).map(|of| run(&of)).chain([run(&all)]).flatten().min()
}

/// What a canonical text says in a field, numbers too.
fn said(canonical: Option<&String>, name: &str) -> Option<serde_json::Value> {
    let json = canonical?.split_once(' ')?.1;
    let map: serde_json::Map<String, serde_json::Value> = serde_json::from_str(json).ok()?;
    map.get(name).cloned()
}

pub(crate) fn field(canonical: Option<&String>, name: &str) -> Option<String> {
    said(canonical, name)?.as_str().map(String::from)
}

impl Store {
    /// The items of a concession, by number.
    pub fn concession_items(&self, concession: i64) -> Result<Vec<ConcessionItem>> {
        let condition = "concession IN (SELECT value FROM json_each(?1)) ORDER BY item, measure";
        let rows = collect::read_rows(&self.db, ConcessionItems::KIND, condition, &[concession].into())?;
        let item = |row: Row| {
            let only_for = row.leads_to(ConcessionItems::only_for);
            ConcessionItem { record: row.record, entry: row.entry, only_for }
        };
        Ok(rows.into_iter().map(item).collect())
    }

    /// The blades that count under a concession, in the journal's order of their dispositions. What one entry brought in is
    /// taken in the order of time, then of the blades' tags: never in that of row numbers, which nothing seals.
    pub fn counted_under(&self, concession: i64, tag: &str) -> Result<Vec<i64>> {
        let mut blades: BTreeMap<i64, (Vec<DecisionAt>, Vec<(i64, i64)>)> = BTreeMap::new();
        let mut q = self.db.prepare_cached(DECIDED)?;
        let mut found = q.query([concession])?;
        while let Some(row) = found.next()? {
            let (entry, to): (i64, Option<bool>) = (row.get(2)?, row.get(3)?);
            let to = to == Some(true);
            let entry = if to { self.named_since(entry, Dispositions::concession.name, tag)? } else { entry };
            let at = Stamp::from_packed(row.get(1)?).ms();
            blades.entry(row.get(0)?).or_default().0.push(DecisionAt { at, entry, to });
        }
        let mut q = self.db.prepare_cached(SENT)?;
        let mut found = q.query([concession])?;
        while let Some(row) = found.next()? {
            let sent = (Stamp::from_packed(row.get(1)?).ms(), row.get(2)?);
            blades.entry(row.get(0)?).or_default().1.push(sent);
        }
        let mut places: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
        for (blade, (decisions, sent)) in blades {
            if let Some(place) = counts(&decisions, &sent) {
                places.insert(blade, place);
            }
        }
        for (blade, place) in self.shipped_before_a_correction(tag)? {
            let first = places.get(&blade).is_none_or(|known| place < *known);
            if first {
                places.insert(blade, place);
            }
        }
        let mut order: Vec<((i64, i64), (String, String), i64)> = Vec::new();
        for (blade, place) in places {
            order.push((place, in_order(&self.tag_of(Blades::NAME, blade)?), blade));
        }
        order.sort_unstable();
        Ok(order.into_iter().map(|(_, _, b)| b).collect())
    }

    /// Blades that were shipped under a concession before their disposition was corrected to something else.
    fn shipped_before_a_correction(&self, tag: &str) -> Result<Vec<(i64, (i64, i64))>> {
        let mut out = Vec::new();
        let mut q = self.db.prepare_cached(FORMER)?;
        let mut found = q.query([])?;
        while let Some(row) = found.next()? {
            let (seq, old, new): (i64, Option<String>, Option<String>) =
                (row.get(0)?, row.get(1)?, row.get(2)?);
            let names = |t: &Option<String>| {
                field(t.as_ref(), Dispositions::concession.name).is_some_and(|c| c.eq_ignore_ascii_case(tag))
            };
            if !names(&old) || names(&new) {
                continue;
            }
            let said = |name| field(old.as_ref(), name);
            let (Some(blade), Some(at)) =
                (said(Dispositions::blade.name), said(Dispositions::decided_at.name))
            else {
                continue;
            };
            let Some((link, _)) = Tags::new(&self.db)?.find(&blade, &[Blades::NAME])? else { continue };
            let came = journal::by_seq(&self.db, seq)?.and_then(|e| e.came).unwrap_or(seq);
            let since = self.named_since(came, Dispositions::concession.name, tag)?;
            if self.db.prepare_cached(SENT_BETWEEN)?.query_row([link.id, since, seq], |r| r.get(0))? {
                let at = Stamp::parse(&at).map_or(0, Stamp::ms);
                out.push((link.id, (since, at)));
            }
        }
        Ok(out)
    }

    /// The entry since which a record, last written by `seq`, says this in a field without a break.
    pub fn named_since(&self, mut seq: i64, name: &str, value: &str) -> Result<i64> {
        while let Some(entry) = journal::by_seq(&self.db, seq)? {
            let said = field(entry.old.as_ref(), name).is_some_and(|v| v.eq_ignore_ascii_case(value));
            match entry.came.filter(|c| said && *c < seq) {
                Some(came) => seq = came,
                None => break,
            }
        }
        Ok(seq)
    }

    /// The entry since which a record, last written by `seq`, says what it says in these fields without a break: a
    /// correction of anything else makes it no younger.
    pub fn said_since(&self, mut seq: i64, fields: &[&str]) -> Result<i64> {
        while let Some(entry) = journal::by_seq(&self.db, seq)? {
            let Some(came) = entry.came.filter(|c| *c < seq) else { break };
            if fields.iter().any(|f| said(entry.old.as_ref(), f) != said(entry.new.as_ref(), f)) {
                break;
            }
            seq = came;
        }
        Ok(seq)
    }

    /// The entry by which a record came in that was last written by `seq`.
    pub fn first_entry(&self, mut seq: i64) -> Result<i64> {
        while let Some(came) = journal::by_seq(&self.db, seq)?.and_then(|e| e.came).filter(|c| *c < seq) {
            seq = came;
        }
        Ok(seq)
    }

    /// The lot that a blade is in now, where it was in it before this entry of the journal too.
    pub fn lot_now_and_at(&self, blade: i64, entry: i64) -> Result<Option<i64>> {
        let mut q = self.db.prepare_cached(LOTS_OF)?;
        let mut found = q.query([blade])?;
        let mut rows: Vec<(i64, (String, String), i64)> = Vec::new();
        while let Some(row) = found.next()? {
            let lot: String = row.get(2)?;
            rows.push((
                self.named_since(row.get(1)?, LotBlades::lot.name, &lot)?,
                in_order(&lot),
                row.get(0)?,
            ));
        }
        rows.sort_unstable();
        let now = rows.last().map(|r| r.2);
        let then = rows.iter().rev().find(|r| r.0 < entry).map(|r| r.2);
        Ok(now.filter(|_| now == then))
    }

    /// The first journal entry of a mould's pour, and the earliest time at which it was ever said to be poured.
    pub fn first_pour(&self, mould: i64) -> Result<Option<(i64, Stamp)>> {
        let mut q = self.db.prepare_cached(POUR)?;
        let row = q.query_row([mould], |r| Ok((r.get(0)?, r.get(1)?, r.get::<_, String>(2)?))).optional()?;
        let Some((entry, at, tag)) = row else { return Ok(None) };
        let (mut first, mut earliest): (i64, Stamp) = (self.first_entry(entry)?, Stamp::from_packed(at));
        let mut entries = journal::of_record(&self.db, Pours::NAME, &format!("pours:{tag}"))?;
        let mut seq = Some(entry);
        while let Some(entry) = seq.map(|s| journal::by_seq(&self.db, s)).transpose()?.flatten() {
            seq = entry.came.filter(|c| *c < entry.seq);
            entries.push(entry);
        }
        for entry in entries {
            first = first.min(entry.seq).min(entry.came.unwrap_or(entry.seq));
            for text in [&entry.old, &entry.new] {
                let said = field(text.as_ref(), Pours::poured_at.name).and_then(|t| Stamp::parse(&t).ok());
                if let Some(said) = said.filter(|s| s.ms() < earliest.ms()) {
                    earliest = said;
                }
            }
        }
        Ok(Some((first, earliest)))
    }

    /// What came out of a record, without what went on as revert.
    pub fn came_out_of(&self, link: Link) -> Result<Fence> {
        lineage::descend_without(&self.db, &[link], false, &[RevertSources::NAME])
    }

    /// What came out of a record, through revert too.
    pub fn came_out_of_with_revert(&self, link: Link) -> Result<Fence> {
        lineage::descend(&self.db, &[link], false)
    }

    /// The store knows this person.
    pub fn knows_person(&self, person: &str) -> Result<bool> {
        Ok(self.role_of(person)?.is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn d(at: i64, entry: i64, to: bool) -> DecisionAt {
        DecisionAt { at, entry, to }
    }

    /// Worked out by hand: time, entry, whether it is to the concession; then shipments as time and entry.
    #[test]
    fn a_blade_counts_while_its_last_decision_is_to_it_and_for_ever_once_shipped_under_it() {
        type Case = (&'static str, Vec<DecisionAt>, Vec<(i64, i64)>, Option<(i64, i64)>);
        let cases: Vec<Case> = vec![
            ("never", vec![d(1, 10, false)], vec![], None),
            ("to it", vec![d(1, 10, false), d(2, 20, true)], vec![], Some((20, 2))),
            (
                "said twice, the first place stays",
                vec![d(1, 10, true), d(2, 20, true)],
                vec![],
                Some((10, 1)),
            ),
            ("to something else since", vec![d(1, 10, true), d(2, 20, false)], vec![], None),
            (
                "back to it: at its new place",
                vec![d(1, 10, true), d(2, 20, false), d(3, 30, true)],
                vec![],
                Some((30, 3)),
            ),
            (
                "shipped under it, then scrapped",
                vec![d(1, 10, true), d(5, 40, false)],
                vec![(3, 30)],
                Some((10, 1)),
            ),
            ("shipped after the other decision", vec![d(1, 10, true), d(2, 20, false)], vec![(3, 30)], None),
            (
                "shipped under it by the journal alone",
                vec![d(4, 10, true), d(5, 40, false)],
                vec![(3, 30)],
                Some((10, 4)),
            ),
        ];
        for (what, decisions, shipped, expected) in cases {
            assert_eq!(counts(&decisions, &shipped), expected, "{what}");
        }
    }
}
