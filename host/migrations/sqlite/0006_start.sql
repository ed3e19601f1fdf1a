-- First power: a unit that passed without power was given current-limited power in steps.

CREATE TABLE start (
    start_id      INTEGER PRIMARY KEY,
    serial        TEXT    NOT NULL REFERENCES unit,
    entry         BIGINT  NOT NULL,
    at_us         BIGINT  NOT NULL,         -- when it ended
    board_name    TEXT    NOT NULL,         -- as the board file had it
    revision      TEXT    NOT NULL,         -- likewise
    supply_name   TEXT    NOT NULL,         -- what supplied it
    golden        BOOLEAN NOT NULL,         -- known to be good: the window of the board is learnt from it
    volts         DOUBLE PRECISION NOT NULL, -- what it was to be run at
    steady_amps   DOUBLE PRECISION,         -- at rest; empty: it did not come to that
    inrush_amps   DOUBLE PRECISION,         -- the highest that was read; empty: nothing was
    verdict       TEXT    NOT NULL CHECK (verdict IN ('pass', 'fail', 'unproven', 'void')),
    because       TEXT    NOT NULL,         -- the first reason; '' for a pass
    sheet         TEXT    NOT NULL,         -- all that was seen, as `start --json` prints it
    digest        BLOB    NOT NULL,         -- SHA-256 over this row
    UNIQUE (serial, entry)
);
CREATE INDEX start_of_board ON start (board_name, revision);

CREATE TRIGGER start_is_not_changed BEFORE UPDATE ON start
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a start is never changed'); END;
CREATE TRIGGER start_is_not_deleted BEFORE DELETE ON start
    BEGIN SELECT RAISE(ABORT, 'records are append-only: a start is never deleted'); END;
