-- What people write down about a unit. `entry` counts a unit's measurements and everything in this file together, from 1,
-- in the order of writing, which is the order of its history: clocks of bench computers may jump.

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
    taken   TEXT,                           -- the proposal that was taken, JSON: host/src/remedy/taken.rs; empty: none
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

-- What a person said of where a unit stands in the work. What sweeps and repairs say of it follows from those.
CREATE TABLE status (
    status_id INTEGER PRIMARY KEY,
    serial  TEXT   NOT NULL REFERENCES unit,
    entry   BIGINT NOT NULL,
    at_us   BIGINT NOT NULL,
    status  TEXT   NOT NULL CHECK (status IN ('received', 'in_repair', 'scrapped', 'sold')),
    lot     TEXT,                           -- the lot it was received with; empty: none was named
    digest  BLOB   NOT NULL,                -- SHA-256 over this row
    UNIQUE (serial, entry),
    FOREIGN KEY (lot, serial) REFERENCES lot_unit
);
CREATE INDEX status_of_lot ON status (lot, serial);

-- A photo of a unit, without its picture.
CREATE TABLE photo (
    photo_id INTEGER PRIMARY KEY,           -- the number a person says: photo 3
    serial    TEXT   NOT NULL REFERENCES unit,
    entry     BIGINT NOT NULL,
    at_us     BIGINT NOT NULL,
    caption   TEXT   NOT NULL,              -- '' where nothing was said
    width_px  BIGINT NOT NULL,
    height_px BIGINT NOT NULL,
    length    BIGINT NOT NULL,              -- of the picture, byte
    jpeg_hash TEXT   NOT NULL,              -- SHA-256 of the picture, lower-case hex
    digest    BLOB   NOT NULL,              -- SHA-256 over this row, its number included
    UNIQUE (serial, entry)
);

-- The picture of a photo, a JPEG file. A table of its own, so that histories do not read past a megabyte each.
CREATE TABLE picture (
    photo_id INTEGER PRIMARY KEY REFERENCES photo,
    jpeg     BLOB NOT NULL
);

-- An answer to a check of the board file. The latest one to each check counts.
CREATE TABLE tick (
    tick_id INTEGER PRIMARY KEY,
    serial  TEXT    NOT NULL REFERENCES unit,
    entry   BIGINT  NOT NULL,
    at_us   BIGINT  NOT NULL,
    name    TEXT    NOT NULL,               -- of the check
    done    BOOLEAN NOT NULL,               -- the answer: yes or no
    note    TEXT    NOT NULL,               -- more about it; '' where nothing was said
    digest  BLOB    NOT NULL,               -- SHA-256 over this row
    UNIQUE (serial, entry)
);

-- A segment that was watched while somebody tapped it: evidence that it comes and goes, or that nothing was seen.
CREATE TABLE watch (
    watch_id   INTEGER PRIMARY KEY,
    serial     TEXT    NOT NULL REFERENCES unit,
    entry      BIGINT  NOT NULL,
    at_us      BIGINT  NOT NULL,            -- when it ended
    segment    TEXT    NOT NULL,            -- as the board file names it
    state      TEXT    NOT NULL,            -- as the board file names it
    bench_name TEXT    NOT NULL,            -- what watched
    watched_ms BIGINT  NOT NULL,            -- how long
    dropouts   BIGINT  NOT NULL,            -- interruptions of the segment
    longest_us BIGINT  NOT NULL,            -- the longest of them; 0 where there was none
    steps      BIGINT  NOT NULL,            -- times the resistance changed and stayed
    noises     BIGINT  NOT NULL,            -- times of more noise than at rest
    verdict    TEXT    NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    sheet      TEXT    NOT NULL,            -- all that was seen, as `watch --json` prints it
    digest     BLOB    NOT NULL,            -- SHA-256 over this row
    UNIQUE (serial, entry)
);

-- What there is of a unit: a row for every measurement, for every judgement, and for every row of the tables above but
-- pictures, written with it. A digest shows that a row was altered; this shows that one is missing, or was moved to
-- another unit.
CREATE TABLE ledger (
    serial    TEXT   NOT NULL REFERENCES unit,
    entry     BIGINT NOT NULL,              -- the place in the unit's history; of a judgement that of its measurement
    judgement BIGINT NOT NULL,              -- number of the judgement; 0: the entry itself
    -- Name of the entry's table, or 'judgement'. Without a list: every table that comes later would have to make this one anew,
    -- and `records check` finds a line of a kind that there is not.
    kind      TEXT   NOT NULL,
    PRIMARY KEY (serial, entry, judgement)
) WITHOUT ROWID;
