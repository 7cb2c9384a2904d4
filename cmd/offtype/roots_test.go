package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// rootTable writes roots without plant numbers, the first off of them short and thick; with tags each has its own.
func rootTable(t *testing.T, n, off int, tags bool, spread float64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(uint64(n), 2))
	var b strings.Builder
	b.WriteString("photo,fruit,plant,length_mm,width_mm,ratio\n")
	for i := 1; i <= n; i++ {
		l, w, plant := 180*(1+spread*r.NormFloat64()), 32*(1+spread*r.NormFloat64()), ""
		if i <= off {
			l, w = l*0.5, w*1.5
		}
		if tags {
			plant = fmt.Sprint(i)
		}
		fmt.Fprintf(&b, "bench,%d,%s,%.1f,%.1f,%.3f\n", i, plant, l, w, l/w)
	}
	path := filepath.Join(t.TempDir(), "roots.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// Carrots of two years, each root a plant: counted as plants in the lot, between the years, in the pool and for seed.
func TestRootsArePlants(t *testing.T) {
	dir := t.TempDir()
	bk, v := "--book="+filepath.Join(dir, "a.book"), filepath.Join(dir, "v.yaml")
	ok(t, "describe", "--from", rootTable(t, 26, 0, true, 0.07), "--name", "N", "--species", "Daucus carota", "--out", v)
	for h, c := range map[string][2]int{"2025": {90, 0}, "2026": {80, 12}} {
		ok(t, "run", "-q", "--from", rootTable(t, c[0], c[1], false, 0.04), "--variety", v, "--item-is-plant", "--out", filepath.Join(dir, h), bk, "--harvest", h, "--lot", "C1")
	}
	said := ok(t, "compare", bk, "2025", "2026", "--out", filepath.Join(dir, "c"))
	for _, want := range []string{"2026 had 12 off-type of 80 plants judged", "2025 had 0 of 90", "That is more than chance gives"} {
		if !strings.Contains(said, want) {
			t.Errorf("compare lacks %q:\n%s", want, said)
		}
	}
	if strings.Contains(said, "fruit are counted instead of plants") {
		t.Errorf("compare:\n%s", said)
	}
	// scipy 1.10.1: beta.ppf(0.025, 12, 69) = 0.0800, beta.ppf(0.975, 13, 68) = 0.2474
	if said := ok(t, "plan", bk, "--pool", "C1"); !strings.Contains(said, "harvest 2026: 12 off-type of 80 plants judged (rate between 8 % and 25 %)") || !strings.Contains(said, "rates differ more than chance gives") {
		t.Errorf("pool:\n%s", said)
	}
	if said := ok(t, "seed", bk, "2026"); !strings.Contains(said, "68 of 80 plants are fit to be planted again") || !strings.Contains(said, "68 plants: fit to be planted again") || strings.Contains(said, "flowered with") {
		t.Errorf("seed:\n%s", said)
	}
}
