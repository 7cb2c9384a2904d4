-- +goose Up
PRAGMA application_id = 1868981876; -- "offt" in ASCII: marks the file as a harvest book

CREATE TABLE growers (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE CHECK (name <> ''),
  place TEXT NOT NULL DEFAULT '',
  country TEXT NOT NULL DEFAULT '',
  contact TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE beds (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE CHECK (name <> ''),
  grower_id INTEGER REFERENCES growers(id),
  length_m REAL CHECK (length_m > 0),
  width_m REAL CHECK (width_m > 0),
  soil TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE varieties (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE CHECK (name <> ''),
  species TEXT NOT NULL DEFAULT '',
  protected TEXT NOT NULL DEFAULT 'unknown' CHECK (protected IN ('yes', 'no', 'unknown')),
  note TEXT NOT NULL DEFAULT ''
) STRICT;

-- A verdict names the version it used; the text of every version used is kept.
CREATE TABLE descriptions (
  id INTEGER PRIMARY KEY,
  variety_id INTEGER NOT NULL REFERENCES varieties(id),
  version TEXT NOT NULL,
  sha256 TEXT NOT NULL DEFAULT '',
  text TEXT NOT NULL DEFAULT '',
  added TEXT NOT NULL,
  UNIQUE (variety_id, version, sha256)
) STRICT;

CREATE TABLE lots (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL UNIQUE CHECK (code <> ''),
  variety_id INTEGER REFERENCES varieties(id),
  supplier TEXT NOT NULL DEFAULT '',
  supplier_lot TEXT NOT NULL DEFAULT '',
  bought TEXT,
  packet TEXT NOT NULL DEFAULT '',
  seeds_sown INTEGER CHECK (seeds_sown >= 0),
  seeds_germinated INTEGER CHECK (seeds_germinated >= 0),
  sown TEXT,
  origin TEXT NOT NULL DEFAULT 'unknown' CHECK (origin IN ('own', 'bought', 'gift', 'unknown')),
  kind TEXT NOT NULL DEFAULT 'unknown' CHECK (kind IN ('open-pollinated', 'F1 hybrid', 'population', 'unknown')),
  generation TEXT NOT NULL DEFAULT '',
  mother_id INTEGER REFERENCES plants(id),
  father_id INTEGER REFERENCES plants(id),
  isolation_m REAL CHECK (isolation_m >= 0),
  pollination TEXT NOT NULL DEFAULT 'unknown' CHECK (pollination IN ('open', 'hand, closed', 'caged', 'unknown')),
  seed_left TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  CHECK (seeds_germinated IS NULL OR seeds_sown IS NULL OR seeds_germinated <= seeds_sown)
) STRICT;

CREATE TABLE plantings (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE CHECK (name <> ''),
  season INTEGER CHECK (season BETWEEN 1900 AND 2200),
  lot_id INTEGER REFERENCES lots(id),
  bed_id INTEGER REFERENCES beds(id),
  sown TEXT,
  planted TEXT,
  plants_set INTEGER CHECK (plants_set >= 0),
  isolation_m REAL CHECK (isolation_m >= 0),
  note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE plants (
  id INTEGER PRIMARY KEY,
  planting_id INTEGER NOT NULL REFERENCES plantings(id),
  number TEXT NOT NULL CHECK (number <> ''),
  lot_id INTEGER REFERENCES lots(id), -- only where it differs from the planting's
  control INTEGER NOT NULL DEFAULT 0 CHECK (control IN (0, 1)),
  habit TEXT NOT NULL DEFAULT '',
  leaf TEXT NOT NULL DEFAULT '',
  disease TEXT NOT NULL DEFAULT '',
  fate TEXT NOT NULL DEFAULT '', -- fruited, no fruit, died, rogued before flowering …
  flowered TEXT,
  first_ripe TEXT,
  fruit_count INTEGER CHECK (fruit_count >= 0),
  ripe_count INTEGER CHECK (ripe_count >= 0),
  weight_g REAL CHECK (weight_g >= 0),
  pollination TEXT NOT NULL DEFAULT 'unknown' CHECK (pollination IN ('open', 'hand, closed', 'caged', 'unknown')),
  note TEXT NOT NULL DEFAULT '',
  UNIQUE (planting_id, number)
) STRICT;

-- Pictures that are looked at, not measured. The file stays where it is; its hash is kept.
CREATE TABLE pictures (
  id INTEGER PRIMARY KEY,
  file TEXT NOT NULL,
  sha256 TEXT NOT NULL,
  kind TEXT NOT NULL CHECK (kind IN ('packet front', 'packet back', 'row', 'leaf', 'flower', 'vine', 'cut fruit', 'other')),
  taken TEXT,
  lot_id INTEGER REFERENCES lots(id),
  plant_id INTEGER REFERENCES plants(id),
  note TEXT NOT NULL DEFAULT '',
  CHECK ((lot_id IS NULL) <> (plant_id IS NULL))
) STRICT;

CREATE TABLE harvests (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE CHECK (name <> ''),
  season INTEGER CHECK (season BETWEEN 1900 AND 2200),
  picked TEXT,
  stage TEXT NOT NULL DEFAULT 'at harvest' CHECK (stage IN ('young', 'at harvest', 'cured', 'stored')),
  grower_id INTEGER REFERENCES growers(id),
  lot_id INTEGER REFERENCES lots(id),
  note TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE harvest_plantings (
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  planting_id INTEGER NOT NULL REFERENCES plantings(id) ON DELETE CASCADE,
  PRIMARY KEY (harvest_id, planting_id)
) STRICT, WITHOUT ROWID;

-- One row each time a harvest was measured. finished is empty until the last photo is in.
CREATE TABLE runs (
  id INTEGER PRIMARY KEY,
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  revision INTEGER NOT NULL,
  input TEXT NOT NULL, -- hash of the whole result: the same result again is the same revision
  program TEXT NOT NULL,
  settings TEXT NOT NULL,
  description_id INTEGER REFERENCES descriptions(id),
  lot_finding TEXT NOT NULL DEFAULT '{}',
  started TEXT NOT NULL,
  finished TEXT,
  detail TEXT NOT NULL DEFAULT '{}',
  judgement TEXT NOT NULL DEFAULT '{}',
  UNIQUE (harvest_id, revision)
) STRICT;

CREATE TABLE photos (
  id INTEGER PRIMARY KEY,
  run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
  seq INTEGER NOT NULL,
  name TEXT NOT NULL,
  sha256 TEXT NOT NULL,
  path TEXT NOT NULL DEFAULT '',
  status TEXT NOT NULL CHECK (status IN ('ok', 'failed', 'duplicate', 'listed')),
  taken TEXT NOT NULL DEFAULT '',
  make TEXT NOT NULL DEFAULT '',
  model TEXT NOT NULL DEFAULT '',
  message TEXT NOT NULL DEFAULT '',
  content TEXT NOT NULL, -- hash of photo and fruit as recorded
  detail TEXT NOT NULL,
  UNIQUE (run_id, name)
) STRICT;
CREATE INDEX photos_sha256 ON photos(sha256);

-- A fruit is the thing on the table: harvest + photo + the number it first got.
CREATE TABLE fruits (
  id INTEGER PRIMARY KEY,
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  photo_key TEXT NOT NULL, -- SHA-256 of the photo; "name:…" where there is no photo file
  number INTEGER NOT NULL
) STRICT;
CREATE INDEX fruits_key ON fruits(harvest_id, photo_key, number);

-- What one run found of a fruit.
CREATE TABLE measurements (
  id INTEGER PRIMARY KEY,
  photo_id INTEGER NOT NULL REFERENCES photos(id) ON DELETE CASCADE,
  fruit_id INTEGER NOT NULL REFERENCES fruits(id),
  seq INTEGER NOT NULL,
  number INTEGER NOT NULL,
  plant TEXT NOT NULL,
  x_px REAL,
  y_px REAL,
  pose TEXT NOT NULL,
  pattern TEXT NOT NULL,
  ribs INTEGER,
  notes TEXT NOT NULL,
  detail TEXT NOT NULL
) STRICT;
CREATE INDEX measurements_photo ON measurements(photo_id, number);
CREATE INDEX measurements_fruit ON measurements(fruit_id);

CREATE TABLE traits (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  unit TEXT NOT NULL
) STRICT;

CREATE TABLE measured (
  measurement_id INTEGER NOT NULL REFERENCES measurements(id) ON DELETE CASCADE,
  trait_id INTEGER NOT NULL REFERENCES traits(id),
  value REAL,
  u REAL, -- expanded uncertainty, k = 2, in the trait's unit
  PRIMARY KEY (measurement_id, trait_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE colours (
  measurement_id INTEGER NOT NULL REFERENCES measurements(id) ON DELETE CASCADE,
  part TEXT NOT NULL, -- skin, second, stalk
  l REAL, a REAL, b REAL, -- CIELAB, D65, 2°
  u REAL, -- ΔE00, k = 2
  PRIMARY KEY (measurement_id, part)
) STRICT, WITHOUT ROWID;

CREATE TABLE outlines (
  measurement_id INTEGER NOT NULL REFERENCES measurements(id) ON DELETE CASCADE,
  part TEXT NOT NULL, -- body, stalk, middle line
  points BLOB NOT NULL, -- see docs/book.md
  PRIMARY KEY (measurement_id, part)
) STRICT, WITHOUT ROWID;

CREATE TABLE memberships (
  id INTEGER PRIMARY KEY,
  run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
  seq INTEGER NOT NULL,
  measurement_id INTEGER REFERENCES measurements(id) ON DELETE CASCADE,
  photo TEXT NOT NULL,
  fruit INTEGER NOT NULL,
  plant TEXT NOT NULL,
  grp INTEGER NOT NULL,
  membership REAL,
  unsure INTEGER NOT NULL,
  alone INTEGER NOT NULL
) STRICT;
CREATE INDEX memberships_run ON memberships(run_id, seq);
CREATE INDEX memberships_measurement ON memberships(measurement_id);

CREATE TABLE verdicts (
  id INTEGER PRIMARY KEY,
  run_id INTEGER NOT NULL REFERENCES runs(id) ON DELETE CASCADE,
  subject TEXT NOT NULL CHECK (subject IN ('fruit', 'group', 'plant')),
  seq INTEGER NOT NULL,
  photo TEXT, fruit INTEGER, plant TEXT, grp INTEGER,
  verdict TEXT NOT NULL,
  distance REAL,
  p REAL,
  detail TEXT NOT NULL
) STRICT;
CREATE INDEX verdicts_run ON verdicts(run_id, subject, seq);

CREATE TABLE corrections (
  id INTEGER PRIMARY KEY,
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  photo_key TEXT NOT NULL,
  photo TEXT NOT NULL,
  body TEXT NOT NULL,
  made TEXT NOT NULL,
  made_by TEXT NOT NULL DEFAULT ''
) STRICT;

-- Written by hand: exactly one of fruit, plant or group.
CREATE TABLE observations (
  id INTEGER PRIMARY KEY,
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  fruit_id INTEGER REFERENCES fruits(id),
  plant_id INTEGER REFERENCES plants(id),
  grp INTEGER,
  trait TEXT NOT NULL,
  value REAL,
  words TEXT NOT NULL DEFAULT '',
  unit TEXT NOT NULL DEFAULT '',
  entered_as TEXT NOT NULL DEFAULT '',
  observed TEXT,
  observer TEXT NOT NULL DEFAULT '',
  note TEXT NOT NULL DEFAULT '',
  entered TEXT NOT NULL,
  lost TEXT NOT NULL DEFAULT '', -- why it could not follow its fruit or group
  CHECK ((fruit_id IS NOT NULL) + (plant_id IS NOT NULL) + (grp IS NOT NULL) = 1),
  CHECK (value IS NOT NULL OR words <> '')
) STRICT;
CREATE INDEX observations_harvest ON observations(harvest_id);
CREATE INDEX observations_fruit ON observations(fruit_id);

CREATE TABLE decisions (
  id INTEGER PRIMARY KEY,
  harvest_id INTEGER NOT NULL REFERENCES harvests(id) ON DELETE CASCADE,
  fruit_id INTEGER REFERENCES fruits(id),
  plant_id INTEGER REFERENCES plants(id),
  kind TEXT NOT NULL CHECK (kind IN ('group', 'verdict', 'group name', 'plant', 'not assessable')),
  value TEXT NOT NULL,
  reason TEXT NOT NULL DEFAULT '',
  made TEXT NOT NULL,
  made_by TEXT NOT NULL DEFAULT '',
  lost TEXT NOT NULL DEFAULT '',
  CHECK ((fruit_id IS NOT NULL) + (plant_id IS NOT NULL) <= 1)
) STRICT;
CREATE INDEX decisions_harvest ON decisions(harvest_id);
CREATE INDEX decisions_fruit ON decisions(fruit_id);

CREATE TABLE notes (
  id INTEGER PRIMARY KEY,
  subject TEXT NOT NULL CHECK (subject IN ('book', 'grower', 'bed', 'variety', 'lot', 'planting', 'plant', 'harvest')),
  subject_id INTEGER NOT NULL DEFAULT 0,
  text TEXT NOT NULL CHECK (text <> ''),
  made TEXT NOT NULL,
  made_by TEXT NOT NULL DEFAULT ''
) STRICT;

-- +goose Down
SELECT 1; -- a book is never taken back: restore a backup
