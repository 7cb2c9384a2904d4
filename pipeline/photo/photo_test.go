package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const scenePath = "../../testdata/scenes/"

func sceneBytes(t testing.TB, name string) []byte {
	t.Helper()
	data, err := os.ReadFile(scenePath + name + ".jpg")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestReadScene(t *testing.T) {
	p, err := Read(scenePath+"demo-2026-table-1.jpg", Options{})
	if err != nil {
		t.Fatal(err)
	}
	if p.Width != 2400 || p.Height != 1800 || len(p.Pix) != 3*2400*1800 || p.Format != JPEG {
		t.Errorf("%d × %d, %d bytes, %q", p.Width, p.Height, len(p.Pix), p.Format)
	}
	sum := sha256.Sum256(sceneBytes(t, "demo-2026-table-1"))
	if p.SHA256 != hex.EncodeToString(sum[:]) {
		t.Error("SHA-256 differs from that of the file")
	}
	if len(p.Notes) != 0 {
		t.Errorf("notes on a sound photo: %v", p.Notes)
	}
	// From the file itself, as exiftool prints it.
	x := p.Exif
	if x.Make != "Render" || x.Model != "Virtual phone k-21" || x.Orientation != 1 || x.Focal35MM != 26 || x.Taken != "2026-10-04 14:11:00" {
		t.Errorf("Exif %+v", x)
	}
}

func TestOrientations(t *testing.T) {
	// Seen upright, the picture is
	//
	//	A B C
	//	D E F
	//
	// The rows below are what a camera stores for each orientation (TIFF 6.0, tag 274: where the
	// stored row 0 and column 0 are in the picture seen).
	stored := map[int]string{
		1: "ABC/DEF", 2: "CBA/FED", 3: "FED/CBA", 4: "DEF/ABC",
		5: "AD/BE/CF", 6: "CF/BE/AD", 7: "FC/EB/DA", 8: "DA/EB/FC",
		0: "ABC/DEF", 9: "ABC/DEF",
	}
	for o, text := range stored {
		rows := strings.Split(text, "/")
		w, h := len(rows[0]), len(rows)
		var pix []uint8
		for _, c := range strings.ReplaceAll(text, "/", "") {
			pix = append(pix, uint8(c), uint8(c)+100, uint8(c)+150)
		}
		got, gw, gh := orient(pix, w, h, o)
		if gw != 3 || gh != 2 {
			t.Errorf("orientation %d: %d × %d, want 3 × 2", o, gw, gh)
			continue
		}
		for i, c := range "ABCDEF" {
			if p := got[3*i : 3*i+3]; p[0] != uint8(c) || p[1] != uint8(c)+100 || p[2] != uint8(c)+150 {
				t.Errorf("orientation %d: place %d is %v, want %c", o, i, p, c)
			}
		}
	}
}

func TestErrorsSayWhatAndWhatToDo(t *testing.T) {
	scene := sceneBytes(t, "demo-2026-table-1")
	dir := t.TempDir()
	for _, c := range []struct {
		name string
		data []byte
		want error
	}{
		{"empty.jpg", nil, ErrEmpty},
		{"notes.jpg", []byte("these are my notes on the harvest"), ErrNotImage},
		{"zeros.jpg", make([]byte, 9000), ErrDamaged},
		{"half.jpg", scene[:len(scene)/2], ErrTruncated},
		{"start.jpg", scene[:100], ErrTruncated},
		{"old.gif", []byte("GIF89a1234567890"), ErrUnsupported},
		{"film.mp4", []byte("\x00\x00\x00\x18ftypisom\x00\x00\x00\x00isommp41"), ErrUnsupported},
		{"410.jpg", bytes.Replace(scene, []byte("\x08\x07\x08\x09\x60\x03\x01\x22"), []byte("\x08\x07\x08\x09\x60\x03\x01\x42"), 1), ErrUnsupported}, // 4:1:0
		{"raw.nef", []byte("II*\x00\x08\x00\x00\x00\x00\x00"), ErrUnsupported},
	} {
		path := filepath.Join(dir, c.name)
		if err := os.WriteFile(path, c.data, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Read(path, Options{})
		checkError(t, c.name, err, c.want)
	}
	_, err := Read(filepath.Join(dir, "missing.jpg"), Options{})
	checkError(t, "missing.jpg", err, ErrUnreadable)
	_, err = Read(dir, Options{})
	checkError(t, "folder", err, ErrUnreadable)
	_, err = SHA256("/dev/zero", Options{}) // without an end
	checkError(t, "device", err, ErrUnreadable)
	_, err = SHA256(scenePath+"demo-2026-table-1.jpg", Options{MaxBytes: 1000})
	checkError(t, "too many bytes to be hashed", err, ErrTooLarge)
	_, err = Read(scenePath+"demo-2026-table-1.jpg", Options{MaxPixels: 1_000_000})
	checkError(t, "too many pixels", err, ErrTooLarge)
	_, err = Read(scenePath+"demo-2026-table-1.jpg", Options{MaxBytes: 1000})
	checkError(t, "too many bytes", err, ErrTooLarge)
}

func checkError(t *testing.T, name string, err, want error) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) || !errors.Is(err, want) {
		t.Errorf("%s: %v (%T), want %v", name, err, err, want)
		return
	}
	text := err.Error()
	if e.What == "" || e.Do == "" || !strings.Contains(text, "; ") || strings.Contains(text, "\n") ||
		strings.HasSuffix(text, ".") || strings.Contains(text, os.TempDir()) {
		t.Errorf("%s: message %q is not \"what; what to do\" in one line", name, text)
	}
}
