-- A change that the server refused waits for the next exchange, so that it never holds up those
-- behind it.
ALTER TABLE outbox ADD COLUMN refused INTEGER NOT NULL DEFAULT 0;

-- What the review list asks. Part of the view, which is made anew after an upgrade.
ALTER TABLE record ADD COLUMN flagged INTEGER NOT NULL DEFAULT 0;
CREATE INDEX record_flagged ON record (id) WHERE flagged;
CREATE INDEX record_carton ON record (json_extract(fields, '$.carton'))
    WHERE kind IN ('out', 'cull');
CREATE INDEX move_lot ON move (lot);
CREATE INDEX balance_below ON balance (place, lot) WHERE eggs < 0;

-- Gathers of one coop and species, near in time, whose writers had not seen one another's.
CREATE TABLE twin (
    one   TEXT NOT NULL,
    other TEXT NOT NULL,
    PRIMARY KEY (one, other)
) WITHOUT ROWID;
CREATE INDEX twin_other ON twin (other);
