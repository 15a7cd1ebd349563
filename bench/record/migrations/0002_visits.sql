-- What the shop's book says (book.jsonl, the truth) and where each run belongs.

CREATE TABLE visits (
    id          TEXT PRIMARY KEY,
    serial      TEXT NOT NULL,
    opened      INTEGER NOT NULL,
    closed      INTEGER,          -- NULL: the unit is in the shop
    kind        TEXT NOT NULL,    -- of unit, in the shop's words
    hours       REAL,             -- of the unit at intake
    owner       TEXT NOT NULL,    -- the shop's reference to the owner
    complaint   TEXT NOT NULL,
    by_whom     TEXT NOT NULL,
    released_by TEXT NOT NULL DEFAULT '',
    run         TEXT NOT NULL DEFAULT '',  -- the run it was released on
    certificate TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX visits_by_unit ON visits (serial, opened);
CREATE INDEX visits_open ON visits (opened) WHERE closed IS NULL;

CREATE TABLE visit_faults (       -- fault codes as found, typed or read
    visit  TEXT NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
    place  INTEGER NOT NULL,
    source INTEGER,               -- address on the vehicle's bus; NULL: not known
    spn    INTEGER NOT NULL,
    fmi    INTEGER NOT NULL,
    count  INTEGER,
    active INTEGER,
    origin TEXT NOT NULL,         -- typed, or the recording or bus it was read from
    PRIMARY KEY (visit, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE visit_parts (
    visit TEXT NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
    place INTEGER NOT NULL,
    name  TEXT NOT NULL,
    PRIMARY KEY (visit, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE found (              -- what the strip-down showed
    place   INTEGER PRIMARY KEY,
    visit   TEXT NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
    time    INTEGER NOT NULL,
    cause   TEXT NOT NULL,
    note    TEXT NOT NULL,
    by_whom TEXT NOT NULL
) STRICT;

CREATE INDEX found_by_visit ON found (visit);

CREATE TABLE shop (               -- one row: the latest of each
    only    INTEGER PRIMARY KEY CHECK (only = 1),
    name    TEXT NOT NULL DEFAULT '',
    address TEXT NOT NULL DEFAULT '',
    priors  TEXT NOT NULL DEFAULT '',  -- JSON; '' is the program's own
    numbers INTEGER NOT NULL DEFAULT 0, -- certificates given out
    read    INTEGER NOT NULL DEFAULT 0  -- bytes of the book that are in this index
) STRICT;
INSERT INTO shop (only) VALUES (1);

CREATE TABLE judgements (         -- beside the first one, which is in runs
    run     TEXT NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
    place   INTEGER NOT NULL,     -- 2 is the second judgement
    time    INTEGER NOT NULL,
    verdict TEXT NOT NULL,
    version TEXT NOT NULL,
    by_whom TEXT NOT NULL,
    why     TEXT NOT NULL,
    PRIMARY KEY (run, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE instruments (        -- as the latest run on that rig had them
    rig        TEXT NOT NULL,
    channel    TEXT NOT NULL,
    accuracy   TEXT NOT NULL,
    resolution REAL,
    calibrated TEXT NOT NULL,     -- date, '' for none
    due        TEXT NOT NULL,
    seen       INTEGER NOT NULL,  -- start of that run
    PRIMARY KEY (rig, channel)
) STRICT, WITHOUT ROWID;

ALTER TABLE units ADD COLUMN kind TEXT NOT NULL DEFAULT '';
ALTER TABLE units ADD COLUMN owner TEXT NOT NULL DEFAULT '';
ALTER TABLE runs ADD COLUMN visit TEXT;
ALTER TABLE results ADD COLUMN started INTEGER NOT NULL DEFAULT 0;
UPDATE results SET started = (SELECT started FROM runs WHERE id = run);

CREATE INDEX runs_by_visit ON runs (visit, started);
CREATE INDEX runs_by_verdict ON runs (verdict, started);
CREATE INDEX causes_by_name ON causes (name, place);
DROP INDEX results_by_characteristic;
-- Covers a trend without a look at the table.
CREATE INDEX results_by_time ON results (characteristic, at, started, value, u, verdict);
