-- The same tables as in SQLite; see ../0001_init.sql for what each is for.
CREATE TABLE pointdown.server (
    one   INTEGER PRIMARY KEY CHECK (one = 1),
    epoch BYTEA NOT NULL
);

-- Whoever writes to a farm's log locks its row first, raises `n` and commits: numbers become
-- visible in their order. A sequence would not do; its numbers become visible out of order.
CREATE TABLE pointdown.farm (
    id      BYTEA PRIMARY KEY,
    n       BIGINT NOT NULL,
    made_at BIGINT NOT NULL
);

CREATE TABLE pointdown.invite (
    code    BYTEA PRIMARY KEY,
    farm    BYTEA REFERENCES pointdown.farm (id),
    made_at BIGINT NOT NULL,
    expires BIGINT NOT NULL,
    used_at BIGINT
);

CREATE TABLE pointdown.device (
    id         BYTEA PRIMARY KEY,
    farm       BYTEA NOT NULL REFERENCES pointdown.farm (id),
    name       TEXT NOT NULL,
    kind       TEXT NOT NULL,
    token      BYTEA NOT NULL UNIQUE,
    joined_at  BIGINT NOT NULL,
    heard_at   BIGINT,
    revoked_at BIGINT
);

CREATE INDEX device_farm ON pointdown.device (farm, joined_at);

CREATE TABLE pointdown.actor (
    farm    BYTEA NOT NULL REFERENCES pointdown.farm (id),
    actor   BYTEA NOT NULL,
    device  BYTEA NOT NULL REFERENCES pointdown.device (id),
    vouched BOOLEAN NOT NULL,
    at      BIGINT NOT NULL,
    PRIMARY KEY (farm, actor)
);

CREATE TABLE pointdown.change (
    farm     BYTEA NOT NULL REFERENCES pointdown.farm (id),
    n        BIGINT NOT NULL,
    doc      TEXT NOT NULL,
    hash     BYTEA NOT NULL,
    actor    BYTEA NOT NULL,
    seq      BIGINT NOT NULL,
    last_op  BIGINT NOT NULL,
    device   BYTEA NOT NULL REFERENCES pointdown.device (id),
    relayed  BOOLEAN NOT NULL,
    taken_at BIGINT NOT NULL,
    bytes    BYTEA NOT NULL,
    PRIMARY KEY (farm, n)
);

CREATE UNIQUE INDEX change_hash ON pointdown.change (farm, doc, hash);
CREATE UNIQUE INDEX change_number ON pointdown.change (farm, doc, actor, seq);
CREATE INDEX change_doc ON pointdown.change (farm, doc, n);

CREATE TABLE pointdown.doc (
    farm   BYTEA NOT NULL REFERENCES pointdown.farm (id),
    name   TEXT NOT NULL,
    digest BYTEA NOT NULL,
    n      BIGINT NOT NULL,
    PRIMARY KEY (farm, name)
);

CREATE TABLE pointdown.snapshot (
    farm  BYTEA NOT NULL REFERENCES pointdown.farm (id),
    doc   TEXT NOT NULL,
    upto  BIGINT NOT NULL,
    saved BYTEA NOT NULL,
    PRIMARY KEY (farm, doc)
);
