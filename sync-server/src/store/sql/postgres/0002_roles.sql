-- As ../0002_roles.sql does; no server kept a farm in PostgreSQL before there were roles.
ALTER TABLE pointdown.device ADD COLUMN role TEXT NOT NULL DEFAULT 'helper';
UPDATE pointdown.device SET role = 'reader' WHERE kind = 'screen';
UPDATE pointdown.device SET role = 'owner' WHERE id IN (
    SELECT DISTINCT ON (farm) id FROM pointdown.device
    WHERE kind = 'phone' AND revoked_at IS NULL ORDER BY farm, joined_at, id
);

ALTER TABLE pointdown.device ADD COLUMN next_token BYTEA UNIQUE;
ALTER TABLE pointdown.invite ADD COLUMN role TEXT NOT NULL DEFAULT 'helper';
ALTER TABLE pointdown.invite ADD COLUMN made_by BYTEA;

CREATE TABLE pointdown.audit (
    farm   BYTEA NOT NULL REFERENCES pointdown.farm (id),
    n      BIGINT NOT NULL,
    at     BIGINT NOT NULL,
    event  TEXT NOT NULL,
    by     BYTEA,
    device BYTEA,
    role   TEXT,
    PRIMARY KEY (farm, n)
);

ALTER TABLE pointdown.farm ADD COLUMN folded BIGINT NOT NULL DEFAULT 0;
