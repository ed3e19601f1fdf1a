-- What a sweep stands on: the files it was judged by, and the names people ask for.

-- "CwRc": marks the file as a record store, so that another program's database is not taken for one.
PRAGMA application_id = 1131893347;

-- A board file, by its content. A changed file is another board; old sweeps keep the one they were judged by.
CREATE TABLE board (
    board_hash TEXT NOT NULL PRIMARY KEY,   -- SHA-256 of the file's bytes, lower-case hex
    name       TEXT NOT NULL,               -- as written in the file
    revision   TEXT NOT NULL,               -- as written in the file
    source     TEXT NOT NULL                -- the file's text, so that the sweep can be judged again
) WITHOUT ROWID;

-- A fixture file, by its content. It names its board by path, so one fixture text may stand with several board
-- texts: the pair is kept with each sweep, not here.
CREATE TABLE fixture (
    fixture_hash TEXT NOT NULL PRIMARY KEY, -- SHA-256 of the file's bytes, lower-case hex
    name         TEXT NOT NULL,             -- as written in the file
    source       TEXT NOT NULL              -- the file's text
) WITHOUT ROWID;

-- Units received together. Which units belong to it follows from their sweeps.
CREATE TABLE lot (
    lot TEXT NOT NULL PRIMARY KEY           -- its name
) WITHOUT ROWID;

-- One physical board. It comes into being with its first sweep.
CREATE TABLE unit (
    serial TEXT NOT NULL PRIMARY KEY        -- serial number, as scanned or typed
) WITHOUT ROWID;
