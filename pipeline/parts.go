package pipeline

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"image"
	"os"
	"path/filepath"

	"offtype/measure/camera"
	"offtype/pipeline/atomic"
	"offtype/pipeline/photo"
	"offtype/pipeline/picture"
	"offtype/pipeline/record"
)

// Part is the stored result of one photo: everything later stages need, so that a stopped run
// goes on where it was and shards of one harvest can be put together. It lies in
// OUT/parts/KEY.json with the preview picture KEY.jpg beside it.
type Part struct {
	Key    string
	Index  int // place in the run's order
	Photo  record.Photo
	Fruits []record.Fruit
	Camera *camera.Camera
	Modes  []camera.Camera // cameras one standard uncertainty away
}

// keyLength is the length of the names that partKey gives.
const keyLength = 32

// partKey names the result of a photo: its bytes, the settings its numbers depend on, its
// corrections and the program's version.
func partKey(sha, settings, fixes, program string) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n%s\n%s\n", sha, settings, fixes, program)
	return hex.EncodeToString(h.Sum(nil))[:keyLength]
}

func partPath(out, key, ending string) string {
	return filepath.Join(out, "parts", key+ending)
}

// readPart loads a stored result; a missing or damaged one gives false and is measured again.
func readPart(out, key string) (*Part, bool) {
	b, err := atomic.Read(partPath(out, key, ".json"), mostPart)
	if err != nil {
		return nil, false
	}
	var p Part
	if json.Unmarshal(b, &p) != nil || p.Key != key {
		return nil, false
	}
	if _, err := os.Stat(partPath(out, key, ".jpg")); err != nil && p.Photo.Status == record.StatusOK {
		return nil, false
	}
	return &p, true
}

// readHead is readPart without the fruit and cameras, which are checked for sound JSON only.
func readHead(out, key string) (*Part, bool) {
	b, err := atomic.Read(partPath(out, key, ".json"), mostPart)
	if err != nil {
		return nil, false
	}
	var p struct {
		Key   string
		Photo record.Photo
	}
	if json.Unmarshal(b, &p) != nil || p.Key != key {
		return nil, false
	}
	if _, err := os.Stat(partPath(out, key, ".jpg")); err != nil && p.Photo.Status == record.StatusOK {
		return nil, false
	}
	return &Part{Key: p.Key, Photo: p.Photo}, true
}

// full reads what is stored of a photo of the run, with its outlines, under the photo's name in this run.
func (p *Part) full(out string) (*Part, error) {
	q, ok := readPart(out, p.Key)
	if !ok {
		return nil, fmt.Errorf("the stored result of photo %q is gone; run again", p.Photo.Name)
	}
	for i := range q.Fruits {
		q.Fruits[i].Photo = p.Photo.Name
	}
	return q, nil
}

// Preview reads the stored picture of a photo and its scale, preview px a photo px.
func (p *Part) Preview(out string) (image.Image, float64, error) {
	b, err := atomic.Read(partPath(out, p.Key, ".jpg"), mostPart)
	if err != nil {
		return nil, 0, fmt.Errorf("the preview of photo %q is gone (%w); run again", p.Photo.Name, plainErr(err))
	}
	ph, err := photo.ReadBytes(p.Photo.Name, b, photo.Options{})
	if err != nil {
		return nil, 0, fmt.Errorf("the preview of photo %q: %w; run again", p.Photo.Name, err)
	}
	return &picture.RGB{Pix: ph.Pix, W: ph.Width, H: ph.Height}, float64(ph.Width) / float64(p.Photo.Width), nil
}

// writePart stores a result: the picture first, so that a part without one is never complete.
func writePart(out string, p *Part, preview []byte) error {
	if len(preview) > 0 {
		if err := atomic.WriteBytes(partPath(out, p.Key, ".jpg"), preview); err != nil {
			return err
		}
	}
	b, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("store the result of %s: %w", p.Photo.Name, err)
	}
	return atomic.WriteBytes(partPath(out, p.Key, ".json"), b)
}

// slim drops what only the report and the joint fit need and the part on disk still holds, so
// that memory does not grow with thousands of photos.
func (p *Part) slim() {
	for i := range p.Fruits {
		f := &p.Fruits[i]
		f.Outline, f.StalkPx, f.MidlinePx, f.Edge, f.Strokes = nil, nil, nil, nil, nil
	}
}
