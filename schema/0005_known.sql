-- What the trade knows of causes: rows, sources, and the names of those who have signed them.

-- knowledge source: Where known causes are from, and how much of it was seen.
CREATE TABLE knowledge_sources (
    source TEXT NOT NULL,
    status TEXT NOT NULL CHECK (status = 'read' OR status = 'cited' OR status = 'memory' OR status = 'practice'),
    reference TEXT NOT NULL,
    where_seen TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (source)
) STRICT, WITHOUT ROWID;

-- known cause: What the trade names as a cause of a defect; a reading list, which approves nothing.
CREATE TABLE known_causes (
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    factor TEXT NOT NULL,
    direction TEXT NOT NULL CHECK (direction = 'higher' OR direction = 'lower' OR direction = 'either' OR direction = 'level'),
    strength TEXT NOT NULL CHECK (strength = 'primary' OR strength = 'contributing'),
    mechanism TEXT NOT NULL,
    "check" TEXT NOT NULL,
    remedy TEXT,
    source TEXT,
    source_status TEXT NOT NULL CHECK (source_status = 'read' OR source_status = 'cited' OR source_status = 'memory' OR source_status = 'practice'),
    doubtful TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (defect, factor)
) STRICT, WITHOUT ROWID;

-- review of known causes: A metallurgist's name under the known causes of a defect, as they stood.
CREATE TABLE known_cause_reviews (
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    person TEXT NOT NULL,
    reviewed_at INTEGER NOT NULL,
    content TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (defect, person, reviewed_at)
) STRICT, WITHOUT ROWID;
