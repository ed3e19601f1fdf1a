-- What people write down about a unit. `entry` counts a unit's measurements, notes, repairs and corrections together,
-- from 1, in the order of writing, which is the order of its history: clocks of bench computers may jump.

CREATE TABLE note (
    note_id INTEGER PRIMARY KEY,
    serial  TEXT   NOT NULL REFERENCES unit,
    entry   BIGINT NOT NULL,
    at_us   BIGINT NOT NULL,
    text    TEXT   NOT NULL,
    digest  BLOB   NOT NULL,                -- SHA-256 over this row: host/src/records/digest.rs
    UNIQUE (serial, entry)
);

CREATE TABLE repair (
    repair_id INTEGER PRIMARY KEY,
    serial  TEXT   NOT NULL REFERENCES unit,
    entry   BIGINT NOT NULL,
    at_us   BIGINT NOT NULL,
    place   TEXT   NOT NULL,                -- a segment's name, a point, or point~point
    action  TEXT   NOT NULL,                -- what was done, in a word or two
    text    TEXT   NOT NULL,                -- more about it; '' where nothing was said
    digest  BLOB   NOT NULL,                -- SHA-256 over this row
    UNIQUE (serial, entry)
);

-- A measurement that was declared void afterwards: the wrong unit lay on the bed, a pin was found bent. It stays, and
-- counts as void from then on.
CREATE TABLE correction (
    correction_id  INTEGER PRIMARY KEY,
    serial         TEXT   NOT NULL REFERENCES unit,
    entry          BIGINT NOT NULL,
    at_us          BIGINT NOT NULL,
    measurement_id BIGINT NOT NULL UNIQUE REFERENCES measurement,
    because        TEXT   NOT NULL,         -- the reason that was given
    digest         BLOB   NOT NULL,         -- SHA-256 over this row
    UNIQUE (serial, entry)
);

-- What there is of a unit: a row for every measurement, judgement, note, repair and correction, written with it. A
-- digest shows that a row was altered; this shows that one is missing, or was moved to another unit.
CREATE TABLE ledger (
    serial    TEXT   NOT NULL REFERENCES unit,
    entry     BIGINT NOT NULL,              -- the place in the unit's history; of a judgement that of its measurement
    judgement BIGINT NOT NULL,              -- number of the judgement; 0: the entry itself
    kind      TEXT   NOT NULL CHECK (kind IN ('measurement', 'judgement', 'note', 'repair', 'correction')),
    PRIMARY KEY (serial, entry, judgement)
) WITHOUT ROWID;
