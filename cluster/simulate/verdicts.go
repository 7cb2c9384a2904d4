package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"

	"offtype/cluster"
	"offtype/cluster/reference"
)

// variety is an invented variety: spreads, correlation of length and width, likeness of sister fruit.
type variety struct {
	sd    []float64
	size  float64
	alike float64
}

func newVariety(rng *rand.Rand) variety {
	v := variety{size: 0.2 + 0.6*rng.Float64(), alike: 0.1 + 0.5*rng.Float64()}
	overall := math.Exp(0.25 * rng.NormFloat64())
	for _, tr := range cluster.FruitTraits() {
		v.sd = append(v.sd, tr.Spread*overall*math.Exp(0.3*rng.NormFloat64()))
	}
	return v
}

var middle = []float64{210, 110, .6, 60, .6, .3, .1, 60, 10, 35, 5, 5, 5, .2}

func (v variety) deviate(rng *rand.Rand) []float64 {
	z := make([]float64, len(v.sd))
	for j := range z {
		z[j] = rng.NormFloat64()
	}
	z[1] = v.size*z[0] + math.Sqrt(1-v.size*v.size)*z[1]
	return z
}

// plant makes m fruit of a plant whose type lies shift (standard deviations) from the variety.
func (v variety) plant(tag string, m int, shift []float64, rng *rand.Rand) []reference.Fruit {
	t := cluster.FruitTraits()
	b := v.deviate(rng)
	var out []reference.Fruit
	for range m {
		e := v.deviate(rng)
		x := make([]float64, len(t))
		for j, tr := range t {
			z := math.Sqrt(v.alike)*b[j] + math.Sqrt(1-v.alike)*e[j] + shift[j]
			x[j] = tr.Scale.Back(tr.Scale.Work(middle[j]) + v.sd[j]*z)
		}
		f := reference.NoFruit()
		f.Plant = tag
		set := func(to *reference.Measured, k int) { *to = reference.Measured{V: x[k]} }
		set(&f.Length, cluster.TLength)
		set(&f.Width, cluster.TWidth)
		set(&f.Broad, cluster.TBroadest)
		set(&f.Bend, cluster.TBend)
		set(&f.Neck, cluster.TNeck)
		set(&f.Taper, cluster.TTaper)
		set(&f.Groove, cluster.TGroove)
		f.Skin = &[3]float64{x[cluster.TSkinL], x[cluster.TSkinA], x[cluster.TSkinB]}
		share := max(0.02, x[cluster.TStriped])
		f.Pattern, f.Share = "stripes", reference.Measured{V: share}
		f.Second = &[3]float64{f.Skin[0] + x[cluster.TMarkL]/share, f.Skin[1] + x[cluster.TMarkA]/share, f.Skin[2] + x[cluster.TMarkB]/share}
		out = append(out, f)
	}
	return out
}

// season is a common shift of the traits marked as seasonal, in standard deviations: as large as the
// weight 0.5 stands for, sizes going together.
func (v variety) season(rng *rand.Rand) []float64 {
	s := make([]float64, len(v.sd))
	grow := rng.NormFloat64()
	for j, tr := range cluster.FruitTraits() {
		switch {
		case tr.Seasonal && tr.Kind == cluster.Size:
			s[j] = math.Sqrt(0.8)*grow + math.Sqrt(0.2)*rng.NormFloat64()
		case tr.Seasonal:
			s[j] = rng.NormFloat64()
		}
	}
	return s
}

func add(a, b []float64, w float64) []float64 {
	o := make([]float64, len(a))
	for i := range a {
		o[i] = a[i] + w*b[i]
	}
	return o
}

// verdicts prints how often true plants are called off-type and off-type plants are caught.
func verdicts(n int, seed uint64) {
	ds := []float64{2, 3, 4, 6, 8}
	fmt.Println("\nteacher plants | fruit a plant | true called off-type | doubtful | caught at d = 2 | 3 | 4 | 6 | 8")
	fmt.Println("--|--|--|--|--|--|--|--|--")
	var all, wrong int
	for ti, teachers := range []int{3, 6, 12, 24} {
		for mi, m := range []int{1, 2, 4, 8} {
			caught := make([]int, len(ds))
			var plants, off, doubt int
			for i := range n {
				rng := rand.New(rand.NewPCG(seed+100, uint64(ti*1000000+mi*100000+i)))
				v := newVariety(rng)
				zero := make([]float64, len(v.sd))
				var fs []reference.Fruit
				for k := range teachers {
					fs = append(fs, v.plant(fmt.Sprint(k), m, zero, rng)...)
				}
				d, err := reference.Learn(fs, nil, reference.Head{Name: "x", Species: "x", Version: "1"})
				if err != nil {
					fmt.Fprintln(os.Stderr, err)
					continue
				}
				fs = fs[:0]
				s := v.season(rng)
				const each = 20
				for k := range each {
					fs = append(fs, v.plant(fmt.Sprint("t", k), m, s, rng)...)
				}
				for k, dd := range ds {
					fs = append(fs, v.plant(fmt.Sprint("o", k), m, add(s, directions(len(s), 1, rng)[0], dd), rng)...)
				}
				h := d.Judge(fs, reference.DefaultOptions())
				for k := range each {
					plants++
					switch h.Plants[fmt.Sprint("t", k)].Call {
					case reference.OffType:
						off++
					case reference.Doubtful:
						doubt++
					}
				}
				for k := range ds {
					if h.Plants[fmt.Sprint("o", k)].Call == reference.OffType {
						caught[k]++
					}
				}
			}
			all += plants
			wrong += off
			fmt.Printf("%d | %d | %.2f %% | %.2f %%", teachers, m, 100*float64(off)/float64(plants), 100*float64(doubt)/float64(plants))
			for _, c := range caught {
				fmt.Printf(" | %.0f %%", 100*float64(c)/float64(n))
			}
			fmt.Println()
		}
	}
	fmt.Printf("\nall: %.2f %% of %d true plants called off-type\n", 100*float64(wrong)/float64(all), all)
}
