package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Check looks for damage and returns a sentence for each problem, none when the book is sound.
func (b *Book) Check(ctx context.Context) ([]string, error) {
	var out []string
	err := b.read(ctx, func(tx *sql.Tx) error {
		if err := each(ctx, tx, func(rows *sql.Rows) error {
			var s string
			if err := rows.Scan(&s); err != nil {
				return err
			}
			if s != "ok" {
				out = append(out, "the file is damaged: "+s+"; restore a backup")
			}
			return nil
		}, "PRAGMA integrity_check"); err != nil {
			return err
		}
		if err := each(ctx, tx, func(rows *sql.Rows) error {
			var table, parent string
			var row sql.NullInt64
			var fk int
			if err := rows.Scan(&table, &row, &parent, &fk); err != nil {
				return err
			}
			out = append(out, fmt.Sprintf("row %d of %s points to a missing row of %s; restore a backup", row.Int64, table, parent))
			return nil
		}, "PRAGMA foreign_key_check"); err != nil {
			return err
		}
		for _, c := range checks {
			if err := each(ctx, tx, func(rows *sql.Rows) error {
				var a, d string
				if err := rows.Scan(&a, &d); err != nil {
					return err
				}
				out = append(out, fmt.Sprintf(c.says, a, d))
				return nil
			}, c.query); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("check book %q: %w", b.path, err)
	}
	return out, nil
}

// checks are rules that the tables themselves cannot hold. Each query gives two texts.
var checks = []struct{ query, says string }{
	{`SELECT h.name, r.revision FROM runs r JOIN harvests h ON h.id = r.harvest_id WHERE r.finished IS NULL`,
		"harvest %q: the recording of measurement %s was stopped; run it again to finish it"},
	{`SELECT p.name, m.number FROM measurements m JOIN photos p ON p.id = m.photo_id JOIN runs r ON r.id = p.run_id JOIN fruits f ON f.id = m.fruit_id
		WHERE f.harvest_id <> r.harvest_id`, "photo %q: fruit %s belongs to another harvest"},
	{`SELECT p.name, m.number FROM measurements m JOIN photos p ON p.id = m.photo_id GROUP BY p.id, m.fruit_id HAVING count(*) > 1`,
		"photo %q: fruit %s is in one measurement twice"},
	{`SELECT h.name, p.number FROM harvest_plantings hp JOIN harvests h ON h.id = hp.harvest_id JOIN plants p ON p.planting_id = hp.planting_id
		GROUP BY hp.harvest_id, p.number HAVING count(*) > 1`, "harvest %q: plant %s is in two of its plantings; give one another number"},
}

// Backup writes a whole, compact copy of the book to file, also while others use the book. It does not
// overwrite.
func (b *Book) Backup(ctx context.Context, file string) error {
	if _, err := os.Stat(file); err == nil {
		return fmt.Errorf("back up to %q: %w; name a new file", file, fs.ErrExist)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("back up to %q: %w", file, err)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(file), ".offtype-backup-*")
	if err != nil {
		return fmt.Errorf("back up to %q: %w", file, err)
	}
	defer os.RemoveAll(tmp)
	part := filepath.Join(tmp, "part")
	if _, err := b.ro.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		return fmt.Errorf("back up to %q: %w", file, plain(err))
	}
	if err := os.Chmod(part, 0o600); err != nil { // for its owner alone, as a new book
		return fmt.Errorf("back up to %q: %w", file, err)
	}
	if err := os.Rename(part, file); err != nil {
		return fmt.Errorf("back up to %q: %w", file, err)
	}
	return nil
}
