-- What people write down about a unit. after_sweep gives each entry its place in the unit's history: clocks of bench
-- computers may jump, the order of writing does not.

CREATE TABLE note (
    note_id     INTEGER PRIMARY KEY,
    serial      TEXT   NOT NULL REFERENCES unit,
    after_sweep BIGINT NOT NULL REFERENCES sweep,   -- the unit's latest sweep when it was written
    at_us       BIGINT NOT NULL,
    text        TEXT   NOT NULL
);
CREATE INDEX note_of_unit ON note (serial, note_id);

CREATE TABLE repair (
    repair_id   INTEGER PRIMARY KEY,
    serial      TEXT   NOT NULL REFERENCES unit,
    after_sweep BIGINT NOT NULL REFERENCES sweep,   -- the unit's latest sweep when it was written
    at_us       BIGINT NOT NULL,
    place       TEXT   NOT NULL,            -- a segment's name, point~point, or free words
    action      TEXT   NOT NULL,            -- what was done, in a word or two
    text        TEXT   NOT NULL             -- more about it; '' where nothing was said
);
CREATE INDEX repair_of_unit ON repair (serial, repair_id);
