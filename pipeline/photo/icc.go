package photo

import (
	"bytes"
	"fmt"
	"math"
	"strings"

	"github.com/kovidgoyal/imaging/prism/meta/icc"
)

const noteProfile = "its colour profile cannot be used; sRGB is assumed"

// convert changes pix in place from the picture's colour space to sRGB, relative colorimetric.
// Values outside sRGB are cut in each channel and counted. A profile that cannot be used leaves
// pix alone and gives a note.
func convert(pix []uint8, r *raw) (p Profile, note string) {
	if len(r.icc) == 0 {
		if r.nclx == primariesP3 {
			p.Name, p.Converted = "Display P3 (by its number)", true
			p.Clipped = newColourTable(p3ToSRGB).apply(pix)
		}
		return p, ""
	}
	defer func() {
		if recover() != nil {
			p, note = Profile{Name: p.Name}, noteProfile
		}
	}()
	if len(r.icc) < 132 || len(r.icc) > maxICC {
		return p, noteProfile
	}
	profile, err := icc.DecodeProfile(bytes.NewReader(r.icc))
	if err != nil {
		return p, noteProfile
	}
	if name, err := profile.Description(); err == nil {
		p.Name = words(name)
	}
	space := profile.Header.DataColorSpace
	switch {
	case r.inks:
		return p, ""
	case space == icc.ColorSpaceRGB:
		return convertRGB(pix, profile, p)
	case space == icc.ColorSpaceGray && r.grey:
		return convertGrey(pix, profile, p)
	}
	return p, noteProfile
}

func convertRGB(pix []uint8, profile *icc.Profile, p Profile) (Profile, string) {
	if profile.IsSRGB() {
		return p, ""
	}
	t, err := profile.CreateTransformerToSRGB(icc.RelativeColorimetricRenderingIntent, false, 3, false, false, true)
	if err != nil {
		return p, noteProfile
	}
	table := newColourTable(t.Transform)
	if !table.sound() {
		return p, noteProfile
	}
	if table.identity() {
		return p, ""
	}
	p.Converted, p.Clipped = true, table.apply(pix)
	return p, ""
}

func convertGrey(pix []uint8, profile *icc.Profile, p Profile) (Profile, string) {
	t, err := profile.CreateTransformerToSRGB(icc.RelativeColorimetricRenderingIntent, false, 1, true, false, true)
	if err != nil {
		return p, noteProfile
	}
	var curve [256]uint8
	for i := range curve {
		out, in := make([]float64, 4), []float64{float64(i) / 255, 0, 0, 0}
		t.TransformGeneral(out, in)
		if math.IsNaN(out[1]) {
			return p, noteProfile
		}
		curve[i] = uint8(math.Round(255 * min(max(out[1], 0), 1))) // the green of a neutral
	}
	for i, v := range pix {
		pix[i] = curve[v]
	}
	p.Converted = true
	return p, ""
}

// primariesP3 is the number of the Display P3 primaries in ITU-T H.273.
const primariesP3 = 12

// p3ToSRGB converts encoded Display P3 to encoded sRGB, not cut at 0 and 1. Both have the white
// D65 and the curve of sRGB.
//
// Source: matrices from the primaries of SMPTE EG 432-1 and IEC 61966-2-1.
func p3ToSRGB(r, g, b float64) (float64, float64, float64) {
	r, g, b = linear(r), linear(g), linear(b)
	return encoded(1.2249401763*r - 0.2249401763*g),
		encoded(-0.0420569547*r + 1.0420569547*g),
		encoded(-0.0196375546*r - 0.0786360456*g + 1.0982736001*b)
}

// linear and encoded are the curve of IEC 61966-2-1, continued to negative values by symmetry.
func linear(v float64) float64 {
	if a := math.Abs(v); a > 0.04045 {
		return math.Copysign(math.Pow((a+0.055)/1.055, 2.4), v)
	}
	return v / 12.92
}

func encoded(v float64) float64 {
	if a := math.Abs(v); a > 0.0031308 {
		return math.Copysign(1.055*math.Pow(a, 1/2.4)-0.055, v)
	}
	return 12.92 * v
}

// side is the number of stations of a colour table along each channel.
const side = 33

// colourTable holds a colour conversion at side³ places, in steps of 1/255, not cut; between them
// it is linear in each of the six tetrahedra of a cell.
type colourTable struct {
	node [side * side * side][3]float32
	// For each 8-bit value its lower station and how far it lies towards the next (0–1).
	low  [256]uint8
	part [256]float32
}

func newColourTable(f func(r, g, b float64) (float64, float64, float64)) *colourTable {
	t := new(colourTable)
	for i := range t.low {
		at := float64(i) / 255 * (side - 1)
		low := min(int(at), side-2)
		t.low[i], t.part[i] = uint8(low), float32(at-float64(low))
	}
	const step = 1.0 / (side - 1)
	for r := range side {
		for g := range side {
			for b := range side {
				x, y, z := f(float64(r)*step, float64(g)*step, float64(b)*step)
				t.node[(r*side+g)*side+b] = [3]float32{float32(255 * x), float32(255 * y), float32(255 * z)}
			}
		}
	}
	return t
}

// sound reports whether all values are numbers of a sensible size.
func (t *colourTable) sound() bool {
	for _, n := range t.node {
		for _, v := range n {
			if !(v > -2000 && v < 2000) {
				return false
			}
		}
	}
	return true
}

// identity reports whether the table changes nothing by more than one step.
func (t *colourTable) identity() bool {
	for i, n := range t.node {
		at := [3]int{i / (side * side), i / side % side, i % side}
		for c, v := range n {
			if d := float64(v) - 255*float64(at[c])/(side-1); math.Abs(d) > 1 {
				return false
			}
		}
	}
	return true
}

// at converts one colour; steps of 1/255, not cut.
func (t *colourTable) at(r, g, b uint8) (out [3]float32) {
	fr, fg, fb := t.part[r], t.part[g], t.part[b]
	i := (int(t.low[r])*side+int(t.low[g]))*side + int(t.low[b])
	const dr, dg, db = side * side, side, 1
	// From the corner 000 to 111 along the channels in falling order of their parts.
	var first, second int
	var a1, a2, a3 float32
	switch {
	case fr >= fg && fg >= fb:
		first, second, a1, a2, a3 = dr, dr+dg, fr, fg, fb
	case fr >= fb && fb >= fg:
		first, second, a1, a2, a3 = dr, dr+db, fr, fb, fg
	case fb >= fr && fr >= fg:
		first, second, a1, a2, a3 = db, db+dr, fb, fr, fg
	case fg >= fr && fr >= fb:
		first, second, a1, a2, a3 = dg, dg+dr, fg, fr, fb
	case fg >= fb && fb >= fr:
		first, second, a1, a2, a3 = dg, dg+db, fg, fb, fr
	default:
		first, second, a1, a2, a3 = db, db+dg, fb, fg, fr
	}
	n0, n1, n2, n3 := &t.node[i], &t.node[i+first], &t.node[i+second], &t.node[i+dr+dg+db]
	w0, w1, w2 := 1-a1, a1-a2, a2-a3
	for c := range out {
		out[c] = w0*n0[c] + w1*n1[c] + w2*n2[c] + a3*n3[c]
	}
	return out
}

// apply converts pix in place and returns the share of pixels that had to be cut.
func (t *colourTable) apply(pix []uint8) (clipped float64) {
	cut := 0
	for i := 0; i+2 < len(pix); i += 3 {
		v := t.at(pix[i], pix[i+1], pix[i+2])
		outside := false
		for c, x := range v {
			outside = outside || x < -1 || x > 256
			pix[i+c] = uint8(min(max(x, 0), 255) + 0.5)
		}
		if outside {
			cut++
		}
	}
	if len(pix) < 3 {
		return 0
	}
	return float64(cut) / float64(len(pix)/3)
}

// String says how the colours were treated, for the method part of a report.
func (p Profile) String() string {
	name := p.Name
	if name == "" {
		name = "no profile"
	}
	if !p.Converted {
		return fmt.Sprintf("%s, taken as sRGB", name)
	}
	if p.Clipped > 0 {
		return fmt.Sprintf("%s, converted to sRGB (%s %% of the pixels cut)", name,
			strings.TrimSuffix(fmt.Sprintf("%.1f", 100*p.Clipped), ".0"))
	}
	return name + ", converted to sRGB"
}
