package body

import "offtype/measure/geom"

// A spur is a thin excursion of the outline, such as one that runs out along the stalk: its two ends lie
// nearer to each other than spurNeck of the outline's smaller extent and the way around it is at least
// spurWay times as long as that.
const (
	spurNeck = 0.12
	spurWay  = 2.5
)

// spurOpens is how much wider than a cone through the spur's neck the outline must be a little further in.
const spurOpens = 1.8

// shouldered reports whether the outline opens at the neck between points i and j like a stalk's foot on a shoulder,
// and not like the slim tip of a root, which goes on widening as it did. way: length along the outline, twice around.
func shouldered(outline []geom.Px, way []float64, i, j int, neck float64) bool {
	n := len(outline)
	a, b := i+n, j // one step further in on either side, i taken a round later
	for a > i && way[i+n]-way[a] < neck {
		a--
	}
	for b < 2*n && way[b]-way[j] < neck {
		b++
	}
	d := outline[j%n].Sub(outline[i%n]).Norm()
	s := way[j] - way[i]
	return outline[b%n].Sub(outline[a%n]).Norm() > spurOpens*d*(s/2+neck)/(s/2)
}

// cutSpurs returns the outline without its spurs, each replaced by the chord across its neck, with the
// edges kept in step. No fruit is as thin as that.
func cutSpurs(outline []geom.Px, edge []geom.Edge) ([]geom.Px, []geom.Edge) {
	n := len(outline)
	if n < 60 {
		return outline, edge
	}
	neck := spurNeck * smallerSide(outline)
	way := make([]float64, 2*n+1) // length along the outline, twice around
	for i := 0; i < 2*n; i++ {
		way[i+1] = way[i] + outline[(i+1)%n].Sub(outline[i%n]).Norm()
	}
	longest := 0.35 * way[n]
	drop := make([]bool, n)
	step := max(1, n/300)
	for i := 0; i < n; i += step {
		// the farthest partner first: it takes the whole spur
		for j := i + n/2; j > i+4; j -= step {
			s := way[j] - way[i]
			if s > longest {
				continue
			}
			if s < 0.5*neck {
				break
			}
			d := outline[j%n].Sub(outline[i])
			if d2 := d.Dot(d); d2 < neck*neck && s*s >= spurWay*spurWay*d2 && shouldered(outline, way, i, j, neck) {
				for k := i + 1; k < j; k++ {
					drop[k%n] = true
				}
				break
			}
		}
	}
	var out []geom.Px
	var e []geom.Edge
	for i, p := range outline {
		if drop[i] {
			continue
		}
		out = append(out, p)
		if len(edge) == n {
			e = append(e, edge[i])
		}
	}
	if len(out) < n/2 { // not a spur: the whole thing is thin
		return outline, edge
	}
	return out, e
}
