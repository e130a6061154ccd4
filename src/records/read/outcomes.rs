//! Which blades were inspected for a defect, and which are with it.

use std::collections::{HashMap, HashSet};

use rusqlite::params;

use crate::Store;
use crate::catalogue::{Inspections, Verdict};
use crate::error::Result;
use crate::read;
use crate::read::columns::{Cells, Choice, NO_WORD, NOTHING, Wanted};
use crate::read::compact_codes::CompactCodes;
use crate::read::id_runs::Keys;

/// How "inspected" and "with" are decided.
#[derive(Clone, Debug, Default)]
pub struct Question {
    /// Id of the defect term; none: any reject.
    pub defect: Option<i64>,
    /// Zone of the finding.
    pub zone: Option<String>,
    /// Inspection method; none: any.
    pub method: Option<String>,
    /// Every round, not the first alone.
    pub all_rounds: bool,
    /// Only findings of a rejecting inspection.
    pub rejected: bool,
}

/// Inspected blades and those with the defect.
#[derive(Clone, Debug, Default)]
pub struct Outcomes {
    /// Blade → is with the defect.
    pub blades: HashMap<i64, bool>,
    /// Blades rejected by the method without any finding.
    pub rejected_without_finding: u64,
}

/// Inspected blades, each with one inspection: the first with the finding, else the first.
#[derive(Clone, Debug, Default)]
pub struct Examined {
    /// Integer keys of the blades.
    pub blades: Keys,
    /// Whether each is with the defect.
    pub with: Vec<bool>,
    /// When each was inspected, packed.
    pub inspected_at: Vec<i64>,
    /// Who inspected each.
    pub people: Few<String>,
    /// By which technique sheet.
    pub techniques: Few<String>,
    /// With which instrument, by its key.
    pub instruments: Few<i64>,
    /// Inspections of the method that rejected without any finding.
    pub rejected_without_finding: u64,
}

/// Values of which there are few different ones.
#[derive(Clone, Debug, Default)]
pub struct Few<T> {
    /// An index into `levels`, or [`NO_WORD`].
    pub codes: CompactCodes,
    /// The values.
    pub levels: Vec<T>,
}

/// Numbers by integer key, in pages: keys are mostly without gaps.
#[derive(Default)]
struct ByKey(HashMap<i64, Vec<u32>>);

impl ByKey {
    const PAGE: i64 = 4096;

    /// The number kept for a key, in place; `u32::MAX` where there is none.
    fn at(&mut self, key: i64) -> &mut u32 {
        let page = self.0.entry(key.div_euclid(Self::PAGE)).or_default();
        page.resize(Self::PAGE as usize, u32::MAX);
        &mut page[key.rem_euclid(Self::PAGE) as usize]
    }
}

impl Store {
    /// The methods under which a defect is found, with the number of blades, most first.
    pub fn methods_of(&self, defect: i64, zone: Option<&str>) -> Result<Vec<(String, u64)>> {
        read::list(&self.db, "SELECT i.method, count(DISTINCT i.blade) AS n FROM findings f CROSS JOIN inspections i ON i.id = f.inspection
             WHERE f.defect = ?1 AND (?2 IS NULL OR f.zone = ?2 COLLATE NOCASE) AND (i.purpose IS NULL OR i.purpose = 'product')
             GROUP BY i.method ORDER BY n DESC, i.method", params![defect, zone], |r| Ok((r.get(0)?, r.get::<_, i64>(1)? as u64)))
    }

    /// Reads the outcomes of a question.
    pub fn outcomes(&self, question: &Question) -> Result<Outcomes> {
        let found = self.examined(question)?;
        Ok(Outcomes {
            blades: found.blades.iter().zip(found.with.iter().copied()).collect(),
            rejected_without_finding: found.rejected_without_finding,
        })
    }

    /// Reads the outcomes of a question, with the inspection that stands behind each.
    pub fn examined(&self, question: &Question) -> Result<Examined> {
        self.snapshot_of_tables(|| self.examine(question))
    }

    fn examine(&self, question: &Question) -> Result<Examined> {
        let mut with: HashSet<i64> = HashSet::new();
        if let Some(defect) = question.defect {
            let mut q = self.db.prepare_cached(
                "SELECT inspection FROM findings WHERE defect = ?1 AND (?2 IS NULL OR zone = ?2 COLLATE NOCASE)",
            )?;
            let mut rows = q.query(params![defect, question.zone])?;
            while let Some(row) = rows.next()? {
                with.insert(row.get(0)?);
            }
        }
        let mut out = Examined::default();
        const PERSON: usize = 1;
        const TECHNIQUE: usize = 2;
        const RESULT: usize = 3;
        const INSTRUMENT: usize = 4;
        const BLADE: usize = 5;
        let mut instruments: HashMap<i64, u32> = HashMap::new();
        // At most as many as there are blades, and inspections. A key may be anything in a file that was
        // tampered with: no more room is made than a decade needs.
        const MOST_ROOM: i64 = 1 << 20;
        let last = "SELECT min(ifnull((SELECT max(id) FROM blades), 0), ifnull((SELECT max(id) FROM inspections), 0))";
        let room =
            self.db.prepare_cached(last)?.query_row([], |r| r.get::<_, i64>(0))?.clamp(0, MOST_ROOM) as usize;
        out.with.reserve_exact(room);
        let mut place = ByKey::default();
        let mut without = self.db.prepare_cached("SELECT 1 FROM findings WHERE inspection = ?1")?;
        let sheet = self.sheet_chosen(
            Inspections::KIND,
            Wanted {
                fields: &[Inspections::inspected_at.name],
                glances: &[
                    Inspections::person.name,
                    Inspections::technique.name,
                    Inspections::result.name,
                    Inspections::instrument.name,
                    Inspections::blade.name,
                ],
                keys: false,
                condition: " WHERE (?1 IS NULL OR method = ?1) AND (?2 OR round = 1)
                             AND (purpose IS NULL OR purpose = 'product')",
                room,
            },
            params![question.method, question.all_rounds],
            |inspection| {
                let reject = inspection.word(RESULT) == Some(Verdict::Reject.word());
                let found = match question.defect {
                    Some(_) => with.contains(&inspection.id) && (reject || !question.rejected),
                    None => reject,
                };
                if reject && !without.exists([inspection.id])? {
                    out.rejected_without_finding += 1;
                }
                let blade = inspection.link(BLADE);
                let at = place.at(blade);
                let choice = match out.with.get_mut(*at as usize) {
                    Some(with) if found && !*with => {
                        *with = true;
                        Choice::InsteadOf(*at as usize)
                    }
                    Some(_) => return Ok(Choice::Leave),
                    None => {
                        *at = out.with.len() as u32;
                        out.with.push(found);
                        out.blades.push(blade);
                        Choice::Take
                    }
                };
                let at = *at as usize;
                out.people.codes.put(at, inspection.code(PERSON));
                out.techniques.codes.put(at, inspection.code(TECHNIQUE));
                let instrument = match inspection.link(INSTRUMENT) {
                    NOTHING => NO_WORD,
                    id => *instruments.entry(id).or_insert_with(|| {
                        out.instruments.levels.push(id);
                        out.instruments.levels.len() as u32 - 1
                    }),
                };
                out.instruments.codes.put(at, instrument);
                Ok(choice)
            },
        )?;
        let mut columns = sheet.columns.into_iter();
        if let Some(Cells::Times(times)) = columns.next() {
            out.inspected_at = times;
        }
        for few in [&mut out.people, &mut out.techniques] {
            if let Some(Cells::Words { levels, .. }) = columns.next() {
                few.levels = levels;
            }
        }
        Ok(out)
    }

    /// Every blade: id → its mould, position and the heat of its mould.
    pub fn blade_parents(&self) -> Result<HashMap<i64, (Option<i64>, Option<i64>)>> {
        let mut heat: HashMap<i64, i64> = HashMap::new();
        let mut q = self.db.prepare_cached("SELECT mould, heat FROM pours")?;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            heat.insert(row.get(0)?, row.get(1)?);
        }
        read::list(&self.db, "SELECT id, mould FROM blades", [], |r| {
            let mould: Option<i64> = r.get(1)?;
            Ok((r.get(0)?, (mould, mould.and_then(|m| heat.get(&m).copied()))))
        })
    }

    /// Findings of one blade: defect, zone, method, size.
    #[allow(clippy::type_complexity, reason = "four columns of one query")]
    pub fn findings_of(&self, blade: i64) -> Result<Vec<(String, Option<String>, String, Option<f64>)>> {
        read::list(
            &self.db,
            "SELECT d.defect, f.zone, i.method, f.size_mm FROM inspections i
             CROSS JOIN findings f ON f.inspection = i.id CROSS JOIN defect_terms d ON d.id = f.defect
             WHERE i.blade = ?1 ORDER BY i.inspected_at, f.item",
            [blade],
            |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?, r.get(3)?)),
        )
    }
}

impl Store {
    /// One whole-number column of a table, by id.
    ///
    /// # Errors
    /// The store cannot be read, or there is no such field.
    pub fn column(&self, kind: &str, field: &str) -> Result<HashMap<i64, Option<i64>>> {
        let known = crate::catalogue::kind(kind).filter(|k| k.field(field).is_some());
        if known.is_none() {
            return Err(crate::Error::untrusted(format!("{kind} has no field {field}")));
        }
        read::list(&self.db, &format!("SELECT id, \"{field}\" FROM {kind}"), [], |r| {
            Ok((r.get(0)?, r.get(1)?))
        })
    }
}

impl Store {
    /// A rejected blade whose mould shares its slurry with the most rejected blades.
    pub fn a_rejected_blade(&self) -> Result<Option<String>> {
        use rusqlite::OptionalExtension;
        let sql = "SELECT b.blade FROM inspections i JOIN blades b ON b.id = i.blade
                   JOIN coats c ON c.mould = b.mould AND c.coat = 1
                   WHERE i.result = 'reject' AND i.method = 'penetrant'
                   ORDER BY (SELECT count(*) FROM inspections j JOIN blades d ON d.id = j.blade
                     JOIN coats e ON e.mould = d.mould AND e.coat = 1
                     WHERE e.slurry_batch = c.slurry_batch AND j.result = 'reject' AND j.method = 'penetrant') DESC, b.id
                   LIMIT 1";
        Ok(self.db.query_row(sql, [], |r| r.get(0)).optional()?)
    }
}
