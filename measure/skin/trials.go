package skin

import "math"

// trials fits the light to the same pixels again and again, once each time, with lamps at other places. All begin with
// the lamps dark: what the pixels show then, their weights and the equations of the smooth terms are worked out once.
type trials struct {
	from *light
	px   []lit
	rows []darkRow   // three a pixel
	own  []ownColour // three a part
	dark normals     // of the smooth terms
	cols [mostLamps]column
	base [][3]float64 // of each part
	sum  []colourSum
}

// darkRow is what a channel of a pixel puts into the equations.
type darkRow struct {
	w, we, wc float64      // its weight, that times e, that times c
	smooth    [nSH]float64 // the smooth terms, times w
}

// column is what a lamp puts into the equations.
type column struct {
	at  stand
	ok  bool
	row []float64 // its term, three a pixel
	er  []float64 // as in ownColour, three a part
	a   [3]terms  // with the smooth terms, and last with itself
	g   [3]float64
}

// newTrials takes over the pixels; from has no lamps.
func newTrials(from *light, px []lit) *trials {
	parts := partsOf(px)
	h := &trials{
		from: from, px: px, rows: make([]darkRow, 3*len(px)), own: make([]ownColour, 3*parts), dark: normals{n: nSH},
		base: make([][3]float64, parts), sum: make([]colourSum, parts),
	}
	for i := range h.cols {
		h.cols[i].row, h.cols[i].er = make([]float64, 3*len(px)), make([]float64, 3*parts)
	}
	dark := from.clone()
	dark.lamps = make([]lamp, 1)
	dark.see(px)
	var row terms
	for i := range px {
		t := &px[i]
		h.base[t.part] = t.base
		for k := range t.base {
			r := &h.rows[3*i+k]
			r.w = t.weight(k)
			r.we, r.wc = r.w*t.e[k], r.w*t.c[k]
			for j := range nSH {
				row[j] = t.base[k]*mattOf[j]*t.fn[j] + t.fresn*glossOf[j]*t.fr[j]
				r.smooth[j] = r.w * row[j]
			}
			h.dark.add(k, &row, t.c[k], r.w)
			h.own[3*t.part+k].add(nSH, &row, t.e[k], t.c[k], r.w)
		}
	}
	for i := range h.own {
		if o := &h.own[i]; o.ee > 0 {
			h.dark.add(i%3, &o.er, o.ec, -1/o.ee)
		}
	}
	return h
}

// cost is that of the light with lamps at the stands; infinite from limit on, and when a lamp would have to take light
// away.
func (h *trials) cost(at []stand, limit float64) float64 {
	l := h.from.clone()
	for _, s := range at {
		l.lamps = append(l.lamps, s.lamp(l.about))
	}
	for i, s := range at {
		if c := &h.cols[i]; !c.ok || c.at != s {
			aimOne(h.px, l, i)
			h.fill(c, i)
			c.at, c.ok = s, true
		}
	}
	l.take(h.equations(len(at)))
	for i := range l.lamps {
		if p := &l.lamps[i].power; min(p[0], p[1], p[2]) < 0 {
			return math.Inf(1)
		}
	}
	for i := range h.px {
		t := &h.px[i]
		t.base = h.base[t.part]
		t.under(l)
	}
	rebase(h.px, h.sum)
	return cost(h.px, limit)
}

// fill works out the column of lamp i, at which the pixels have been aimed.
func (h *trials) fill(c *column, i int) {
	clear(c.er)
	c.a, c.g = [3]terms{}, [3]float64{}
	for p := range h.px {
		t := &h.px[p]
		base := &h.base[t.part]
		matt, gloss := t.lm[i], t.fresn*t.lg[i]
		for k, b := range base {
			r, v := &h.rows[3*p+k], b*matt+gloss
			c.row[3*p+k] = v
			c.er[3*t.part+k] += r.we * v
			c.g[k] += r.wc * v
			a := &c.a[k]
			for j, s := range r.smooth {
				a[j] += s * v
			}
			a[nSH] += r.w * v * v
		}
	}
	for j := range h.own {
		if o := &h.own[j]; o.ee > 0 {
			k, f := j%3, c.er[j]/o.ee
			for n := range nSH {
				c.a[k][n] -= o.er[n] * f
			}
			c.a[k][nSH] -= c.er[j] * f
			c.g[k] -= o.ec * f
		}
	}
}

// equations puts together those of the smooth terms and of the first n lamps.
func (h *trials) equations(n int) *normals {
	m := h.dark
	m.n = nSH + n
	for i := range n {
		c := &h.cols[i]
		for k := range c.a {
			for j := range nSH {
				m.a[k][j][nSH+i] = c.a[k][j]
			}
			m.a[k][nSH+i][nSH+i], m.g[k][nSH+i] = c.a[k][nSH], c.g[k]
		}
		for j := range i {
			b := &h.cols[j]
			for p := range h.rows {
				m.a[p%3][nSH+j][nSH+i] += h.rows[p].w * b.row[p] * c.row[p]
			}
			for p := range h.own {
				if o := &h.own[p]; o.ee > 0 {
					m.a[p%3][nSH+j][nSH+i] -= b.er[p] * c.er[p] / o.ee
				}
			}
		}
	}
	return &m
}
