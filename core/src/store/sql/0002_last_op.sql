-- The Lamport counter of the last write of a change, for holding the next one against it; nothing
-- where an earlier version kept the change.
ALTER TABLE change ADD COLUMN last_op INTEGER;
