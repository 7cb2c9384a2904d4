package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"offtype/cluster"
	"offtype/cluster/lot"
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

// separations at which off-type plants are tried.
var separations = []float64{2, 3, 4, 6, 8}

// tally counts the calls of one kind of harvest.
type tally struct {
	learnt             int // harvests whose teachers made a description
	plants, off, doubt int
	caught             [5]int
}

// verdicts prints how often true plants are called off-type and off-type plants are caught.
func verdicts(n int, seed uint64) {
	fmt.Println("\nteacher plants | fruit a plant | true called off-type | doubtful | caught at d = 2 | 3 | 4 | 6 | 8")
	fmt.Println("--|--|--|--|--|--|--|--|--")
	var all, wrong, refused int
	for ti, teachers := range []int{3, 6, 12, 24} {
		for mi, m := range []int{1, 2, 4, 8} {
			var c tally
			for i := range n {
				c.harvest(teachers, m, rand.New(rand.NewPCG(seed+100, uint64(ti*1000000+mi*100000+i))))
			}
			all, wrong, refused = all+c.plants, wrong+c.off, refused+n-c.learnt
			fmt.Printf("%d | %d | %.2f %% | %.2f %%", teachers, m, 100*float64(c.off)/float64(c.plants), 100*float64(c.doubt)/float64(c.plants))
			for _, k := range c.caught {
				fmt.Printf(" | %.0f %%", 100*float64(k)/float64(c.learnt))
			}
			fmt.Println()
		}
	}
	fmt.Printf("\nall: %.2f %% of %d true plants called off-type; %d of %d sets of true teachers were refused as not one type\n",
		100*float64(wrong)/float64(all), all, refused, 16*n)
}

// harvest learns a description from true plants and judges 20 true plants and an off-type at each
// separation, all under one season's shift.
func (c *tally) harvest(teachers, m int, rng *rand.Rand) {
	v := newVariety(rng)
	d, err := v.learn(teachers, m, rng)
	if err != nil {
		return
	}
	c.learnt++
	s := v.season(rng)
	var fs []reference.Fruit
	const each = 20
	for k := range each {
		fs = append(fs, v.plant(fmt.Sprint("t", k), m, s, rng)...)
	}
	for k, dd := range separations {
		fs = append(fs, v.plant(fmt.Sprint("o", k), m, add(s, directions(len(s), 1, rng)[0], dd), rng)...)
	}
	h := d.Judge(fs, reference.DefaultOptions())
	for k := range each {
		c.plants++
		switch h.Plants[fmt.Sprint("t", k)].Call {
		case reference.OffType:
			c.off++
		case reference.Doubtful:
			c.doubt++
		}
	}
	for k := range separations {
		if h.Plants[fmt.Sprint("o", k)].Call == reference.OffType {
			c.caught[k]++
		}
	}
}

func (v variety) learn(plants, m int, rng *rand.Rand) (*reference.Description, error) {
	var fs []reference.Fruit
	for k := range plants {
		fs = append(fs, v.plant(fmt.Sprint(k), m, make([]float64, len(v.sd)), rng)...)
	}
	return reference.Learn(fs, nil, reference.Head{Name: "x", Species: "x", Version: "1"})
}

// coverage prints how often the interval of the lot holds the true rate, verdict errors included.
func coverage(n int, seed uint64) {
	o := reference.DefaultOptions()
	fmt.Println("\ntrue rate | plants | interval covers | allowing for false calls | mean width\n--|--|--|--|--")
	for ri, rate := range []float64{0, 0.02, 0.05, 0.1, 0.25} {
		for pi, plants := range []int{8, 20, 40} {
			var in, allowing, done int
			wide := 0.0
			for i := range n {
				rng := rand.New(rand.NewPCG(seed+200, uint64(ri*1000000+pi*100000+i)))
				v := newVariety(rng)
				d, err := v.learn(12, 4, rng)
				if err != nil {
					continue
				}
				s := v.season(rng)
				var fs []reference.Fruit
				for k := range plants {
					shift := s
					if rng.Float64() < rate {
						shift = add(s, directions(len(s), 1, rng)[0], 8)
					}
					fs = append(fs, v.plant(fmt.Sprint(k), 4, shift, rng)...)
				}
				c := lot.Count{}
				for _, p := range d.Judge(fs, reference.DefaultOptions()).Plants {
					c.Seen++
					switch p.Call {
					case reference.OffType:
						c.Off++
					case reference.Doubtful:
						c.Unsure++
					}
				}
				f, err := lot.Judge(c, lot.CommonStandard, 0.95)
				if err != nil {
					continue
				}
				done++
				wide += f.High - f.Low
				if f.Low <= rate && rate <= f.High {
					in++
				}
				if lot.AllowFalse(f.Low, o.Alpha) <= rate && rate <= f.High {
					allowing++
				}
			}
			fmt.Printf("%g %% | %d | %.1f %% | %.1f %% | %.2f\n", 100*rate, plants, 100*float64(in)/float64(done), 100*float64(allowing)/float64(done), wide/float64(done))
		}
	}
}
