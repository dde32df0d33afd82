-- One row: the epoch that every cursor of this store belongs to.
CREATE TABLE server (
    one   INTEGER PRIMARY KEY CHECK (one = 1),
    epoch BLOB NOT NULL
);

-- `n` counts the farm's changes. It is raised in the transaction that adds them, so numbers become
-- visible in their order and a cursor never skips one.
CREATE TABLE farm (
    id      BLOB PRIMARY KEY,
    n       INTEGER NOT NULL,
    made_at INTEGER NOT NULL
) WITHOUT ROWID;

-- `code` is the SHA-256 hash of the code. Without a farm the invite is open: it lets a device
-- bring its own farm or begin a new one.
CREATE TABLE invite (
    code    BLOB PRIMARY KEY,
    farm    BLOB REFERENCES farm (id),
    made_at INTEGER NOT NULL,
    expires INTEGER NOT NULL,
    used_at INTEGER
) WITHOUT ROWID;

-- `token` is the SHA-256 hash of the token.
CREATE TABLE device (
    id         BLOB PRIMARY KEY,
    farm       BLOB NOT NULL REFERENCES farm (id),
    name       TEXT NOT NULL,
    kind       TEXT NOT NULL,
    token      BLOB NOT NULL UNIQUE,
    joined_at  INTEGER NOT NULL,
    heard_at   INTEGER,
    revoked_at INTEGER
) WITHOUT ROWID;

CREATE INDEX device_farm ON device (farm, joined_at);

-- Which device an actor belongs to, or which one vouched for it.
CREATE TABLE actor (
    farm    BLOB NOT NULL REFERENCES farm (id),
    actor   BLOB NOT NULL,
    device  BLOB NOT NULL REFERENCES device (id),
    vouched INTEGER NOT NULL,
    at      INTEGER NOT NULL,
    PRIMARY KEY (farm, actor)
) WITHOUT ROWID;

-- The log. `device` is who brought the change; `relayed` says that another one made it; `last_op`
-- is the Lamport counter of its last write, from which those that build on it must go on.
CREATE TABLE change (
    farm     BLOB NOT NULL REFERENCES farm (id),
    n        INTEGER NOT NULL,
    doc      TEXT NOT NULL,
    hash     BLOB NOT NULL,
    actor    BLOB NOT NULL,
    seq      INTEGER NOT NULL,
    last_op  INTEGER NOT NULL,
    device   BLOB NOT NULL REFERENCES device (id),
    relayed  INTEGER NOT NULL,
    taken_at INTEGER NOT NULL,
    bytes    BLOB NOT NULL,
    PRIMARY KEY (farm, n)
) WITHOUT ROWID;

CREATE UNIQUE INDEX change_hash ON change (farm, doc, hash);
CREATE UNIQUE INDEX change_number ON change (farm, doc, actor, seq);
CREATE INDEX change_doc ON change (farm, doc, n);

-- The exclusive-or of the hashes of a document's changes, and their number.
CREATE TABLE doc (
    farm   BLOB NOT NULL REFERENCES farm (id),
    name   TEXT NOT NULL,
    digest BLOB NOT NULL,
    n      INTEGER NOT NULL,
    PRIMARY KEY (farm, name)
) WITHOUT ROWID;

-- A document's saved form with every change up to number `upto`: only to save time.
CREATE TABLE snapshot (
    farm  BLOB NOT NULL REFERENCES farm (id),
    doc   TEXT NOT NULL,
    upto  INTEGER NOT NULL,
    saved BLOB NOT NULL,
    PRIMARY KEY (farm, doc)
) WITHOUT ROWID;
