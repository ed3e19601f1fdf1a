-- One sweep and everything it gave. All of it is written in one transaction.

CREATE TABLE sweep (
    sweep_id     INTEGER PRIMARY KEY,       -- counts up in the order of writing, which is the order of history
    serial       TEXT   NOT NULL REFERENCES unit,
    lot          TEXT            REFERENCES lot,    -- empty: the operator named none; the unit stays in its lot
    board_hash   TEXT   NOT NULL REFERENCES board,
    fixture_hash TEXT   NOT NULL REFERENCES fixture,
    plan_hash    TEXT   NOT NULL,           -- SHA-256 of the compiled plan; the plan follows from the two files
    started_us   BIGINT NOT NULL,
    bench_name   TEXT   NOT NULL,           -- what measured it
    sampling     TEXT   NOT NULL,           -- quick, full
    program      TEXT   NOT NULL,           -- version that judged it
    limits_origin TEXT  NOT NULL,           -- where the limits come from
    limits_hash  TEXT   NOT NULL,           -- SHA-256 of their text
    celsius      DOUBLE PRECISION,          -- air temperature, °C; empty: the sensor was not read
    verdict      TEXT   NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    shots        BIGINT NOT NULL,           -- shots run
    closures     BIGINT NOT NULL,           -- relays closed
    device_us    BIGINT NOT NULL            -- device time, µs, waiting for the operator not counted
);
CREATE INDEX sweep_of_unit ON sweep (serial, sweep_id);
CREATE INDEX sweep_of_lot ON sweep (lot, serial);

-- A segment in a state. Limits stand beside the value: the board file is not needed to read the row.
CREATE TABLE segment (
    sweep_id      BIGINT  NOT NULL REFERENCES sweep,
    line          BIGINT  NOT NULL,
    name          TEXT    NOT NULL,
    kind          TEXT    NOT NULL,         -- the word of board files: trace, via, fuse …
    state         TEXT    NOT NULL,
    ohms          DOUBLE PRECISION,         -- as measured; empty: not reached, or above every range
    ohms_20c      DOUBLE PRECISION,         -- copper referred to 20 °C; empty like ohms
    u95_ohms      DOUBLE PRECISION,         -- expanded uncertainty of ohms_20c, 95 %; empty like ohms
    min_ohms      DOUBLE PRECISION,         -- lower limit at 20 °C; empty: none
    max_ohms      DOUBLE PRECISION NOT NULL,-- upper limit at 20 °C
    limit_derived BOOLEAN NOT NULL,         -- the upper limit is a share of the drop budget, not stated
    typical_ohms  DOUBLE PRECISION NOT NULL,-- expected at 20 °C
    verdict       TEXT    NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    class         TEXT    NOT NULL CHECK (class IN ('ok', 'open', 'high', 'low', 'flaky', 'shorted', 'leaky',
                                                    'film', 'redundancy_lost', 'not_reached')),
    reason        TEXT,                     -- why nothing is proven; empty: the verdict is not unproven
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- Insulation between two points, or an open switch.
CREATE TABLE isolation (
    sweep_id       BIGINT  NOT NULL REFERENCES sweep,
    line           BIGINT  NOT NULL,
    name           TEXT    NOT NULL,        -- a~b, or the switch's name
    point_a        TEXT    NOT NULL,
    point_b        TEXT    NOT NULL,
    is_switch      BOOLEAN NOT NULL,
    state          TEXT    NOT NULL,
    ohms           DOUBLE PRECISION,        -- best value; empty: above the range, or not reached
    u95_ohms       DOUBLE PRECISION,        -- expanded uncertainty, 95 %; empty like ohms
    at_least_ohms  DOUBLE PRECISION,        -- proven at 95 %; empty: not reached
    min_ohms       DOUBLE PRECISION NOT NULL,
    verdict        TEXT    NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    class          TEXT    NOT NULL CHECK (class IN ('ok', 'open', 'high', 'low', 'flaky', 'shorted', 'leaky',
                                                     'film', 'redundancy_lost', 'not_reached')),
    still_charging BOOLEAN NOT NULL,        -- a capacitor was still charging when the time was up
    reason         TEXT,                    -- why nothing is proven; empty: the verdict is not unproven
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- A check standard built into the fixture.
CREATE TABLE standard (
    sweep_id    BIGINT NOT NULL REFERENCES sweep,
    line        BIGINT NOT NULL,
    name        TEXT   NOT NULL,
    stated_ohms DOUBLE PRECISION NOT NULL,
    tolerance   DOUBLE PRECISION NOT NULL,  -- relative: 0.001 is 0.1 %
    ohms        DOUBLE PRECISION,           -- empty: its contacts failed
    u95_ohms    DOUBLE PRECISION,           -- expanded uncertainty, 95 %; empty like ohms
    verdict     TEXT   NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- Series closure of one stretch: do the segments add up to the whole?
CREATE TABLE closure (
    sweep_id   BIGINT  NOT NULL REFERENCES sweep,
    line       BIGINT  NOT NULL,
    from_point TEXT    NOT NULL,
    to_point   TEXT    NOT NULL,
    whole_ohms DOUBLE PRECISION NOT NULL,   -- read end to end
    sum_ohms   DOUBLE PRECISION NOT NULL,   -- the segments as measured, added
    u95_ohms   DOUBLE PRECISION NOT NULL,   -- expanded uncertainty of their difference, 95 %
    agrees     BOOLEAN NOT NULL,
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- A fault of the unit; line 0 is the most probable. The advice is kept as it was given.
CREATE TABLE fault (
    sweep_id    BIGINT NOT NULL REFERENCES sweep,
    line        BIGINT NOT NULL,
    place       TEXT   NOT NULL,            -- a segment's name, or point~point
    class       TEXT   NOT NULL CHECK (class IN ('ok', 'open', 'high', 'low', 'flaky', 'shorted', 'leaky',
                                                 'film', 'redundancy_lost', 'not_reached')),
    probability DOUBLE PRECISION NOT NULL,  -- 0 to 1
    alternative BIGINT,                     -- same number, same evidence: either or both; empty: stands alone
    cause       TEXT   NOT NULL,            -- advice: what usually causes it
    repair      TEXT   NOT NULL,            -- advice: the fitting repair
    caution     TEXT   NOT NULL,            -- advice: what to take care of
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- A fault of the bench: why a sweep is void. Never a fault of the unit.
CREATE TABLE bench_fault (
    sweep_id BIGINT NOT NULL REFERENCES sweep,
    line     BIGINT NOT NULL,
    part     TEXT   NOT NULL,               -- the pin, relay or part
    what     TEXT   NOT NULL,               -- what is wrong with it and what to do
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- What the sweep itself told the operator; changes no verdict.
CREATE TABLE sweep_note (
    sweep_id BIGINT NOT NULL REFERENCES sweep,
    line     BIGINT NOT NULL,
    text     TEXT   NOT NULL,
    PRIMARY KEY (sweep_id, line)
) WITHOUT ROWID;

-- Raw material: one run of the controller. Kept whole, so that a sweep can be judged again by other limits.
-- An ordinary table, because its rows are a few kilobytes long.
CREATE TABLE run (
    sweep_id BIGINT NOT NULL REFERENCES sweep,
    line     BIGINT NOT NULL,
    state    TEXT   NOT NULL,               -- state of the unit during the run
    purpose  TEXT   NOT NULL,               -- plan, dry_look, reforce …
    ended    TEXT   NOT NULL,               -- why the controller ended it, JSON: "Complete", {"Fault":"Lid"} …
    closures BIGINT NOT NULL,               -- relays closed
    device_us BIGINT NOT NULL,              -- device time, µs
    layout   BIGINT NOT NULL,               -- of the bytes below: LAYOUT in host/src/records/raw.rs
    shots    BLOB   NOT NULL,               -- every shot with what it was for, its raw codes and its times
    PRIMARY KEY (sweep_id, line)
);
