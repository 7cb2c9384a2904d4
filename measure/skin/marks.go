package skin

import (
	"math"

	"offtype/measure/colour"
)

// kind is what a part of the skin turns out to be.
type kind uint8

const (
	ground kind = iota // the main colour
	shade              // the main colour, darker or lighter for want of light
	shine              // the main colour under reflected light
	spot               // ground spot: pale or orange, soft-edged, one patch
	scar               // small, brown or corky, at an end
	mark               // a secondary colour
)

// Limits of the rules below; all are this program's own (common practice, no source).
const (
	sameDE    = 3.5  // a part is shade when it is within this ΔE00 of the main colour under other light …
	shadeDE   = 6.0  // … or within this without a sharp border
	scatterDE = 1.5  // … but many sharp pieces are shade only within this
	shadeMax  = 0.3  // … and not darker than this share of it
	markDE    = 6.0  // a mark differs from the main colour by at least this
	softMM    = 4.0  // width of the edge of a ground spot, at least
	oneBlob   = 0.75 // share of a ground spot that hangs together
	scarShare = 0.04 // a scar is smaller than this share of the skin
)

// part is one part of the skin, judged.
type part struct {
	kind  kind
	rgb   colour.RGB
	lab   colour.Lab
	n     int
	share float64
}

// judgeParts decides what each part is. The largest part is the main colour.
func (s *patchwork) judgeParts(l *view) []part {
	out := s.countParts(l)
	if s.unmix(out) {
		out = s.countParts(l)
		s.largestFirst(out)
	}
	for p := 1; p < len(out); p++ {
		if out[p].n > 0 {
			out[p].kind = s.judgePart(out, p)
		}
	}
	for p := 1; p < len(out); p++ {
		for q := range out {
			if out[q].kind == spot && out[p].kind == mark && !s.sharp(p) && rim(out[0].lab, out[q].lab, out[p].lab) {
				out[p].kind = shade // the soft rim of a ground spot
			}
		}
	}
	return out
}

// largestFirst makes the largest part the main one, where unmixing has changed which that is.
func (s *patchwork) largestFirst(parts []part) {
	most := 0
	for p := range parts {
		if parts[p].n > parts[most].n {
			most = p
		}
	}
	if most == 0 {
		return
	}
	parts[0], parts[most] = parts[most], parts[0]
	for i := range s.px {
		switch q := &s.px[i]; q.part {
		case 0:
			q.part = most
		case most:
			q.part = 0
		}
	}
	s.lists = nil
}

// rim reports whether x lies roughly between a and b.
func rim(a, b, x colour.Lab) bool {
	ab, ax := [3]float64{b.L - a.L, b.A - a.A, b.B - a.B}, [3]float64{x.L - a.L, x.A - a.A, x.B - a.B}
	dot, len2, x2 := 0.0, 0.0, 0.0
	for k := range ab {
		dot, len2, x2 = dot+ab[k]*ax[k], len2+ab[k]*ab[k], x2+ax[k]*ax[k]
	}
	if len2 == 0 {
		return false
	}
	t := dot / len2
	off := x2 - t*dot
	return t > 0.1 && t < 0.95 && off < 100 // within 10 ΔE*ab of the line
}

func (s *patchwork) countParts(l *view) []part {
	out := make([]part, s.parts)
	total := 0
	for i := range s.px {
		if p := s.px[i].part; p >= 0 {
			out[p].n++
			total++
		}
	}
	for p := range out {
		if out[p].n == 0 {
			out[p].kind = shade
			continue
		}
		out[p].rgb, _ = s.partRGB(p, l)
		out[p].lab = out[p].rgb.Lab()
		out[p].share = float64(out[p].n) / math.Max(1, float64(total))
	}
	return out
}

func (s *patchwork) judgePart(parts []part, p int) kind {
	m, q := parts[0], parts[p]
	up, view := s.meanFacing(p)
	de := colour.DeltaE2000(m.lab, q.lab)
	if k := lum(q.rgb) / lum(m.rgb); k > 0 {
		scaled := colour.RGB{m.rgb[0] * k, m.rgb[1] * k, m.rgb[2] * k}.Lab()
		same := colour.DeltaE2000(scaled, q.lab)
		sharp := s.sharp(p)
		dark := 1 + math.Max(0, 25-math.Min(m.lab.L, q.lab.L))/20 // dark colours are known less well
		limit := sameDE * dark
		if sharp && dark == 1 && s.largestBlob(p) < 0.5 {
			limit = scatterDE // shade does not come in many sharp pieces
		}
		if k > shadeMax && k < 1/shadeMax && same < de && (same < limit || same < shadeDE*dark && !sharp) {
			return shade
		}
		most := math.Inf(1) // at grazing angles a smooth skin mirrors what lies beside
		if sharp {
			// A plane tilted from a wide table sees it over (1 − up)/2 of its sky, and a table beside which the card
			// lies is hardly lit twice as brightly as the card.
			most = 1 - up // twice (1 − up)/2
		}
		if s.reflected(m.rgb, q.rgb, most) < limit && k < 1 {
			return shade
		}
		if s.shineOf(m.rgb, q.rgb) && q.share < 0.15 {
			return shine
		}
	}
	if de < markDE {
		return shade
	}
	if up < 0.15 || view < litFacing || up < 0.4 && !s.sharp(p) {
		return shade
	}
	blob := s.largestBlob(p)
	pale := q.lab.L > m.lab.L+2 || (q.lab.L > m.lab.L-6 && q.lab.B > m.lab.B+5)
	if hue := q.lab.HueDeg(); pale && hue > 35 && hue < 115 && blob > oneBlob && s.edgeMM(parts, p) > softMM {
		return spot
	}
	if q.share < scarShare && blob > 0.6 && s.atEnd(p) && q.lab.HueDeg() > 30 && q.lab.HueDeg() < 110 {
		return scar
	}
	return mark
}

// unmix gives parts that are only the camera's mixture of the main colour and a mark, along the mark's edges, back to
// the two, sample by sample; and joins two marks that differ only in the light on them.
func (s *patchwork) unmix(parts []part) bool {
	found := false
	for p := 1; p < len(parts); p++ {
		for m := 1; m < len(parts); m++ {
			if m == p || parts[m].n == 0 || parts[p].n == 0 {
				continue
			}
			switch {
			case parts[m].n >= parts[p].n && sameInLight(parts[m].rgb, parts[p].rgb):
				s.give(p, func(*pixel) int { return m })
			case 2*parts[m].n >= parts[p].n && between(parts[0].rgb, parts[m].rgb, parts[p].rgb),
				parts[m].n > 2*parts[p].n && s.coreShare(p) < 0.3 && rim(parts[0].lab, parts[m].lab, parts[p].lab):
				s.give(p, func(q *pixel) int {
					if colour.DeltaE76(q.lab, parts[m].lab) < colour.DeltaE76(q.lab, parts[0].lab) {
						return m
					}
					return 0
				})
			default:
				continue
			}
			parts[p].n = 0
			found = true
		}
	}
	return found
}

// coreShare returns the share of part p that no edge touches.
func (s *patchwork) coreShare(p int) float64 {
	k := s.membersOf(p)
	return float64(k.cores) / math.Max(1, float64(k.n))
}

// give hands the samples of part p on.
func (s *patchwork) give(p int, to func(*pixel) int) {
	for i := range s.px {
		if q := &s.px[i]; q.part == p {
			q.part = to(q)
		}
	}
	s.lists = nil
}

// sameInLight reports whether a and b are one colour under light that differs by up to 2.5 times.
func sameInLight(a, b colour.RGB) bool {
	k := lum(b) / lum(a)
	if !(k > 0.4 && k < 2.5) {
		return false
	}
	return colour.DeltaE2000(colour.RGB{a[0] * k, a[1] * k, a[2] * k}.Lab(), b.Lab()) < 4
}

// between reports whether x is a mixture of a and b (20–80 %) to within 4 ΔE00.
func between(a, b, x colour.RGB) bool {
	num, den := 0.0, 0.0
	for k := range a {
		num += (x[k] - a[k]) * (b[k] - a[k])
		den += (b[k] - a[k]) * (b[k] - a[k])
	}
	if den == 0 {
		return false
	}
	t := num / den
	if t < 0.2 || t > 0.8 {
		return false
	}
	mix := colour.RGB{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1]), a[2] + t*(b[2]-a[2])}
	return colour.DeltaE2000(mix.Lab(), x.Lab()) < 4
}

// reflected returns the ΔE00 between q and the nearest colour that m takes on under the card's light mixed with light
// from what lies beside the fruit, of which it takes at most most (1: as much as lies in the card's light); +Inf when q
// asks for more.
func (s *patchwork) reflected(m, q colour.RGB, most float64) float64 {
	// least squares q = m·(a + b·t), with t the colour beside
	var f [3]float64
	aa, ab, bb, qa, qb := 0.0, 0.0, 0.0, 0.0, 0.0
	for k := range m {
		f[k] = m[k] * s.beside[k]
		aa, ab, bb = aa+m[k]*m[k], ab+m[k]*f[k], bb+f[k]*f[k]
		qa, qb = qa+q[k]*m[k], qb+q[k]*f[k]
	}
	det := aa*bb - ab*ab
	if !(det > 1e-12) {
		return math.Inf(1)
	}
	a, b := (qa*bb-qb*ab)/det, (qb*aa-qa*ab)/det
	if a < 0 || b < 0 || b > most {
		return math.Inf(1)
	}
	return colour.DeltaE2000(colour.RGB{a*m[0] + b*f[0], a*m[1] + b*f[1], a*m[2] + b*f[2]}.Lab(), q.Lab())
}

// shineOf reports whether q is m under any light plus white.
func (s *patchwork) shineOf(m, q colour.RGB) bool {
	// least squares q = k·m + w·(1,1,1)
	mm, m1, qm, q1 := 0.0, 0.0, 0.0, 0.0
	for k := range m {
		mm, m1, qm, q1 = mm+m[k]*m[k], m1+m[k], qm+q[k]*m[k], q1+q[k]
	}
	det := 3*mm - m1*m1
	if det < 1e-9 {
		return q1/3 > 1.5*m1/3 && q1/3 > 0.6
	}
	k, w := (3*qm-m1*q1)/det, (mm*q1-m1*qm)/det
	if k < 0.7 || k > 3 || w < 0.03 || lum(q) < lum(m)+0.03 {
		return false
	}
	fit := colour.RGB{k*m[0] + w, k*m[1] + w, k*m[2] + w}
	return colour.DeltaE2000(fit.Lab(), q.Lab()) < 2.5
}

// sharp reports whether the border of part p against the main part is a step: most of the change over nine samples
// happens within three. Shading and attached shadows change slowly.
func (s *patchwork) sharp(p int) bool {
	var near, far []float64
	for i := range s.px {
		q := &s.px[i]
		if q.part != p {
			continue
		}
		for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			o := s.at(q.gx+d[0], q.gy+d[1])
			if o < 0 || s.px[o].part != 0 {
				continue
			}
			a, b := s.at(q.gx-d[0], q.gy-d[1]), s.at(q.gx+2*d[0], q.gy+2*d[1])
			c, e := s.at(q.gx-4*d[0], q.gy-4*d[1]), s.at(q.gx+5*d[0], q.gy+5*d[1])
			if a < 0 || b < 0 || c < 0 || e < 0 {
				continue
			}
			if s.px[a].part != p {
				a = i // a mark one sample wide
			}
			near = append(near, colour.DeltaE76(s.px[a].lab, s.px[b].lab))
			far = append(far, colour.DeltaE76(s.px[c].lab, s.px[e].lab))
		}
	}
	return len(near) > 8 && median(near) > 7 && median(near) > 0.6*median(far)
}

// edgeMM returns the width of the border of part p against the main part, mm: the area of samples whose colour lies
// between the two (25–75 % of the way) over the length of the border.
func (s *patchwork) edgeMM(parts []part, p int) float64 {
	a, b := parts[0].lab, parts[p].lab
	d := [3]float64{b.L - a.L, b.A - a.A, b.B - a.B}
	dd := d[0]*d[0] + d[1]*d[1] + d[2]*d[2]
	if dd == 0 {
		return 0
	}
	between, border := 0.0, 0.0
	for i := range s.px {
		q := &s.px[i]
		t := ((q.lab.L-a.L)*d[0] + (q.lab.A-a.A)*d[1] + (q.lab.B-a.B)*d[2]) / dd
		if t > 0.25 && t < 0.75 {
			between++
		}
		if q.part != p {
			continue
		}
		for _, n := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			if j := s.at(q.gx+n[0], q.gy+n[1]); j >= 0 && s.px[j].part != p {
				border++
			}
		}
	}
	if border == 0 {
		return 0
	}
	return between / (border * math.Pi / 4) * s.mmStep
}

// meanFacing returns how far part p faces up and faces the camera, on the mean. Below 0.4 up, table and neighbours
// colour its light.
func (s *patchwork) meanFacing(p int) (up, view float64) {
	n := 0.0
	for i := range s.px {
		if q := &s.px[i]; q.part == p {
			up, view, n = up+q.n.Z, view+q.facing, n+1
		}
	}
	return up / math.Max(1, n), view / math.Max(1, n)
}

// atEnd reports whether part p lies at one end of the fruit.
func (s *patchwork) atEnd(p int) bool {
	t, n := 0.0, 0.0
	for i := range s.px {
		if s.px[i].part == p {
			t, n = t+s.px[i].s, n+1
		}
	}
	return n > 0 && (t/n < 0.1 || t/n > 0.9)
}

// blobs returns the sizes, in samples, of the connected pieces (8 neighbours) of the samples that pass.
func (s *patchwork) blobs(pass func(*pixel) bool) []int {
	seen := make([]bool, len(s.px))
	var out []int
	var stack []int
	for i := range s.px {
		if seen[i] || !pass(&s.px[i]) {
			continue
		}
		n := 0
		stack = append(stack[:0], i)
		seen[i] = true
		for len(stack) > 0 {
			q := &s.px[stack[len(stack)-1]]
			stack = stack[:len(stack)-1]
			n++
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if j := s.at(q.gx+dx, q.gy+dy); j >= 0 && !seen[j] && pass(&s.px[j]) {
						seen[j] = true
						stack = append(stack, j)
					}
				}
			}
		}
		out = append(out, n)
	}
	return out
}

// absorb gives the samples of shade back to the main part.
func (s *patchwork) absorb(parts []part) {
	for p, q := range parts {
		if p > 0 && q.kind == shade {
			s.give(p, func(*pixel) int { return 0 })
		}
	}
}

// largestBlob returns the share of part p that its largest piece holds.
func (s *patchwork) largestBlob(p int) float64 {
	sum, big := 0, 0
	for _, n := range s.blobs(func(q *pixel) bool { return q.part == p }) {
		sum, big = sum+n, max(big, n)
	}
	if sum == 0 {
		return 0
	}
	return float64(big) / float64(sum)
}
