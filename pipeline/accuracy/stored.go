package accuracy

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"offtype/measure/body"
	"offtype/measure/camera"
	"offtype/measure/geom"
	"offtype/pipeline/record"
	"offtype/pipeline/scene"
)

// Stored is the evidence of one photo as a finished run kept it.
type Stored struct {
	Photo  record.Photo
	Fruits []record.Fruit
	Camera *camera.Camera
	Modes  []camera.Camera
}

// ReadRun reads the stored photos of result folder dir by the photo's name without ending. Of two results
// of one photo the newer counts.
func ReadRun(dir string) (map[string]*Stored, error) {
	files, err := filepath.Glob(filepath.Join(dir, "parts", "*.json"))
	if err != nil || len(files) == 0 {
		return nil, fmt.Errorf("%s: no stored photos in parts: give the folder of a finished run", dir)
	}
	out := map[string]*Stored{}
	age := map[string]int64{}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			return nil, fmt.Errorf("read a stored photo: %w", err)
		}
		var s Stored
		if err := json.Unmarshal(b, &s); err != nil {
			return nil, fmt.Errorf("%s: not a stored photo: %w", f, err)
		}
		name := filepath.Base(s.Photo.Name)
		name = strings.TrimSuffix(name, filepath.Ext(name))
		st, err := os.Stat(f)
		if err != nil {
			return nil, fmt.Errorf("read a stored photo: %w", err)
		}
		if t := st.ModTime().UnixNano(); s.Camera != nil && t >= age[name] {
			out[name], age[name] = &s, t
		}
	}
	return out, nil
}

// Find returns the stored fruit that covers fruit f of scene s: the one whose outline holds most of a grid
// of the fruit's pixels; nil when none holds half of them.
func (r *Stored) Find(s *scene.Scene, f *scene.Fruit) *record.Fruit {
	var at []geom.Px
	for y := 0; y < s.Labels.Rect.Dy(); y += 9 {
		for x := 0; x < s.Labels.Rect.Dx(); x += 9 {
			if s.Labels.Pix[y*s.Labels.Stride+x] == uint8(f.Label) {
				at = append(at, geom.Px{X: float64(x), Y: float64(y)})
			}
		}
	}
	var best *record.Fruit
	most := len(at) / 2
	for i := range r.Fruits {
		n := 0
		for _, p := range at {
			if geom.Contains(r.Fruits[i].Outline, p) {
				n++
			}
		}
		if n > most {
			best, most = &r.Fruits[i], n
		}
	}
	return best
}

// View returns the evidence of a stored fruit as the run gave it to the fit.
func (r *Stored) View(f *record.Fruit) body.View {
	return body.View{
		Camera: *r.Camera, Outline: f.Outline, Edge: f.Edge, SigmaPx: f.SigmaPx, Stem: f.SegStem, StalkTip: f.SegTip, Blossom: f.BlossomPx,
		StemBy: f.StemBy, BlossomBy: f.BlossomBy, Strokes: f.Strokes, Perturbed: r.Modes,
	}
}
