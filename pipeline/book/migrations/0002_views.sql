-- +goose Up
-- For people who open the book with other SQLite programs: the newest measurement only.
CREATE VIEW newest_runs AS
  SELECT r.* FROM runs r WHERE r.finished IS NOT NULL
    AND r.revision = (SELECT max(x.revision) FROM runs x WHERE x.harvest_id = r.harvest_id AND x.finished IS NOT NULL);

CREATE VIEW newest_values AS
  SELECT h.name AS harvest, p.name AS photo, m.number AS fruit, m.plant, t.name AS trait, t.unit, v.value, v.u,
    p.sha256, r.program, r.revision, r.finished AS recorded
  FROM newest_runs r JOIN harvests h ON h.id = r.harvest_id JOIN photos p ON p.run_id = r.id
    JOIN measurements m ON m.photo_id = p.id JOIN measured v ON v.measurement_id = m.id JOIN traits t ON t.id = v.trait_id;

CREATE INDEX verdicts_plant ON verdicts(plant) WHERE subject = 'plant';

-- +goose Down
SELECT 1; -- a book is never taken back: restore a backup
