-- The index of run folders. Times are nanoseconds since 1970-01-01T00:00:00Z; NULL is "not known" or
-- "not measured", never a number.

CREATE TABLE units (
    serial TEXT PRIMARY KEY,
    hours  REAL            -- at the latest run
) STRICT;

CREATE TABLE runs (
    id         TEXT PRIMARY KEY,
    serial     TEXT NOT NULL REFERENCES units (serial),
    started    INTEGER NOT NULL,
    scenario   TEXT NOT NULL,
    rig        TEXT NOT NULL,
    bus        TEXT NOT NULL,
    verdict    TEXT NOT NULL,
    unit_hours REAL,
    simulated  INTEGER NOT NULL,
    version    TEXT NOT NULL,
    folder     TEXT NOT NULL  -- relative to the index where it lies below it
) STRICT;

CREATE INDEX runs_by_time ON runs (started);
CREATE INDEX runs_by_unit ON runs (serial, started);

CREATE TABLE results (
    run            TEXT NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
    place          INTEGER NOT NULL,  -- in the run's table
    characteristic TEXT NOT NULL,
    at             TEXT NOT NULL,     -- set point, '' when there is one only
    value          REAL,
    u              REAL,              -- expanded, k = 2
    unit           TEXT NOT NULL,
    lower          REAL,
    upper          REAL,
    verdict        TEXT NOT NULL,
    PRIMARY KEY (run, place)
) STRICT, WITHOUT ROWID;

CREATE INDEX results_by_characteristic ON results (characteristic, at);

CREATE TABLE causes (
    run         TEXT NOT NULL REFERENCES runs (id) ON DELETE CASCADE,
    place       INTEGER NOT NULL,     -- 0 is the most likely
    name        TEXT NOT NULL,
    title       TEXT NOT NULL,
    probability REAL NOT NULL,
    evidence    TEXT NOT NULL,
    PRIMARY KEY (run, place)
) STRICT, WITHOUT ROWID;
