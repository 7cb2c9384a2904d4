package vision

import (
	"math"
	"testing"
)

// drawn puts a marker of the given side (px) with its top-left corner at (x, y), a whole pixel,
// on a white page. Its true corners are the outer edges of its corner pixels.
func drawn(t testing.TB, d Dictionary, id, side, x, y, w, h int) []uint8 {
	t.Helper()
	m, err := MarkerPicture(d, id, side)
	if err != nil {
		t.Fatal(err)
	}
	page := make([]uint8, w*h)
	for i := range page {
		page[i] = 230
	}
	for r := range side {
		for c := range side {
			page[(y+r)*w+x+c] = 25 + m[r*side+c]/5*4
		}
	}
	return page
}

// inGrey finds the markers of one dictionary in a grey picture.
func inGrey(t testing.TB, gray []uint8, w, h int, d Dictionary, o MarkerOptions) []Marker {
	t.Helper()
	ms, err := DetectMarkersRGB(threefold(gray), w, h, []Dictionary{d}, o)
	if err != nil {
		t.Fatal(err)
	}
	return ms[0]
}

// threefold is a grey picture as RGB; OpenCV takes it back to the same greys, its weights add up to 1.
func threefold(gray []uint8) []uint8 {
	rgb := make([]uint8, 0, 3*len(gray))
	for _, v := range gray {
		rgb = append(rgb, v, v, v)
	}
	return rgb
}

func TestDetectMarkersAtManySizes(t *testing.T) {
	// An unblurred corner with its edges half-way between pixel centres is the hardest case of
	// gradient refinement, which draws it inwards: by 0.12 px along each axis with a window of 2 px.
	const allow = 0.2
	for _, dict := range []Dictionary{Dict4x4x50, Dict5x5x250} {
		for _, side := range []int{28, 42, 84, 210, 420, 840} {
			w, h, x, y := side*2+150, side*2+120, side/2+31, side/2+17
			got := inGrey(t, drawn(t, dict, 7, side, x, y, w, h), w, h, dict, MarkerOptions{})
			if len(got) != 1 || got[0].ID != 7 {
				t.Errorf("dictionary %d, side %d: found %+v, want marker 7", dict, side, got)
				continue
			}
			lo, hi := [2]float64{float64(x) - 0.5, float64(y) - 0.5}, float64(side)
			want := [4][2]float64{lo, {lo[0] + hi, lo[1]}, {lo[0] + hi, lo[1] + hi}, {lo[0], lo[1] + hi}}
			for k, c := range got[0].Corners {
				if d := math.Hypot(c[0]-want[k][0], c[1]-want[k][1]); d > allow {
					t.Errorf("dictionary %d, side %d, corner %d: %v, want %v: %.3f px off, allowed %.2f",
						dict, side, k, c, want[k], d, allow)
				}
			}
		}
	}
}

// The rendered scenes hold whole cards (one or two) and plant tags; every marker of them is found, by one threshold too.
func TestDetectMarkersInScenes(t *testing.T) {
	for _, c := range []struct {
		name        string
		cards, tags int // as the scenes' truth lists them
	}{
		{"demo-2026-table-1", 1, 2}, {"dev-2-fabric-oblique", 1, 0}, {"dev-3-concrete-sun", 1, 0}, {"dev-6-two-cards-far", 2, 0},
	} {
		gray, w, h := sceneGray(t, c.name)
		for _, o := range []MarkerOptions{{}, {Once: true}} {
			cards := inGrey(t, gray, w, h, Dict4x4x50, o)
			seen := map[int]bool{}
			for _, m := range cards {
				seen[m.ID] = true
			}
			for id := range 4 * c.cards {
				if !seen[id] {
					t.Errorf("%s: card marker %d not found with %+v", c.name, id, o)
				}
			}
			tags := inGrey(t, gray, w, h, Dict5x5x250, o)
			if len(cards) != 4*c.cards || len(tags) != c.tags {
				t.Errorf("%s: %d card markers and %d tags with %+v, want %d and %d", c.name, len(cards), len(tags), o, 4*c.cards, c.tags)
			}
		}
	}
}

func TestNoMarkersInAnEmptyPicture(t *testing.T) {
	for _, size := range [][2]int{{1, 1}, {15, 40}, {64, 64}, {3000, 40}} {
		if got := inGrey(t, make([]uint8, size[0]*size[1]), size[0], size[1], Dict4x4x50, MarkerOptions{}); len(got) != 0 {
			t.Errorf("%v: %v; want none", size, got)
		}
	}
}

func BenchmarkDetectMarkers12MP(b *testing.B) {
	gray, w, h := sceneGray(b, "demo-2026-table-1")
	const W, H = 4000, 3000
	big := make([]uint8, W*H)
	for y := range H {
		for x := range W {
			big[y*W+x] = gray[(y*h/H)*w+x*w/W]
		}
	}
	rgb := threefold(big)
	for _, c := range []struct {
		name string
		side int
	}{{"reduced", 0}, {"full", -1}} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := DetectMarkersRGB(rgb, W, H, []Dictionary{Dict4x4x50}, MarkerOptions{SearchSide: c.side}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
