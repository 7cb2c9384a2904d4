// Package scene reads rendered curing-table scenes with their exact truth (NAME.jpg,
// NAME.labels.png, NAME.truth.json) for tests and accuracy tables. The main job never uses it.
package scene

import (
	"encoding/json"
	"fmt"
	"image"
	_ "image/png" // labels are PNG
	"os"
	"path/filepath"

	"offtype/measure/camera"
	"offtype/measure/geom"
)

// Second is a painted secondary colour.
type Second struct {
	Kind  string     `json:"kind"`
	Share float64    `json:"share"`
	Lab   [3]float64 `json:"lab"`
	N     int        `json:"n"`
}

// Fruit is the truth of one fruit: callipers on the mesh in mm, painted colours in CIELAB D65/2°.
type Fruit struct {
	Index        int        `json:"index"`
	ID           string     `json:"id"`
	Plant        *int       `json:"plant"`
	Group        string     `json:"group"`
	Pose         string     `json:"pose"`
	LengthMM     float64    `json:"length_mm"`
	MidlineMM    float64    `json:"midline_mm"`
	WidthMM      float64    `json:"width_mm"`
	WidthMinMM   float64    `json:"width_min_mm"`
	TiltDeg      float64    `json:"tilt_deg"`
	BendDeg      float64    `json:"bend_deg"`
	BroadestAt   float64    `json:"broadest_at"`
	Ribs         int        `json:"ribs"`
	RibDepth     float64    `json:"rib_depth"`
	VolumeCM3    float64    `json:"volume_cm3"`
	GroundLab    [3]float64 `json:"ground_lab"`
	Second       *Second    `json:"second"`
	VisibleShare float64    `json:"visible_second_share"`
	MedianLab    [3]float64 `json:"visible_albedo_median_lab"`
	StemMM       [3]float64 `json:"stem_mm"`
	BlossomMM    [3]float64 `json:"blossom_mm"`
	Stalk        bool       `json:"stalk"`
	Label        int        `json:"label"`
	Cut          bool       `json:"cut_by_frame"`
	StemPx       [2]float64 `json:"stem_px"`    // origin at the corner of the top-left pixel
	BlossomPx    [2]float64 `json:"blossom_px"` // the same
}

// Card is a scale card of the scene: its corners in the renderer's table plane, mm, and in the photo.
type Card struct {
	Number    int          `json:"number"`
	CornersMM [][2]float64 `json:"corners_mm"`
	CornersPx [][2]float64 `json:"corners_px"` // origin at the corner of the top-left pixel
}

// Scene is one rendered photo with its truth.
type Scene struct {
	Name   string
	Photo  string // path of the JPEG
	Labels *image.Gray
	Fruits []Fruit
	Cards  []Card
	Camera camera.Camera // true camera in the table frame of the first card
	World  func(p [3]float64) geom.Vec3
}

type truthFile struct {
	Cards  []Card  `json:"cards"`
	Fruits []Fruit `json:"fruits"`
	Camera struct {
		M [][]float64 `json:"world_to_cam"`
	} `json:"camera"`
	Photo struct {
		Width  int     `json:"width"`
		Height int     `json:"height"`
		F      float64 `json:"f_px"`
		K1     float64 `json:"k1"`
	} `json:"photo"`
}

// Read loads the scene called name from dir.
func Read(dir, name string) (*Scene, error) {
	b, err := os.ReadFile(filepath.Join(dir, name+".truth.json"))
	if err != nil {
		return nil, fmt.Errorf("read scene %q: %w", name, err)
	}
	var t truthFile
	if err := json.Unmarshal(b, &t); err != nil {
		return nil, fmt.Errorf("read scene %q: %w", name, err)
	}
	f, err := os.Open(filepath.Join(dir, name+".labels.png"))
	if err != nil {
		return nil, fmt.Errorf("read scene %q: %w", name, err)
	}
	defer f.Close()
	im, _, err := image.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("read labels of scene %q: %w", name, err)
	}
	g, ok := im.(*image.Gray)
	if !ok {
		return nil, fmt.Errorf("read labels of scene %q: not an 8-bit grey PNG", name)
	}
	s := &Scene{Name: name, Photo: filepath.Join(dir, name+".jpg"), Labels: g, Fruits: t.Fruits, Cards: t.Cards}
	s.setCamera(t)
	return s, nil
}

// setCamera turns the renderer's camera (metres, y up, looking along −z, world x right, y away,
// z up) into ours, with the table frame on the first card.
func (s *Scene) setCamera(t truthFile) {
	c := t.Cards[0].CornersMM
	v := func(p [2]float64) geom.Vec3 { return geom.Vec3{X: p[0], Y: p[1], Z: 0.4} }
	o := v(c[0])
	ax := [3]geom.Vec3{v(c[1]).Sub(o).Unit(), o.Sub(v(c[3])).Unit(), {Z: 1}}
	s.World = func(p [3]float64) geom.Vec3 {
		d := geom.Vec3{X: p[0], Y: p[1], Z: p[2]}.Sub(o)
		return geom.Vec3{X: d.Dot(ax[0]), Y: d.Dot(ax[1]), Z: d.Dot(ax[2])}
	}
	m := t.Camera.M
	row := func(i int) geom.Vec3 { return geom.Vec3{X: m[i][0], Y: m[i][1], Z: m[i][2]} }
	sign := [3]float64{1, -1, -1}
	cam := camera.Camera{
		Width: t.Photo.Width, Height: t.Photo.Height, Focal: t.Photo.F, K1: t.Photo.K1,
		CX: float64(t.Photo.Width)/2 - 0.5, CY: float64(t.Photo.Height)/2 - 0.5,
	}
	var tr [3]float64
	for i := 0; i < 3; i++ {
		for j := 0; j < 3; j++ {
			cam.R[i][j] = sign[i] * row(i).Dot(ax[j])
		}
		tr[i] = sign[i] * (row(i).Dot(o) + 1000*m[i][3])
	}
	cam.T = geom.Vec3{X: tr[0], Y: tr[1], Z: tr[2]}
	s.Camera = cam
}

// Names returns the names of the scenes in dir, in name order.
func Names(dir string) []string {
	fs, _ := filepath.Glob(filepath.Join(dir, "*.truth.json"))
	var out []string
	for _, f := range fs {
		b := filepath.Base(f)
		out = append(out, b[:len(b)-len(".truth.json")])
	}
	return out
}
