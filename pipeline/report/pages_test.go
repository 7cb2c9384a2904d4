package report

import (
	"strings"
	"testing"

	"offtype/pipeline/record"
)

// Photos of many folders: no page takes the place of another, and no name needs escaping in a link.
func TestPhotoPagesHaveTheirOwnNames(t *testing.T) {
	var photos []record.Photo
	for _, n := range []string{"a/b 1.jpg", "a_b_1.jpg", "A_B_1.jpg", "50 %#?.jpg", "50_____.jpg", "courge d'été.jpg"} {
		photos = append(photos, record.Photo{Name: n})
	}
	seen := map[string]string{}
	for photo, page := range photoPageNames(photos) {
		if was, twice := seen[strings.ToLower(page)]; twice {
			t.Errorf("%q and %q have one page, %s", was, photo, page)
		}
		seen[strings.ToLower(page)] = photo
		if name, ok := strings.CutPrefix(page, "report-photos/"); !ok || strings.ContainsAny(name, "/\\ #?%:'\"") {
			t.Errorf("the page of %q is %q", photo, page)
		}
	}
	if len(seen) != len(photos) {
		t.Errorf("%d pages for %d photos", len(seen), len(photos))
	}
	if a, b := anchor(record.Key{Photo: "a/b.jpg", Number: 1}), anchor(record.Key{Photo: "a_b.jpg", Number: 1}); a == b {
		t.Errorf("fruit of two photos have one anchor, %s", a)
	}
}

// A photo without a scale says so, where it once had 0.00 mm a pixel and the camera on the table.
func TestNoScaleIsSaid(t *testing.T) {
	s := synthetic(2)
	for i := range s.run.Photos {
		s.run.Photos[i].MMPerPx, s.run.Photos[i].HeightMM = 0, 0
	}
	pages, err := htmlPages(s.run, s.doc().Load, Options{})
	if err != nil {
		t.Fatal(err)
	}
	page := string(pages[0].Data)
	if strings.Contains(page, "0.00 mm a pixel") || strings.Contains(page, "0 cm above") || strings.Contains(page, "<td>0.000</td>") || !strings.Contains(page, "No scale: shapes and patterns only.") {
		t.Error("a photo without a scale has one on the page")
	}
}
