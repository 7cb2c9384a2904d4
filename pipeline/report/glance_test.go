package report

import (
	"reflect"
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// What is off-type and what to do stands at the top of the page, before the groups, with a picture of each group at
// one scale and the plants' numbers beside their tags.
func TestPageSaysFirstWhatIsOff(t *testing.T) {
	s := synthetic(24)
	steps := []record.Step{{About: "Supplier", Text: "tell <them>", Command: "offtype report"}}
	pages, err := htmlPages(s.run, s.doc().Load, Options{Next: steps, Cautions: []string{"a caution"}})
	if err != nil {
		t.Fatal(err)
	}
	text := string(pages[0].Data)
	at := 0
	for _, want := range []string{"Off-type: plant 3.", "group 1, plants 1 and 2", "group 2, plant 3", "What to do next", "tell &lt;them&gt;", "offtype report", `id="groups"`, ">plant 1</text>"} {
		i := strings.Index(text[at:], want)
		if i < 0 {
			t.Fatalf("%q does not follow on the page", want)
		}
		at += i
	}
	b := newBuilder(s.run, s.doc().Load, Options{SplitOver: 60})
	if err := b.photos(); err != nil {
		t.Fatal(err)
	}
	b.groups()
	b.strip()
	for i, v := range b.page.Strip {
		whole := b.cuts[v.Number][0]
		if got, want := float64(v.Cut.H)/float64(whole.H), float64(b.page.Strip[0].Cut.H)/float64(b.cuts[b.page.Strip[0].Number][0].H); got < want*.98 || got > want*1.02 {
			t.Errorf("picture %d is at another scale: %.3f, the first %.3f", i, got, want)
		}
		if v.Cut.H > stripHeight {
			t.Errorf("picture %d is %d px tall", i, v.Cut.H)
		}
	}
}

// A reader of the evidence finds the off-type fruit first.
func TestSheetsOfOffTypesComeFirst(t *testing.T) {
	b, err := synthetic(24).doc().builder()
	if err != nil {
		t.Fatal(err)
	}
	if err := b.pictures(); err != nil {
		t.Fatal(err)
	}
	var heads []string
	for _, x := range b.annex() {
		if h, ok := x.(heading); ok && h.level == 2 {
			heads = append(heads, h.text)
		}
	}
	want := []string{"Fruit 1 of table-03.jpg", "Fruit 8 of table-01.jpg", "Fruit 1 of table-01.jpg"}
	if len(heads) != 24 || heads[0] != want[0] || heads[7] != want[1] || heads[10] != want[2] {
		t.Errorf("sheets in the order %q; want %q first, then the doubtful ones, then %q", heads, want[0], want[2])
	}
}

// With many photos each has a page of its own, and the report can be made again in the same process, as the desk does
// after a correction.
func TestOnePageAPhotoTwice(t *testing.T) {
	s := synthetic(16)
	for range 2 {
		pages, err := htmlPages(s.run, s.doc().Load, Options{SplitOver: 1})
		if err != nil {
			t.Fatal(err)
		}
		if len(pages) != 3 || !strings.Contains(string(pages[1].Data), "report.html") || !strings.Contains(string(pages[0].Data), `<a href="`+pages[1].Name+`#f-table-01.jpg-1">`) {
			t.Fatalf("%d pages; want the index and a page for each of 2 photos, linked both ways", len(pages))
		}
	}
}

// The pages are the same bytes with one photo drawn at a time and with many, with one page and with a page a photo.
func TestPagesDoNotDependOnWorkers(t *testing.T) {
	s := synthetic(32)
	for _, split := range []int{1, 60} {
		want, err := htmlPages(s.run, s.doc().Load, Options{SplitOver: split})
		if err != nil {
			t.Fatal(err)
		}
		if n := len(want); n != 1 && n != 5 {
			t.Fatalf("%d pages", n)
		}
		got, err := htmlPages(s.run, s.doc().Load, Options{SplitOver: split, Workers: 5})
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("split over %d: %d pages with five at a time (%v), which are not the %d of one at a time", split, len(got), err, len(want))
		}
	}
}

// The page says whether the number of groups was found or asked for, and nothing where it does not know.
func TestWhoChoseTheGroups(t *testing.T) {
	s := synthetic(8)
	for _, c := range []struct {
		g         *record.Grouping
		want, not string
	}{
		{nil, "stand in one row.</p>", "asked for"},
		{&record.Grouping{}, "was not given: it was found", "asked for"},
		{&record.Grouping{Given: 2}, "2 groups: that many were asked for", "not given"},
	} {
		s.run.Grouping = c.g
		pages, err := htmlPages(s.run, s.doc().Load, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if text := string(pages[0].Data); !strings.Contains(text, c.want) || strings.Contains(text, c.not) {
			t.Errorf("%+v: %q is not said, or %q is", c.g, c.want, c.not)
		}
	}
}

// A group's heading says how many of its fruit the verdict beside it does not rest on, on the page and in the report.
func TestHeadingCountsWhatWasNotJudged(t *testing.T) {
	s := synthetic(24)
	for i := range 3 {
		s.run.Judgement.Fruits[i].Verdict = record.NotJudged
	}
	pages, err := htmlPages(s.run, s.load, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if text := words(string(pages[0].Data)); !strings.Contains(text, "16 fruit, 3 of them not judged, of plants 1 and 2") || !strings.Contains(text, " 8 fruit of plant 3") {
		t.Error("the page's headings do not count the fruit that were not judged")
	}
	b := built(t, s)
	if h, ok := b.groupSheet(1)[0].(heading); !ok || !strings.HasPrefix(h.text, "Group 1: 16 fruit, 3 of them not judged, plants") {
		t.Errorf("the sheet of group 1 is headed %+v", h)
	}
	for _, x := range b.found() {
		if tb, ok := x.(table); ok && len(tb.rows) == 2 {
			if got := tb.rows[0][3].text; got != "● true to type\n3 of them not judged" {
				t.Errorf("verdict on group 1: %q", got)
			}
		}
	}
}

// The strip at the top holds a few groups and says how many more there are.
func TestStripSaysHowManyGroupsAreLeftOut(t *testing.T) {
	for _, c := range []struct{ groups, more int }{{6, 0}, {12, 6}} {
		s := synthetic(24)
		j := &s.run.Judgement
		j.Groups = nil
		for g := 1; g <= c.groups; g++ {
			j.Groups = append(j.Groups, record.GroupVerdict{Group: g, Fruits: 2, Verdict: record.TrueToType})
		}
		for i := range s.run.Groups {
			s.run.Groups[i].Group = i%c.groups + 1
		}
		pages, err := htmlPages(s.run, s.load, Options{})
		if err != nil {
			t.Fatal(err)
		}
		text := string(pages[0].Data)
		if got := strings.Contains(text, "and 6 more below"); got != (c.more > 0) || strings.Contains(text, "more below") != got {
			t.Errorf("%d groups: says that 6 more lie below: %v", c.groups, got)
		}
	}
}
