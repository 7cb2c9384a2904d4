// Command simulate measures how well fruit are grouped, on invented harvests whose types are known.
//
// usage: go run ./cluster/simulate [-harvests 200] [-seed 1] [-cell N] [-oracle] [-correlated 0.9]
//
// It prints the tables of docs/grouping.md.
package main

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"time"

	"offtype/cluster"
)

// cell is a kind of harvest.
type cell struct {
	types    int
	perType  int // fruit of each type
	perPlant int // 0: no plant tags
	d        float64
}

func (c cell) String() string {
	return fmt.Sprintf("%d | %d | %d | %g", c.types, c.types*c.perType, c.perPlant, c.d)
}

// cells span one to five types, 8 to 60 fruit, 1 to 8 fruit a plant (0: no tags), separations 2 to 8.
var cells = []cell{
	{1, 8, 0, 0}, {1, 24, 0, 0}, {1, 60, 0, 0}, {1, 16, 2, 0}, {1, 32, 4, 0}, {1, 60, 4, 0}, {1, 48, 8, 0}, {1, 60, 1, 0},
	{2, 12, 0, 6}, {2, 24, 4, 6}, {2, 30, 0, 8}, {3, 12, 4, 6}, {3, 20, 0, 6}, {4, 12, 2, 6}, {4, 15, 0, 8}, {5, 12, 0, 6}, {5, 12, 4, 8},
	{2, 4, 0, 8}, {2, 4, 4, 6}, {2, 24, 0, 2}, {2, 24, 4, 3}, {2, 24, 0, 4}, {3, 16, 4, 4}, {2, 24, 0, 5},
}

func main() {
	n := flag.Int("harvests", 200, "harvests a cell")
	seed := flag.Uint64("seed", 1, "seed of the invented harvests")
	only := flag.Int("cell", -1, "only this cell")
	o := cluster.DefaultOptions()
	flag.Float64Var(&o.Margin, "margin", o.Margin, "log units the second group must gain, fruit without tags")
	flag.Float64Var(&o.Tagged, "tagged", o.Tagged, "the same, several fruit a plant")
	flag.Float64Var(&o.Further, "further", o.Further, "the same for every further group")
	oracle := flag.Bool("oracle", false, "tell the grouping the true covariance and likeness of sisters: what could be had at best")
	loads := flag.Float64("correlated", 0, "traits of a kind go together through a common factor with loads up to this (0–0.95): a harder harvest than the usual")
	what := flag.String("what", "all", "groups, verdicts (with the coverage of intervals) or all")
	plot := flag.String("plot", "", "write the reliability of memberships as SVG to this file")
	flag.Parse()
	o.Stability = 0
	if *what != "groups" {
		defer coverage(*n, *seed)
		defer verdicts(*n, *seed)
	}
	if *what == "verdicts" {
		return
	}
	fmt.Println("types | fruit | a plant | d | types right | one type split | more | fewer | mean ARI | unsure | ms")
	fmt.Println("--|--|--|--|--|--|--|--|--|--|--")
	var cal, right calibration
	for i, c := range cells {
		if *only >= 0 && i != *only {
			continue
		}
		run(c, i, *n, *seed, kind{*loads, *oracle}, o, &cal, &right)
	}
	cal.print(os.Stdout, "all harvests with two groups or more")
	right.print(os.Stdout, "those with the right number of types")
	if *plot != "" {
		if err := os.WriteFile(*plot, []byte(right.svg()), 0o644); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

// kind is how harvests are invented and grouped.
type kind struct {
	loads  float64
	oracle bool
}

func run(c cell, at, n int, seed uint64, how kind, o cluster.Options, cal, sure *calibration) {
	var right, more, fewer, unsure int
	ari := 0.0
	start := time.Now()
	for i := range n {
		rng := rand.New(rand.NewPCG(seed, uint64(at*100000+i)))
		t, truth, known := invent(c, how.loads, rng)
		if how.oracle {
			o.Known = known
		}
		r, err := cluster.Find(t, o)
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		switch k := len(r.Groups); {
		case k == c.types:
			right++
		case k > c.types:
			more++
		default:
			fewer++
		}
		got := make([]int, len(truth))
		for j, m := range r.Members {
			got[j] = m.Group
			if m.Unsure {
				unsure++
			}
		}
		ari += cluster.AdjustedRand(got, truth) / float64(n)
		cal.add(r, truth)
		if len(r.Groups) == c.types {
			sure.add(r, truth)
		}
	}
	f := func(k int) string { return fmt.Sprintf("%.1f %%", 100*float64(k)/float64(n)) }
	split := "–"
	if c.types == 1 {
		split = f(more)
	}
	fmt.Printf("%v | %s | %s | %s | %s | %.3f | %.1f %% | %.1f\n", c, f(right), split, f(more), f(fewer), ari,
		100*float64(unsure)/float64(n*c.types*c.perType), float64(time.Since(start).Microseconds())/1000/float64(n))
}

// invent makes a harvest: the spread of each trait within a type is its usual spread times a factor
// (log-normal, SD 0.25 for all traits together and 0.3 for each), length and width are correlated (0.2–0.8) and with loads
// above 0 all traits of a kind are, fruit of one plant are alike (correlation 0.1–0.6), the spread of each type
// differs a little, and the centres of the types are d within-type standard deviations apart in a random
// direction that touches a few traits.
func invent(c cell, loads float64, rng *rand.Rand) (cluster.Table, []int, *cluster.Known) {
	t := cluster.Table{Traits: cluster.FruitTraits()}
	p := len(t.Traits)
	base := []float64{210, 110, .6, 60, .3, .2, .03, 60, 10, 35, 0, 0, 0, .1}
	sd := make([]float64, p)
	overall := math.Exp(0.25 * rng.NormFloat64())
	for j, tr := range t.Traits {
		sd[j] = tr.Spread * overall * math.Exp(0.3*rng.NormFloat64())
	}
	v := deviates{size: 0.2 + 0.6*rng.Float64(), load: make([]float64, p), traits: t.Traits}
	alike := 0.1 + 0.5*rng.Float64()
	dirs := directions(p, c.types, rng)
	if loads > 0 {
		for j := range v.load {
			v.load[j] = loads * rng.Float64() * float64(1-2*(rng.IntN(4)/3)) // one in four against the others
		}
	}
	known := &cluster.Known{Alike: alike, Covariance: v.covariance(sd)}
	draw := func() []float64 { return v.draw(rng) }
	var truth []int
	plant := 0
	for k := range c.types {
		wide := math.Exp(0.15 * rng.NormFloat64())
		var b []float64
		for i := range c.perType {
			if c.perPlant == 0 || i%c.perPlant == 0 {
				plant++
				b = draw()
			}
			e := draw()
			r := cluster.Row{ID: fmt.Sprint(len(truth) + 1), Values: make([]float64, p)}
			if c.perPlant > 0 {
				r.Plant = fmt.Sprint(plant)
			}
			for j, tr := range t.Traits {
				z := math.Sqrt(alike)*b[j] + math.Sqrt(1-alike)*e[j]
				y := tr.Scale.Work(base[j]) + sd[j]*(wide*z+c.d/math.Sqrt2*dirs[k][j])
				r.Values[j] = tr.Scale.Back(y)
			}
			t.Rows = append(t.Rows, r)
			truth = append(truth, k)
		}
	}
	return t, truth, known
}

// deviates are standard deviates of a fruit within its type.
type deviates struct {
	size   float64   // correlation of length and width
	load   []float64 // of each trait on the factor of its kind
	traits []cluster.Trait
}

func (v *deviates) draw(rng *rand.Rand) []float64 {
	z := make([]float64, len(v.load))
	for j := range z {
		z[j] = rng.NormFloat64()
	}
	z[1] = v.size*z[0] + math.Sqrt(1-v.size*v.size)*z[1]
	factor := map[cluster.Kind]float64{}
	for j, l := range v.load {
		if l == 0 {
			continue
		}
		k := v.traits[j].Kind
		if _, ok := factor[k]; !ok {
			factor[k] = rng.NormFloat64()
		}
		z[j] = math.Sqrt(1-l*l)*z[j] + l*factor[k]
	}
	return z
}

// covariance of the deviates times sd.
func (v *deviates) covariance(sd []float64) [][]float64 {
	out := make([][]float64, len(sd))
	for i := range out {
		out[i] = make([]float64, len(sd))
		for j := range out[i] {
			r := 0.0
			switch {
			case i == j:
				r = 1
			case v.traits[i].Kind == v.traits[j].Kind:
				r = v.load[i] * v.load[j]
				if i+j == 1 {
					r += v.size * math.Sqrt((1-v.load[0]*v.load[0])*(1-v.load[1]*v.load[1]))
				}
			}
			out[i][j] = r * sd[i] * sd[j]
		}
	}
	return out
}

// directions returns k orthonormal directions, each mostly of three traits.
func directions(p, k int, rng *rand.Rand) [][]float64 {
	out := make([][]float64, 0, k)
	for len(out) < k {
		v := make([]float64, p)
		for range 3 {
			v[rng.IntN(p)] = rng.NormFloat64()
		}
		for _, u := range out {
			s := 0.0
			for j := range v {
				s += u[j] * v[j]
			}
			for j := range v {
				v[j] -= s * u[j]
			}
		}
		s := 0.0
		for _, x := range v {
			s += x * x
		}
		if s < 1e-3 {
			continue
		}
		for j := range v {
			v[j] /= math.Sqrt(s)
		}
		out = append(out, v)
	}
	return out
}
