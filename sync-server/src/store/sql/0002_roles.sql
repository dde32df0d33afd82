-- Until now every phone could invite and shut out. The first one of a farm that is still in goes
-- on as its owner; the others may log as before.
ALTER TABLE device ADD COLUMN role TEXT NOT NULL DEFAULT 'helper';
UPDATE device SET role = 'reader' WHERE kind = 'screen';
UPDATE device SET role = 'owner' WHERE id IN (
    SELECT (SELECT id FROM device AS d
            WHERE d.farm = farm.id AND d.kind = 'phone' AND d.revoked_at IS NULL
            ORDER BY joined_at, id LIMIT 1)
    FROM farm
);

-- The SHA-256 hash of a token that was given and not used yet. At its first use it takes the place
-- of the other one.
ALTER TABLE device ADD COLUMN next_token BLOB;
CREATE UNIQUE INDEX device_next_token ON device (next_token);

-- What the device that comes with the invite may do, and which device made it.
ALTER TABLE invite ADD COLUMN role TEXT NOT NULL DEFAULT 'helper';
ALTER TABLE invite ADD COLUMN made_by BLOB;

-- What happened to those who belong to a farm. `by` is the device that did it, nothing for whoever
-- runs the server.
CREATE TABLE audit (
    farm   BLOB NOT NULL REFERENCES farm (id),
    n      INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    event  TEXT NOT NULL,
    by     BLOB,
    device BLOB,
    role   TEXT,
    PRIMARY KEY (farm, n)
) WITHOUT ROWID;

-- Changes up to this number may have no bytes any more (`bytes` is empty then); the saved form of
-- their document holds them.
ALTER TABLE farm ADD COLUMN folded INTEGER NOT NULL DEFAULT 0;
