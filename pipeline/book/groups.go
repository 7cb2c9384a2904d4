package book

import (
	"context"
	"database/sql"
	"fmt"
	"slices"

	"offtype/pipeline/record"
)

// putGroups writes groups.csv.
func (r *recorder) putGroups(ctx context.Context, tx *sql.Tx) error {
	st, err := tx.PrepareContext(ctx, `INSERT INTO memberships (run_id, seq, measurement_id, photo, fruit, plant, grp, membership, unsure, alone)
		VALUES (?1, ?2, (SELECT m.id FROM measurements m JOIN photos p ON p.id = m.photo_id WHERE p.run_id = ?1 AND p.name = ?3 AND m.number = ?4), ?3, ?4, ?5, ?6, ?7, ?8, ?9)`)
	if err != nil {
		return err
	}
	defer st.Close()
	for i, g := range r.run.Groups {
		if _, err := st.ExecContext(ctx, r.rid, i, g.Photo, g.Number, g.Plant, g.Group, number(g.Membership), g.Unsure, g.Alone); err != nil {
			return err
		}
	}
	return nil
}

// putVerdicts writes the verdicts of judgement.json; the finding on the lot is in the runs table.
func (r *recorder) putVerdicts(ctx context.Context, tx *sql.Tx) error {
	st, err := tx.PrepareContext(ctx, "INSERT INTO verdicts (run_id, subject, seq, photo, fruit, plant, grp, verdict, distance, p, detail) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)")
	if err != nil {
		return err
	}
	defer st.Close()
	put := func(subject string, seq int, v any, cols ...any) error {
		d, err := encode(v, nil)
		if err != nil {
			return err
		}
		_, err = st.ExecContext(ctx, append(append([]any{r.rid, subject, seq}, cols...), d)...)
		return err
	}
	for i, v := range r.run.Judgement.Fruits {
		if err := put("fruit", i, v, v.Photo, v.Fruit, v.Plant, v.Group, string(v.Verdict), v.Distance, v.P); err != nil {
			return err
		}
	}
	for i, v := range r.run.Judgement.Groups {
		if err := put("group", i, v, nil, nil, nil, v.Group, string(v.Verdict), v.Distance, nil); err != nil {
			return err
		}
	}
	for i, v := range r.run.Judgement.Plants {
		if err := put("plant", i, v, nil, nil, v.Plant, nil, string(v.Verdict), nil, nil); err != nil {
			return err
		}
	}
	return nil
}

// plants returns the plant numbers of the run, sorted.
func (r *recorder) plants() []string {
	seen := map[string]bool{}
	for i := range r.run.Fruits {
		seen[r.run.Fruits[i].Plant] = true
	}
	for _, p := range r.run.Photos {
		for n := range p.Tags {
			seen[fmt.Sprint(n)] = true
		}
	}
	delete(seen, "")
	out := make([]string, 0, len(seen))
	for p := range seen {
		out = append(out, p)
	}
	slices.SortFunc(out, record.ComparePlants)
	return out
}
