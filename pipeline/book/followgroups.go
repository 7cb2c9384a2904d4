package book

import (
	"context"
	"database/sql"
	"slices"
	"strconv"
	"strings"
)

// What was written down or decided by hand on a group follows the group: its number is of one measurement only.

// noGroup is said of what belonged to a group whose fruit went to several others.
const noGroup = "no group of the newest measurement holds most of its fruit"

// groupsBefore are the groups of the measurement before and what they are called now.
type groupsBefore struct {
	had map[int]bool
	to  map[int]int // the group that holds more than half of the same fruit; none: they went apart
	max int         // greatest number of a group now
}

func (r *recorder) groupsBefore(ctx context.Context, tx *sql.Tx) (*groupsBefore, error) {
	g := &groupsBefore{had: map[int]bool{}, to: map[int]int{}}
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var from, now, n, all int
		if err := rows.Scan(&from, &now, &n, &all); err != nil {
			return err
		}
		g.had[from] = true
		if now > 0 && 2*n > all {
			g.to[from] = now
		}
		return nil
	}, `SELECT a.grp, coalesce(b.grp, 0), count(*), (SELECT count(*) FROM memberships x WHERE x.run_id = ?1 AND x.grp = a.grp)
		FROM memberships a JOIN measurements ma ON ma.id = a.measurement_id
		LEFT JOIN (memberships b JOIN measurements mb ON mb.id = b.measurement_id AND b.run_id = ?2) ON mb.fruit_id = ma.fruit_id
		WHERE a.run_id = ?1 GROUP BY a.grp, b.grp`, r.prev, r.rid)
	if err != nil {
		return nil, err
	}
	return g, tx.QueryRowContext(ctx, "SELECT coalesce(max(grp), 0) FROM memberships WHERE run_id = ?", r.rid).Scan(&g.max)
}

// followGroups gives observations and decisions on groups the new numbers of their groups.
func (r *recorder) followGroups(ctx context.Context, tx *sql.Tx) error {
	if r.prev == 0 {
		return nil
	}
	g, err := r.groupsBefore(ctx, tx)
	if err != nil {
		return err
	}
	obs, err := groupObservations(ctx, tx, r.hid)
	if err != nil {
		return err
	}
	for id, n := range obs {
		now, ok := g.to[n]
		lost := ""
		if !ok {
			now, lost = n, noGroup
		}
		if _, err := tx.ExecContext(ctx, "UPDATE observations SET grp = ?, lost = ? WHERE id = ?", now, lost, id); err != nil {
			return err
		}
	}
	return r.followDecisions(ctx, tx, g)
}

func groupObservations(ctx context.Context, tx *sql.Tx, harvest int64) (map[int64]int, error) {
	out := map[int64]int{}
	err := each(ctx, tx, func(rows *sql.Rows) error {
		var id int64
		var g int
		err := rows.Scan(&id, &g)
		out[id] = g
		return err
	}, "SELECT id, grp FROM observations WHERE harvest_id = ? AND grp IS NOT NULL AND lost = ''", harvest)
	return out, err
}

// groupDecision is a fruit that was put into a group by hand, or the name of a group.
type groupDecision struct {
	id    int64
	group int
	name  string // ": NAME" of a group name
	fruit bool
}

func groupDecisions(ctx context.Context, tx *sql.Tx, harvest int64) (out []groupDecision, err error) {
	err = each(ctx, tx, func(rows *sql.Rows) error {
		var d groupDecision
		var kind, value string
		if err := rows.Scan(&d.id, &kind, &value); err != nil {
			return err
		}
		d.fruit = kind == "group"
		n, name, named := strings.Cut(value, ":")
		if named {
			d.name = ":" + name
		}
		if d.group, err = strconv.Atoi(n); err == nil { // others were written by hand: left alone
			out = append(out, d)
		}
		return nil
	}, "SELECT id, kind, value FROM decisions WHERE harvest_id = ? AND (kind = 'group' OR kind = 'group name' AND lost = '') ORDER BY id", harvest)
	return out, err
}

// followDecisions lets fruit that were put together by hand stay together, in the group of now that holds most of the
// fruit they were put to. A group that was made by hand, or whose other fruit went apart, gets a number that no
// computed group has. A name goes with its group.
func (r *recorder) followDecisions(ctx context.Context, tx *sql.Tx, g *groupsBefore) error {
	all, err := groupDecisions(ctx, tx, r.hid)
	if err != nil {
		return err
	}
	filled := map[int]bool{} // by hand
	taken := map[int]bool{}
	var numbers []int
	for _, d := range all {
		filled[d.group] = filled[d.group] || d.fruit
		numbers = append(numbers, d.group)
	}
	slices.Sort(numbers)
	numbers = slices.Compact(numbers)
	free := g.max + 1
	for _, n := range numbers {
		if !g.had[n] && n > g.max {
			g.to[n], taken[n] = n, true
		}
	}
	for _, n := range numbers {
		if _, ok := g.to[n]; ok || g.had[n] && !filled[n] {
			continue
		}
		for taken[free] {
			free++
		}
		g.to[n], taken[free] = free, true
	}
	for _, d := range all {
		now, ok := g.to[d.group]
		if !ok { // a name of fruit that went apart
			_, err = tx.ExecContext(ctx, "UPDATE decisions SET lost = ? WHERE id = ?", noGroup, d.id)
		} else {
			_, err = tx.ExecContext(ctx, "UPDATE decisions SET value = ? WHERE id = ?", strconv.Itoa(now)+d.name, d.id)
		}
		if err != nil {
			return err
		}
	}
	return nil
}
