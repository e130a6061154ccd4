-- What a release rests on: items of concessions, keys that let a blade stand in two lots one after the other, a
-- qualification with its beginning, the revision of every definition sealed with the record that refers to it.
--
-- From here on the canonical text of a record names the revision of every definition that it refers to. What stood before
-- is sealed by one entry, written by the program after this file: src/store/upgrade.rs.
ALTER TABLE ingot_lots ADD COLUMN "use" TEXT CHECK ("use" = 'melt' OR "use" = 'addition');
ALTER TABLE heats ADD COLUMN closed_at INTEGER;
ALTER TABLE analyses ADD COLUMN set_aside_by TEXT;
ALTER TABLE analyses ADD COLUMN set_aside_reason TEXT;
ALTER TABLE inspections ADD COLUMN closes INTEGER REFERENCES inspections (id);
ALTER TABLE concessions ADD COLUMN reference TEXT;

-- setting: What a store is set to: a mapping of a shop's own sheets or certificates, a given clock.
CREATE TABLE settings (
    setting TEXT NOT NULL,
    value TEXT NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (setting)
) STRICT, WITHOUT ROWID;

-- concession item: One thing that a concession covers; rows of one item must all fit.
CREATE TABLE concession_items (
    concession INTEGER NOT NULL REFERENCES concessions (id),
    item INTEGER NOT NULL,
    measure TEXT NOT NULL CHECK (measure = '' OR measure = 'size_mm' OR measure = 'distance_mm' OR measure = 'count' OR measure = 'severity' OR measure = 'value'),
    covers TEXT NOT NULL CHECK (covers = 'defect' OR covers = 'element' OR covers = 'characteristic' OR covers = 'instrument' OR covers = 'definition' OR covers = 'station'),
    name TEXT NOT NULL,
    zone TEXT,
    at_least REAL,
    at_most REAL,
    unit TEXT,
    only_for_kind TEXT,
    only_for_id INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (concession, item, measure)
) STRICT, WITHOUT ROWID;

-- A blade is in one lot at a time: a returned one may come into a new lot, and the old lot keeps its own row.
CREATE TABLE lot_blades_new (
    lot INTEGER NOT NULL REFERENCES lots (id),
    blade INTEGER NOT NULL REFERENCES blades (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (lot, blade)
) STRICT, WITHOUT ROWID;
INSERT INTO lot_blades_new SELECT * FROM lot_blades;
DROP TABLE lot_blades;
ALTER TABLE lot_blades_new RENAME TO lot_blades;
CREATE INDEX lot_blades_by_blade ON lot_blades (blade);

-- A renewed qualification is a new row. '' is: from when is not recorded.
CREATE TABLE qualifications_new (
    person INTEGER NOT NULL REFERENCES people (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    level TEXT NOT NULL,
    from_on TEXT NOT NULL,
    expires_on TEXT NOT NULL,
    eyesight_on TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (person, method, from_on)
) STRICT, WITHOUT ROWID;
INSERT INTO qualifications_new SELECT person, method, level, '', expires_on, eyesight_on, effective_from, approved_by,
    approved_at, recorded_at, recorded_by, note, extra, entry, digest FROM qualifications;
DROP TABLE qualifications;
ALTER TABLE qualifications_new RENAME TO qualifications;

CREATE INDEX inspections_by_closes ON inspections (closes) WHERE closes IS NOT NULL;

-- Decisions that were corrected: a blade that was shipped under a concession counts under it whatever is said later.
CREATE INDEX journal_dispositions ON journal (seq) WHERE kind = 'dispositions' AND action = 'correct';
-- Which heat is in a furnace: the last one charged there.
CREATE INDEX heats_by_furnace ON heats (furnace, melted_at);
-- When the next PIN may be tried, in milliseconds since 1970 by the machine's own clock: the line of those who try
-- stands in the file, not in each program.
ALTER TABLE pins ADD COLUMN free_at INTEGER;

-- Proposals and their decisions, and what was said of people and PINs, among the many entries of a journal.
CREATE INDEX journal_proposals ON journal (seq) WHERE action = 'propose';
CREATE INDEX journal_decisions ON journal (came) WHERE action = 'accept' OR action = 'decline';
CREATE INDEX journal_pins ON journal (seq) WHERE action = 'pin';
CREATE INDEX journal_people ON journal (seq) WHERE kind = 'people';
