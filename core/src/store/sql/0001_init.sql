-- What this installation knows of itself: farm, actor, sync state.
CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value BLOB NOT NULL
) WITHOUT ROWID;

-- The truth: one row for each document, one for each change that is not folded into `saved` yet.
CREATE TABLE doc (
    name   TEXT PRIMARY KEY,
    digest BLOB NOT NULL,
    n      INTEGER NOT NULL,
    saved  BLOB
) WITHOUT ROWID;

CREATE TABLE change (
    seq   INTEGER PRIMARY KEY,
    doc   TEXT NOT NULL,
    hash  BLOB NOT NULL,
    bytes BLOB NOT NULL,
    UNIQUE (doc, hash)
);

-- The highest number of each actor in each document: numbers rise by one without a gap.
CREATE TABLE actor (
    doc   TEXT NOT NULL,
    actor BLOB NOT NULL,
    n     INTEGER NOT NULL,
    PRIMARY KEY (doc, actor)
) WITHOUT ROWID;

-- Changes that the server has not acknowledged.
CREATE TABLE outbox (
    seq  INTEGER PRIMARY KEY AUTOINCREMENT,
    doc  TEXT NOT NULL,
    hash BLOB NOT NULL,
    UNIQUE (doc, hash)
);

-- The view, from here on: everything below can be made anew from the changes.
CREATE TABLE record (
    id        TEXT PRIMARY KEY,
    doc       TEXT NOT NULL,
    kind      TEXT NOT NULL,
    at        INTEGER NOT NULL,
    day       TEXT NOT NULL,
    standing  INTEGER NOT NULL,
    why       TEXT,
    base      BLOB NOT NULL,
    fields    TEXT NOT NULL,
    conflicts TEXT,
    problem   TEXT,
    target    TEXT,
    op        INTEGER NOT NULL,
    actor     BLOB NOT NULL,
    hash      BLOB NOT NULL,
    made_at   INTEGER NOT NULL
) WITHOUT ROWID;
CREATE INDEX record_kind ON record (kind, at);
CREATE INDEX record_day ON record (day);
CREATE INDEX record_target ON record (target) WHERE target IS NOT NULL;

-- Writes that are no record, or came second under an id: kept by name, counted nowhere.
CREATE TABLE stray (
    doc   TEXT NOT NULL,
    key   TEXT NOT NULL,
    op    INTEGER NOT NULL,
    actor BLOB NOT NULL,
    hash  BLOB NOT NULL,
    why   TEXT NOT NULL,
    PRIMARY KEY (doc, key, op, actor)
) WITHOUT ROWID;

CREATE TABLE move (
    record  TEXT NOT NULL,
    n       INTEGER NOT NULL,
    at      INTEGER NOT NULL,
    day     TEXT NOT NULL,
    species TEXT NOT NULL,
    lot     TEXT NOT NULL,
    source  TEXT NOT NULL,
    dest    TEXT NOT NULL,
    eggs    INTEGER NOT NULL,
    PRIMARY KEY (record, n)
) WITHOUT ROWID;
CREATE INDEX move_when ON move (species, at);
CREATE INDEX move_day ON move (day);

CREATE TABLE balance (
    place   TEXT NOT NULL,
    species TEXT NOT NULL,
    lot     TEXT NOT NULL,
    eggs    INTEGER NOT NULL,
    PRIMARY KEY (place, species, lot)
) WITHOUT ROWID;

CREATE TABLE line (
    day     TEXT NOT NULL,
    measure TEXT NOT NULL,
    coop    TEXT NOT NULL,
    species TEXT NOT NULL,
    by      TEXT NOT NULL,
    detail  TEXT NOT NULL,
    n       INTEGER NOT NULL,
    PRIMARY KEY (day, measure, coop, species, by, detail)
) WITHOUT ROWID;
