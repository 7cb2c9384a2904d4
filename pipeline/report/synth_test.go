package report

import (
	"cmp"
	"fmt"
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"offtype/cluster/reference"
	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// synthetic makes a harvest of n fruit, eight a photo, with known sizes: ellipsoids seen from above at
// synthPxPerMM, stretched by perspective along the picture's x by synthStretch.
const (
	synthPxPerMM = 1.4
	synthStretch = 1.03
)

type synth struct {
	run  *record.Run
	pics map[string]image.Image
}

// synthTable is the px of an empty table, 2000 × 1500, a little uneven.
var synthTable = sync.OnceValue(func() []uint8 {
	rnd := rand.New(rand.NewPCG(9, 10))
	pix := make([]uint8, 4*2000*1500)
	for i := range pix {
		pix[i] = [4]uint8{120, 100, 80, 255}[i%4]
		if i%4 != 3 {
			pix[i] += uint8(rnd.Uint64() & 3)
		}
	}
	return pix
})

func synthetic(n int) *synth {
	rnd := rand.New(rand.NewPCG(7, 8))
	s := &synth{run: &record.Run{Program: "test 1.0", Settings: map[string]string{"settings": "abc123", "card": "100 mm line reads 100.0"}}, pics: map[string]image.Image{}}
	j := &s.run.Judgement
	j.Variety = &record.VarietyRef{Name: "Prüfkürbis Żółć", Species: "Cucurbita moschata", Version: "1"}
	off := 0
	for at := 0; at < n; at += 8 {
		p := record.Photo{Name: fmt.Sprintf("table-%02d.jpg", at/8+1), Path: "/home/someone/secret/table.jpg", SHA256: fmt.Sprintf("%064x", at+1), Width: 2000, Height: 1500, Taken: "2026-10-04 10:00:00",
			Make: "Maker", Model: "Model", Status: record.StatusOK, Cards: []int{0}, MMPerPx: 1 / synthPxPerMM, TiltDeg: 8, HeightMM: 1300, FocalPx: 1800, FocalFrom: "exif", CardResidual: .05, ColourDE00: .8, ColourOK: true,
			Quads: [][]geom.Px{{{X: 50, Y: 1300}, {X: 250, Y: 1300}, {X: 250, Y: 1450}, {X: 50, Y: 1450}}}, Tags: map[int]geom.Px{at/8 + 1: {X: 60, Y: 400}}}
		m := image.NewRGBA(image.Rect(0, 0, p.Width, p.Height))
		copy(m.Pix, synthTable())
		for k := 0; k < min(8, n-at); k++ {
			f := s.fruit(p.Name, k, at/8+1, rnd)
			paint(m, &f)
			s.run.Fruits = append(s.run.Fruits, f)
			g, v := 1, record.TrueToType
			if (at/8)%3 == 2 {
				g, v = 2, record.OffType
			}
			if k == 7 {
				v = record.Doubtful
			}
			s.run.Groups = append(s.run.Groups, record.Membership{Key: f.Key(), Plant: f.Plant, Group: g, Membership: .99, Unsure: k == 5})
			j.Fruits = append(j.Fruits, record.FruitVerdict{Photo: f.Photo, Fruit: f.Number, Plant: f.Plant, Group: g, Verdict: v, Reasons: []string{"nothing measured speaks against the variety"}})
			p.Fruits++
		}
		v := record.TrueToType
		if (at/8)%3 == 2 {
			v = record.OffType
			off++
		}
		j.Plants = append(j.Plants, record.PlantVerdict{Plant: fmt.Sprint(at/8 + 1), Fruits: p.Fruits, Verdict: v, Reasons: []string{"a reason"}})
		s.run.Photos = append(s.run.Photos, p)
		s.pics[p.Name] = m
	}
	for g := 1; g <= 2; g++ {
		c := 0
		for _, m := range s.run.Groups {
			if m.Group == g {
				c++
			}
		}
		if c > 0 {
			j.Groups = append(j.Groups, record.GroupVerdict{Group: g, Fruits: c, Plants: 1, Verdict: []record.Verdict{record.TrueToType, record.OffType}[g-1], Reasons: []string{"42 mm longer than the description allows (up to 240 mm)"}})
		}
	}
	seen := len(j.Plants)
	if seen > 0 {
		r, lo, hi := float64(off)/float64(seen), .05, .7
		j.Lot = record.Lot{Unit: "plant", Seen: seen, Off: off, Rate: &r, Low: &lo, High: &hi, Confidence: .95, Rule: &record.Rule{Standard: .01, Acceptance: .95, Allowed: 1, Within: off < 2}, Sentences: []string{fmt.Sprintf("Of %d plants seen, %d are off-type.", seen, off)}}
	}
	return s
}

func (s *synth) fruit(photo string, k, plant int, rnd *rand.Rand) record.Fruit {
	l, w := 200+20*rnd.NormFloat64(), 110+8*rnd.NormFloat64()
	cx, cy := 350+float64(k%4)*430, 380+float64(k/4)*600
	turn := .3 * rnd.NormFloat64() // of the axis from upright, rad
	f := record.Fruit{Photo: photo, Number: k + 1, Plant: fmt.Sprint(plant), X: cx, Y: cy, Pose: record.Side, Length: record.Value{V: l, U: 3}, Width: record.Value{V: w, U: 1},
		Ratio: record.Value{V: l / w, U: .03}, Midline: record.Value{V: l, U: 3}, Bend: record.Value{V: 2, U: 2}, BroadestAt: record.Value{V: .5, U: .02}, Volume: record.Value{V: l * w * w * math.Pi / 6000, U: 20},
		Neck: record.Value{V: .6, U: .01}, Taper: record.None(), Lopsided: record.None(), Roughness: record.None(), SecondShare: record.None(), GrooveDepth: record.None(), StalkLength: record.None(),
		Skin: &record.Lab{L: 68 + 3*rnd.NormFloat64(), A: 13, B: 36 + 3*rnd.NormFloat64(), U: 2}, Pattern: "none", ShapeWords: []string{"elliptical"}, SkinWords: "tan", Confidence: 1, Views: 1}
	sin, cos := math.Sincos(turn)
	at := func(u, v float64) geom.Px { // u across, v along to the stem end, mm
		return geom.Px{X: cx + synthPxPerMM*synthStretch*(u*cos+v*sin), Y: cy + synthPxPerMM*(u*sin-v*cos)}
	}
	for i := range 180 {
		a := 2 * math.Pi * float64(i) / 180
		f.Outline = append(f.Outline, at(w/2*math.Cos(a), l/2*math.Sin(a)))
	}
	f.LengthLine = [2]geom.Px{at(0, l/2), at(0, -l/2)}
	f.WidthLine = [2]geom.Px{at(-w/2, 0), at(w/2, 0)}
	stem, blossom := f.LengthLine[0], f.LengthLine[1]
	f.StemPx, f.BlossomPx = &stem, &blossom
	for i := range 21 {
		x := float64(i)/10 - 1
		f.Profile = append(f.Profile, w*math.Sqrt(math.Max(0, 1-x*x)))
	}
	return f
}

// paint fills the fruit's outline, which is convex, with a colour that is easy to find again.
func paint(m *image.RGBA, f *record.Fruit) {
	lo, hi := geom.Bounds(f.Outline)
	for y := int(lo.Y) + 1; y <= int(hi.Y); y++ {
		left, right := math.Inf(1), math.Inf(-1)
		for i, a := range f.Outline {
			b := f.Outline[(i+1)%len(f.Outline)]
			if (a.Y > float64(y)) != (b.Y > float64(y)) {
				x := a.X + (b.X-a.X)*(float64(y)-a.Y)/(b.Y-a.Y)
				left, right = math.Min(left, x), math.Max(right, x)
			}
		}
		for x := int(math.Ceil(left)); float64(x) <= right; x++ {
			m.SetRGBA(x, y, color.RGBA{210, 150, uint8(80 + x%9), 255})
		}
	}
}

func (s *synth) load(name string) (image.Image, float64, []record.Fruit, error) {
	var fs []record.Fruit
	for _, f := range s.run.Fruits {
		if f.Photo == name {
			fs = append(fs, f)
		}
	}
	return s.pics[name], 1, fs, nil
}

// htmlPages returns the pages of a report, report.html first.
func htmlPages(run *record.Run, load Loader, o Options) ([]Page, error) {
	var mu sync.Mutex
	var out []Page
	err := HTML(run, load, o, func(p Page) error {
		mu.Lock()
		defer mu.Unlock()
		out = append(out, p)
		return nil
	})
	slices.SortFunc(out, func(a, b Page) int {
		return cmp.Or(strings.Count(a.Name, "/")-strings.Count(b.Name, "/"), strings.Compare(a.Name, b.Name))
	})
	return out, err
}

func fp(v float64) *float64 { return &v }

func (s *synth) doc() *Document {
	r := func(lo, hi float64) *reference.Range { return &reference.Range{Low: fp(lo), High: fp(hi)} }
	d := &reference.Description{Name: s.run.Judgement.Variety.Name, Version: "1", Source: "invented", Skin: &reference.Colour{Lab: []float64{70, 13, 37}, Tolerance: fp(5)}, Pattern: []string{"none"}, Shape: []string{"elliptical"}}
	d.Traits.Length, d.Traits.Width, d.Traits.Ratio = r(170, 240), r(95, 130), r(1.5, 2.3)
	return &Document{Run: s.run, Load: s.load, Description: d, Made: time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC), Cautions: []string{"A caution."},
		Entered: Entered{Harvest: "autumn", Grower: "Åse Ødegård", Place: "Łódź", Supplier: "Example Seeds", SupplierLot: "A-123", Lot: "L1", Kind: "open-pollinated", Bought: "2026-02-01", Sown: "2026-04-10", SeedsSown: "20",
			Hand: []Hand{{Photo: "table-01.jpg", Fruit: 1, Trait: "weight", Value: "1210 g", Date: "2026-11-02", By: "Åse"}, {Plant: "1", Trait: "leaf", Value: "dark, marbled"}}}}
}

// hard changes the harvest into one with everything that is awkward to print.
func (s *synth) hard(d *Document) {
	long := "Extraordinarily-long-variety-name-without-any-place-to-break-it-Kürbisgewächsezüchtungsversuchsanstaltsauslese"
	s.run.Judgement.Variety.Name = long
	d.Entered.Grower = "קיבוץ דוגמה 12 (חלקה ב)"
	d.Entered.Place = "مزرعة المثال رقم 7"
	d.Entered.Supplier = long + " & Söhne <GmbH>"
	d.Entered.SupplierLot = "Ελληνικά 🎃 日本"
	d.Entered.Notes = []string{"הערה: הפירות נאספו ב־12 באוקטובר, plant 3 נפגע מברד", "مرحبا بالعالم 12 kg", "zero\u200bwidth\tand\ncontrol\x07"}
	d.Entered.Hand = append(d.Entered.Hand, Hand{Photo: "table-01.jpg", Fruit: 2, Trait: "other", Value: long, Note: long, By: "שם"})
	for i := range s.run.Fruits {
		f := &s.run.Fruits[i]
		switch i % 5 {
		case 1:
			f.Skin, f.Profile, f.Length, f.Ratio, f.Pose = nil, nil, record.None(), record.None(), record.Upright
			f.LengthLine = [2]geom.Px{}
		case 2:
			f.Outline = nil
		case 3:
			f.Width, f.WidthLine = record.None(), [2]geom.Px{}
			f.Unsure, f.Notes = true, []string{"cut-by-frame", "unknown-code"}
		case 4:
			f.Second, f.SecondShare = &record.Lab{L: 30, A: -20, B: 10}, record.Value{V: .3, U: math.NaN()}
			f.Length.U, f.Width.U = math.NaN(), math.NaN()
		}
	}
	for i := range s.run.Judgement.Plants {
		s.run.Judgement.Plants[i].Reasons = []string{long, "a second reason " + long}
	}
}

// TestSynthetic guards the fixture: the drawn axes have the ratio of the measured ones up to perspective.
func TestSynthetic(t *testing.T) {
	s := synthetic(3)
	for _, f := range s.run.Fruits {
		d := f.LengthLine[0].Sub(f.LengthLine[1]).Norm() / synthPxPerMM
		if d < f.Length.V*.999 || d > f.Length.V*synthStretch*1.001 {
			t.Errorf("drawn length %.1f, measured %.1f", d, f.Length.V)
		}
	}
}
