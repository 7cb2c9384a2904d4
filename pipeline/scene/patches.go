package scene

import (
	"fmt"
	"image"
	_ "image/jpeg" // photos are JPEG
	"math"
	"os"

	"offtype/measure/colour"
	"offtype/measure/geom"
)

// Image is a decoded photo: RGB, 3 bytes a pixel.
type Image struct {
	Pix  []uint8
	W, H int
}

// At returns the encoded values of pixel (x, y), 0–255.
func (m *Image) At(x, y int) [3]float64 {
	i := 3 * (y*m.W + x)
	return [3]float64{float64(m.Pix[i]), float64(m.Pix[i+1]), float64(m.Pix[i+2])}
}

// Load decodes the scene's photo.
func (s *Scene) Load() (*Image, error) {
	f, err := os.Open(s.Photo)
	if err != nil {
		return nil, fmt.Errorf("read scene %q: %w", s.Name, err)
	}
	defer f.Close()
	im, _, err := image.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("decode scene %q: %w", s.Name, err)
	}
	b := im.Bounds()
	m := &Image{W: b.Dx(), H: b.Dy()}
	m.Pix = make([]uint8, 3*m.W*m.H)
	i := 0
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bl, _ := im.At(x, y).RGBA()
			m.Pix[i], m.Pix[i+1], m.Pix[i+2] = uint8(r>>8), uint8(g>>8), uint8(bl>>8)
			i += 3
		}
	}
	return m, nil
}

// patch is a rectangle of the card, mm, with its nominal sRGB; the list follows the card's revision 1.
type patch struct {
	name       string
	x, y, w, h float64
	rgb        [3]float64
}

var patches = []patch{
	{"N1", 55, 8, 20, 36, [3]float64{231, 231, 231}}, {"N2", 79, 8, 20, 36, [3]float64{193, 193, 193}},
	{"N3", 103, 8, 20, 36, [3]float64{155, 155, 155}}, {"N4", 127, 8, 20, 36, [3]float64{119, 119, 119}},
	{"N5", 151, 8, 20, 36, [3]float64{82, 82, 82}}, {"N6", 175, 8, 20, 36, [3]float64{48, 48, 48}},
	{"S1", 202, 54, 40, 22, [3]float64{240, 226, 150}}, {"S2", 202, 79, 40, 22, [3]float64{214, 170, 120}},
	{"S3", 202, 104, 40, 22, [3]float64{120, 78, 48}}, {"S4", 175, 136, 20, 36, [3]float64{232, 188, 40}},
	{"S5", 151, 136, 20, 36, [3]float64{226, 130, 36}}, {"S6", 127, 136, 20, 36, [3]float64{196, 70, 40}},
	{"S7", 103, 136, 20, 36, [3]float64{140, 60, 100}}, {"S8", 79, 136, 20, 36, [3]float64{50, 70, 130}},
	{"S9", 55, 136, 20, 36, [3]float64{120, 140, 150}}, {"S10", 8, 104, 40, 22, [3]float64{40, 72, 44}},
	{"S11", 8, 79, 40, 22, [3]float64{96, 136, 60}}, {"S12", 8, 54, 40, 22, [3]float64{170, 190, 100}},
	{"paper", 62, 48, 40, 14, [3]float64{255, 255, 255}}, {"paper", 148, 48, 40, 14, [3]float64{255, 255, 255}},
	{"paper", 51, 86, 7, 30, [3]float64{255, 255, 255}}, {"paper", 192, 86, 8, 30, [3]float64{255, 255, 255}},
	{"paper", 70, 84, 44, 34, [3]float64{255, 255, 255}}, {"paper", 130, 84, 44, 34, [3]float64{255, 255, 255}},
	{"paper", 62, 126, 40, 8, [3]float64{255, 255, 255}}, {"paper", 148, 126, 40, 8, [3]float64{255, 255, 255}},
}

// Samples returns the mean colour of each patch and paper area of every card, with the true card geometry and
// the nominal colours.
func (s *Scene) Samples(m *Image) []colour.Sample {
	var out []colour.Sample
	for _, c := range s.Cards {
		at := func(x, y float64) geom.Px {
			p, q, r := c.CornersMM[0], c.CornersMM[1], c.CornersMM[3]
			w := [3]float64{0, 0, 0.4}
			for k := 0; k < 2; k++ {
				w[k] = p[k] + (q[k]-p[k])*x/250 + (r[k]-p[k])*y/180
			}
			return s.Camera.Project(s.World(w))
		}
		for _, p := range patches {
			t := colour.Sample{Name: p.name, Card: c.Number, Kind: colour.Chroma, Place: at(p.x+p.w/2, p.y+p.h/2),
				Ref: colour.SRGB255(p.rgb[0], p.rgb[1], p.rgb[2])}
			switch p.name[0] {
			case 'N':
				t.Kind = colour.Neutral
			case 'p':
				t.Kind = colour.Paper
			}
			var sum, sq [3]float64
			n, cut := 0.0, 0.0
			const steps = 20
			for i := 0; i < steps; i++ {
				for j := 0; j < steps; j++ {
					fx, fy := 0.2+0.6*float64(i)/(steps-1), 0.2+0.6*float64(j)/(steps-1)
					q := at(p.x+p.w*fx, p.y+p.h*fy)
					x, y := int(math.Round(q.X)), int(math.Round(q.Y))
					if x < 0 || y < 0 || x >= m.W || y >= m.H {
						continue
					}
					v := m.At(x, y)
					hit := false
					for k := range v {
						sum[k] += v[k]
						sq[k] += v[k] * v[k]
						hit = hit || v[k] >= 253 || v[k] <= 2
					}
					if hit {
						cut++
					}
					n++
				}
			}
			if n < steps*steps/2 {
				continue
			}
			for k := range sum {
				t.RGB[k] = sum[k] / n
				t.SD[k] = math.Sqrt(math.Max(0, sq[k]/n-t.RGB[k]*t.RGB[k]))
			}
			t.Clipped = cut / n
			out = append(out, t)
		}
	}
	return out
}
