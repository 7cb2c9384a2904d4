package book

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"
)

// A harvest keeps everything under its new name, and measuring it again goes on there.
func TestRenameHarvest(t *testing.T) {
	ctx := context.Background()
	b, run := recorded(t)
	fill(t, b)
	must(t, b.AddObservation(ctx, "2026", Subject{Plant: "1"}, "taste", "7", "", Observation{}, false))
	must(t, b.AddNote(ctx, "harvest", "2026", "wet autumn", ""))
	before, err := b.Harvest(ctx, "2026")
	must(t, err)
	_, err = b.RecordRun(ctx, "other", "", sample(5, 1, 2))
	must(t, err)
	if err := b.RenameHarvest(ctx, "2026", "other"); err == nil || !strings.Contains(err.Error(), "already") {
		t.Errorf("two harvests of one name: %v", err)
	}
	must(t, b.RenameHarvest(ctx, "2026", "2026 squash"))
	if _, err := b.Harvest(ctx, "2026"); !errors.Is(err, ErrNotFound) {
		t.Errorf("the old name: %v", err)
	}
	run.Settings["again"] = "yes"
	_, err = b.RecordRun(ctx, "2026 squash", "L-1", run)
	must(t, err)
	now, err := b.Harvest(ctx, "2026 squash")
	must(t, err)
	if len(now.Plants) != len(before.Plants) || len(now.Observations) != len(before.Observations) || len(now.Notes) != 2 || now.Revision != before.Revision+1 {
		t.Errorf("%d plants, %d observations, notes %q, measurement %d; before %d, %d, measurement %d", len(now.Plants), len(now.Observations), now.Notes, now.Revision,
			len(before.Plants), len(before.Observations), before.Revision)
	}
	must(t, b.Set(ctx, "plant", "2026 squash/1", map[string]string{"leaf": "silvery"}))
	if said, err := b.Check(ctx); err != nil || len(said) > 0 {
		t.Errorf("check: %q, %v", said, err)
	}
}

// Deleting takes the harvest and what was written on it, and nothing else: seed lots, other harvests, and plants that
// something was written down of.
func TestDeleteHarvest(t *testing.T) {
	ctx := context.Background()
	b, _ := recorded(t)
	_, err := b.RecordRun(ctx, "other", "L-1", sample(5, 1, 2))
	must(t, err)
	must(t, b.AddObservation(ctx, "2026", Subject{Photo: "table-1.jpg", Fruit: 1}, "taste", "7", "", Observation{}, false))
	must(t, b.AddNote(ctx, "harvest", "2026", "wet autumn", ""))
	must(t, b.Set(ctx, "plant", "2026/2", map[string]string{"leaf": "silvery"}))
	must(t, b.Backup(ctx, filepath.Join(t.TempDir(), "before.book")))
	must(t, b.DeleteHarvest(ctx, "2026"))
	list, err := b.ListHarvests(ctx)
	must(t, err)
	if len(list) != 1 || list[0].Name != "other" || list[0].Fruits != 2 {
		t.Errorf("left over: %+v", list)
	}
	lots, err := b.Lots(ctx)
	must(t, err)
	if len(lots) != 1 {
		t.Errorf("lots: %+v", lots)
	}
	tables, err := b.Tables(ctx, ExportOptions{})
	must(t, err)
	for _, x := range tables {
		want := map[string]int{"plants": 2, "notes": 0, "observations": 0} // 2026/2 and that of the other
		if n, ok := want[x.Name]; ok && len(x.Rows) != n {
			t.Errorf("%d rows in %s, want %d: %v", len(x.Rows), x.Name, n, x.Rows)
		}
	}
	if err := b.DeleteHarvest(ctx, "2026"); !errors.Is(err, ErrNotFound) {
		t.Errorf("deleted twice: %v", err)
	}
	if said, err := b.Check(ctx); err != nil || len(said) > 0 {
		t.Errorf("check: %q, %v", said, err)
	}
}
