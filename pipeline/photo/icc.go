package photo

import (
	"bytes"
	"crypto/sha256"
	"math"
	"sync"

	"github.com/kovidgoyal/imaging/prism/meta/icc"
)

// convert changes pix in place from the picture's colour space to sRGB, relative colorimetric.
// Values outside sRGB are cut in each channel and counted. A profile that cannot be used leaves pix
// alone and gives a note.
func convert(pix []uint8, r *raw) (p Profile, note string) {
	if len(r.icc) == 0 {
		if r.nclx == primariesP3 {
			p.Name = "Display P3 (by its number)"
			p = convertRGB(pix, newColourTable(p3ToLight), p)
		}
		return p, ""
	}
	defer func() {
		if recover() != nil {
			p, note = Profile{Name: p.Name}, NoteProfile
		}
	}()
	if !plausibleProfile(r.icc) {
		return p, NoteProfile
	}
	profile, err := icc.DecodeProfile(bytes.NewReader(r.icc))
	if err != nil {
		return p, NoteProfile
	}
	if name, err := profile.Description(); err == nil {
		p.Name = words(name)
	}
	space := profile.Header.DataColorSpace
	switch {
	case r.inks, r.grey:
		return p, ""
	case space == icc.ColorSpaceRGB && profile.IsSRGB():
		return p, ""
	case space == icc.ColorSpaceRGB:
		table := tableOf(r.icc, profile)
		if table == nil {
			return p, NoteProfile
		}
		return convertRGB(pix, table, p), ""
	}
	return p, NoteProfile
}

// lastTable keeps the table of the last profile: the photos of a batch come from one or two phones,
// and filling a table takes as long as decoding half a photo.
var lastTable struct {
	sync.Mutex
	sum   [sha256.Size]byte
	table *colourTable
}

// tableOf gives the table of a profile, nil when it cannot be used.
func tableOf(data []byte, profile *icc.Profile) *colourTable {
	sum := sha256.Sum256(data)
	lastTable.Lock()
	defer lastTable.Unlock()
	if lastTable.table != nil && lastTable.sum == sum {
		return lastTable.table
	}
	f, err := profileToLight(profile)
	if err != nil {
		return nil
	}
	table := newColourTable(f)
	if !table.sound() {
		return nil
	}
	lastTable.sum, lastTable.table = sum, table
	return table
}

func convertRGB(pix []uint8, table *colourTable, p Profile) Profile {
	if !table.identity() {
		p.Converted, p.Clipped = true, table.apply(pix)
	}
	return p
}

// primariesP3 is the number of the Display P3 primaries in ITU-T H.273.
const primariesP3 = 12

// p3ToLight converts Display P3, which has the white D65 and the curve of sRGB.
//
// Source: matrices from the primaries of SMPTE EG 432-1 and IEC 61966-2-1.
func p3ToLight(r, g, b float64) [3]float64 {
	r, g, b = linear(r), linear(g), linear(b)
	return [3]float64{1.2249401763*r - 0.2249401763*g,
		-0.0420569547*r + 1.0420569547*g,
		-0.0196375546*r - 0.0786360456*g + 1.0982736001*b}
}

// profileToLight goes through the profile's connection space (XYZ or CIELAB, white D50).
func profileToLight(profile *icc.Profile) (toLight, error) {
	t, err := profile.CreateTransformerToPCS(icc.RelativeColorimetricRenderingIntent, 3, true)
	if err != nil {
		return nil, err
	}
	isLab := profile.Header.ProfileConnectionSpace == icc.ColorSpaceLab
	return func(r, g, b float64) [3]float64 {
		x, y, z := t.Transform(r, g, b)
		if isLab {
			x, y, z = labToXYZ(x, y, z)
		}
		return xyzToLight(x, y, z)
	}, nil
}

// labToXYZ converts CIELAB (L* 0–100) to XYZ with Y = 1 for white, both for the white D50 of the
// ICC (0.9642, 1, 0.8249).
//
// Source: CIE 15:2018, section 8.2.1, reversed.
func labToXYZ(l, a, b float64) (x, y, z float64) {
	fy := (l + 16) / 116
	cube := func(f float64) float64 {
		if f > 6.0/29 {
			return f * f * f
		}
		return 3 * 36.0 / 841 * (f - 4.0/29)
	}
	return 0.9642 * cube(fy+a/500), cube(fy), 0.8249 * cube(fy-b/200)
}

// xyzToLight converts XYZ, white D50, to linear-light sRGB, white D65 (Bradford adaptation).
//
// Source: the inverse of the D50 colorants of IEC 61966-2-1 Amd 1 as ICC profiles hold them.
func xyzToLight(x, y, z float64) [3]float64 {
	return [3]float64{3.1338561*x - 1.6168667*y - 0.4906146*z,
		-0.9787684*x + 1.9161415*y + 0.0334540*z,
		0.0719453*x - 0.2289914*y + 1.4052427*z}
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
