-- Watches on the vehicle that belong to a visit. The summary and the events are files of a sealed folder.

CREATE TABLE vehicle_checks (
    visit   TEXT NOT NULL REFERENCES visits (id) ON DELETE CASCADE,
    place   INTEGER NOT NULL,
    stage   TEXT NOT NULL,        -- before (removal), after (refit)
    folder  TEXT NOT NULL UNIQUE, -- name in the out folder
    seal    TEXT NOT NULL,        -- SHA-256 of the statement that seals the folder
    source  TEXT NOT NULL,        -- interface or recording
    vehicle TEXT NOT NULL,        -- identification number as heard; '' for none
    began   INTEGER NOT NULL,     -- first and last frame, by their own time stamps
    ended   INTEGER NOT NULL,
    level   TEXT NOT NULL,        -- not seen, ok, watch, act
    raised  TEXT NOT NULL,        -- checks that asked for something
    time    INTEGER NOT NULL,     -- attached
    by_whom TEXT NOT NULL,
    PRIMARY KEY (visit, place)
) STRICT, WITHOUT ROWID;
