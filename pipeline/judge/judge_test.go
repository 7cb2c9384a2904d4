package judge

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"offtype/cluster"
	"offtype/cluster/lot"
	"offtype/cluster/reference"
	"offtype/measure/geom"
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

func judged(t *testing.T, run *record.Run, v *Variety, o Options) *record.Judgement {
	t.Helper()
	if err := Judge(run, v, o); err != nil {
		t.Fatal(err)
	}
	if len(run.Groups) != len(run.Fruits) || len(run.Judgement.Fruits) != len(run.Fruits) {
		t.Fatalf("%d fruit, %d memberships, %d verdicts", len(run.Fruits), len(run.Groups), len(run.Judgement.Fruits))
	}
	return &run.Judgement
}

func untag(run *record.Run) {
	for i := range run.Fruits {
		run.Fruits[i].Plant = ""
	}
}

func plantVerdict(j *record.Judgement, plant string) record.PlantVerdict {
	for _, p := range j.Plants {
		if p.Plant == plant {
			return p
		}
	}
	return record.PlantVerdict{}
}

// Without a description nothing is off-type, and the largest group is not taken for the variety.
func TestWithoutDescription(t *testing.T) {
	run, _ := sceneRun(t, 1, "demo-2026")
	j := judged(t, run, nil, Options{})
	for _, f := range j.Fruits {
		if f.Verdict != record.NotJudged {
			t.Fatalf("verdict %s without a description", f.Verdict)
		}
	}
	if j.Variety != nil || j.Lot.Rate != nil || j.Lot.Rule != nil || !strings.Contains(j.Lot.Sentences[0], "3 types") {
		t.Errorf("lot %+v", j.Lot)
	}
}

// Neither tags nor a number of plants: no rate.
func TestUnitFruit(t *testing.T) {
	run, _ := sceneRun(t, 2, "demo-2026")
	untag(run)
	l := judged(t, run, demoVariety(t), Options{}).Lot
	if l.Unit != "fruit" || l.Rate != nil || l.Low != nil || l.High != nil || l.Rule != nil || l.Off < 6 {
		t.Errorf("lot %+v", l)
	}
}

// 8 fruiting plants without tags, two off-type groups and one true: 2 to 7 plants may be off-type.
func TestUntaggedPlants(t *testing.T) {
	run, _ := sceneRun(t, 3, "demo-2026")
	untag(run)
	l := judged(t, run, demoVariety(t), Options{Plants: 8}).Lot
	lo, _ := lot.ClopperPearson(2, 8, 0.95)
	_, hi := lot.ClopperPearson(7, 8, 0.95)
	if l.Unit != "plant" || l.Seen != 8 || l.Off != 2 || l.Low == nil || math.Abs(*l.Low-lo) > 1e-12 || math.Abs(*l.High-hi) > 1e-12 {
		t.Errorf("lot %+v, want 2 of 8 with %.3f to %.3f", l, lo, hi)
	}
	if l.Most != 7 {
		t.Errorf("at most %d plants are off-type, want 7: the least alone is no finding", l.Most)
	}
	l = judged(t, run, demoVariety(t), Options{Plants: 2}).Lot
	if !strings.Contains(strings.Join(l.Sentences, " "), "3 groups were found on 2 plants") {
		t.Errorf("three groups on two plants: %q", l.Sentences)
	}
}

// A group that is true as a whole names what in it is not: "nothing speaks against the variety" beside an off-type
// plant contradicts the finding.
func TestGroupNamesItsOffTypes(t *testing.T) {
	v, err := ParseVariety("v.yaml", []byte(sizes))
	if err != nil {
		t.Fatal(err)
	}
	for _, tagged := range []bool{true, false} {
		run := sizedRun(20, 290)
		for i := range run.Fruits {
			if tagged {
				run.Fruits[i].Plant = strconv.Itoa(i + 1)
			}
		}
		j := judged(t, run, v, Options{Groups: 1})
		want := "1 fruit by itself is off-type"
		if tagged {
			want = "plant 21 by itself is off-type: 50 mm longer than the description allows (up to 240 mm)"
		}
		if g := j.Groups[0]; g.Verdict != record.TrueToType || !slices.Contains(g.Reasons, want) || slices.Contains(g.Reasons, reference.NothingAgainst) {
			t.Errorf("tags %v: group %+v, want the reason %q; fruit 21: %+v", tagged, g, want, j.Fruits[20])
		}
	}
}

func TestWrongTag(t *testing.T) {
	run, _ := sceneRun(t, 4, "demo-2026")
	for i := range run.Fruits {
		if run.Fruits[i].Plant == "7" {
			run.Fruits[i].Plant = "8" // a ribbed fruit under the tag of a true plant
			break
		}
	}
	j := judged(t, run, demoVariety(t), Options{})
	p := plantVerdict(j, "8")
	if p.Verdict != record.Doubtful || !strings.Contains(p.Reasons[0], "seems mixed") {
		t.Errorf("plant 8: %+v", p)
	}
	if v := plantVerdict(j, "7").Verdict; v != record.OffType {
		t.Errorf("plant 7 is %s", v)
	}
	if j.Lot.Unsure != 1 {
		t.Errorf("lot %+v, want the mixed plant unsure", j.Lot)
	}
}

func TestSetAside(t *testing.T) {
	run, _ := sceneRun(t, 5, "demo-2026")
	run.Fruits[0].Notes = []string{"cut"}
	run.Fruits[1].Notes = []string{"sick"}
	key := run.Fruits[2].Key()
	run.Photos[0].Tags = map[int]geom.Px{99: {}}
	j := judged(t, run, demoVariety(t), Options{NotAssessable: []string{"plant:3", key.Photo + ":3"}})
	for i, want := range []record.Verdict{record.NotJudged, record.NotAssessable, record.NotAssessable} {
		if got := j.Fruits[i].Verdict; got != want {
			t.Errorf("fruit %d is %s, want %s", i+1, got, want)
		}
	}
	if p := plantVerdict(j, "3"); p.Verdict != record.NotAssessable {
		t.Errorf("plant 3 is %s", p.Verdict)
	}
	if p := plantVerdict(j, "99"); p.Verdict != record.NotJudged || p.Fruits != 0 {
		t.Errorf("a tag without fruit: %+v", p)
	}
	if j.Lot.Seen != 7 || j.Lot.Off != 1 {
		t.Errorf("lot %+v, want 1 of 7", j.Lot)
	}
	if s := strings.Join(j.Lot.Sentences, " "); !strings.Contains(s, "Not counted, because set aside: plant 3.") {
		t.Errorf("a plant left out without a word: %s", s)
	}
	for _, bad := range []Options{{NotAssessable: []string{"plant:55"}}, {NotAssessable: []string{"nofile"}}, {Controls: []string{"55"}}} {
		if err := Judge(run, nil, bad); err == nil {
			t.Errorf("%+v: no error", bad)
		}
	}
}

// A verdict on a trait or two says on which it rests.
func TestFewTraitsAreNamed(t *testing.T) {
	v, err := ParseVariety("v.yaml", []byte(sizes))
	if err != nil {
		t.Fatal(err)
	}
	run := sizedRun(8)
	if s := strings.Join(judged(t, run, v, Options{Plants: 4}).Lot.Sentences, " "); !strings.Contains(s, "Only the length and the width could be compared") {
		t.Errorf("two sizes: %s", s)
	}
	full, _ := sceneRun(t, 5, "demo-2026")
	if s := strings.Join(judged(t, full, demoVariety(t), Options{}).Lot.Sentences, " "); strings.Contains(s, "could be compared") {
		t.Errorf("all traits: %s", s)
	}
}

// A few plants are few with and without tags.
func TestFewPlantsWithoutTags(t *testing.T) {
	run, _ := sceneRun(t, 3, "demo-2026")
	untag(run)
	judged(t, run, demoVariety(t), Options{Plants: 8})
	if s := strings.Join(Cautions(run), " "); !strings.Contains(s, "Few plants were seen") {
		t.Error(s)
	}
}

// The words on a description fit what taught it.
func TestTaughtByFruitWithoutTags(t *testing.T) {
	run, _ := sceneRun(t, 7, "demo-2025")
	untag(run)
	d, err := Learn(run.Fruits, nil, nil, reference.Head{Name: "T", Species: "Cucurbita moschata", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	next, _ := sceneRun(t, 8, "demo-2026")
	if s := strings.Join(judged(t, next, &Variety{"v.yaml", d}, Options{}).Lot.Sentences, " "); !strings.Contains(s, "learnt from fruit without plant tags: how much") {
		t.Error(s)
	}
}

// One of anything is not written as many.
func TestLotSingular(t *testing.T) {
	v, err := ParseVariety("v.yaml", []byte(sizes))
	if err != nil {
		t.Fatal(err)
	}
	run := sizedRun(3, 290)
	run.Fruits[0].Plant, run.Fruits[1].Plant, run.Fruits[3].Plant = "1", "2", "4"
	s := strings.Join(judged(t, run, v, Options{Controls: []string{"1"}, NotAssessable: []string{"plant:2"}}).Lot.Sentences, " ")
	for _, want := range []string{"With 1 plant seen,", "1 fruit without a plant tag is not counted.", "with 1 control plant of"} {
		if !strings.Contains(s, want) {
			t.Errorf("no %q in %s", want, s)
		}
	}
}

func TestOtherSpecies(t *testing.T) {
	run, _ := sceneRun(t, 6, "demo-2025")
	v := demoVariety(t)
	if err := Judge(run, v, Options{Species: "Capsicum annuum"}); !errors.Is(err, ErrOtherSpecies) {
		t.Errorf("another species: %v", err)
	}
	for _, s := range []string{"Cucurbita moschata", "cucurbita", ""} {
		if err := Judge(run, v, Options{Species: s}); err != nil {
			t.Errorf("%q: %v", s, err)
		}
	}
	run, _ = sceneRun(t, 6, "dev-3")
	if s := strings.Join(judged(t, run, v, Options{}).Lot.Sentences, " "); !strings.Contains(s, "Every fruit is far from the description") && !strings.Contains(s, "off-type") {
		t.Errorf("fruit of another crop: %s", s)
	}
}

// A harvest cannot vouch for itself unless the true plants were named.
func TestOwnTeacher(t *testing.T) {
	run, _ := sceneRun(t, 7, "demo-2025")
	head := reference.Head{Name: "T", Species: "Cucurbita moschata", Version: "1"}
	for _, named := range []bool{false, true} {
		var plants []string
		if named {
			plants = []string{"1", "2", "3", "4"}
		}
		d, err := Learn(run.Fruits, nil, plants, head)
		if err != nil {
			t.Fatal(err)
		}
		j := judged(t, run, &Variety{"v.yaml", d}, Options{})
		if (j.Variety != nil) != named {
			t.Errorf("plants named: %v, description used: %v", named, j.Variety != nil)
		}
		said := strings.Join(j.Lot.Sentences, " ")
		if want := "Plants 1, 2, 3 and 4 of this harvest taught the description"; strings.Contains(said, want) != named || strings.Contains(said, "no evidence on the seed lot") != named {
			t.Errorf("plants named: %v: %s", named, said)
		}
		if len(j.Lot.Taught) > 0 != named {
			t.Errorf("plants named: %v: taught by %v", named, j.Lot.Taught)
		}
	}
	d, err := Learn(run.Fruits, nil, []string{"1", "2"}, head)
	if err != nil {
		t.Fatal(err)
	}
	if s := strings.Join(judged(t, run, &Variety{"v.yaml", d}, Options{}).Lot.Sentences, " "); !strings.Contains(s, "Plants 1 and 2 of this harvest taught") || !strings.Contains(s, "Only the others are evidence") {
		t.Errorf("two of four plants taught: %s", s)
	}
	next, _ := sceneRun(t, 8, "demo-2026")
	if s := strings.Join(judged(t, next, &Variety{"v.yaml", d}, Options{}).Lot.Sentences, " "); strings.Contains(s, "of this harvest taught") {
		t.Errorf("another harvest: %s", s)
	}
	if _, err := Learn(run.Fruits, nil, []string{"77"}, head); err == nil {
		t.Error("a plant that is not there: no error")
	}
}

func TestNoFruitAndNothingMeasured(t *testing.T) {
	j := judged(t, &record.Run{}, demoVariety(t), Options{})
	if len(j.Groups) != 0 || j.Lot.Seen != 0 {
		t.Errorf("%+v", j)
	}
	run := &record.Run{Fruits: []record.Fruit{{Photo: "a.jpg", Number: 1, Ribs: -1, Notes: []string{"cut"}}}}
	if j := judged(t, run, demoVariety(t), Options{}); len(j.Groups) != 1 || !run.Groups[0].Unsure {
		t.Errorf("one cut fruit: %+v %+v", j.Groups, run.Groups)
	}
}

// Off-types that are another described variety lean to it and fit a mix-up.
func TestLeaningToAnother(t *testing.T) {
	run, _ := sceneRun(t, 8, "demo-2026")
	var bells []record.Fruit
	for _, f := range run.Fruits {
		if f.Plant == "7" {
			bells = append(bells, f)
		}
	}
	d, err := Learn(bells, nil, nil, reference.Head{Name: "Ribbed", Species: "Cucurbita moschata", Version: "1"})
	if err != nil {
		t.Fatal(err)
	}
	j := judged(t, run, demoVariety(t), Options{Others: []*Variety{{"r.yaml", d}}})
	for _, g := range j.Groups {
		if (g.Verdict == record.OffType) != (len(g.Leaning) > 0) {
			t.Errorf("group %d (%s): leaning %q", g.Group, g.Verdict, g.Leaning)
		}
	}
}

func TestCautions(t *testing.T) {
	run, _ := sceneRun(t, 9, "demo-2026")
	judged(t, run, demoVariety(t), Options{})
	text := strings.Join(Cautions(run), "\n")
	for _, want := range []string{"cucurbitacins", "rice", "Children", "compost", "law", "laboratory", "Few plants"} {
		if !strings.Contains(text, want) {
			t.Errorf("no caution on %q", want)
		}
	}
	run.Judgement.Variety.Species = "Capsicum annuum"
	if text := strings.Join(Cautions(run), "\n"); strings.Contains(text, "cucurbitacins") {
		t.Error("bitter gourds in a pepper report")
	}
	run.Judgement.Variety.Species = "Allium cepa" // dug before it flowered
	text = strings.Join(Cautions(run), "\n")
	for _, s := range Next(run) {
		text += "\n" + s.Text
	}
	if !strings.Contains(text, "Plant no off-type root or bulb again") || strings.Contains(text, "flowered beside") || strings.Contains(text, "Take the seeds out") || strings.Contains(text, "poisonous, and a photo") || strings.Contains(text, "fruit") {
		t.Errorf("onions: %s", text)
	}
	for species, want := range map[string]string{"Capsicum annuum": "can be hot", "C. pepo": "bitter and poisonous", "Solanum melongena": ""} {
		run.Judgement.Variety.Species = species
		if d := Danger(run); !strings.Contains(d, want) || (d == "") != (want == "") {
			t.Errorf("%s: beside the result stands %q, want %q", species, d, want)
		}
	}
}
