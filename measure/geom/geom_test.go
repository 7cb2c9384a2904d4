package geom

import (
	"math"
	"slices"
	"testing"
)

// exact allows for the rounding of a few dozen sums of numbers below 100.
const exact = 1e-12

// ell is an L: the square of 4 px without its upper right quarter, in the order from +x towards +y.
var ell = []Px{{0, 0}, {4, 0}, {4, 2}, {2, 2}, {2, 4}, {0, 4}}

func reversed(p []Px) []Px {
	q := slices.Clone(p)
	slices.Reverse(q)
	return q
}

// The L is the square 0–4 (area 16, centre (2, 2)) less the square 2–4 (area 4, centre (3, 3)): area 12, centre
// (16·2 − 4·3)/12 = 5/3. It holds in both directions round and wherever the L lies.
func TestAreaAndCentroid(t *testing.T) {
	for _, at := range []Px{{}, {30, -7.5}} {
		o := make([]Px, len(ell))
		for i, p := range ell {
			o[i] = p.Add(at)
		}
		if a := SignedArea(o); math.Abs(a-12) > exact {
			t.Errorf("signed area %v, want 12", a)
		}
		if a := SignedArea(reversed(o)); math.Abs(a+12) > exact || math.Abs(Area(reversed(o))-12) > exact {
			t.Errorf("the other way round: signed area %v, want −12", a)
		}
		for _, c := range []Px{Centroid(o), Centroid(reversed(o))} {
			if c.Sub(Px{5.0 / 3, 5.0 / 3}.Add(at)).Norm() > exact {
				t.Errorf("centre %v, want 5/3 from %v", c, at)
			}
		}
	}
	if p := Perimeter(ell); math.Abs(p-16) > exact {
		t.Errorf("perimeter %v, want 16", p)
	}
	// A regular polygon of n corners on a circle of radius r encloses n·r²·sin(2π/n)/2.
	const n, r = 37, 12.5
	var round []Px
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		round = append(round, Px{r * c, r * s})
	}
	if a, want := Area(round), n*r*r*math.Sin(2*math.Pi/n)/2; math.Abs(a-want) > 1e-10 {
		t.Errorf("polygon of %d corners: area %v, want %v", n, a, want)
	}
}

func TestDegenerateOutlines(t *testing.T) {
	for name, o := range map[string][]Px{"none": nil, "a point": {{1, 2}}, "a line": {{0, 2}, {2, 2}}} {
		if a := Area(o); a != 0 {
			t.Errorf("%s: area %v", name, a)
		}
		if Contains(o, Px{1, 2}) {
			t.Errorf("%s holds a point", name)
		}
	}
	if c := Centroid([]Px{{0, 2}, {2, 2}}); c != (Px{1, 2}) {
		t.Errorf("centre of a line %v, want its middle", c)
	}
	if c := Centroid(nil); c != (Px{}) {
		t.Errorf("centre of nothing %v", c)
	}
}

func TestContainsAndCrossings(t *testing.T) {
	for p, want := range map[Px]bool{{1, 1}: true, {3, 1}: true, {1, 3}: true, {3, 3}: false, {-1, 1}: false, {5, 1}: false, {1, 4.5}: false} {
		if Contains(ell, p) != want || Contains(reversed(ell), p) != want {
			t.Errorf("%v: want inside %v", p, want)
		}
	}
	for y, want := range map[float64][]float64{1: {0, 4}, 3: {0, 2}, -1: nil, 5: nil} {
		if got := Crossings(nil, ell, y); !slices.Equal(got, want) {
			t.Errorf("row %v: %v, want %v", y, got, want)
		}
	}
	if got := Crossings([]float64{9}, ell, 1); !slices.Equal(got, []float64{9, 0, 4}) {
		t.Errorf("appended: %v, want what was there untouched and first", got)
	}
}

func TestHull(t *testing.T) {
	want := []Px{{0, 0}, {4, 0}, {4, 2}, {2, 4}, {0, 4}}
	for _, pts := range [][]Px{ell, reversed(ell), append([]Px{{2, 0}, {1, 1}}, ell...)} { // with a point on an edge and one inside
		if got := Hull(pts); !slices.Equal(got, want) {
			t.Errorf("%v, want %v", got, want)
		}
	}
	if got := Hull([]Px{{0, 0}, {1, 1}, {3, 3}}); !slices.Equal(got, []Px{{0, 0}, {3, 3}}) {
		t.Errorf("points on a line: %v, want its ends", got)
	}
}

// 16 points on the perimeter of 16 lie 1 px apart along it: on the whole numbers.
func TestResample(t *testing.T) {
	got := Resample(ell, 16)
	want := []Px{{0, 0}, {1, 0}, {2, 0}, {3, 0}, {4, 0}, {4, 1}, {4, 2}, {3, 2}, {2, 2}, {2, 3}, {2, 4}, {1, 4}, {0, 4}, {0, 3}, {0, 2}, {0, 1}}
	if len(got) != len(want) {
		t.Fatalf("%d points, want %d", len(got), len(want))
	}
	for i, p := range got {
		if p.Sub(want[i]).Norm() > exact {
			t.Errorf("point %d: %v, want %v", i, p, want[i])
		}
	}
	if got := Resample([]Px{{3, 3}, {3, 3}, {3, 3}}, 4); !slices.Equal(got, []Px{{3, 3}, {3, 3}, {3, 3}, {3, 3}}) {
		t.Errorf("an outline without length: %v", got)
	}
}

func TestBounds(t *testing.T) {
	if lo, hi := Bounds([]Px{{3, -1}, {-2, 5}}); lo != (Px{-2, -1}) || hi != (Px{3, 5}) {
		t.Errorf("%v to %v", lo, hi)
	}
}

// x × y = z, and a × b is at right angles to both, as long as the parallelogram's area.
func TestVectors(t *testing.T) {
	x, y, z := Vec3{X: 1}, Vec3{Y: 1}, Vec3{Z: 1}
	if x.Cross(y) != z || y.Cross(z) != x || z.Cross(x) != y {
		t.Error("the cross product is not right-handed")
	}
	a, b := Vec3{2, -3, 6}, Vec3{1, 4, -8}
	c := a.Cross(b)
	if a.Norm() != 7 || b.Norm() != 9 || c.Dot(a) != 0 || c.Dot(b) != 0 {
		t.Errorf("lengths %v and %v, want 7 and 9; products %v and %v, want 0", a.Norm(), b.Norm(), c.Dot(a), c.Dot(b))
	}
	if got, want := c.Dot(c), 49*81-a.Dot(b)*a.Dot(b); got != want { // Lagrange
		t.Errorf("|a × b|² is %v, want %v", got, want)
	}
	if u := a.Unit(); u.Sub(Vec3{2.0 / 7, -3.0 / 7, 6.0 / 7}).Norm() > exact {
		t.Errorf("unit %v", u)
	}
	if u := (Vec3{}).Unit(); u != (Vec3{}) {
		t.Errorf("unit of nothing %v", u)
	}
}
