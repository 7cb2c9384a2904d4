package desk

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline/record"
)

// describe fills the panel of a fruit; the caller holds mu.
func (h *harvest) describe(f *record.Fruit) *fruitData {
	also := h.alsoOn(f.Key())
	if best := h.standsFor(f.Key()); len(also) > 0 && h.result != nil {
		if joint := h.fruit(best.Photo, best.Number); joint != nil { // measured from several photos together
			x := *joint
			x.Photo, x.Number, x.Pose, x.Notes, x.Unsure = f.Photo, f.Number, f.Pose, f.Notes, f.Unsure
			f = &x
		}
	}
	v := &fruitData{Also: also, Number: f.Number, Head: fmt.Sprintf("Fruit %d", f.Number), Size: f.SizeWords(), Unsure: f.Unsure, Plant: f.Plant, Pose: string(f.Pose), Notes: f.Known().NotesInWords()}
	if f.Plant != "" {
		v.Head += " of plant " + f.Plant
	}
	v.numbers(f)
	if !f.Unscaled {
		v.swatches(f)
	}
	v.Profile = profilePath(f)
	v.Spared = slices.ContainsFunc(h.names(f.Key()), func(s string) bool { return slices.Contains(h.Spared, s) })
	g, j := h.finding(f.Key())
	if g != nil {
		v.Group = fmt.Sprintf("Group %d", g.Group)
		if g.Alone {
			v.Group += ", stands alone"
		} else if g.Unplaced(h.result.GroupCount()) {
			v.Group = "No group: too little measured"
		} else if g.Unsure {
			v.Group += fmt.Sprintf(", not sure (%.0f %%)", 100*g.Membership)
		}
	}
	if j != nil && h.result.Judgement.Variety != nil {
		v.Verdict, v.Reasons = string(j.Verdict), j.Reasons
		v.Sign, v.Class = j.Verdict.Mark()
	}
	return v
}

// numbers lists what was measured. Without a scale, sizes and colours mean nothing outside the photo.
func (v *fruitData) numbers(f *record.Fruit) {
	add := func(name, text string) {
		if text != "" {
			v.Numbers = append(v.Numbers, [2]string{name, text})
		}
	}
	if f.Unscaled {
		add("Size", "no scale")
		add("Length ÷ width", record.Fixed(f.Ratio.V, 2))
	} else {
		add("Length without the stalk", plusMinus(f.Length, 0, "mm"))
		add("Width", plusMinus(f.Width, 0, "mm"))
		add("Length ÷ width", record.Fixed(f.Ratio.V, 2))
		if f.Midline.Ok() && f.Bend.Ok() && f.Bend.V > 8 {
			add("Along the curve", plusMinus(f.Midline, 0, "mm"))
		}
	}
	if f.Bend.Ok() && f.Bend.V > 8 {
		add("Bend", record.Fixed(f.Bend.V, 0)+"°")
	}
	add("Widest at (0 stem, 1 blossom)", record.Fixed(f.BroadestAt.V, 2))
	if ribs := f.Known().Ribs; ribs > 0 {
		add("Ribs", strconv.Itoa(ribs))
	} else if ribs == 0 {
		add("Ribs", "none")
	}
	add("Pattern", strings.TrimSpace(f.Pattern))
	add("Shape", strings.Join(f.ShapeWords, ", "))
	if !f.Unscaled {
		add("Volume", plusMinus(f.Volume, 0, "cm³"))
		add("Stalk", plusMinus(f.StalkLength, 0, "mm"))
	}
}

// swatches shows the skin's colours.
func (v *fruitData) swatches(f *record.Fruit) {
	if f.Skin != nil {
		v.Swatches = append(v.Swatches, swatch{f.Skin.Hex(), strings.TrimSpace(f.SkinWords + fmt.Sprintf(" (L %.0f, a %.0f, b %.0f; D65)", f.Skin.L, f.Skin.A, f.Skin.B))})
	}
	if f.Second != nil {
		t := fmt.Sprintf("second colour (L %.0f, a %.0f, b %.0f; D65)", f.Second.L, f.Second.A, f.Second.B)
		if f.SecondShare.Ok() {
			t += fmt.Sprintf(", %.0f %% of the skin", 100*f.SecondShare.V)
		}
		v.Swatches = append(v.Swatches, swatch{f.Second.Hex(), t})
	}
}

// names are all FILE:NUMBER that a fruit goes by; the caller holds mu.
func (h *harvest) names(k record.Key) []string {
	out := []string{fmt.Sprintf("%s:%d", k.Photo, k.Number)}
	for _, x := range h.alsoOn(k) {
		out = append(out, fmt.Sprintf("%s:%d", x.File, x.Number))
	}
	return out
}

// profilePath draws the fitted body from the side, stem end left, in a box 200 wide.
func profilePath(f *record.Fruit) string {
	n := len(f.Profile)
	long := f.Midline.V
	if !f.Midline.Ok() {
		long = f.Length.V
	}
	if n < 3 || !(long > 0) {
		return ""
	}
	k := 190 / long
	for _, v := range f.Profile {
		k = min(k, 110/max(v, 1))
	}
	x0 := 100 - long*k/2
	var pts []geom.Px
	for i := range 2 * n {
		j, side := i, -1.0
		if i >= n {
			j, side = 2*n-1-i, 1
		}
		p := geom.Px{X: x0 + k*long*float64(j)/float64(n-1), Y: 60 + side*k*f.Profile[j]/2}
		if len(pts) == 0 || p.Sub(pts[len(pts)-1]).Norm() > .5 && p.Sub(pts[0]).Norm() > .5 { // both sides meet at the ends
			pts = append(pts, p)
		}
	}
	return smooth(pts)
}

// smooth draws a closed curve through the points: cubic pieces whose tangents follow the neighbours.
func smooth(p []geom.Px) string {
	var b strings.Builder
	n := len(p)
	fmt.Fprintf(&b, "M%.1f %.1f", p[0].X, p[0].Y)
	for i := range n {
		a, c, d, e := p[(i+n-1)%n], p[i], p[(i+1)%n], p[(i+2)%n]
		fmt.Fprintf(&b, "C%.1f %.1f %.1f %.1f %.1f %.1f", c.X+(d.X-a.X)/6, c.Y+(d.Y-a.Y)/6, d.X-(e.X-c.X)/6, d.Y-(e.Y-c.Y)/6, d.X, d.Y)
	}
	return b.String() + "Z"
}
