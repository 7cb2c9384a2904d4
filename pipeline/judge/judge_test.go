package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"offtype/cluster"
	"offtype/cluster/reference"
	"offtype/pipeline/record"
	"offtype/pipeline/scene"
)

// sceneRun makes a run from the truth of the scenes called prefix, with measuring noise as the size and
// colour issues state it: 1.5 % on sizes, 1.5 units on colours, 3° on the bend.
func sceneRun(t *testing.T, seed uint64, prefixes ...string) (*record.Run, []int) {
	t.Helper()
	const dir = "../../testdata/scenes"
	rng := rand.New(rand.NewPCG(seed, 1))
	run := &record.Run{}
	var truth []int
	names := map[string]int{}
	for _, name := range scene.Names(dir) {
		ok := false
		for _, p := range prefixes {
			ok = ok || strings.HasPrefix(name, p)
		}
		if !ok {
			continue
		}
		s, err := scene.Read(dir, name)
		if err != nil {
			t.Fatal(err)
		}
		run.Photos = append(run.Photos, record.Photo{Name: name + ".jpg", Status: record.StatusOK})
		shift := [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()} // of the photo's colours
		for i, f := range s.Fruits {
			run.Fruits = append(run.Fruits, noisy(&f, name+".jpg", i+1, shift, rng))
			k, seen := names[f.Group]
			if !seen {
				k = len(names)
				names[f.Group] = k
			}
			truth = append(truth, k)
		}
	}
	if len(run.Fruits) == 0 {
		t.Fatalf("no scenes %v", prefixes)
	}
	return run, truth
}

func noisy(f *scene.Fruit, photo string, n int, shift [3]float64, rng *rand.Rand) record.Fruit {
	e := func(sd float64) float64 { return sd * rng.NormFloat64() }
	v := func(x, sd float64) record.Value { return record.Value{V: x + e(sd), U: 2 * sd} }
	r := record.Fruit{Photo: photo, Number: n, Pose: record.Side, Pattern: "none", Ribs: f.Ribs,
		Length: v(f.LengthMM, 0.015*f.LengthMM), Width: v(f.WidthMM, 0.015*f.WidthMM), Midline: v(f.MidlineMM, 0.015*f.MidlineMM),
		Bend: record.Value{V: math.Abs(f.BendDeg + e(3)), U: 6}, BroadestAt: v(f.BroadestAt, 0.02), Volume: v(f.VolumeCM3, 0.04*f.VolumeCM3),
		GrooveDepth: record.Value{V: max(0, f.RibDepth+e(0.005)), U: 0.01}, Neck: record.None(), Taper: record.None(), SecondShare: record.None(), Roughness: record.None(), StalkLength: record.None()}
	r.Ratio = record.Value{V: r.Length.V / r.Width.V, U: 0.04}
	if f.Plant != nil {
		r.Plant = string(rune('0' + *f.Plant))
	}
	lab := func(x [3]float64) *record.Lab {
		return &record.Lab{L: x[0] + shift[0] + e(1.2), A: x[1] + shift[1] + e(1.2), B: x[2] + shift[2] + e(1.2), U: 3}
	}
	r.Skin = lab(f.GroundLab)
	if f.Second != nil {
		r.Second, r.Pattern = lab(f.Second.Lab), f.Second.Kind
		if r.Pattern == "mottle" {
			r.Pattern = "mottled"
		}
		r.SecondShare = v(f.VisibleShare, 0.03)
	}
	return r
}

// demoVariety learns the demo's description from the 2025 harvest, all plants of which are true.
func demoVariety(t *testing.T) *Variety {
	t.Helper()
	run, _ := sceneRun(t, 25, "demo-2025")
	d, err := reference.Learn(Fruits(run.Fruits), nil, reference.Head{Name: "Test", Species: "Cucurbita moschata", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	b, err := d.Text()
	if err != nil {
		t.Fatal(err)
	}
	v, err := ParseVariety("variety.yaml", []byte(b))
	if err != nil {
		t.Fatalf("%v in\n%s", err, b)
	}
	return v
}

// The truth is the renderer's: plants 3 and 7 of 2026 are another type, all of 2025 is true.
func TestDemoHarvests(t *testing.T) {
	v := demoVariety(t)
	for seed := range uint64(10) {
		run, truth := sceneRun(t, 100+seed, "demo-2026")
		if err := Judge(run, v, Options{}); err != nil {
			t.Fatal(err)
		}
		got := make([]int, len(truth))
		for i, m := range run.Groups {
			got[i] = m.Group
		}
		if a := cluster.AdjustedRand(got, truth); a < 0.98 {
			t.Errorf("seed %d: adjusted Rand index %.3f, want 0.98 or more", seed, a)
		}
		for _, p := range run.Judgement.Plants {
			want := record.TrueToType
			if p.Plant == "3" || p.Plant == "7" {
				want = record.OffType
			}
			if p.Verdict != want {
				t.Errorf("seed %d: plant %s is %s, want %s: %v", seed, p.Plant, p.Verdict, want, p.Reasons)
			}
		}
		if l := run.Judgement.Lot; l.Unit != "plant" || l.Seen != 8 || l.Off != 2 {
			t.Errorf("seed %d: lot %+v, want 2 of 8 plants", seed, l)
		}
		run, _ = sceneRun(t, 200+seed, "demo-2025")
		if err := Judge(run, v, Options{}); err != nil {
			t.Fatal(err)
		}
		if k := len(run.Judgement.Groups); k != 1 || run.Judgement.Lot.Off != 0 {
			t.Errorf("seed %d: 2025 gave %d groups and %d off-type plants, want 1 and 0", seed, k, run.Judgement.Lot.Off)
		}
	}
}

// Groups of the development scenes are the renderer's.
func TestDevelopmentScenes(t *testing.T) {
	for _, c := range []struct {
		name string
		k    int
	}{{"dev-2", 1}, {"dev-3", 2}, {"dev-4", 2}, {"dev-6", 2}, {"dev-8", 2}, {"dev-5", 2}} {
		for seed := range uint64(5) {
			run, truth := sceneRun(t, 300+seed, c.name)
			if c.name == "dev-5" { // no group names: four ribbed, then four smooth ones
				for i := range truth {
					truth[i] = i / 4
				}
			}
			if err := Judge(run, nil, Options{}); err != nil {
				t.Fatal(err)
			}
			got := make([]int, len(truth))
			for i, m := range run.Groups {
				got[i] = m.Group
			}
			if a := cluster.AdjustedRand(got, truth); a < 0.98 || len(run.Judgement.Groups) != c.k {
				t.Errorf("%s seed %d: %d groups, adjusted Rand index %.3f; want %d and 0.98", c.name, seed, len(run.Judgement.Groups), a, c.k)
			}
		}
	}
}
