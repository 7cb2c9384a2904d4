package cluster

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"offtype/pipeline/reftable"
)

const referenceDir = "../testdata/reference/"

// readTable reads a reference table whose lines starting with # name the source. A row with an empty
// or NA value in a wanted column is left out, as in clustering_reference.json.
func readTable(t *testing.T, name string, cols []string, label string) (x [][]float64, labels []string) {
	t.Helper()
next:
	for _, row := range reftable.Records(t, referenceDir+name+".csv") {
		v := make([]float64, len(cols))
		for i, c := range cols {
			var err error
			if v[i], err = strconv.ParseFloat(row[c], 64); err != nil {
				continue next
			}
		}
		x = append(x, v)
		labels = append(labels, row[label])
	}
	return x, labels
}

// standard is (x − mean) / population standard deviation, as the reference was made.
func standard(x [][]float64) [][]float64 {
	out := make([][]float64, len(x))
	for i := range x {
		out[i] = make([]float64, len(x[0]))
	}
	for j := range x[0] {
		m, s := 0.0, 0.0
		for _, r := range x {
			m += r[j] / float64(len(x))
		}
		for _, r := range x {
			s += (r[j] - m) * (r[j] - m) / float64(len(x))
		}
		for i, r := range x {
			out[i][j] = (r[j] - m) / math.Sqrt(s)
		}
	}
	return out
}

func codes(labels []string) []int {
	at := map[string]int{}
	out := make([]int, len(labels))
	for i, l := range labels {
		if _, ok := at[l]; !ok {
			at[l] = len(at)
		}
		out[i] = at[l]
	}
	return out
}

func sizes(g []int) []int {
	n := make([]int, count(g))
	for _, k := range g {
		n[k]++
	}
	slices.Sort(n)
	return n
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s is %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

type refScores struct {
	Sizes []int   `json:"sizes"`
	ARI   float64 `json:"ari_vs_label"`
}

// Values of scikit-learn 1.2.1 and scipy 1.10.1, printed to 4 decimals.
func TestClusteringReference(t *testing.T) {
	b, err := os.ReadFile(referenceDir + "clustering_reference.json")
	if err != nil {
		t.Fatal(err)
	}
	var ref struct {
		Sets map[string]struct {
			Rows    int      `json:"rows"`
			Columns []string `json:"columns"`
			Label   string   `json:"label"`
			K       int      `json:"k"`
			Raw, Z  struct {
				Ward refScores `json:"ward"`
			}
		} `json:"sets"`
	}
	if err := json.Unmarshal(b, &ref); err != nil {
		t.Fatal(err)
	}
	for name, s := range ref.Sets {
		raw, labels := readTable(t, name, s.Columns, s.Label)
		if len(raw) != s.Rows {
			t.Fatalf("%s: %d rows, want %d", name, len(raw), s.Rows)
		}
		truth := codes(labels)
		for i, x := range [][][]float64{raw, standard(raw)} {
			want := s.Raw
			if i == 1 {
				want = s.Z
			}
			what := fmt.Sprintf("%s %s", name, []string{"raw", "z"}[i])
			g := Cut(Ward(x, nil), s.K)
			if !slices.Equal(sizes(g), want.Ward.Sizes) {
				t.Errorf("%s: sizes %v, want %v", what, sizes(g), want.Ward.Sizes)
			}
			near(t, what+" adjusted Rand", AdjustedRand(g, truth), want.Ward.ARI, 0.5e-4)
		}
	}
}

// Heights and sizes of scipy 1.10.1 linkage(method="ward"), full digits.
func TestWardHeights(t *testing.T) {
	all := readRecords(t, "ward_heights.csv")
	for name, cols := range map[string][]string{
		"iris":        {"sepal_length_cm", "sepal_width_cm", "petal_length_cm", "petal_width_cm"},
		"wheat_seeds": {"area", "perimeter", "compactness", "kernel_length", "kernel_width", "asymmetry", "groove_length"},
	} {
		x, _ := readTable(t, name, cols, map[string]string{"iris": "species", "wheat_seeds": "variety"}[name])
		tree := Ward(x, nil)
		n := 0
		for _, r := range all {
			if r["set"] != name {
				continue
			}
			i, _ := strconv.Atoi(r["step"])
			h, _ := strconv.ParseFloat(r["height"], 64)
			near(t, fmt.Sprintf("%s height of step %d", name, i), tree[i].Height, h, 1e-9)
			n++
		}
		if n != len(x)-1 {
			t.Errorf("%s: %d heights compared, want %d", name, n, len(x)-1)
		}
	}
}

func readRecords(t *testing.T, name string) []map[string]string {
	t.Helper()
	return reftable.Records(t, referenceDir+name)
}

var irisColumns = []string{"sepal_length_cm", "sepal_width_cm", "petal_length_cm", "petal_width_cm"}

// Source in the file: scikit-learn, scipy; 12 decimals.
func TestIrisClusters(t *testing.T) {
	raw, labels := readTable(t, "iris", irisColumns, "species")
	truth := codes(labels)
	compared := 0
	for _, r := range readRecords(t, "iris_clusters.csv") {
		if r["method"] != "ward_hclust" { // k-means is not used here
			continue
		}
		compared++
		x := raw
		if r["data"] == "standardised" {
			x = standard(raw)
		}
		k := int(reftable.Num(t, r["k"]))
		g := Cut(Ward(x, nil), k)
		what := r["data"] + " into " + r["k"]
		near(t, what+" adjusted Rand", AdjustedRand(g, truth), reftable.Num(t, r["ari_vs_species"]), 1e-9)
		want := []int{}
		for _, s := range strings.Fields(r["cluster_sizes"]) {
			n, _ := strconv.Atoi(s)
			want = append(want, n)
		}
		slices.Sort(want)
		if !slices.Equal(sizes(g), want) {
			t.Errorf("%s: sizes %v, want %v", what, sizes(g), want)
		}
	}
	if compared != 6 {
		t.Errorf("%d groupings compared, want 6", compared)
	}
}

// Exact fractions worked from pair counts; Hubert & Arabie 1985.
func TestAdjustedRand(t *testing.T) {
	for _, r := range readRecords(t, "ari_examples.csv") {
		var a, b []int
		for i, s := range strings.Fields(r["labels_1"]) {
			x, _ := strconv.Atoi(s)
			y, _ := strconv.Atoi(strings.Fields(r["labels_2"])[i])
			a, b = append(a, x), append(b, y)
		}
		near(t, r["example"], AdjustedRand(a, b), reftable.Num(t, r["ari_decimal"]), 1e-12)
	}
	if v := AdjustedRand([]int{1, 1, 1}, []int{0, 0, 0}); v != 1 {
		t.Errorf("two groupings into one group: %v, want 1", v)
	}
}

// Source in the file: scipy; 12 significant digits.
func TestWelchAndHotelling(t *testing.T) {
	raw, labels := readTable(t, "iris", irisColumns, "species")
	var a, b [][]float64
	for i, l := range labels {
		switch l {
		case "versicolor":
			a = append(a, raw[i])
		case "virginica":
			b = append(b, raw[i])
		}
	}
	col := func(x [][]float64, j int) (v []float64) {
		for _, r := range x {
			v = append(v, r[j])
		}
		return v
	}
	for _, r := range readRecords(t, "iris_versicolor_virginica_tests.csv") {
		if j := slices.Index(irisColumns, r["variable"]); j >= 0 {
			tt, df, p := Welch(col(a, j), col(b, j))
			near(t, r["variable"]+" t", tt, reftable.Num(t, r["t_or_T2"]), 1e-9)
			near(t, r["variable"]+" df", df, reftable.Num(t, r["df"]), 1e-8)
			near(t, r["variable"]+" p ÷ reference", p/reftable.Num(t, r["p_value"]), 1, 1e-9)
		}
	}
	h, ok := HotellingT2(a, b)
	if !ok {
		t.Fatal("no result")
	}
	near(t, "T²", h.T2, 355.472145199, 1e-8)
	near(t, "F", h.F, 86.147586209, 1e-8)
	near(t, "p ÷ reference", h.P/9.5398762648e-31, 1, 1e-9)
	near(t, "D²", h.Distance2, 14.218885808, 1e-8)
}
