//! Questions of the floor: crucibles, what stands ready, what must be looked at again.

use rusqlite::OptionalExtension;

use crate::Store;
use crate::catalogue::Analyses;
use crate::catalogue::field::Type;
use crate::catalogue::kind::Kind;
use crate::error::{Error, Result};
use crate::read;
use crate::read::{rows, shape};
use crate::{Record, Stamp, catalogue};

impl Store {
    /// The revision of a definition that a stored record was tied to when it was written: a revision that
    /// came later changes nothing about it.
    pub fn tied(&self, from: &Kind, id: i64, field: &str) -> Result<Option<Record<'static>>> {
        let Some(Type::Ref([to])) = from.field(field).map(|f| f.ty) else {
            return Err(Error::untrusted(format!("{}.{field} refers to no definition", from.name)));
        };
        let sql = format!("SELECT \"{field}\" FROM {} WHERE id = ?1", from.name);
        let row = self.db.prepare_cached(&sql)?.query_row([id], |r| r.get::<_, Option<i64>>(0)).optional()?;
        row.flatten().map(|id| Ok(self.by_id(rows::named_kind(to)?, id)?.record)).transpose()
    }

    /// Some oven run of this purpose is on record.
    pub fn keeps_ovens(&self, purpose: &str) -> Result<bool> {
        let mut q = self.db.prepare_cached("SELECT EXISTS (SELECT 1 FROM oven_runs WHERE purpose = ?1)")?;
        Ok(q.query_row([purpose], |r| r.get(0))?)
    }

    /// Some oven load says whether a crack was seen.
    pub fn keeps_cracks(&self) -> Result<bool> {
        let sql = "SELECT EXISTS (SELECT 1 FROM oven_loads WHERE crack IS NOT NULL)";
        Ok(self.db.prepare_cached(sql)?.query_row([], |r| r.get(0))?)
    }

    /// The pyrometer of the latest pour.
    pub fn last_pyrometer(&self) -> Result<Option<String>> {
        let sql = "SELECT i.instrument FROM pours p JOIN instruments i ON i.id = p.pyrometer
                   ORDER BY p.poured_at DESC LIMIT 1";
        Ok(self.db.query_row(sql, [], |r| r.get(0)).optional()?)
    }

    /// The newest heat that is charged and not poured.
    pub fn open_heat(&self) -> Result<Option<String>> {
        let sql = "SELECT heat FROM heats h WHERE NOT EXISTS (SELECT 1 FROM pours p WHERE p.heat = h.id)
                   AND EXISTS (SELECT 1 FROM charges c WHERE c.heat = h.id) ORDER BY id DESC LIMIT 1";
        Ok(self.db.query_row(sql, [], |r| r.get(0)).optional()?)
    }

    /// A lot or heat has an analysis with values.
    pub fn has_analysis(&self, kind: &str, id: i64) -> Result<bool> {
        let column = shape::column_to(Analyses::subject, kind)
            .ok_or_else(|| Error::untrusted(format!("{kind} have no analyses")))?;
        let sql = format!(
            "SELECT 1 FROM analyses a WHERE a.{column} = ?1
             AND (a.set_aside_by IS NULL OR a.set_aside_reason IS NULL)
             AND EXISTS (SELECT 1 FROM analysis_values v WHERE v.analysis = a.id)"
        );
        Ok(self.db.prepare_cached(&sql)?.exists([id])?)
    }

    /// Heats melted in each crucible, as its latest heat says.
    pub fn crucibles(&self) -> Result<Vec<(String, i64)>> {
        read::list(&self.db, "SELECT furnace || ' ' || crucible, crucible_life FROM heats h
             WHERE crucible IS NOT NULL AND crucible_life IS NOT NULL
             AND id = (SELECT max(id) FROM heats g WHERE g.furnace = h.furnace AND g.crucible_life IS NOT NULL)
             ORDER BY 1", [], |r| Ok((r.get(0)?, r.get(1)?)))
    }

    /// Moulds without a pour, in the order of their records.
    pub fn moulds_not_poured(&self) -> Result<Vec<String>> {
        // Two lists of keys, each read from the narrowest index there is, and their difference: a third of
        // the time of a look-up for each mould of a decade.
        let keys = |sql: &str| -> Result<Vec<i64>> {
            let mut keys: Vec<i64> = read::list(&self.db, sql, [], |r| r.get(0))?;
            keys.sort_unstable();
            Ok(keys)
        };
        let (moulds, poured) = (keys("SELECT id FROM moulds")?, keys("SELECT mould FROM pours")?);
        let mut poured = poured.into_iter().peekable();
        let mut q = self.db.prepare_cached("SELECT mould FROM moulds WHERE id = ?1")?;
        let mut out = Vec::new();
        for mould in moulds {
            while poured.next_if(|p| *p < mould).is_some() {}
            if poured.peek() != Some(&mould) {
                out.push(q.query_row([mould], |r| r.get(0))?);
            }
        }
        Ok(out)
    }

    /// Late entries, and readings of several days that one person typed in within minutes.
    pub fn to_review(&self) -> Result<Vec<String>> {
        Ok(self.reviewed()?.into_iter().map(|(_, sentence)| sentence).collect())
    }

    /// As [`Store::to_review`], each with the own time of the (first) record.
    pub fn reviewed(&self) -> Result<Vec<(Option<Stamp>, String)>> {
        let mut out = Vec::new();
        for kind in catalogue::all().filter(|k| k.late_min.is_some()) {
            let records = self.all_of(kind)?;
            for r in records.iter().filter(|r| r.is_late()) {
                let minutes = r.delay_min().unwrap_or(0.0);
                out.push((r.own_time(), format!("{} typed in {minutes:.0} min after", r.address())));
            }
            out.extend(filled_in(&records));
        }
        out.sort_by_key(|(at, _)| at.map(Stamp::ms));
        Ok(out)
    }
}

/// Records of one person whose own times lie a day or more apart and that were typed in within five
/// minutes: most likely filled in afterwards. (The limits are conventions of this tool.)
fn filled_in(records: &[Record<'static>]) -> Vec<(Option<Stamp>, String)> {
    let mut typed: Vec<(Stamp, Stamp, String, String)> = records
        .iter()
        .filter_map(|r| {
            let person = || r.kind.all_fields().position(|f| f.names_person() && f.ty == Type::Text);
            let by = r.recorded_by().or_else(|| r.values[person()?].text())?;
            Some((r.recorded_at()?, r.own_time()?, by.to_string(), r.address()))
        })
        .collect();
    typed.sort_by(|a, b| (&a.2, a.0, a.1).cmp(&(&b.2, b.0, b.1)));
    let mut out = Vec::new();
    let mut i = 0;
    while i < typed.len() {
        let mut j = i + 1;
        while j < typed.len() && typed[j].2 == typed[i].2 && typed[j].0.minutes_since(typed[i].0) <= 5.0 {
            j += 1;
        }
        let own = |k: usize| typed[k].1;
        let spread = (i..j).map(own).max().zip((i..j).map(own).min());
        if let Some((last, first)) = spread {
            if last.minutes_since(first) >= 1440.0 {
                let all: Vec<&str> = typed[i..j].iter().map(|t| t.3.as_str()).collect();
                let sentence = format!("filled in afterwards by {}: {}", typed[i].2, all.join(", "));
                out.push((Some(first), sentence));
            }
        }
        i = j;
    }
    out
}
