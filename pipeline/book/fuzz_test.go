package book

import (
	"bytes"
	"context"
	"path/filepath"
	"testing"

	"offtype/measure/geom"
	"offtype/pipeline/exchange"
	"offtype/pipeline/record"
)

// Whatever an imported file holds, the book takes it whole or refuses it, and what it took can be
// read or is refused by name; nothing panics.
func FuzzImport(f *testing.F) {
	ctx := context.Background()
	b, err := Open(ctx, filepath.Join(f.TempDir(), "seed.book"), Options{Now: clock})
	must(f, err)
	_, err = b.RecordRun(ctx, "h", "L", sample(1, 1, 1))
	must(f, err)
	tables, err := b.Tables(ctx, ExportOptions{})
	must(f, err)
	layout, err := b.Layout(ctx)
	must(f, err)
	b.Close()
	var text bytes.Buffer
	must(f, exchange.WriteJSON(&text, tables))
	f.Add(text.Bytes())
	f.Add([]byte(`{"format":"offtype tables 1","tables":{"harvests":[{"id":1,"name":"h"}]}}`))
	f.Fuzz(func(t *testing.T, in []byte) {
		got, err := exchange.ReadJSON(bytes.NewReader(in), layout)
		if err != nil {
			return
		}
		n, err := Open(ctx, filepath.Join(t.TempDir(), "n.book"), Options{Now: clock})
		must(t, err)
		defer n.Close()
		if n.Import(ctx, got) != nil {
			return
		}
		list, err := n.ListHarvests(ctx)
		must(t, err)
		for _, h := range list {
			n.LoadRun(ctx, h.Name)
			n.Harvest(ctx, h.Name)
		}
	})
}

func FuzzUnpackPoints(f *testing.F) {
	f.Add(packPoints([]geom.Px{{X: 1, Y: 2}, {X: -3.5, Y: 1e300}}))
	f.Add([]byte("x"))
	f.Fuzz(func(t *testing.T, in []byte) {
		pts, err := unpackPoints(in)
		if err != nil {
			return
		}
		again, err := unpackPoints(packPoints(pts))
		must(t, err)
		if !bytes.Equal(packPoints(again), packPoints(pts)) {
			t.Error("points changed")
		}
	})
}

func FuzzDecode(f *testing.F) {
	text, err := encode(sample(1, 1, 1).Fruits[0], nil)
	must(f, err)
	f.Add(text)
	f.Fuzz(func(t *testing.T, in string) {
		var fruit record.Fruit
		decode(in, &fruit)
	})
}
