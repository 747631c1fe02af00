-- The trial file, from schema 1 to schema 2: real trees, hand changes, looks at the data.

-- The list of trees that the layout was given. At most one row.
CREATE TABLE tree_list (
    id      INTEGER PRIMARY KEY CHECK (id = 1),          -- always 1
    file    TEXT NOT NULL,                               -- its name when the trial was laid out
    digest  TEXT NOT NULL CHECK (length(digest) = 64),   -- SHA-256 of the file's own bytes
    text    TEXT NOT NULL,                               -- the list as CSV
    reach_m TEXT NOT NULL                                -- greatest distance asked for inside a block, metres; 0: found
) STRICT;

-- Which tree of the list each placed thing is.
CREATE TABLE placed_tree (
    placed INTEGER PRIMARY KEY REFERENCES placed (id),
    line   INTEGER NOT NULL CHECK (line > 0)             -- of the list
) STRICT;

-- What was done otherwise than chance had drawn. The drawn level stays in placed_level.
CREATE TABLE layout_change (
    id         INTEGER PRIMARY KEY,                      -- in the order of the changes
    placed     INTEGER NOT NULL REFERENCES placed (id),
    treatment  TEXT NOT NULL,                            -- name in the protocol
    level      TEXT NOT NULL,                            -- what it got instead
    changed_at TEXT NOT NULL,                            -- UTC
    changed_by INTEGER NOT NULL REFERENCES person (id),  -- who says so
    reason     TEXT NOT NULL CHECK (length(reason) > 0)  -- why
) STRICT;

-- Each time that results were looked at with data that had not been looked at before.
CREATE TABLE look (
    id        INTEGER PRIMARY KEY,                       -- in the order of the looks
    looked_at TEXT NOT NULL,                             -- UTC
    looked_by INTEGER NOT NULL REFERENCES person (id),
    variate   TEXT NOT NULL,                             -- name in the protocol
    units     INTEGER NOT NULL CHECK (units > 0),        -- things with a value by then
    UNIQUE (variate, units)
) STRICT;
