package desk

import (
	"bytes"
	"image"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/photo"
)

// preview serves a photo's picture: of the stored result, or made now for a photo that failed.
func (d *Desk) preview(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	p, l := h.photo(r.PathValue("key"))
	if p == nil {
		h.mu.Unlock()
		d.notFound(w, r)
		return
	}
	part, path := l.part, h.path(p)
	h.mu.Unlock()
	var b []byte
	var err error
	if part != nil {
		b, err = os.ReadFile(h.previewFile(part.Key))
	} else {
		b, err = h.plainPreview(p.Key, path)
	}
	if err != nil {
		d.notFound(w, r)
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=600")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(b))
}

// plainPreview makes the picture of a photo that was not measured, so that a line can be drawn on it.
func (h *harvest) plainPreview(key, path string) ([]byte, error) {
	file := filepath.Join(h.folder(), "plain", key+".jpg")
	if b, err := os.ReadFile(file); err == nil {
		return b, nil
	}
	ph, err := photo.Read(path, photo.Options{})
	if err != nil {
		return nil, err
	}
	b, err := pipeline.PreviewOf(ph)
	if err != nil {
		return nil, err
	}
	return b, atomic.WriteBytes(file, b)
}

// sizeOf returns the size of the photo as it stands upright.
func (h *harvest) sizeOf(path string) (image.Point, error) {
	ph, err := photo.Read(path, photo.Options{})
	if err != nil {
		return image.Point{}, err
	}
	return image.Pt(ph.Width, ph.Height), nil
}
