-- +goose Up
-- The stage may be left empty: a new harvest said "at harvest" that nobody had entered. The rule on the column cannot be
-- changed in place, so a new column takes its values over; the rows themselves, and all that points to them, stay.
ALTER TABLE harvests RENAME COLUMN stage TO old_stage;
ALTER TABLE harvests ADD COLUMN stage TEXT NOT NULL DEFAULT '' CHECK (stage IN ('', 'young', 'at harvest', 'cured', 'stored'));
UPDATE harvests SET stage = old_stage;
ALTER TABLE harvests DROP COLUMN old_stage;

-- +goose Down
SELECT 1; -- a book is never taken back: restore a backup
