//! What the store's figures are held against: the bare queries, pinned by hand.

use std::io::Write;
use std::path::Path;
use std::time::Instant;

use rusqlite::{Connection, Result};

// A plus before a value keeps SQLite from making a new plan for each value.

/// The whole parentage of a blade by prepared queries and nothing else. Gives the rows read.
pub fn trace(db: &Connection, blade: &str) -> Result<usize> {
    db.execute_batch("BEGIN")?;
    let mut n = 0;
    let (mould, run): (i64, i64) = db
        .prepare_cached(
            "SELECT b.mould, b.pattern_run, m.mould, p.pattern_run, c.core_lot, s.shell_batch, r.recipe,
                    f.filter_lot, y.running_system, w.wax_lot, v.wax_lot
             FROM blades b CROSS JOIN moulds m ON m.id = b.mould CROSS JOIN pattern_runs p ON p.id = b.pattern_run
             CROSS JOIN wax_lots w ON w.id = p.wax_lot LEFT JOIN wax_lots v ON v.id = w.split_from
             LEFT JOIN core_lots c ON c.id = b.core_lot LEFT JOIN shell_batches s ON s.id = m.shell_batch
             LEFT JOIN shell_recipes r ON r.id = s.recipe LEFT JOIN filter_lots f ON f.id = m.filter_lot
             CROSS JOIN running_systems y ON y.id = m.running_system WHERE b.blade = +?1 COLLATE NOCASE",
        )?
        .query_row([blade], |r| Ok((r.get(0)?, r.get(1)?)))?;
    let mut text = |sql: &str, id: i64| -> Result<()> {
        let mut q = db.prepare_cached(sql)?;
        let mut rows = q.query([id])?;
        while let Some(row) = rows.next()? {
            let _: String = row.get(0)?;
            n += 1;
        }
        Ok(())
    };
    text(
        "SELECT b.slurry_batch, c.coat, s.stucco_lot FROM coats c
         CROSS JOIN slurry_batches b ON b.id = c.slurry_batch LEFT JOIN stucco_lots s ON s.id = c.stucco_lot
         WHERE c.mould = +?1",
        mould,
    )?;
    text(
        "SELECT r.oven_run FROM oven_loads l CROSS JOIN oven_runs r ON r.id = l.oven_run WHERE l.mould = +?1",
        mould,
    )?;
    text(
        "WITH RECURSIVE up (heat) AS (
             SELECT heat FROM pours WHERE mould = +?1
             UNION SELECT s.heat FROM up CROSS JOIN charges c ON c.heat = up.heat
             CROSS JOIN revert_sources s ON s.revert_lot = c.source_revert_lot)
         SELECT h.heat, c.mass_kg, i.ingot_lot, r.revert_lot FROM up CROSS JOIN heats h ON h.id = up.heat
         CROSS JOIN charges c ON c.heat = up.heat LEFT JOIN ingot_lots i ON i.id = c.source_ingot_lot
         LEFT JOIN revert_lots r ON r.id = c.source_revert_lot",
        mould,
    )?;
    text(
        "SELECT t.treatment FROM treatment_loads l CROSS JOIN treatments t ON t.id = l.treatment
         WHERE l.blade = (SELECT id FROM blades WHERE mould = +?1 LIMIT 1)",
        mould,
    )?;
    db.execute_batch("COMMIT")?;
    Ok(n + usize::from(run > 0))
}

/// The tag of the record of a kind from which most came.
pub fn largest(db: &Connection, kind: &str) -> Result<String> {
    let sql = match kind {
        "slurry_batches" => {
            "SELECT s.slurry_batch FROM slurry_batches s JOIN coats c ON c.slurry_batch = s.id
             GROUP BY s.id ORDER BY count(*) DESC LIMIT 1"
        }
        "ingot_lots" => {
            "SELECT i.ingot_lot FROM ingot_lots i JOIN charges c ON c.source_ingot_lot = i.id
             JOIN pours p ON p.heat = c.heat GROUP BY i.id ORDER BY count(*) DESC LIMIT 1"
        }
        _ => {
            "SELECT h.heat FROM heats h JOIN pours p ON p.heat = h.id GROUP BY h.id
             ORDER BY count(*) DESC, h.id LIMIT 1"
        }
    };
    db.query_row(sql, [], |r| r.get(0))
}

/// The stucco lot from which nearest to so many blades came: eight a mould.
pub fn nearest(db: &Connection, blades: usize) -> Result<String> {
    let sql = "SELECT s.stucco_lot FROM coats c JOIN stucco_lots s ON s.id = c.stucco_lot GROUP BY s.id
               ORDER BY abs(count(DISTINCT c.mould) * 8 - ?1), s.id LIMIT 1";
    db.query_row(sql, [blades as i64], |r| r.get(0))
}

/// The tags of the blades that came out of a record, by one query. Gives how many.
pub fn contain(db: &Connection, what: &str, tag: &str) -> Result<usize> {
    let metal = |start: &str| {
        format!(
            "WITH RECURSIVE down (heat) AS ({start}
                 UNION SELECT c.heat FROM down CROSS JOIN revert_sources s ON s.heat = down.heat
                 CROSS JOIN charges c ON c.source_revert_lot = s.revert_lot)
             SELECT b.blade FROM down CROSS JOIN pours p ON p.heat = down.heat
             CROSS JOIN blades b ON b.mould = p.mould"
        )
    };
    let sql = match what {
        "stucco lot" => "SELECT b.blade FROM (SELECT DISTINCT c.mould FROM stucco_lots s
             CROSS JOIN coats c ON c.stucco_lot = s.id WHERE s.stucco_lot = +?1 COLLATE NOCASE) m
             CROSS JOIN blades b ON b.mould = m.mould"
            .to_string(),
        "slurry batch" => "SELECT b.blade FROM (SELECT DISTINCT c.mould FROM slurry_batches s
             CROSS JOIN coats c ON c.slurry_batch = s.id WHERE s.slurry_batch = +?1 COLLATE NOCASE) m
             CROSS JOIN blades b ON b.mould = m.mould"
            .to_string(),
        "ingot lot" => metal(
            "SELECT c.heat FROM ingot_lots i CROSS JOIN charges c ON c.source_ingot_lot = i.id
             WHERE i.ingot_lot = +?1 COLLATE NOCASE",
        ),
        _ => metal("SELECT id FROM heats WHERE heat = +?1 COLLATE NOCASE"),
    };
    let mut q = db.prepare_cached(&sql)?;
    let mut tags: Vec<String> = Vec::new();
    let mut rows = q.query([tag])?;
    while let Some(row) = rows.next()? {
        tags.push(row.get(0)?);
    }
    Ok(tags.len())
}

/// Reads every row of every table once.
pub fn scan(db: &Connection) -> Result<i64> {
    let mut q = db.prepare("SELECT name FROM sqlite_schema WHERE type = 'table'")?;
    let names: Vec<String> = q.query_map([], |r| r.get(0))?.collect::<Result<_>>()?;
    scan_of(db, &names)
}

/// Reads every row of these tables once.
pub fn scan_of(db: &Connection, names: &[String]) -> Result<i64> {
    let mut sum = 0;
    for name in names {
        let mut q = db.prepare(&format!("SELECT * FROM \"{name}\""))?;
        let last = q.column_count() - 1;
        let mut rows = q.query([])?;
        while let Some(row) = rows.next()? {
            if let rusqlite::types::ValueRef::Integer(v) = row.get_ref(last)? {
                sum ^= v;
            }
        }
    }
    Ok(sum)
}

/// Microseconds to append a page to a file and have it on the disk.
pub fn sync(folder: &Path) -> std::io::Result<f64> {
    let path = folder.join("sync");
    let mut file = std::fs::OpenOptions::new().create(true).append(true).open(path)?;
    let begun = Instant::now();
    file.write_all(&[7; 4_096])?;
    file.sync_data()?;
    Ok(begun.elapsed().as_secs_f64() * 1e6)
}
