package reference

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"offtype/cluster"
)

// ErrTeachers says that the fruit named as true to type do not form one type.
var ErrTeachers = errors.New("the fruit named as true to type do not look like one variety; name the plants that are true")

// ErrNoTeachers says that there is nothing to learn from.
var ErrNoTeachers = errors.New("no fruit to learn from; name plants that are in the harvest")

// Head is what a learnt description cannot know from fruit.
type Head struct {
	Name, Species, Crop, Version, Stage, Source, Harvest string
}

// usualPlants: when learning, the usual spreads count as this many plants.
const usualPlants = 4.0

// Learn makes a description from fruit that are known to be true to type.
//
// Fruit that stand apart from the others are left out and named in Learnt.LeftOut, so that one
// off-type among the teachers does not widen the description; when less than two thirds of the fruit
// go together the error is ErrTeachers. Means are taken over plants. Spreads are split into within
// and between plants (variance components) and shrunk towards the usual spreads.
func Learn(fs []Fruit, ids []string, head Head) (*Description, error) {
	if len(fs) == 0 {
		return nil, ErrNoTeachers
	}
	keep, out, err := oneType(fs)
	if err != nil {
		return nil, err
	}
	var teach []Fruit
	l := &Learnt{Harvest: head.Harvest}
	for i, f := range fs {
		switch {
		case keep[i]:
			teach = append(teach, f)
			if f.Plant != "" && !slices.Contains(l.Tags, f.Plant) {
				l.Tags = append(l.Tags, f.Plant)
			}
		case out[i] && i < len(ids):
			l.LeftOut = append(l.LeftOut, ids[i])
		}
	}
	l.Plants, l.Fruits = len(l.Tags), len(teach)
	d := &Description{Format: Format, Name: head.Name, Species: head.Species, Crop: head.Crop, Version: head.Version, Stage: head.Stage, Source: head.Source, Learnt: l}
	if d.Source == "" {
		d.Source = fmt.Sprintf("learnt from %d fruit of %s", l.Fruits, few(l.Plants))
		if head.Harvest != "" {
			d.Source += " of harvest " + head.Harvest
		}
	}
	d.learnTraits(teach)
	d.learnColours(teach)
	if d.Few() {
		d.Notes = append(d.Notes, fmt.Sprintf("Learnt from %s: too few to know how much plants of the variety differ. No plant is called off-type on size alone.", few(l.Plants)))
	}
	if !d.says() {
		return nil, ErrNoTeachers
	}
	return d, nil
}

// oneType groups the teachers; keep are the fruit of the main group, out those that stand apart.
func oneType(fs []Fruit) (keep, out []bool, err error) {
	t := Table(fs)
	o := cluster.DefaultOptions()
	o.Stability = 0
	r, err := cluster.Find(t, o)
	if err != nil {
		return nil, nil, fmt.Errorf("learn a description: %w", err)
	}
	keep, out = make([]bool, len(fs)), make([]bool, len(fs))
	n := 0
	for i, m := range r.Members {
		keep[i] = m.Group == 1 && !m.Alone
		out[i] = !keep[i]
		if keep[i] {
			n++
		}
	}
	if 3*n < 2*len(fs) {
		return nil, nil, ErrTeachers
	}
	return keep, out, nil
}

// Table puts fruit into the trait table that groups are found in.
func Table(fs []Fruit) cluster.Table {
	t := cluster.Table{Traits: cluster.FruitTraits()}
	for i := range fs {
		f := &fs[i]
		r := cluster.Row{ID: fmt.Sprint(i + 1), Plant: f.Plant, Values: make([]float64, cluster.TraitCount), U: make([]float64, cluster.TraitCount)}
		set := func(k int, m Measured) { r.Values[k], r.U[k] = m.V, m.U }
		set(cluster.TLength, f.Length)
		set(cluster.TWidth, f.Width)
		set(cluster.TBroadest, f.Broad)
		set(cluster.TBend, f.Bend)
		set(cluster.TNeck, f.Neck)
		set(cluster.TTaper, f.Taper)
		set(cluster.TGroove, f.Groove)
		for a := range 3 {
			skin := Missing()
			if f.Skin != nil {
				skin = Measured{f.Skin[a], f.SkinU}
			}
			set(cluster.TSkinL+a, skin)
			set(cluster.TMarkL+a, f.mark(a))
		}
		set(cluster.TStriped, f.striped())
		t.Rows = append(t.Rows, r)
	}
	return t
}

// components are mean over plants, standard deviation among fruit and the part of it between plants.
type components struct{ mean, sd, plants float64 }

// learn splits the variance of a trait on its working scale. ok is false when it was measured on
// fewer than two fruit.
func learn(fs []Fruit, tr cluster.Trait, value func(*Fruit) Measured) (c components, ok bool) {
	by := map[string][]float64{}
	var tags []string
	n := 0
	for i := range fs {
		x := tr.Scale.Work(value(&fs[i]).V)
		if math.IsNaN(x) || math.IsInf(x, 0) {
			continue
		}
		tag := fs[i].Plant
		if tag == "" {
			tag = fmt.Sprint("#", i)
		}
		if len(by[tag]) == 0 {
			tags = append(tags, tag)
		}
		by[tag] = append(by[tag], x)
		n++
	}
	if n < 2 {
		return c, false
	}
	p := float64(len(tags))
	ssw, inv := 0.0, 0.0
	means := make([]float64, len(tags))
	for i, t := range tags {
		for _, x := range by[t] {
			means[i] += x / float64(len(by[t]))
		}
		for _, x := range by[t] {
			ssw += (x - means[i]) * (x - means[i])
		}
		inv += 1 / float64(len(by[t])) / p
		c.mean += means[i] / p
	}
	usual := tr.Spread * tr.Spread
	const wPrior = 8.0
	w := (wPrior*(1-betweenPlants)*usual + ssw) / (wPrior + float64(n) - p)
	sm := 0.0 // variance of the plant means
	if len(means) > 1 {
		sm = stat.Variance(means, nil)
	}
	b := (usualPlants*betweenPlants*usual + (p-1)*max(0, sm-w*inv)) / (usualPlants + p - 1)
	c.sd, c.plants = math.Sqrt(w+b), math.Sqrt(b)
	return c, true
}

// learnTraits fills the measured traits.
func (d *Description) learnTraits(fs []Fruit) {
	t := &d.Traits
	places := map[string]**Range{"length": &t.Length, "width": &t.Width, "ratio": &t.Ratio, "midline": &t.Midline, "volume": &t.Volume,
		"broadest_at": &t.Broadest, "bend": &t.Bend, "neck": &t.Neck, "taper": &t.Taper, "groove_depth": &t.Groove}
	for _, e := range d.entries() {
		place, want := places[e.name]
		if !want {
			continue
		}
		name := e.name
		c, ok := learn(fs, e.trait, func(f *Fruit) Measured { return f.value(name) })
		if !ok {
			continue
		}
		r := learntRange(e, c)
		if e.trait.Seasonal {
			yes := true
			r.Seasonal = &yes
		}
		*place = r
	}
}

func learntRange(e entry, c components) *Range {
	s := e.trait.Scale
	mean := s.Back(c.mean)
	slope := s.Slope(mean)
	digits := 4
	if e.trait.Unit == "mm" || e.trait.Unit == "°" || e.trait.Unit == "cm³" {
		digits = 1
	}
	return &Range{Unit: e.trait.Unit, Mean: round(mean, digits), Spread: round(c.sd/slope, digits+1), PlantsSpread: round(c.plants/slope, digits+1),
		Low: round(max(e.least, s.Back(c.mean-halfRange*c.sd)), digits), High: round(min(e.most, s.Back(c.mean+halfRange*c.sd)), digits)}
}

func round(x float64, digits int) *float64 {
	p := math.Pow(10, float64(digits))
	v := math.Round(x*p) / p
	return &v
}

// learnColours fills the colours and the pattern.
func (d *Description) learnColours(fs []Fruit) {
	f := cluster.FruitTraits()
	skin := &Colour{}
	for a := range 3 {
		c, ok := learn(fs, f[cluster.TSkinL+a], func(f *Fruit) Measured {
			if f.Skin == nil {
				return Missing()
			}
			return Measured{f.Skin[a], f.SkinU}
		})
		if !ok {
			skin = nil
			break
		}
		skin.Lab = append(skin.Lab, *round(c.mean, 2))
		skin.Spread = append(skin.Spread, *round(c.sd, 2))
		skin.PlantsSpread = append(skin.PlantsSpread, *round(c.plants, 2))
	}
	d.Skin = skin
	if skin != nil {
		s := 0.0
		for a := range 3 {
			s += math.Pow(skin.Spread[a]/axisScale(skin.Lab, a), 2)
		}
		skin.Tolerance = round(2*math.Sqrt(s), 1)
	}
	d.learnMarks(fs)
	d.learnPattern(fs)
}

// learnMarks fills Marks when they were told on enough fruit.
func (d *Description) learnMarks(fs []Fruit) {
	f := cluster.FruitTraits()
	m := &Marks{}
	for a := range 3 {
		c, ok := learn(fs, f[cluster.TMarkL+a], func(f *Fruit) Measured { return f.mark(a) })
		if !ok {
			return
		}
		m.Mean = append(m.Mean, *round(c.mean, 2))
		m.Spread = append(m.Spread, *round(c.sd, 2))
		m.PlantsSpread = append(m.PlantsSpread, *round(c.plants, 2))
	}
	if c, ok := learn(fs, f[cluster.TStriped], func(f *Fruit) Measured { return f.striped() }); ok {
		m.Striped = &Range{Mean: round(c.mean, 3), Spread: round(c.sd, 4), PlantsSpread: round(c.plants, 4)}
	}
	d.Marks = m
}

// learnPattern names the patterns that at least one fruit in five shows, and the second colour when
// most fruit have one.
func (d *Description) learnPattern(fs []Fruit) {
	votes := map[string]int{}
	told, second := 0, 0
	var lab [3]float64
	for _, f := range fs {
		if f.Pattern != "" {
			votes[f.Pattern]++
			told++
		}
		if f.Second != nil {
			second++
			for a := range lab {
				lab[a] += f.Second[a]
			}
		}
	}
	for _, p := range patterns {
		if 5*votes[p] >= told && votes[p] > 0 {
			d.Pattern = append(d.Pattern, p)
		}
	}
	if 2*second <= len(fs) {
		return
	}
	d.Second = &Colour{}
	for a := range lab {
		d.Second.Lab = append(d.Second.Lab, *round(lab[a]/float64(second), 2))
	}
	share := cluster.Trait{Name: "share", Scale: cluster.Linear, Spread: 0.06}
	if c, ok := learn(fs, share, func(f *Fruit) Measured { return f.Share }); ok {
		d.Second.Share = &Range{Mean: round(c.mean, 3), Spread: round(c.sd, 3)}
	}
}

// Text is the YAML of a description with a line of explanation above it.
func (d *Description) Text() (string, error) {
	b, err := d.Bytes()
	if err != nil {
		return "", err
	}
	head := "# Variety description. The keys are explained in docs/variety.md; change the version when you change a trait.\n"
	return head + strings.TrimRight(string(b), "\n") + "\n", nil
}
