-- The book is signed: how far it was read, who may write in it, and the runs that have begun and are not booked.

ALTER TABLE shop ADD COLUMN start  INTEGER NOT NULL DEFAULT 0;  -- byte at which the last entry read begins
ALTER TABLE shop ADD COLUMN number INTEGER NOT NULL DEFAULT 0;  -- and its number and hash
ALTER TABLE shop ADD COLUMN hash   TEXT NOT NULL DEFAULT '';
ALTER TABLE shop ADD COLUMN book   TEXT NOT NULL DEFAULT '';

CREATE TABLE book_keys (
    print  TEXT PRIMARY KEY,
    key    TEXT NOT NULL,
    after  INTEGER NOT NULL,  -- it may sign the entries after this one
    last   INTEGER NOT NULL,  -- and up to this one
    holder TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE open_runs (
    run    TEXT PRIMARY KEY,
    number INTEGER NOT NULL,  -- of the entry that opened it
    note   TEXT NOT NULL      -- that entry, JSON
) STRICT, WITHOUT ROWID;

ALTER TABLE runs ADD COLUMN number  INTEGER NOT NULL DEFAULT 0;  -- of the entry that opened it; 0: the book names it not
ALTER TABLE runs ADD COLUMN by_whom TEXT NOT NULL DEFAULT '';

CREATE INDEX units_by_any_case ON units (serial COLLATE NOCASE);
