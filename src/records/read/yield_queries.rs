//! What yield, capability, agreement and trials are reckoned from: made blades, presentations, values, reads.

use std::collections::{HashMap, HashSet};

use rusqlite::{OptionalExtension, params};

use crate::Stamp;
use crate::error::{Error, Result};
use crate::read;
use crate::value::tag::{hint, near, shown};
use crate::{Link, Store};

/// Which blades a question is about.
#[derive(Clone, Debug, Default)]
pub struct Scope {
    /// Parts (revisions) by id; empty: all.
    pub parts: Vec<i64>,
    /// Poured at or after.
    pub since: Option<Stamp>,
    /// Poured before.
    pub before: Option<Stamp>,
    /// Blades of this lot only.
    pub lot: Option<i64>,
}

/// A blade whose mould has been poured.
#[derive(Clone, Copy, Debug)]
pub struct Made {
    /// Its id.
    pub blade: i64,
    pub mould: i64,
    /// The heat of its mould.
    pub heat: i64,
    pub part: i64,
    /// When its mould was poured.
    pub poured_at: Stamp,
}

/// One measured value.
#[derive(Clone, Debug)]
pub struct Measured {
    pub blade: i64,
    /// The inspection's purpose; blank is product.
    pub purpose: Option<String>,
    /// Round of the inspection.
    pub round: i64,
    /// The value; none where it is blank, below detection or illegible.
    pub value: Option<f64>,
    pub unit: String,
    /// Lower limit, as frozen.
    pub lower: Option<f64>,
    /// Upper limit, as frozen.
    pub upper: Option<f64>,
    /// Who measured.
    pub person: Option<String>,
    /// When.
    pub at: Stamp,
    /// Tag of the instrument.
    pub instrument: Option<String>,
}

/// One reader's call on one blade.
#[derive(Clone, Debug)]
pub struct Read {
    /// Inspection id.
    pub inspection: i64,
    /// Blade tag.
    pub blade: String,
    pub technique: Option<String>,
    /// The reader.
    pub person: Option<String>,
    /// Whether it was rejected.
    pub reject: bool,
}

/// A mould of a trial.
#[derive(Clone, Debug)]
pub struct TrialMould {
    /// Mould id.
    pub id: i64,
    /// Mould tag.
    pub mould: String,
    pub arm: String,
    pub block: Option<String>,
    /// When its arm was written down.
    pub recorded_at: Option<Stamp>,
    /// When it was assembled.
    pub assembled_at: Stamp,
    pub heat: Option<(i64, String)>,
    /// When it was poured.
    pub poured_at: Option<Stamp>,
    /// Its place in the heat, as poured.
    pub pour_order: Option<i64>,
    /// The day it was planned for.
    pub planned_on: Option<String>,
    /// The furnace it was planned for.
    pub furnace: Option<String>,
    /// Its place, as planned.
    pub planned_order: Option<i64>,
}

impl Store {
    /// The ids of a part's revisions: `TAG` all of them, `TAG@REV` one.
    ///
    /// # Errors
    /// An unknown part, with near matches.
    pub fn part_ids(&self, text: &str) -> Result<Vec<i64>> {
        let all: Vec<(i64, String, String)> =
            read::list(&self.db, "SELECT id, part, revision FROM parts ORDER BY id", [], |r| {
                Ok((r.get(0)?, r.get(1)?, r.get(2)?))
            })?;
        let found: Vec<i64> = all
            .iter()
            .filter(|(_, part, revision)| {
                part.eq_ignore_ascii_case(text) || format!("{part}@{revision}").eq_ignore_ascii_case(text)
            })
            .map(|(id, _, _)| *id)
            .collect();
        if found.is_empty() {
            let close = near(text, all.iter().map(|(_, part, _)| part.as_str()));
            return Err(Error::input(format!("there is no part {}{}", shown(text), hint(&close))));
        }
        Ok(found)
    }

    /// Tags of parts by id, with the revision where there is one.
    pub fn part_tags(&self) -> Result<HashMap<i64, String>> {
        read::list(
            &self.db,
            "SELECT id, CASE revision WHEN '' THEN part ELSE part || '@' || revision END FROM parts",
            [],
            |r| Ok((r.get(0)?, r.get(1)?)),
        )
    }

    /// A record of one kind by its tag.
    ///
    /// # Errors
    /// An unknown tag, with near matches of that kind.
    pub fn link_of(&self, text: &str, kind: &'static str) -> Result<(Link, String)> {
        let tags = crate::read::tags::Tags::new(&self.db)?;
        match tags.find(text, &[kind])? {
            Some((link, tag)) => Ok((link, tag.unwrap_or_else(|| text.to_string()))),
            None => Err(Error::input(tags.unknown(text, &[kind])?)),
        }
    }

    /// The blades made in a scope, in pour order.
    pub fn made_blades(&self, scope: &Scope) -> Result<Vec<Made>> {
        let in_lot: Option<HashSet<i64>> = match scope.lot {
            Some(lot) => {
                let mut q = self.db.prepare_cached("SELECT blade FROM lot_blades WHERE lot = ?1")?;
                Some(q.query_map([lot], |r| r.get(0))?.collect::<rusqlite::Result<_>>()?)
            }
            None => None,
        };
        let mut q = self.db.prepare_cached(
            "SELECT m.id, p.heat, m.part, p.poured_at FROM pours p CROSS JOIN moulds m ON m.id = p.mould
             ORDER BY p.poured_at, p.pour_order, m.id",
        )?;
        let mut blades = self.db.prepare_cached("SELECT id FROM blades WHERE mould = ?1 ORDER BY id")?;
        let mut rows = q.query([])?;
        let mut out = Vec::new();
        while let Some(row) = rows.next()? {
            let (mould, heat, part): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
            let poured_at = Stamp::from_packed(row.get(3)?);
            if !scope.parts.is_empty() && !scope.parts.contains(&part)
                || scope.since.is_some_and(|t| poured_at.ms() < t.ms())
                || scope.before.is_some_and(|t| poured_at.ms() >= t.ms())
            {
                continue;
            }
            for blade in blades.query_map([mould], |r| r.get::<_, i64>(0))? {
                let blade = blade?;
                if in_lot.as_ref().is_none_or(|lot| lot.contains(&blade)) {
                    out.push(Made { blade, mould, heat, part, poured_at });
                }
            }
        }
        Ok(out)
    }

    /// Hands on every product inspection of the first round: blade, method, accepted, when.
    pub fn presentations(&self, give: &mut dyn FnMut(i64, &str, bool, i64)) -> Result<()> {
        let mut q = self.db.prepare_cached(
            "SELECT blade, method, result = 'accept', inspected_at FROM inspections
             WHERE round = 1 AND (purpose IS NULL OR purpose = 'product')",
        )?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            let method = row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?;
            give(row.get(0)?, method, row.get(2)?, row.get(3)?);
        }
        Ok(())
    }

    /// Product inspections of later rounds, by blade.
    pub fn later_rounds(&self) -> Result<HashMap<i64, u64>> {
        read::list(
            &self.db,
            "SELECT blade, count(*) FROM inspections
             WHERE round > 1 AND (purpose IS NULL OR purpose = 'product') GROUP BY blade",
            [],
            |r| Ok((r.get(0)?, r.get::<_, i64>(1)? as u64)),
        )
    }

    /// The last disposition of every blade that has one, with its time.
    pub fn last_dispositions(&self) -> Result<HashMap<i64, (String, Stamp)>> {
        let mut q = self.db.prepare_cached(
            "SELECT blade, decision, decided_at FROM dispositions ORDER BY blade, decided_at",
        )?;
        let mut rows = q.query([])?;
        let mut out = HashMap::new();
        while let Some(row) = rows.next()? {
            out.insert(row.get(0)?, (row.get(1)?, Stamp::from_packed(row.get(2)?)));
        }
        Ok(out)
    }

    /// Dispositions of one kind, by blade.
    pub fn decided(&self, decision: &str) -> Result<HashMap<i64, u64>> {
        read::list(
            &self.db,
            "SELECT blade, count(*) FROM dispositions WHERE decision = ?1 GROUP BY blade",
            [decision],
            |r| Ok((r.get(0)?, r.get::<_, i64>(1)? as u64)),
        )
    }

    /// Blades that came back from a purchaser.
    pub fn returned(&self) -> Result<HashSet<i64>> {
        read::list(&self.db, "SELECT DISTINCT blade FROM shipments WHERE returned_at IS NOT NULL", [], |r| {
            r.get(0)
        })
    }

    /// What blades cost by station: part, station, value, currency, from which date.
    #[allow(clippy::type_complexity, reason = "five columns of one query")]
    pub fn cost_rows(&self) -> Result<Vec<(i64, String, Option<f64>, String, String)>> {
        read::list(
            &self.db,
            "SELECT part, station, value, currency, from_date FROM costs ORDER BY from_date",
            [],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?, r.get(4)?)),
        )
    }

    /// The stations of the parts' inspection plans: part, method, required, sampling.
    #[allow(clippy::type_complexity, reason = "four columns of one query")]
    pub fn planned_stations(&self) -> Result<Vec<(i64, String, bool, Option<String>)>> {
        read::list(
            &self.db,
            "SELECT part, method, required = 'yes', sampling FROM inspection_plans",
            [],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)),
        )
    }

    /// The characteristics that were measured, as they are written.
    pub fn characteristics(&self) -> Result<Vec<String>> {
        read::list(&self.db, "SELECT DISTINCT characteristic FROM measurements ORDER BY 1", [], |r| r.get(0))
    }

    /// Every value of a characteristic, in the order in which they were measured.
    pub fn measured(&self, characteristic: &str) -> Result<Vec<Measured>> {
        read::list(
            &self.db,
            "SELECT i.blade, i.purpose, i.round, m.value, m.unit, m.lower, m.upper, i.person, i.inspected_at,
                    (SELECT t.instrument FROM instruments t WHERE t.id = i.instrument)
             FROM measurements m CROSS JOIN inspections i ON i.id = m.inspection
             WHERE m.characteristic = ?1 COLLATE NOCASE ORDER BY i.inspected_at, i.id",
            [characteristic],
            |r| {
                Ok(Measured {
                    blade: r.get(0)?,
                    purpose: r.get(1)?,
                    round: r.get(2)?,
                    value: r.get(3)?,
                    unit: r.get(4)?,
                    lower: r.get(5)?,
                    upper: r.get(6)?,
                    person: r.get(7)?,
                    at: Stamp::from_packed(r.get(8)?),
                    instrument: r.get(9)?,
                })
            },
        )
    }

    /// How many inspections each method has for a purpose (`product`, `overlap`, `study`), most first.
    pub fn methods_for(&self, purpose: &str) -> Result<Vec<(String, u64)>> {
        read::list(
            &self.db,
            "SELECT method, count(*) AS n FROM inspections WHERE ifnull(purpose, 'product') = ?1
             GROUP BY method ORDER BY n DESC, method",
            [purpose],
            |r| Ok((r.get(0)?, r.get::<_, i64>(1)? as u64)),
        )
    }

    /// The calls of a method for a purpose, in the order in which they were made; of the first round alone
    /// where the product was inspected.
    pub fn reads(&self, method: &str, purpose: &str) -> Result<Vec<Read>> {
        read::list(
            &self.db,
            "SELECT i.id, b.blade, i.technique, i.person, i.result = 'reject' FROM inspections i
             CROSS JOIN blades b ON b.id = i.blade
             WHERE i.method = ?1 AND ifnull(i.purpose, 'product') = ?2 AND (?2 <> 'product' OR i.round = 1)
             ORDER BY i.inspected_at, i.id",
            params![method, purpose],
            |r| {
                Ok(Read {
                    inspection: r.get(0)?,
                    blade: r.get(1)?,
                    technique: r.get(2)?,
                    person: r.get(3)?,
                    reject: r.get(4)?,
                })
            },
        )
    }

    /// The inspections that carry a finding of a defect.
    pub fn inspections_with(&self, defect: i64, zone: Option<&str>) -> Result<HashSet<i64>> {
        read::list(
            &self.db,
            "SELECT inspection FROM findings WHERE defect = ?1 AND (?2 IS NULL OR zone = ?2 COLLATE NOCASE)",
            params![defect, zone],
            |r| r.get(0),
        )
    }

    pub fn mould_tag(&self, id: i64) -> Result<String> {
        Ok(self
            .db
            .prepare_cached("SELECT mould FROM moulds WHERE id = ?1")?
            .query_row([id], |r| r.get(0))
            .optional()?
            .unwrap_or_default())
    }

    /// The moulds of a trial, in the order in which they were poured, those not poured last.
    pub fn trial_moulds(&self, trial: i64) -> Result<Vec<TrialMould>> {
        let mut q = self.db.prepare_cached(
            "SELECT m.id, m.mould, t.arm, t.block, t.recorded_at, m.assembled_at, p.heat, h.heat, p.poured_at,
                    p.pour_order, n.planned_on, n.furnace, n.pour_order
             FROM trial_moulds t JOIN moulds m ON m.id = t.mould LEFT JOIN pours p ON p.mould = m.id
             LEFT JOIN heats h ON h.id = p.heat LEFT JOIN pour_plans n ON n.mould = m.id
             WHERE t.trial = ?1 ORDER BY p.poured_at IS NULL, p.poured_at, p.pour_order, m.id",
        )?;
        let stamp = |v: Option<i64>| v.map(Stamp::from_packed);
        let rows = q.query_map([trial], |r| {
            let heat: Option<i64> = r.get(6)?;
            let heat_tag: Option<String> = r.get(7)?;
            Ok(TrialMould {
                id: r.get(0)?,
                mould: r.get(1)?,
                arm: r.get(2)?,
                block: r.get(3)?,
                recorded_at: stamp(r.get(4)?),
                assembled_at: Stamp::from_packed(r.get(5)?),
                heat: heat.zip(heat_tag),
                poured_at: stamp(r.get(8)?),
                pour_order: r.get(9)?,
                planned_on: r.get(10)?,
                furnace: r.get(11)?,
                planned_order: r.get(12)?,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Every blade of a mould.
    pub fn blades_of_mould(&self, mould: i64) -> Result<Vec<i64>> {
        read::list(&self.db, "SELECT id FROM blades WHERE mould = ?1 ORDER BY id", [mould], |r| r.get(0))
    }

    /// The lots in which blades of a mould are.
    pub fn lots_of_mould(&self, mould: i64) -> Result<Vec<String>> {
        read::list(
            &self.db,
            "SELECT DISTINCT l.lot FROM blades b CROSS JOIN lot_blades x ON x.blade = b.id
             CROSS JOIN lots l ON l.id = x.lot WHERE b.mould = ?1 ORDER BY 1",
            [mould],
            |r| r.get(0),
        )
    }

    /// Deviations and concessions whose limits or note name a text: tag, type, limits.
    pub fn permissions_naming(&self, text: &str) -> Result<Vec<(String, String, String)>> {
        read::list(
            &self.db,
            "SELECT concession, type, limits FROM concessions
             WHERE instr(lower(limits || ' ' || ifnull(note, '')), lower(?1)) > 0 ORDER BY id",
            [text],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)),
        )
    }
}
