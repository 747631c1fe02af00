-- The trial file, from schema 2 to schema 3: values on several dates, places in the field.
-- The date is part of what a value is about. SQLite cannot change what is unique in a table:
-- a new one takes every row over.
CREATE TABLE observation_3 (
    id       INTEGER PRIMARY KEY,                        -- in the order of recording
    thing    INTEGER NOT NULL REFERENCES thing (id),
    season   TEXT NOT NULL,                              -- as in the protocol; '' without seasons
    date     TEXT NOT NULL,                              -- 2025-05-12, or a number without trailing
                                                         -- zeros; '' where the variate has no dates
    quantity TEXT NOT NULL,                              -- variate, covariate, count or position column
    revision INTEGER NOT NULL CHECK (revision > 0),
    value    TEXT,                                       -- exact decimal text in the protocol's unit,
                                                         -- or the class; NULL: looked at, no value
    row      INTEGER NOT NULL CHECK (row > 0),           -- row of the file, 1 below its header
    import   INTEGER NOT NULL REFERENCES import (id),    -- which file, by whom, when, why
    UNIQUE (thing, season, date, quantity, revision)
) STRICT;
INSERT INTO observation_3 (id, thing, season, date, quantity, revision, value, row, import)
    SELECT id, thing, season, '', quantity, revision, value, row, import FROM observation ORDER BY id;
DROP TABLE observation;
ALTER TABLE observation_3 RENAME TO observation;
