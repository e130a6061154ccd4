-- Which moulds are in an oven, and which came out of one lately: asked by every screen, all the time.
CREATE INDEX oven_loads_by_time ON oven_loads (out_at);

-- finish step: One step of knock-out, cut-off or finishing, on a whole mould or on one blade.
CREATE TABLE finish_steps (
    id INTEGER PRIMARY KEY,
    subject_mould INTEGER REFERENCES moulds (id),
    subject_blade INTEGER REFERENCES blades (id),
    item INTEGER NOT NULL,
    step TEXT NOT NULL CHECK (step = 'knock_out' OR step = 'cut_off' OR step = 'leach' OR step = 'blast' OR step = 'grind' OR step = 'straighten'),
    done_at INTEGER NOT NULL,
    person TEXT,
    damage TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    CHECK ((subject_mould IS NOT NULL) + (subject_blade IS NOT NULL) = 1)
) STRICT;
CREATE INDEX finish_steps_by_subject_mould ON finish_steps (subject_mould, subject_blade, item);
CREATE INDEX finish_steps_by_subject_blade ON finish_steps (subject_blade);
CREATE UNIQUE INDEX finish_steps_key ON finish_steps (ifnull(subject_mould, 0), ifnull(subject_blade, 0), item);

-- hand-over: Somebody took the furnace over for a shift.
CREATE TABLE hand_overs (
    person TEXT NOT NULL,
    taken_at INTEGER NOT NULL,
    given_by TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (person, taken_at)
) STRICT, WITHOUT ROWID;
