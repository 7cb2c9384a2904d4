package book

import (
	"bytes"
	"context"
	"strings"
	"testing"

	"offtype/pipeline/exchange"
)

// The sheet is written, filled in and read back, as XLSX and as CSV with semicolons and decimal commas.
func TestBenchSheet(t *testing.T) {
	ctx := context.Background()
	b, _ := recorded(t)
	sheet, err := b.BenchTable(ctx, "2026")
	must(t, err)
	if len(sheet.Rows) != 8+2+2 {
		t.Fatalf("%d rows, want 8 fruit, 2 plants, 2 groups", len(sheet.Rows))
	}
	col := map[string]int{}
	for i, f := range sheet.Fields {
		col[f.Name] = i
	}
	sheet.Rows[0][col["weight (g)"]] = "1012"
	sheet.Rows[0][col["taste (1–9)"]] = "7 nutty"
	sheet.Rows[0][col["date"]] = "46300" // how a spreadsheet keeps 2026-10-05
	sheet.Rows[1][col["weight (g)"]] = "0,998 kg"
	sheet.Rows[2][col["weight (g)"]] = "712 kg" // a slip
	sheet.Rows[3][col["rind_thumbnail"]] = "stone"
	sheet.Rows[8][col["disease"]] = "mildew"
	sheet.Rows[10][col["brix (°Bx)"]] = "11.5"
	var x bytes.Buffer
	must(t, exchange.WriteXLSX(&x, []exchange.Table{sheet}, exchange.Workbook{}))
	rows, err := exchange.RawXLSX(bytes.NewReader(x.Bytes()), "bench")
	must(t, err)
	got, err := b.ReadBench(ctx, "2026", rows, false)
	must(t, err)
	if got.Added != 5 || got.Changed != 0 || got.Same != 0 || len(got.Problems) != 2 {
		t.Errorf("read: %+v", got)
	}
	said := strings.Join(got.Problems, "\n")
	for _, want := range []string{"row 4, table-1.jpg/3: looks like a slip", "meant in g", "row 5, table-1.jpg/4", `"stone" is none of`} {
		if !strings.Contains(said, want) {
			t.Errorf("not said: %q in\n%s", want, said)
		}
	}
	h, err := b.Harvest(ctx, "2026")
	must(t, err)
	if o := h.Observations[0]; o.Date != "2026-10-05" || *o.Value != 1012 || o.Entered != "1012 g" {
		t.Errorf("first: %+v", o)
	}
	csv := "photo;fruit;weight (g);brix\ntable-1.jpg;1;1013;\ntable-1.jpg;2;998;11,2\ntable-9.jpg;1;5;\n"
	if rows, err = exchange.RawCSV(strings.NewReader(csv)); err != nil {
		t.Fatal(err)
	}
	if got, err = b.ReadBench(ctx, "2026", rows, false); err != nil {
		t.Fatal(err)
	}
	// Fruit 1 was weighed on a stated day, so that a weight without a day is another one.
	if got.Added != 2 || got.Same != 1 || len(got.Problems) != 1 || !strings.Contains(got.Problems[0], "table-9.jpg/1") {
		t.Errorf("second sheet: %+v", got)
	}
	// A corrected note or name is taken too; a sheet without them takes none away.
	for i, want := range []struct {
		csv            string
		changed, same  int
		observer, note string
	}{
		{"photo;fruit;weight (g);by;note\ntable-1.jpg;2;998;Åse;with its stalk\n", 1, 0, "Åse", "with its stalk"},
		{"photo;fruit;weight (g);by;note\ntable-1.jpg;2;998;Åse;without its stalk\n", 1, 0, "Åse", "without its stalk"},
		{"photo;fruit;weight (g)\ntable-1.jpg;2;998\n", 0, 1, "Åse", "without its stalk"},
		{"photo;fruit;weight (g)\ntable-1.jpg;2;1001\n", 1, 0, "Åse", "without its stalk"},
	} {
		if rows, err = exchange.RawCSV(strings.NewReader(want.csv)); err != nil {
			t.Fatal(err)
		}
		if got, err = b.ReadBench(ctx, "2026", rows, false); err != nil || got.Changed != want.changed || got.Same != want.same {
			t.Errorf("sheet %d: %+v, %v", i, got, err)
		}
		h, err := b.Harvest(ctx, "2026")
		must(t, err)
		for _, o := range h.Observations {
			if o.Photo == "table-1.jpg" && o.Fruit == 2 && o.Trait == "weight" && (o.By != want.observer || o.Note != want.note) {
				t.Errorf("sheet %d: by %q, note %q", i, o.By, o.Note)
			}
		}
	}
	for _, bad := range [][][]string{nil, {{"photo", "fruit"}}, {{"photo", "smell"}}} {
		if _, err := b.ReadBench(ctx, "2026", bad, false); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}
