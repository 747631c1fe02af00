-- The trial file, schema 1 (user_version); schema_2.sql adds to it. One trial a file; nothing is ever deleted from it.
-- Times are UTC, ISO 8601 to the second. Texts are UTF-8. Digests are SHA-256, hexadecimal.

-- Who did something. Made on first use.
CREATE TABLE person (
    id   INTEGER PRIMARY KEY,   -- number, no unit
    name TEXT NOT NULL UNIQUE   -- as given with --by
) STRICT;

-- The protocol that the trial was laid out from. Exactly one row.
CREATE TABLE trial (
    id         INTEGER PRIMARY KEY CHECK (id = 1),          -- always 1
    protocol   TEXT NOT NULL,                               -- the whole text of the protocol file
    file       TEXT NOT NULL,                               -- its name when the trial was laid out
    digest     TEXT NOT NULL CHECK (length(digest) = 64),   -- SHA-256 of the text
    program    TEXT NOT NULL,                               -- version of the program that made the file
    created_at TEXT NOT NULL,                               -- UTC
    created_by INTEGER NOT NULL REFERENCES person (id)      -- who laid it out
) STRICT;

-- How chance drew. Exactly one row.
CREATE TABLE layout (
    id       INTEGER PRIMARY KEY CHECK (id = 1),          -- always 1
    kind     TEXT NOT NULL,                               -- key of the layout kind
    describe TEXT NOT NULL,                               -- the sentences for the report
    seed     TEXT NOT NULL,                               -- 64-bit whole number in decimal digits
    version  INTEGER NOT NULL,                            -- of the randomisation algorithm
    digest   TEXT NOT NULL CHECK (length(digest) = 64),   -- SHA-256 of all places and levels
    drawn_at TEXT NOT NULL                                -- UTC
) STRICT;

-- Every thing in the orchard that the layout placed, parents before children.
CREATE TABLE placed (
    id     INTEGER PRIMARY KEY,                  -- 0, 1, 2 ... in the layout's order
    unit   TEXT NOT NULL,                        -- name of its unit in the protocol
    number INTEGER NOT NULL CHECK (number > 0),  -- 1, 2 ... inside its parent
    label  TEXT NOT NULL                         -- unique inside its parent
) STRICT;

-- What each placed thing stands in: one row, or one for each of crossed parents.
CREATE TABLE placed_parent (
    placed   INTEGER NOT NULL REFERENCES placed (id),
    position INTEGER NOT NULL,                          -- 0, 1 ... in the protocol's order
    parent   INTEGER NOT NULL REFERENCES placed (id),
    PRIMARY KEY (placed, position)
) STRICT, WITHOUT ROWID;

-- What chance put on it.
CREATE TABLE placed_level (
    placed    INTEGER NOT NULL REFERENCES placed (id),
    treatment TEXT NOT NULL,                            -- name in the protocol
    level     TEXT NOT NULL,                            -- as written in the protocol
    PRIMARY KEY (placed, treatment)
) STRICT, WITHOUT ROWID;

-- A data file that brought observations.
CREATE TABLE import (
    id          INTEGER PRIMARY KEY,                         -- number, no unit
    file        TEXT NOT NULL,                               -- its name as the user gave it
    digest      TEXT NOT NULL CHECK (length(digest) = 64),   -- SHA-256 of its bytes
    recorded_at TEXT NOT NULL,                               -- UTC
    recorded_by INTEGER NOT NULL REFERENCES person (id),     -- who recorded it
    reason      TEXT NOT NULL                                -- why values were corrected; '' if not given
) STRICT;

-- A thing that something was measured on. Placed things are told by the layout; sampled ones
-- by the labels of thing_label; things without any label by the file and row they came with.
CREATE TABLE thing (
    id         INTEGER PRIMARY KEY,            -- number, no unit
    key        TEXT NOT NULL UNIQUE,           -- what tells it from all others (observations.h)
    unit       TEXT NOT NULL,                  -- name of its unit in the protocol
    parent_key TEXT NOT NULL,                  -- the same of what it stands in; '' if outermost
    row_digest TEXT                            -- digest of its file if only its row tells it
) STRICT;
CREATE INDEX thing_by_parent ON thing (parent_key, unit) WHERE row_digest IS NOT NULL;

-- The placed things that it is, or stands in.
CREATE TABLE thing_place (
    thing  INTEGER NOT NULL REFERENCES thing (id),
    placed INTEGER NOT NULL REFERENCES placed (id),
    PRIMARY KEY (thing, placed)
) STRICT, WITHOUT ROWID;

-- Labels and levels that are not in the layout: of sampled units, and of things that the
-- data tell in their own way.
CREATE TABLE thing_label (
    thing  INTEGER NOT NULL REFERENCES thing (id),
    column TEXT NOT NULL,                           -- unit, treatment or other label column
    label  TEXT NOT NULL,
    PRIMARY KEY (thing, column)
) STRICT, WITHOUT ROWID;

-- Values. Revision 1 is the first; a correction is the next revision, and the old one stays.
CREATE TABLE observation (
    id       INTEGER PRIMARY KEY,                        -- in the order of recording
    thing    INTEGER NOT NULL REFERENCES thing (id),
    season   TEXT NOT NULL,                              -- as in the protocol; '' without seasons
    quantity TEXT NOT NULL,                              -- variate, covariate or count column
    revision INTEGER NOT NULL CHECK (revision > 0),
    value    TEXT,                                       -- exact decimal text in the protocol's unit,
                                                         -- or the class; NULL: looked at, no value
    row      INTEGER NOT NULL CHECK (row > 0),           -- row of the file, 1 below its header
    import   INTEGER NOT NULL REFERENCES import (id),    -- which file, by whom, when, why
    UNIQUE (thing, season, quantity, revision)
) STRICT;
