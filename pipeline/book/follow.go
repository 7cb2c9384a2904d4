package book

import (
	"context"
	"database/sql"
	"fmt"
	"math"
	"sort"

	"offtype/measure/geom"
)

// minOverlap is the share of the joint area that two outlines of one fruit have in common at the
// least. A corrected outline keeps most of its area; neighbours share next to none (common
// practice in matching regions, no source).
const minOverlap = 0.5

// identify says which fruit of the book each fruit of p is, and makes those that are new. Fruit
// measured before are recognised by the overlap of their outlines; without outlines by number.
func (r *recorder) identify(ctx context.Context, tx *sql.Tx, p *photoRow) ([]int64, error) {
	ids := make([]int64, len(p.fruits))
	old, err := formerFruits(ctx, tx, r.hid, p.key())
	if err != nil {
		return nil, err
	}
	matchFruits(ids, old, p.fruits)
	for i, f := range p.fruits {
		if ids[i] != 0 {
			continue
		}
		id, err := insert(ctx, tx, "INSERT INTO fruits (harvest_id, photo_key, number) VALUES (?, ?, ?)", r.hid, p.key(), f.f.Number)
		if err != nil {
			return nil, err
		}
		ids[i] = id
	}
	return ids, nil
}

// former is a fruit as the last run that saw it found it.
type former struct {
	id      int64
	number  int
	outline []geom.Px
}

// formerFruits reads the fruit of a photo, by the photo's hash, from the runs before.
func formerFruits(ctx context.Context, tx *sql.Tx, harvest int64, key string) ([]former, error) {
	rows, err := tx.QueryContext(ctx, `SELECT m.fruit_id, m.number, o.points FROM fruits f
		JOIN measurements m ON m.id = (SELECT y.id FROM measurements y JOIN photos p ON p.id = y.photo_id JOIN runs r ON r.id = p.run_id
			WHERE y.fruit_id = f.id AND r.finished IS NOT NULL ORDER BY r.revision DESC LIMIT 1)
		LEFT JOIN outlines o ON o.measurement_id = m.id AND o.part = 'outline'
		WHERE f.harvest_id = ? AND f.photo_key = ? ORDER BY f.id`, harvest, key)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []former
	for rows.Next() {
		var f former
		var pts []byte
		if err := rows.Scan(&f.id, &f.number, &pts); err != nil {
			return nil, err
		}
		if pts != nil {
			if f.outline, err = unpackPoints(pts); err != nil {
				return nil, err
			}
		}
		out = append(out, f)
	}
	return out, rows.Err()
}

// matchFruits sets ids[i] to the former fruit that fruit i is: best overlap first, each fruit once.
func matchFruits(ids []int64, old []former, now []fruitRow) {
	type pair struct {
		o, n    int
		overlap float64
		same    bool
	}
	var pairs []pair
	for o := range old {
		for n := range now {
			same := old[o].number == now[n].f.Number
			if len(old[o].outline) < 3 || len(now[n].f.Outline) < 3 {
				if same { // no outline to compare: the number decides
					pairs = append(pairs, pair{o, n, 0, true})
				}
				continue
			}
			if v := overlap(old[o].outline, now[n].f.Outline); v >= minOverlap {
				pairs = append(pairs, pair{o, n, v, same})
			}
		}
	}
	sort.SliceStable(pairs, func(i, j int) bool {
		if pairs[i].overlap != pairs[j].overlap {
			return pairs[i].overlap > pairs[j].overlap
		}
		return pairs[i].same && !pairs[j].same
	})
	used := map[int]bool{}
	for _, p := range pairs {
		if ids[p.n] == 0 && !used[p.o] {
			ids[p.n], used[p.o] = old[p.o].id, true
		}
	}
}

// overlap returns the area two closed outlines have in common over the area of both together,
// 0–1 (Jaccard index), from lengths on 200 lines across their joint height.
func overlap(a, b []geom.Px) float64 {
	const lines = 200
	alo, ahi := geom.Bounds(a)
	blo, bhi := geom.Bounds(b)
	if alo.X > bhi.X || blo.X > ahi.X || alo.Y > bhi.Y || blo.Y > ahi.Y {
		return 0
	}
	lo, hi := math.Min(alo.Y, blo.Y), math.Max(ahi.Y, bhi.Y)
	both, sum := 0.0, 0.0
	for i := range lines {
		y := lo + (float64(i)+0.5)*(hi-lo)/lines
		ca, cb := crossings(a, y), crossings(b, y)
		both += common(ca, cb)
		sum += length(ca) + length(cb)
	}
	if sum-both <= 0 {
		return 0
	}
	return both / (sum - both)
}

// crossings returns where the outline crosses the line at y, from left to right.
func crossings(o []geom.Px, y float64) []float64 {
	var x []float64
	for i, p := range o {
		q := o[(i+1)%len(o)]
		if (p.Y > y) != (q.Y > y) {
			x = append(x, p.X+(y-p.Y)*(q.X-p.X)/(q.Y-p.Y))
		}
	}
	sort.Float64s(x)
	return x
}

func length(x []float64) float64 {
	s := 0.0
	for i := 0; i+1 < len(x); i += 2 {
		s += x[i+1] - x[i]
	}
	return s
}

func common(a, b []float64) float64 {
	s := 0.0
	for i := 0; i+1 < len(a); i += 2 {
		for j := 0; j+1 < len(b); j += 2 {
			s += math.Max(0, math.Min(a[i+1], b[j+1])-math.Max(a[i], b[j]))
		}
	}
	return s
}

// follow checks that hand entries still have their fruit or group, moves those of groups to the
// group that now holds most of the same fruit, and says which could not follow.
func (r *recorder) follow(ctx context.Context, tx *sql.Tx) error {
	const gone = "the fruit is not in the newest measurement: no outline there overlaps it"
	for _, table := range []string{"observations", "decisions"} {
		if _, err := tx.ExecContext(ctx, `UPDATE `+table+` SET lost = CASE WHEN fruit_id IN
			(SELECT m.fruit_id FROM measurements m JOIN photos p ON p.id = m.photo_id WHERE p.run_id = ?) THEN '' ELSE ? END
			WHERE harvest_id = ? AND fruit_id IS NOT NULL`, r.rid, gone, r.hid); err != nil {
			return err
		}
	}
	if err := r.followGroups(ctx, tx); err != nil {
		return err
	}
	return r.sayLost(ctx, tx)
}

func (r *recorder) sayLost(ctx context.Context, tx *sql.Tx) error {
	rows, err := tx.QueryContext(ctx, `SELECT o.trait, f.number, f.photo_key, coalesce(o.grp, 0) FROM observations o LEFT JOIN fruits f ON f.id = o.fruit_id
		WHERE o.harvest_id = ?1 AND o.lost <> ''
		UNION ALL SELECT 'hand decision: ' || d.kind, f.number, f.photo_key, 0 FROM decisions d JOIN fruits f ON f.id = d.fruit_id WHERE d.harvest_id = ?1 AND d.lost <> ''
		UNION ALL SELECT 'the name “' || substr(d.value, instr(d.value, ': ') + 2) || '”', NULL, NULL, CAST(d.value AS INTEGER) FROM decisions d
			WHERE d.harvest_id = ?1 AND d.kind = 'group name' AND d.lost <> ''`, r.hid)
	if err != nil {
		return err
	}
	defer rows.Close()
	names := map[string]string{}
	for _, p := range r.photos {
		names[p.key()] = p.photo.Name
	}
	for rows.Next() {
		var trait string
		var n sql.NullInt64
		var key sql.NullString
		var grp int
		if err := rows.Scan(&trait, &n, &key, &grp); err != nil {
			return err
		}
		if grp != 0 {
			r.out.Said = append(r.out.Said, fmt.Sprintf("%s of group %d could not follow: its fruit are no longer together; enter it again for the new group", trait, grp))
			continue
		}
		photo, ok := names[key.String]
		if !ok {
			photo = "a photo that is no longer part of the harvest"
		}
		r.out.Said = append(r.out.Said, fmt.Sprintf("%s of fruit %d in %s could not follow: no outline of the new measurement overlaps it; it is kept in the book", trait, n.Int64, photo))
	}
	return rows.Err()
}
