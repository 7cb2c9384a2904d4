-- +goose Up
-- Where the result folder of a harvest lies on this computer, and with which options it was made. Like
-- the places of photos this is private: it is no part of an export.
CREATE TABLE places (
  harvest_id INTEGER PRIMARY KEY REFERENCES harvests(id) ON DELETE CASCADE,
  result TEXT NOT NULL,
  options TEXT NOT NULL DEFAULT '{}',
  noted TEXT NOT NULL
) STRICT;

-- +goose Down
SELECT 1; -- a book is never taken back: restore a backup
