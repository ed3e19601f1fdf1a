-- What one sweep or hunt brought back. Written once, in one transaction with its first judgement.

CREATE TABLE measurement (
    measurement_id INTEGER PRIMARY KEY,     -- the number a person says: sweep 12
    serial       TEXT   NOT NULL REFERENCES unit,
    entry        BIGINT NOT NULL,           -- its place in the unit's history: see 0004_logbook.sql
    lot          TEXT,                      -- empty: the operator named none; the unit stays in its lot
    manner       TEXT   NOT NULL CHECK (manner IN ('sweep', 'hunt', 'by_hand')),
    board_hash   TEXT   NOT NULL REFERENCES board,
    fixture_hash TEXT   REFERENCES fixture, -- empty: read by hand, without a bed
    plan_hash    TEXT,                      -- SHA-256 of the compiled plan; it follows from the two files; empty likewise
    sampling     TEXT   NOT NULL CHECK (sampling IN ('quick', 'full')),
    started_us   BIGINT NOT NULL,
    repaired_us  BIGINT,                    -- when the last repair before it was noted; empty: none was
    bench_name   TEXT   NOT NULL,           -- what measured it
    proof_hash   TEXT   REFERENCES proof,   -- the bench's latest proof at that time; empty: there was none
    shots        BIGINT NOT NULL,           -- shots run
    closures     BIGINT NOT NULL,           -- relays closed
    device_us    BIGINT NOT NULL,           -- device time, µs, waiting for the operator not counted
    rates        TEXT,                      -- what a hunt took for how often something is wrong, JSON; empty: the table of the program
    wires        TEXT,                      -- wires that repairs had fitted to the unit, JSON: host/src/fitted.rs; empty: none
    raw_hash     BLOB   NOT NULL,           -- SHA-256 of the bytes in `raw`
    digest       BLOB   NOT NULL,           -- SHA-256 over this row: host/src/records/digest.rs
    UNIQUE (serial, entry),
    FOREIGN KEY (lot, serial) REFERENCES lot_unit
);
CREATE INDEX measurement_of_lot ON measurement (lot, serial);

-- The runs of the controller, every shot with what it was for, its codes, its times and why it ended; or the touches made by hand. A table of its
-- own, so that lists of measurements do not read past kilobytes of codes.
CREATE TABLE raw (
    measurement_id INTEGER PRIMARY KEY REFERENCES measurement,
    format TEXT NOT NULL,                   -- of the bytes below: raw/v2 is host/src/raw/v2.rs, touches/v1 host/src/raw/touches_v1.rs
    runs   BLOB NOT NULL
);
