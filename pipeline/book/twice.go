package book

import (
	"context"
	"database/sql"
	"strings"

	"offtype/pipeline/record"
)

// SamePhotos says that photos of the recorded harvest stand in the book under another name too.
type SamePhotos struct {
	Harvest string // the other one
	Photos  int
}

// twice notes when photos of this harvest stand in the book under another harvest too: comparing or pooling the two would
// count their fruit twice. Photos are told by their bytes.
func (r *recorder) twice(ctx context.Context) error {
	var files []any
	for i := range r.run.Photos {
		if p := &r.run.Photos[i]; p.SHA256 != "" && p.Status == record.StatusOK {
			files = append(files, p.SHA256)
		}
	}
	const most = 500 // values of one question to the book
	files = files[:min(len(files), most)]
	if len(files) == 0 {
		return nil
	}
	return r.b.read(ctx, func(tx *sql.Tx) error {
		rows, err := tx.QueryContext(ctx, `SELECT h.name, count(DISTINCT p.sha256) FROM photos p JOIN runs r ON r.id = p.run_id JOIN harvests h ON h.id = r.harvest_id
			WHERE r.id IN (SELECT max(id) FROM runs WHERE finished IS NOT NULL GROUP BY harvest_id) AND h.id <> ? AND p.sha256 IN (?`+strings.Repeat(", ?", len(files)-1)+`) GROUP BY h.name ORDER BY h.name`, append([]any{r.hid}, files...)...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var x SamePhotos
			if err := rows.Scan(&x.Harvest, &x.Photos); err != nil {
				return err
			}
			r.out.Twice = append(r.out.Twice, x)
		}
		return rows.Err()
	})
}
