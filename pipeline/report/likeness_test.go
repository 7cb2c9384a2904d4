package report

import (
	"fmt"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// likeRun is a harvest whose tree and points are laid out by hand: groups of 3 and 2 fruit, far apart; fruit 2
// is not sure.
func likeRun() *record.Run {
	run := &record.Run{}
	g := &record.Grouping{Points: [][2]float64{{0, 0}, {1, 0}, {0, 1}, {20, 0}, {21, 0}}, Axes: [2][]string{{"longer", "paler skin"}, nil},
		Tree:    []record.Join{{A: 3, B: 4, Height: 1}, {A: 0, B: 1, Height: 1}, {A: 6, B: 2, Height: 1.3}, {A: 5, B: 7, Height: 40}},
		Repeats: []int{100, 60}, Again: []int{97, 30}, Notes: []string{"Group 2 hangs on few fruit."}}
	for i := range 5 {
		k := record.Key{Photo: "a.jpg", Number: i + 1}
		g.Rows = append(g.Rows, k)
		run.Groups = append(run.Groups, record.Membership{Key: k, Group: 1 + i/3, Membership: .95})
	}
	run.Groups[1].Unsure, run.Groups[1].Membership = true, .62
	run.Grouping = g
	return run
}

func TestLikenessInWords(t *testing.T) {
	l := newLikeness(likeRun(), 100, &likeEnglish)
	h := &htmlDoc{measure: roughWidth}
	for _, b := range l.blocks() {
		h.block(b)
	}
	page := h.b.String()
	for _, want := range []string{
		"Further to the right means longer, paler skin.", "falls into 2 branches: the groups",
		"Group 1: its fruit came together again in 97 of the 100 repeats", "Group 2: its fruit came together again in 30 of the 60 repeats that held any of them.", "<li dir=\"auto\">Group 2 hangs on few fruit.</li>",
		"no. 2, a.jpg: put to group 1, with a probability of 62 %", ">no. 2, a.jpg ?<", ">Group 1<", ">Group 2<",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q", want)
		}
	}
	for i := range 5 {
		if !strings.Contains(page, fmt.Sprintf(">no. %d, a.jpg", i+1)) {
			t.Errorf("the tree does not name fruit %d", i+1)
		}
	}
}

// The cut lies between the last join within groups (1.3) and the first between them (40): 20.65.
func TestLikenessCut(t *testing.T) {
	run := likeRun()
	if h, same := newLikeness(run, 100, &likeEnglish).cut(); h != 20.65 || !same {
		t.Errorf("cut at %v, branches are the groups: %v", h, same)
	}
	run.Groups[2].Group = 2 // a fruit that is not in the group of its branch
	l := newLikeness(run, 100, &likeEnglish)
	if _, same := l.cut(); same || !strings.Contains(l.treeText(), "not exactly the branches") {
		t.Error("a group that is no branch is not told")
	}
}

// A large harvest keeps its uppermost branches, and every fruit is in one of them.
func TestLikenessLarge(t *testing.T) {
	const n = 200
	run := &record.Run{Grouping: &record.Grouping{}}
	g := run.Grouping
	last := 0
	for i := range n {
		k := record.Key{Photo: "a.jpg", Number: i + 1}
		g.Rows, g.Points = append(g.Rows, k), append(g.Points, [2]float64{float64(i), 0})
		run.Groups = append(run.Groups, record.Membership{Key: k, Group: 1})
		if i > 0 {
			g.Tree = append(g.Tree, record.Join{A: last, B: i, Height: float64(i)})
			last = n + i - 1
		}
	}
	l := newLikeness(run, 100, &likeEnglish)
	ns := l.nodes()
	var leaves, rows int
	var walk func(k int)
	walk = func(k int) {
		if ns[k].a < 0 {
			leaves++
			rows += len(ns[k].rows)
			return
		}
		walk(ns[k].a)
		walk(ns[k].b)
	}
	walk(len(ns) - 1)
	if leaves != mostBranches || rows != n {
		t.Errorf("%d branches with %d fruit, want %d and %d", leaves, rows, mostBranches, n)
	}
	if d := l.tree(); d.h > 240 {
		t.Errorf("the tree is %.0f mm high: no page holds it", d.h)
	}
}

// Nothing to draw: no grouping, too few fruit.
func TestLikenessNothing(t *testing.T) {
	run := likeRun()
	run.Grouping.Rows = run.Grouping.Rows[:2]
	for _, r := range []*record.Run{{}, run} {
		if l := newLikeness(r, 100, &likeEnglish); l != nil {
			t.Errorf("%+v", l)
		}
	}
}

// A row of cut-outs becomes lower when little of a page is left, and refuses when fruit would be too small.
func TestRowFits(t *testing.T) {
	b := built(t, synthetic(60))
	d, ok := b.row(1)
	if !ok || d.fit == nil {
		t.Fatal("no row")
	}
	if low, ok := d.fit(d.h - 12); !ok || low.h > d.h-12 {
		t.Errorf("%.0f mm high for %.0f mm of room (%v)", low.h, d.h-12, ok)
	}
	if _, ok := d.fit(30); ok {
		t.Error("two rows of fruit on 30 mm")
	}
}
