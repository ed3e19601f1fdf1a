-- What a measurement stands on: the files its plan was compiled from, and the names people ask for.

-- "CwRu": marks the file as a record store, so that another program's database is not taken for one.
PRAGMA application_id = 1131893366;

-- A board file, by its content. A changed file is another board; old measurements keep the one they were made with.
CREATE TABLE board (
    board_hash TEXT NOT NULL PRIMARY KEY,   -- SHA-256 of the file's bytes, lower-case hex
    name       TEXT NOT NULL,               -- as written in the file
    revision   TEXT NOT NULL,               -- as written in the file
    source     TEXT NOT NULL                -- the file's text, so that a measurement can be judged again
) WITHOUT ROWID;

-- A fixture file, by its content. It names its board by path, so one fixture text may stand with several board
-- texts: the pair is kept with each measurement, not here.
CREATE TABLE fixture (
    fixture_hash TEXT NOT NULL PRIMARY KEY, -- SHA-256 of the file's bytes, lower-case hex
    name         TEXT NOT NULL,             -- as written in the file
    source       TEXT NOT NULL              -- the file's text
) WITHOUT ROWID;

-- What was found of a bench with a bed on it, by its content: uncertainties of measurements stand on it.
CREATE TABLE proof (
    proof_hash TEXT   NOT NULL PRIMARY KEY, -- SHA-256 of the text, lower-case hex
    bench      TEXT   NOT NULL,             -- serial number of the controller, hex
    fixture    TEXT   NOT NULL,             -- name of the fixture
    made_us    BIGINT NOT NULL,
    source     TEXT   NOT NULL              -- the figures as JSON: host/src/proof/mod.rs
) WITHOUT ROWID;

-- One physical board. It comes into being when it is received, or with its first measurement.
CREATE TABLE unit (
    serial TEXT NOT NULL PRIMARY KEY        -- serial number, in Unicode's normal form C
) WITHOUT ROWID;

-- Units received together: a row for each unit that was ever received or swept under a lot's name. Receipts and
-- measurements say the same, so that one altered row of either shows.
CREATE TABLE lot_unit (
    lot    TEXT NOT NULL,                   -- name of the lot, in Unicode's normal form C
    serial TEXT NOT NULL REFERENCES unit,
    PRIMARY KEY (lot, serial)
) WITHOUT ROWID;

-- Whose store this is, where it is not an ordinary one: 'demo' for what the demo made and may clear away.
CREATE TABLE mark (
    mark TEXT NOT NULL PRIMARY KEY
) WITHOUT ROWID;

-- Sweeps that lay in a file beside the store because it was locked, and have been taken in. The name keeps one from
-- being taken in twice, should the program end before the file is removed.
CREATE TABLE taken_in (
    file TEXT NOT NULL PRIMARY KEY          -- name of the file, without its folder
) WITHOUT ROWID;
