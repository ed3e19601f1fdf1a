-- What a lot cost, what was worked on its units, and what they brought. An amount is a decimal as text and its currency as
-- text, as they were written: "18.50" and "EUR". Nothing here is ever computed with in SQL.

-- What was said of a lot as a whole. It belongs to no unit, so it has a history and a ledger of its own. Of each item, and of
-- each name under 'other', the latest statement counts.
CREATE TABLE lot_trade (
    lot_trade_id INTEGER PRIMARY KEY,
    lot      TEXT   NOT NULL,               -- name of the lot, which has units by then
    entry    BIGINT NOT NULL,               -- place in the lot's history, from 1
    at_us    BIGINT NOT NULL,
    item     TEXT   NOT NULL CHECK (item IN ('paid', 'freight', 'other', 'units', 'price', 'spares')),
    name     TEXT,                          -- of an 'other' cost; else empty
    amount   TEXT,                          -- empty for 'units'
    currency TEXT,                          -- empty for 'units'
    units    BIGINT,                        -- how many were bought; empty for amounts
    digest   BLOB   NOT NULL,               -- SHA-256 over this row
    UNIQUE (lot, entry)
);

-- What there is of each lot, said a second time: a row that is missing or was moved to another lot shows.
CREATE TABLE lot_ledger (
    lot   TEXT   NOT NULL,
    entry BIGINT NOT NULL,
    PRIMARY KEY (lot, entry)
) WITHOUT ROWID;

-- What was written down about a unit's trade; its entries stand in the unit's history and in the ledger.
CREATE TABLE trade (
    trade_id INTEGER PRIMARY KEY,
    serial   TEXT    NOT NULL REFERENCES unit,
    entry    BIGINT  NOT NULL,
    at_us    BIGINT  NOT NULL,
    what     TEXT    NOT NULL CHECK (what IN ('work', 'sale', 'return', 'spare')),
    minutes  BIGINT,                        -- of work; else empty
    method   TEXT,                          -- of work, where a method of repair was named; else empty
    amount   TEXT,                          -- parts used up, price, refund; empty: none was said
    fees     TEXT,                          -- of a sale, in the currency of its price; empty: none were said
    currency TEXT,                          -- of both; empty where there is no amount
    part     TEXT,                          -- that was taken off; else empty
    for_unit TEXT,                          -- the unit that the part is for; empty: none was named
    instead  BOOLEAN NOT NULL,              -- in place of what was said before; of a part: it was put back
    because  TEXT    NOT NULL,              -- why a buyer gave it back; '' where nothing was said
    digest   BLOB    NOT NULL,              -- SHA-256 over this row
    UNIQUE (serial, entry)
);

CREATE TRIGGER lot_trade_is_not_changed BEFORE UPDATE ON lot_trade
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was said of a lot is never changed'); END;
CREATE TRIGGER lot_trade_is_not_deleted BEFORE DELETE ON lot_trade
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was said of a lot is never deleted'); END;
CREATE TRIGGER lot_ledger_is_not_changed BEFORE UPDATE ON lot_ledger
    BEGIN SELECT RAISE(ABORT, 'records are append-only: the ledger of lots is never changed'); END;
CREATE TRIGGER lot_ledger_is_not_deleted BEFORE DELETE ON lot_ledger
    BEGIN SELECT RAISE(ABORT, 'records are append-only: the ledger of lots is never deleted'); END;
CREATE TRIGGER trade_is_not_changed BEFORE UPDATE ON trade
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was written of a trade is never changed'); END;
CREATE TRIGGER trade_is_not_deleted BEFORE DELETE ON trade
    BEGIN SELECT RAISE(ABORT, 'records are append-only: what was written of a trade is never deleted'); END;
