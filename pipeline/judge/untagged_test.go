package judge

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"offtype/cluster"
	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// sizes is a description by hand, for fruit of which length and width alone were measured.
const sizes = `format: 1
name: Test
species: Cucurbita moschata
version: "1"
traits:
  length: {low: 180, high: 240, unit: mm}
  width: {low: 90, high: 120, unit: mm}
`

// sizedRun is n untagged true fruit, a little unlike each other, and others of the given lengths.
func sizedRun(n int, others ...float64) *record.Run {
	run := &record.Run{}
	none := record.None()
	add := func(length, width float64) {
		run.Fruits = append(run.Fruits, record.Fruit{Photo: "a", Number: len(run.Fruits) + 1, Ribs: -1,
			Length: record.Value{V: length, U: math.NaN()}, Width: record.Value{V: width, U: math.NaN()}, Ratio: none, Midline: none, Bend: none, BroadestAt: none,
			Volume: none, Neck: none, Taper: none, GrooveDepth: none, SecondShare: none, Roughness: none, StalkLength: none})
	}
	for i := range n {
		add(198+float64(7*i%25), 99+float64(5*i%13))
	}
	for _, l := range others {
		add(l, 105)
	}
	return run
}

// What single fruit say is not lost in the vote of their group, and no more plants count than fruit were judged.
func TestUntaggedSingleFruit(t *testing.T) {
	v, err := ParseVariety("v.yaml", []byte(sizes))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name                 string
		run                  *record.Run
		plants               int
		seen, off, most, odd int // odd: fruit called off-type
	}{
		{"one lone off-type among true fruit", sizedRun(20, 330), 8, 8, 1, 1, 1},
		{"true fruit alone", sizedRun(20), 8, 8, 0, 0, 0},
		{"fewer fruit than plants", sizedRun(3), 8, 3, 0, 0, 0},
		{"more plants than there can be", sizedRun(3), 1_000_000_000, 3, 0, 0, 0},
	} {
		j := judged(t, c.run, v, Options{Plants: c.plants})
		odd := 0
		for _, f := range j.Fruits {
			if f.Verdict == record.OffType {
				odd++
			}
		}
		lo, _ := lot.ClopperPearson(c.off, c.seen, 0.95)
		_, hi := lot.ClopperPearson(c.most, c.seen, 0.95)
		l := j.Lot
		if odd != c.odd || l.Seen != c.seen || l.Off != c.off || l.Low == nil || math.Abs(*l.Low-lo) > 1e-12 || math.Abs(*l.High-hi) > 1e-12 {
			t.Errorf("%s: %d fruit off-type, lot %+v, want %d of %d", c.name, odd, l, c.off, c.seen)
		}
		if said := strings.Contains(strings.Join(l.Sentences, " "), fmt.Sprintf("of the %d plants were seen", c.plants)); said != (c.seen < c.plants) {
			t.Errorf("%s: %q", c.name, l.Sentences)
		}
	}
}

// Fruit that were set aside tell nothing about the plants they grew on.
func TestUntaggedNothingJudged(t *testing.T) {
	v, err := ParseVariety("v.yaml", []byte(sizes))
	if err != nil {
		t.Fatal(err)
	}
	run := sizedRun(3)
	for i := range run.Fruits {
		run.Fruits[i].Notes = []string{"sick"}
	}
	l := judged(t, run, v, Options{Plants: 8}).Lot
	if l.Seen != 0 || l.Rate != nil || l.Low != nil || l.Rule != nil || !strings.Contains(l.Sentences[0], "No plant could be judged") {
		t.Errorf("lot %+v", l)
	}
}

// Off-type fruit in a group of true ones may have come from no plant more, or from one each.
func TestUntaggedScattered(t *testing.T) {
	run := &record.Run{Judgement: record.Judgement{Groups: []record.GroupVerdict{{Group: 1, Verdict: record.TrueToType}}}}
	j := &judging{run: run, o: Options{Plants: 8}}
	for i := range 20 {
		f := record.FruitVerdict{Group: 1, Verdict: record.TrueToType}
		if i < 2 {
			f.Verdict = record.OffType
		}
		run.Judgement.Fruits = append(run.Judgement.Fruits, f)
		j.g.Members = append(j.g.Members, cluster.Member{Group: 1})
	}
	var c lot.Count
	said := j.untagged(&c)
	if want := (lot.Count{Seen: 8, Off: 0, Most: 2}); c != want || len(said) != 1 || !strings.Contains(said[0], "counted both ways") {
		t.Errorf("%+v, want %+v; %q", c, want, said)
	}
}
