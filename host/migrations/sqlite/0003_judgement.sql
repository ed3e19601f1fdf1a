-- What a program version with a limit set made of a measurement. Any number may stand for one; the latest counts.

CREATE TABLE judgement (
    judgement_id   INTEGER PRIMARY KEY,
    measurement_id BIGINT NOT NULL REFERENCES measurement,
    number         BIGINT NOT NULL,         -- among those of its measurement, from 1; the highest is the latest
    made_us        BIGINT NOT NULL,
    program        TEXT   NOT NULL,         -- version of the program
    limits_origin  TEXT   NOT NULL,         -- where the limit set comes from
    limits_hash    TEXT   NOT NULL,         -- SHA-256 of the limit set, lower-case hex
    celsius        DOUBLE PRECISION,        -- air temperature, °C; empty: the sensor was not read
    proof_hash     TEXT REFERENCES proof,   -- whose figures the uncertainties stand on; empty: published worst cases
    verdict        TEXT   NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    lists          BLOB   NOT NULL,         -- SHA-256 over its lists but the faults
    digest         BLOB   NOT NULL,         -- SHA-256 over this row and its faults: host/src/records/digest.rs
    UNIQUE (measurement_id, number)
);

-- A segment in a state. Limits stand beside the value: the board file is not needed to read the row.
CREATE TABLE segment (
    judgement_id  BIGINT  NOT NULL REFERENCES judgement,
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
                                                    'film', 'redundancy_lost', 'not_reached', 'junction', 'not_judged_unpowered', 'bypassed')),
    method        TEXT CHECK (method IN ('continuity', 'two_wire', 'four_wire')), -- empty: not read
    reason        TEXT,                     -- why nothing is proven; empty: the verdict is not unproven
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- Isolation between two points, or an open switch.
CREATE TABLE isolation (
    judgement_id   BIGINT  NOT NULL REFERENCES judgement,
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
                                                     'film', 'redundancy_lost', 'not_reached', 'junction', 'not_judged_unpowered', 'bypassed')),
    method         TEXT CHECK (method IN ('continuity', 'two_wire', 'four_wire')), -- empty: not read
    still_charging BOOLEAN NOT NULL,        -- a capacitor was still charging when the time was up
    reason         TEXT,                    -- why nothing is proven; empty: the verdict is not unproven
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- A thermometer built into the fixture.
CREATE TABLE thermometer (
    judgement_id BIGINT  NOT NULL REFERENCES judgement,
    line         BIGINT  NOT NULL,
    name         TEXT    NOT NULL,
    ohms         DOUBLE PRECISION,          -- empty: its contacts failed, or no current flowed
    celsius      DOUBLE PRECISION,          -- of the bed, °C; empty: what was read is no temperature
    u95_kelvin   DOUBLE PRECISION,          -- expanded uncertainty, 95 %; empty like celsius
    counts       BOOLEAN NOT NULL,          -- values were referred to 20 °C from this temperature
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- A check standard built into the fixture.
CREATE TABLE standard (
    judgement_id BIGINT NOT NULL REFERENCES judgement,
    line         BIGINT NOT NULL,
    name         TEXT   NOT NULL,
    stated_ohms  DOUBLE PRECISION NOT NULL,
    tolerance    DOUBLE PRECISION NOT NULL, -- relative: 0.001 is 0.1 %
    ohms         DOUBLE PRECISION,          -- empty: its contacts failed
    u95_ohms     DOUBLE PRECISION,          -- expanded uncertainty, 95 %; empty like ohms
    verdict      TEXT   NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- Series closure of one stretch: do the segments add up to the end-to-end reading?
CREATE TABLE closure (
    judgement_id BIGINT  NOT NULL REFERENCES judgement,
    line         BIGINT  NOT NULL,
    from_point   TEXT    NOT NULL,
    to_point     TEXT    NOT NULL,
    whole_ohms   DOUBLE PRECISION NOT NULL, -- read end to end
    sum_ohms     DOUBLE PRECISION NOT NULL, -- the segments as measured, added
    u95_ohms     DOUBLE PRECISION NOT NULL, -- expanded uncertainty of their difference, 95 %
    agrees       BOOLEAN NOT NULL,
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- A fault of the unit; line 0 is the most probable. The advice is kept as it was given.
CREATE TABLE fault (
    judgement_id BIGINT NOT NULL REFERENCES judgement,
    line         BIGINT NOT NULL,
    place        TEXT   NOT NULL,           -- a segment's name, or point~point
    class        TEXT   NOT NULL CHECK (class IN ('ok', 'open', 'high', 'low', 'flaky', 'shorted', 'leaky',
                                                  'film', 'redundancy_lost', 'not_reached', 'junction', 'not_judged_unpowered', 'bypassed')),
    probability  DOUBLE PRECISION NOT NULL, -- 0 to 1
    alternative  BIGINT,                    -- same number, same evidence: either or both; empty: stands alone
    cause        TEXT   NOT NULL,           -- advice: what usually causes it
    repair       TEXT   NOT NULL,           -- advice: the fitting repair
    caution      TEXT   NOT NULL,           -- advice: what to take care of
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- A fault of the bench: why a sweep is void. Never a fault of the unit.
CREATE TABLE bench_fault (
    judgement_id BIGINT NOT NULL REFERENCES judgement,
    line         BIGINT NOT NULL,
    part         TEXT   NOT NULL,           -- the pin, relay or part
    what         TEXT   NOT NULL,           -- what is wrong with it and what to do
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- What the judgement tells the operator besides; changes no verdict.
CREATE TABLE remark (
    judgement_id BIGINT NOT NULL REFERENCES judgement,
    line         BIGINT NOT NULL,
    text         TEXT   NOT NULL,
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;

-- One question of a hunt with its answer, and what was most probable after it.
CREATE TABLE step (
    judgement_id  BIGINT NOT NULL REFERENCES judgement,
    line          BIGINT NOT NULL,
    from_point    TEXT   NOT NULL,
    to_point      TEXT   NOT NULL,
    state         TEXT   NOT NULL,
    what          TEXT   NOT NULL,          -- what was looked for, in words
    answer        TEXT   NOT NULL,          -- in words, or as it was typed
    ohms          DOUBLE PRECISION,         -- empty: the answer was no number
    left_1        TEXT,                     -- most probable after it, in words; empty, as its probability: nothing is kept
    probability_1 DOUBLE PRECISION,         -- 0 to 1
    left_2        TEXT,
    probability_2 DOUBLE PRECISION,
    left_3        TEXT,
    probability_3 DOUBLE PRECISION,
    bits          DOUBLE PRECISION NOT NULL,-- how much less was open after it than before
    PRIMARY KEY (judgement_id, line)
) WITHOUT ROWID;
