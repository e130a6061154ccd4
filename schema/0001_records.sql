-- The first schema: one table for each record kind, the journal, and what the file says of itself.
--
-- Why it looks like this
--   Integer keys inside, tags beside them (unique without regard to the case of ASCII letters).
--   The integer never leaves the file: bundles, reports and the journal use tags.
--   Rows that live under a parent have no rowid of their own: they are found through it.
--   A number column holds a number or nothing. What is no number (n/a, illegible, <5), a time finer
--   than a millisecond, a revision that was named, and a foundry's own fields stand in "extra", a
--   JSON object of field names and texts.
--   Times are one integer: milliseconds since 1970 UTC times 4096, plus the offset in minutes plus
--   2048. They sort by instant. Dates are text.
--   Choices are checked by a chain of comparisons: an IN list builds a small table for every row.
--   "entry" is the journal entry that wrote the row last, "digest" the first eight bytes of the
--   SHA-256 of its canonical text, as a big-endian signed integer.

CREATE TABLE about (
    name TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- One entry for each write. hash = SHA-256 in hex of the hash before it followed by
-- json_array(seq, at, person, action, kind, tag, old, new, reason, came). It is only ever appended to.
-- "came" is the entry that had written what is old.
CREATE TABLE journal (
    seq INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    person TEXT,
    action TEXT NOT NULL,
    kind TEXT NOT NULL,
    tag TEXT,
    old TEXT,
    new TEXT,
    reason TEXT,
    came INTEGER,
    hash TEXT NOT NULL
) STRICT;

-- alloy: An alloy specification.
CREATE TABLE alloys (
    id INTEGER PRIMARY KEY,
    alloy TEXT NOT NULL,
    revision TEXT NOT NULL,
    liquidus_c REAL,
    solidus_c REAL,
    density_g_cm3 REAL,
    revert_max_pct REAL,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- alloy limit: What one element may be in an alloy.
CREATE TABLE alloy_limits (
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    element TEXT NOT NULL,
    min REAL,
    max REAL,
    unit TEXT NOT NULL CHECK (unit = 'wt%' OR unit = 'ppm'),
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (alloy, element)
) STRICT, WITHOUT ROWID;

-- part: A part by its drawing.
CREATE TABLE parts (
    id INTEGER PRIMARY KEY,
    part TEXT NOT NULL,
    revision TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    mass_g REAL,
    inspection_class TEXT,
    description TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- zone: A zone of a part, as findings name it.
CREATE TABLE zones (
    part INTEGER NOT NULL REFERENCES parts (id),
    zone TEXT NOT NULL,
    name TEXT NOT NULL,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, zone)
) STRICT, WITHOUT ROWID;

-- inspection plan: Which inspections a part needs.
CREATE TABLE inspection_plans (
    part INTEGER NOT NULL REFERENCES parts (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    required TEXT NOT NULL CHECK (required = 'yes' OR required = 'no'),
    sampling TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, method)
) STRICT, WITHOUT ROWID;

-- defect term: A word for what is seen, not why.
CREATE TABLE defect_terms (
    id INTEGER PRIMARY KEY,
    defect TEXT NOT NULL,
    name TEXT NOT NULL,
    description TEXT,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- shell recipe: How a shell is built, or a flask invested.
CREATE TABLE shell_recipes (
    id INTEGER PRIMARY KEY,
    recipe TEXT NOT NULL,
    revision TEXT NOT NULL,
    route TEXT NOT NULL CHECK (route = 'shell' OR route = 'flask'),
    coats INTEGER,
    min_dry_h REAL,
    preheat_c REAL,
    oven_to_pour_max_s REAL,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- running system: Sprue to gate, with its positions.
CREATE TABLE running_systems (
    id INTEGER PRIMARY KEY,
    running_system TEXT NOT NULL,
    revision TEXT NOT NULL,
    fill TEXT NOT NULL CHECK (fill = 'bottom' OR fill = 'top'),
    positions INTEGER NOT NULL,
    head_mm REAL,
    gate_area_mm2 REAL,
    filter TEXT NOT NULL CHECK (filter = 'yes' OR filter = 'no'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- own field: A field that a foundry adds to a record kind.
CREATE TABLE own_fields (
    record TEXT NOT NULL,
    field TEXT NOT NULL,
    type TEXT NOT NULL CHECK (type = 'number' OR type = 'text' OR type = 'time' OR type = 'yes_no'),
    min REAL,
    max REAL,
    cause TEXT NOT NULL CHECK (cause = 'yes' OR cause = 'no'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (record, field)
) STRICT, WITHOUT ROWID;

-- instrument: What a reading is taken with.
CREATE TABLE instruments (
    id INTEGER PRIMARY KEY,
    instrument TEXT NOT NULL,
    kind TEXT NOT NULL,
    description TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- calibration: A check of an instrument, done, failed or missed.
CREATE TABLE calibrations (
    instrument INTEGER NOT NULL REFERENCES instruments (id),
    checked_at INTEGER NOT NULL,
    "check" TEXT NOT NULL CHECK ("check" = 'calibration' OR "check" = 'cross_check'),
    result TEXT NOT NULL CHECK (result = 'good' OR result = 'failed' OR result = 'not_done'),
    difference REAL,
    unit TEXT,
    due_at INTEGER,
    person TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (instrument, checked_at)
) STRICT, WITHOUT ROWID;

-- person: A person, by code.
CREATE TABLE people (
    id INTEGER PRIMARY KEY,
    person TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role = 'operator' OR role = 'inspector' OR role = 'metallurgist' OR role = 'engineer' OR role = 'quality'),
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- qualification: What a person may inspect, and until when.
CREATE TABLE qualifications (
    person INTEGER NOT NULL REFERENCES people (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    level TEXT NOT NULL,
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
    PRIMARY KEY (person, method)
) STRICT, WITHOUT ROWID;

-- process limit: A foundry's own limits for a field.
CREATE TABLE process_limits (
    record TEXT NOT NULL,
    field TEXT NOT NULL,
    scope TEXT NOT NULL,
    warn_min REAL,
    warn_max REAL,
    stop_min REAL,
    stop_max REAL,
    source TEXT,
    effective_from TEXT,
    approved_by TEXT,
    approved_at TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (record, field, scope)
) STRICT, WITHOUT ROWID;

-- ingot lot: Bought alloy of one maker's heat.
CREATE TABLE ingot_lots (
    id INTEGER PRIMARY KEY,
    ingot_lot TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    maker_heat TEXT,
    received_at INTEGER NOT NULL,
    mass_kg REAL,
    certificate TEXT,
    certificate_type TEXT CHECK (certificate_type = '2.1' OR certificate_type = '2.2' OR certificate_type = '3.1' OR certificate_type = '3.2'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- revert lot: Own metal kept for melting again.
CREATE TABLE revert_lots (
    id INTEGER PRIMARY KEY,
    revert_lot TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    made_at INTEGER NOT NULL,
    form TEXT,
    condition TEXT CHECK (condition = 'clean' OR condition = 'uncleaned' OR condition = 'mixed'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- heat: One melt.
CREATE TABLE heats (
    id INTEGER PRIMARY KEY,
    heat TEXT NOT NULL,
    alloy INTEGER NOT NULL REFERENCES alloys (id),
    furnace TEXT NOT NULL,
    crucible TEXT,
    crucible_life INTEGER,
    melted_at INTEGER,
    melt_in_at INTEGER,
    power_kw REAL,
    vacuum_mbar REAL,
    leak_mbar_l_s REAL,
    hold_min REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- revert source: Which heats a revert lot came from.
CREATE TABLE revert_sources (
    revert_lot INTEGER NOT NULL REFERENCES revert_lots (id),
    heat INTEGER NOT NULL REFERENCES heats (id),
    mass_kg REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (revert_lot, heat)
) STRICT, WITHOUT ROWID;

-- charge item: What was put into a heat.
CREATE TABLE charges (
    id INTEGER PRIMARY KEY,
    heat INTEGER NOT NULL REFERENCES heats (id),
    source_ingot_lot INTEGER REFERENCES ingot_lots (id),
    source_revert_lot INTEGER REFERENCES revert_lots (id),
    item INTEGER NOT NULL,
    mass_kg REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    CHECK ((source_ingot_lot IS NOT NULL) + (source_revert_lot IS NOT NULL) = 1)
) STRICT;

-- analysis: A chemical analysis of a lot or heat.
CREATE TABLE analyses (
    id INTEGER PRIMARY KEY,
    analysis TEXT NOT NULL,
    subject_ingot_lot INTEGER REFERENCES ingot_lots (id),
    subject_revert_lot INTEGER REFERENCES revert_lots (id),
    subject_heat INTEGER REFERENCES heats (id),
    purpose TEXT NOT NULL CHECK (purpose = 'maker' OR purpose = 'check'),
    taken_at INTEGER NOT NULL,
    method TEXT,
    instrument INTEGER REFERENCES instruments (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    CHECK ((subject_ingot_lot IS NOT NULL) + (subject_revert_lot IS NOT NULL) + (subject_heat IS NOT NULL) = 1)
) STRICT;

-- analysis value: One element of an analysis; 1 wt% is 10,000 ppm.
CREATE TABLE analysis_values (
    analysis INTEGER NOT NULL REFERENCES analyses (id),
    element TEXT NOT NULL,
    value REAL,
    unit TEXT NOT NULL CHECK (unit = 'wt%' OR unit = 'ppm'),
    uncertainty REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (analysis, element)
) STRICT, WITHOUT ROWID;

-- wax lot: Pattern wax as received.
CREATE TABLE wax_lots (
    id INTEGER PRIMARY KEY,
    wax_lot TEXT NOT NULL,
    grade TEXT NOT NULL,
    received_at INTEGER NOT NULL,
    expires_on TEXT,
    ash_pct REAL,
    congealing_c REAL,
    filler_pct REAL,
    split_from INTEGER REFERENCES wax_lots (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- pattern run: One run of wax patterns.
CREATE TABLE pattern_runs (
    id INTEGER PRIMARY KEY,
    pattern_run TEXT NOT NULL,
    wax_lot INTEGER NOT NULL REFERENCES wax_lots (id),
    part INTEGER NOT NULL REFERENCES parts (id),
    die TEXT NOT NULL,
    injected_at INTEGER NOT NULL,
    wax_c REAL,
    pressure_bar REAL,
    dwell_s REAL,
    made_count INTEGER,
    rejected_count INTEGER,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- core lot: Ceramic cores of one lot.
CREATE TABLE core_lots (
    id INTEGER PRIMARY KEY,
    core_lot TEXT NOT NULL,
    material TEXT,
    fired_at INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- filter lot: Filters of one lot.
CREATE TABLE filter_lots (
    id INTEGER PRIMARY KEY,
    filter_lot TEXT NOT NULL,
    material TEXT,
    ppi REAL,
    received_at INTEGER NOT NULL,
    received_count INTEGER,
    rejected_count INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- powder lot: Investment powder of one lot.
CREATE TABLE powder_lots (
    id INTEGER PRIMARY KEY,
    powder_lot TEXT NOT NULL,
    grade TEXT NOT NULL,
    received_at INTEGER NOT NULL,
    expires_on TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- slurry batch: A pot of slurry.
CREATE TABLE slurry_batches (
    id INTEGER PRIMARY KEY,
    slurry_batch TEXT NOT NULL,
    use TEXT NOT NULL CHECK (use = 'prime' OR use = 'backup' OR use = 'seal_coat'),
    binder TEXT,
    flour TEXT,
    made_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- slurry check: The shift's readings of a pot.
CREATE TABLE slurry_checks (
    slurry_batch INTEGER NOT NULL REFERENCES slurry_batches (id),
    occurred_at INTEGER NOT NULL,
    person TEXT,
    instrument TEXT,
    temp_c REAL,
    viscosity_s REAL,
    cup INTEGER,
    density_g_cm3 REAL,
    ph REAL,
    sio2_pct REAL,
    plate_g REAL,
    gel TEXT CHECK (gel = 'pass' OR gel = 'fail' OR gel = 'not_done'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (slurry_batch, occurred_at)
) STRICT, WITHOUT ROWID;

-- stucco lot: Stucco grain of one lot.
CREATE TABLE stucco_lots (
    id INTEGER PRIMARY KEY,
    stucco_lot TEXT NOT NULL,
    material TEXT,
    mesh TEXT,
    received_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- shell batch: Moulds built together by one recipe.
CREATE TABLE shell_batches (
    id INTEGER PRIMARY KEY,
    shell_batch TEXT NOT NULL,
    recipe INTEGER NOT NULL REFERENCES shell_recipes (id),
    started_at INTEGER NOT NULL,
    room TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- mould: A tree of patterns that becomes a mould.
CREATE TABLE moulds (
    id INTEGER PRIMARY KEY,
    mould TEXT NOT NULL,
    part INTEGER NOT NULL REFERENCES parts (id),
    running_system INTEGER NOT NULL REFERENCES running_systems (id),
    shell_batch INTEGER REFERENCES shell_batches (id),
    filter_lot INTEGER REFERENCES filter_lots (id),
    assembled_at INTEGER NOT NULL,
    person TEXT,
    seal TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- coat: One dip, stucco and drying.
CREATE TABLE coats (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    coat INTEGER NOT NULL,
    slurry_batch INTEGER NOT NULL REFERENCES slurry_batches (id),
    stucco_lot INTEGER REFERENCES stucco_lots (id),
    in_at INTEGER NOT NULL,
    out_at INTEGER,
    room_c REAL,
    rh_pct REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould, coat)
) STRICT, WITHOUT ROWID;

-- investment: A flask filled with mould powder.
CREATE TABLE investments (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    powder_lot INTEGER NOT NULL REFERENCES powder_lots (id),
    mixed_at INTEGER NOT NULL,
    liquid_ml_per_100g REAL,
    mix_s REAL,
    vacuum_mbar REAL,
    set_min REAL,
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;

-- oven run: One run of a dewaxer, kiln or preheat oven.
CREATE TABLE oven_runs (
    id INTEGER PRIMARY KEY,
    oven_run TEXT NOT NULL,
    purpose TEXT NOT NULL CHECK (purpose = 'dewax' OR purpose = 'fire' OR purpose = 'preheat'),
    oven TEXT NOT NULL,
    started_at INTEGER NOT NULL,
    instrument TEXT,
    setpoint_c REAL,
    soak_min REAL,
    peak_bar REAL,
    rise_s REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- oven load: A mould in an oven run.
CREATE TABLE oven_loads (
    oven_run INTEGER NOT NULL REFERENCES oven_runs (id),
    mould INTEGER NOT NULL REFERENCES moulds (id),
    place TEXT,
    out_at INTEGER,
    crack TEXT CHECK (crack = 'none' OR crack = 'patched' OR crack = 'through'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (oven_run, mould)
) STRICT, WITHOUT ROWID;

-- pour plan: A mould planned for pouring.
CREATE TABLE pour_plans (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    planned_on TEXT NOT NULL,
    furnace TEXT,
    pour_order INTEGER,
    target_c REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;

-- pour: A mould filled; once, and a failed pour is one too.
CREATE TABLE pours (
    mould INTEGER NOT NULL REFERENCES moulds (id),
    heat INTEGER NOT NULL REFERENCES heats (id),
    pour_order INTEGER,
    poured_at INTEGER NOT NULL,
    indicated_c REAL,
    pyrometer INTEGER REFERENCES instruments (id),
    mould_c REAL,
    transfer_s REAL,
    pour_s REAL,
    mass_kg REAL,
    seal_state TEXT CHECK (seal_state = 'tight' OR seal_state = 'weep' OR seal_state = 'leak'),
    run_out TEXT CHECK (run_out = 'yes' OR run_out = 'no'),
    person TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (mould)
) STRICT, WITHOUT ROWID;

-- test bar: A bar cast from a heat, tested.
CREATE TABLE test_bars (
    id INTEGER PRIMARY KEY,
    test_bar TEXT NOT NULL,
    heat INTEGER NOT NULL REFERENCES heats (id),
    instrument TEXT,
    uts_mpa REAL,
    yield_mpa REAL,
    elongation_pct REAL,
    rupture_h REAL,
    hardness_hrc REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- blade: A blade, from the pattern on its tree.
CREATE TABLE blades (
    id INTEGER PRIMARY KEY,
    blade TEXT NOT NULL,
    mould INTEGER REFERENCES moulds (id),
    position INTEGER,
    pattern_run INTEGER REFERENCES pattern_runs (id),
    cavity TEXT,
    core_lot INTEGER REFERENCES core_lots (id),
    marked_at INTEGER,
    position_confirmed TEXT CHECK (position_confirmed = 'yes' OR position_confirmed = 'no'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- treatment: One furnace load of heat treatment or HIP.
CREATE TABLE treatments (
    id INTEGER PRIMARY KEY,
    treatment TEXT NOT NULL,
    kind TEXT NOT NULL CHECK (kind = 'hip' OR kind = 'solution' OR kind = 'age' OR kind = 'stress_relief'),
    schedule TEXT,
    furnace TEXT,
    instrument TEXT,
    started_at INTEGER NOT NULL,
    temp_c REAL,
    hold_h REAL,
    pressure_mpa REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- treatment load: A blade in a treatment.
CREATE TABLE treatment_loads (
    treatment INTEGER NOT NULL REFERENCES treatments (id),
    blade INTEGER NOT NULL REFERENCES blades (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (treatment, blade)
) STRICT, WITHOUT ROWID;

-- inspection: One inspection of a blade, with its result.
CREATE TABLE inspections (
    id INTEGER PRIMARY KEY,
    inspection TEXT NOT NULL,
    blade INTEGER NOT NULL REFERENCES blades (id),
    method TEXT NOT NULL CHECK (method = 'visual' OR method = 'penetrant' OR method = 'radiograph' OR method = 'dimensional' OR method = 'grain' OR method = 'wall_thickness'),
    round INTEGER NOT NULL,
    purpose TEXT CHECK (purpose = 'product' OR purpose = 'overlap' OR purpose = 'study'),
    technique TEXT,
    class TEXT,
    inspected_at INTEGER NOT NULL,
    person TEXT,
    instrument INTEGER REFERENCES instruments (id),
    result TEXT NOT NULL CHECK (result = 'accept' OR result = 'reject'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- finding: What an inspection saw.
CREATE TABLE findings (
    inspection INTEGER NOT NULL REFERENCES inspections (id),
    defect INTEGER NOT NULL REFERENCES defect_terms (id),
    item INTEGER NOT NULL,
    zone TEXT,
    side TEXT,
    size_mm REAL,
    distance_mm REAL,
    count INTEGER,
    severity INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (inspection, defect, item)
) STRICT, WITHOUT ROWID;

-- measurement: A measured characteristic with its limits.
CREATE TABLE measurements (
    inspection INTEGER NOT NULL REFERENCES inspections (id),
    characteristic TEXT NOT NULL,
    value REAL,
    unit TEXT NOT NULL,
    lower REAL,
    upper REAL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (inspection, characteristic)
) STRICT, WITHOUT ROWID;

-- concession: Permission to use what does not conform (before making: a deviation).
CREATE TABLE concessions (
    id INTEGER PRIMARY KEY,
    concession TEXT NOT NULL,
    type TEXT NOT NULL CHECK (type = 'deviation' OR type = 'concession'),
    part INTEGER NOT NULL REFERENCES parts (id),
    limits TEXT NOT NULL,
    quantity INTEGER,
    granted_at INTEGER NOT NULL,
    granted_by TEXT,
    expires_on TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- disposition: The decision on a blade.
CREATE TABLE dispositions (
    blade INTEGER NOT NULL REFERENCES blades (id),
    decided_at INTEGER NOT NULL,
    decision TEXT NOT NULL CHECK (decision = 'accept' OR decision = 'rework' OR decision = 'repair' OR decision = 'scrap' OR decision = 'hold' OR decision = 'concession'),
    person TEXT,
    concession INTEGER REFERENCES concessions (id),
    reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (blade, decided_at)
) STRICT, WITHOUT ROWID;

-- lot: Blades made for one order.
CREATE TABLE lots (
    id INTEGER PRIMARY KEY,
    lot TEXT NOT NULL,
    part INTEGER NOT NULL REFERENCES parts (id),
    purchaser TEXT,
    purchase_order TEXT,
    ordered_count INTEGER,
    certificate_type TEXT,
    opened_at INTEGER NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- lot blade: A blade made for a lot; a blade is in one lot.
CREATE TABLE lot_blades (
    lot INTEGER NOT NULL REFERENCES lots (id),
    blade INTEGER NOT NULL REFERENCES blades (id),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (blade)
) STRICT, WITHOUT ROWID;

-- shipment: A blade sent out, and perhaps returned.
CREATE TABLE shipments (
    blade INTEGER NOT NULL REFERENCES blades (id),
    shipped_at INTEGER NOT NULL,
    destination TEXT,
    certificate TEXT,
    returned_at INTEGER,
    return_reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (blade, shipped_at)
) STRICT, WITHOUT ROWID;

-- trial: A change under test.
CREATE TABLE trials (
    id INTEGER PRIMARY KEY,
    trial TEXT NOT NULL,
    question TEXT NOT NULL,
    factor TEXT NOT NULL,
    response TEXT NOT NULL,
    opened_at INTEGER NOT NULL,
    status TEXT NOT NULL CHECK (status = 'open' OR status = 'closed'),
    planned_moulds INTEGER,
    worth_having REAL,
    seed TEXT,
    held_constant TEXT,
    stop_rule TEXT,
    decision TEXT,
    decided_at INTEGER,
    decided_by TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- trial mould: A mould of a trial, with its arm.
CREATE TABLE trial_moulds (
    trial INTEGER NOT NULL REFERENCES trials (id),
    mould INTEGER NOT NULL REFERENCES moulds (id),
    arm TEXT NOT NULL,
    block TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (trial, mould)
) STRICT, WITHOUT ROWID;

-- hold: A fence around a record and all that came out of it.
CREATE TABLE holds (
    id INTEGER PRIMARY KEY,
    hold TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    placed_at INTEGER NOT NULL,
    person TEXT,
    reason TEXT NOT NULL,
    lifted_at INTEGER,
    lifted_by TEXT,
    lifted_reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- re-tag: A new label on a record; the old tag keeps leading to it.
CREATE TABLE retags (
    old_tag TEXT NOT NULL,
    new_tag TEXT NOT NULL,
    changed_at INTEGER NOT NULL,
    person TEXT,
    witness TEXT,
    reason TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (old_tag, changed_at)
) STRICT, WITHOUT ROWID;

-- attachment: A file that belongs to a record, by its digest.
CREATE TABLE attachments (
    id INTEGER PRIMARY KEY,
    attachment TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    path TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    bytes INTEGER NOT NULL,
    title TEXT,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- signature: Who stands for a record, and for what.
CREATE TABLE signatures (
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    role TEXT NOT NULL,
    person TEXT NOT NULL,
    signed_at INTEGER NOT NULL,
    meaning TEXT NOT NULL CHECK (meaning = 'made' OR meaning = 'checked' OR meaning = 'released' OR meaning = 'conceded'),
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (subject_kind, subject_id, person, signed_at)
) STRICT, WITHOUT ROWID;

-- cost: The value of a blade when it reaches a station.
CREATE TABLE costs (
    part INTEGER NOT NULL REFERENCES parts (id),
    station TEXT NOT NULL,
    value REAL,
    currency TEXT NOT NULL,
    from_date TEXT NOT NULL,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL,
    PRIMARY KEY (part, station, from_date)
) STRICT, WITHOUT ROWID;

-- sample: Evidence that is kept: films, sections, bars.
CREATE TABLE samples (
    id INTEGER PRIMARY KEY,
    sample TEXT NOT NULL,
    subject_kind TEXT NOT NULL,
    subject_id INTEGER NOT NULL,
    kind TEXT NOT NULL CHECK (kind = 'film' OR kind = 'section' OR kind = 'bar' OR kind = 'retained'),
    kept_at TEXT,
    discarded_at INTEGER,
    recorded_at INTEGER,
    recorded_by TEXT,
    note TEXT,
    extra TEXT,
    entry INTEGER NOT NULL,
    digest INTEGER NOT NULL
) STRICT;

-- Indexes: tags, and the references that are walked downwards.
CREATE UNIQUE INDEX alloys_tag ON alloys (alloy COLLATE NOCASE, revision);
CREATE UNIQUE INDEX parts_tag ON parts (part COLLATE NOCASE, revision);
CREATE UNIQUE INDEX defect_terms_tag ON defect_terms (defect COLLATE NOCASE);
CREATE UNIQUE INDEX shell_recipes_tag ON shell_recipes (recipe COLLATE NOCASE, revision);
CREATE UNIQUE INDEX running_systems_tag ON running_systems (running_system COLLATE NOCASE, revision);
CREATE UNIQUE INDEX instruments_tag ON instruments (instrument COLLATE NOCASE);
CREATE UNIQUE INDEX people_tag ON people (person COLLATE NOCASE);
CREATE UNIQUE INDEX ingot_lots_tag ON ingot_lots (ingot_lot COLLATE NOCASE);
CREATE UNIQUE INDEX revert_lots_tag ON revert_lots (revert_lot COLLATE NOCASE);
CREATE UNIQUE INDEX heats_tag ON heats (heat COLLATE NOCASE);
CREATE INDEX revert_sources_by_heat ON revert_sources (heat);
CREATE INDEX charges_by_source_ingot_lot ON charges (source_ingot_lot) WHERE source_ingot_lot IS NOT NULL;
CREATE INDEX charges_by_source_revert_lot ON charges (source_revert_lot) WHERE source_revert_lot IS NOT NULL;
CREATE UNIQUE INDEX charges_key ON charges (heat, ifnull(source_ingot_lot, 0), ifnull(source_revert_lot, 0), item);
CREATE INDEX analyses_by_subject_ingot_lot ON analyses (subject_ingot_lot) WHERE subject_ingot_lot IS NOT NULL;
CREATE INDEX analyses_by_subject_revert_lot ON analyses (subject_revert_lot) WHERE subject_revert_lot IS NOT NULL;
CREATE INDEX analyses_by_subject_heat ON analyses (subject_heat) WHERE subject_heat IS NOT NULL;
CREATE INDEX analyses_by_instrument ON analyses (instrument, taken_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX analyses_tag ON analyses (analysis COLLATE NOCASE);
CREATE INDEX wax_lots_by_split_from ON wax_lots (split_from) WHERE split_from IS NOT NULL;
CREATE UNIQUE INDEX wax_lots_tag ON wax_lots (wax_lot COLLATE NOCASE);
CREATE INDEX pattern_runs_by_wax_lot ON pattern_runs (wax_lot);
CREATE UNIQUE INDEX pattern_runs_tag ON pattern_runs (pattern_run COLLATE NOCASE);
CREATE UNIQUE INDEX core_lots_tag ON core_lots (core_lot COLLATE NOCASE);
CREATE UNIQUE INDEX filter_lots_tag ON filter_lots (filter_lot COLLATE NOCASE);
CREATE UNIQUE INDEX powder_lots_tag ON powder_lots (powder_lot COLLATE NOCASE);
CREATE UNIQUE INDEX slurry_batches_tag ON slurry_batches (slurry_batch COLLATE NOCASE);
CREATE INDEX slurry_checks_by_instrument ON slurry_checks (instrument COLLATE NOCASE, occurred_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX stucco_lots_tag ON stucco_lots (stucco_lot COLLATE NOCASE);
CREATE INDEX shell_batches_by_recipe ON shell_batches (recipe);
CREATE UNIQUE INDEX shell_batches_tag ON shell_batches (shell_batch COLLATE NOCASE);
CREATE INDEX moulds_by_running_system ON moulds (running_system);
CREATE INDEX moulds_by_shell_batch ON moulds (shell_batch) WHERE shell_batch IS NOT NULL;
CREATE INDEX moulds_by_filter_lot ON moulds (filter_lot) WHERE filter_lot IS NOT NULL;
CREATE UNIQUE INDEX moulds_tag ON moulds (mould COLLATE NOCASE);
CREATE INDEX coats_by_slurry_batch ON coats (slurry_batch);
CREATE INDEX coats_by_stucco_lot ON coats (stucco_lot) WHERE stucco_lot IS NOT NULL;
CREATE INDEX investments_by_powder_lot ON investments (powder_lot);
CREATE UNIQUE INDEX oven_runs_tag ON oven_runs (oven_run COLLATE NOCASE);
CREATE INDEX oven_runs_by_instrument ON oven_runs (instrument COLLATE NOCASE, started_at) WHERE instrument IS NOT NULL;
CREATE INDEX oven_loads_by_mould ON oven_loads (mould);
CREATE INDEX pours_by_heat ON pours (heat);
CREATE INDEX pours_by_pyrometer ON pours (pyrometer, poured_at) WHERE pyrometer IS NOT NULL;
CREATE INDEX test_bars_by_heat ON test_bars (heat);
CREATE UNIQUE INDEX test_bars_tag ON test_bars (test_bar COLLATE NOCASE);
CREATE INDEX test_bars_by_instrument ON test_bars (instrument COLLATE NOCASE) WHERE instrument IS NOT NULL;
CREATE INDEX blades_by_mould ON blades (mould) WHERE mould IS NOT NULL;
CREATE INDEX blades_by_pattern_run ON blades (pattern_run) WHERE pattern_run IS NOT NULL;
CREATE INDEX blades_by_core_lot ON blades (core_lot) WHERE core_lot IS NOT NULL;
CREATE UNIQUE INDEX blades_tag ON blades (blade COLLATE NOCASE);
CREATE UNIQUE INDEX treatments_tag ON treatments (treatment COLLATE NOCASE);
CREATE INDEX treatments_by_instrument ON treatments (instrument COLLATE NOCASE, started_at) WHERE instrument IS NOT NULL;
CREATE INDEX treatment_loads_by_blade ON treatment_loads (blade);
CREATE INDEX inspections_by_blade ON inspections (blade);
CREATE INDEX inspections_by_instrument ON inspections (instrument, inspected_at) WHERE instrument IS NOT NULL;
CREATE UNIQUE INDEX inspections_tag ON inspections (inspection COLLATE NOCASE);
CREATE INDEX findings_by_defect ON findings (defect);
CREATE UNIQUE INDEX concessions_tag ON concessions (concession COLLATE NOCASE);
CREATE INDEX dispositions_by_concession ON dispositions (concession) WHERE concession IS NOT NULL;
CREATE UNIQUE INDEX lots_tag ON lots (lot COLLATE NOCASE);
CREATE INDEX lot_blades_by_lot ON lot_blades (lot);
CREATE UNIQUE INDEX trials_tag ON trials (trial COLLATE NOCASE);
CREATE INDEX trial_moulds_by_mould ON trial_moulds (mould);
CREATE UNIQUE INDEX holds_tag ON holds (hold COLLATE NOCASE);
CREATE UNIQUE INDEX attachments_tag ON attachments (attachment COLLATE NOCASE);
CREATE UNIQUE INDEX samples_tag ON samples (sample COLLATE NOCASE);
CREATE INDEX holds_open ON holds (subject_kind, subject_id) WHERE lifted_at IS NULL;
CREATE INDEX journal_by_tag ON journal (tag COLLATE NOCASE) WHERE tag IS NOT NULL;
CREATE INDEX retags_by_new_tag ON retags (new_tag COLLATE NOCASE);
CREATE INDEX retags_by_old_tag ON retags (old_tag COLLATE NOCASE);
CREATE INDEX calibrations_failed ON calibrations (instrument, checked_at) WHERE result = 'failed';
