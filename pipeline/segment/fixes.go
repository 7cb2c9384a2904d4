package segment

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"

	"offtype/measure/geom"
	"offtype/pipeline/atomic"
)

// Point is a photo position in a corrections file: [x, y], px, the centre of the top-left pixel
// is [0, 0].
type Point [2]float64

// Px returns p as an image point.
func (p Point) Px() geom.Px { return geom.Px{X: p[0], Y: p[1]} }

func (p Point) String() string { return fmt.Sprintf("%g,%g", p[0], p[1]) }

// Fix is one correction. At is a point inside the fruit it speaks of.
type Fix struct {
	Op      string  `json:"op"`                // add, drop, redraw, split, merge, pose, stem, plant
	At      *Point  `json:"at,omitempty"`      // all but add
	Outline []Point `json:"outline,omitempty"` // add, redraw: the new outline, at least 3 points
	Exact   bool    `json:"exact,omitempty"`   // add, redraw: keep the outline as drawn, do not move it to the photo's edge
	Line    []Point `json:"line,omitempty"`    // split: two points of the cut
	With    *Point  `json:"with,omitempty"`    // merge: a point inside the other fruit
	Pose    string  `json:"pose,omitempty"`    // pose: side, upright or unclear
	Stem    *Point  `json:"stem,omitempty"`    // stem: where the stem end is
	Plant   string  `json:"plant,omitempty"`   // plant: number of the plant tag, "0" for none
}

// Fixes is the content of a corrections file, PHOTO.fix.json.
type Fixes struct {
	Version int   `json:"version"` // 1
	Fixes   []Fix `json:"fixes"`
}

// FixError says which entry of a corrections file is wrong.
type FixError struct {
	Entry int // from 1
	Op    string
	What  string
}

func (e *FixError) Error() string {
	if e.Op == "" {
		return fmt.Sprintf("correction %d: %s", e.Entry, e.What)
	}
	return fmt.Sprintf("correction %d (%s): %s", e.Entry, e.Op, e.What)
}

// ParseFixes reads a corrections file and checks every entry. Unknown fields are errors.
func ParseFixes(b []byte) (*Fixes, error) {
	var raw struct {
		Version int               `json:"version"`
		Fixes   []json.RawMessage `json:"fixes"`
	}
	if err := strict(b, &raw); err != nil {
		return nil, err
	}
	if raw.Version != 1 {
		return nil, fmt.Errorf("version %d is not known: this program reads version 1", raw.Version)
	}
	f := &Fixes{Version: 1}
	for i, r := range raw.Fixes {
		var x Fix
		if err := strict(r, &x); err != nil {
			return nil, &FixError{i + 1, "", err.Error()}
		}
		if err := x.check(); err != nil {
			return nil, &FixError{i + 1, x.Op, err.Error()}
		}
		f.Fixes = append(f.Fixes, x)
	}
	return f, nil
}

func strict(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		var s *json.SyntaxError
		if errors.As(err, &s) {
			return fmt.Errorf("not readable as JSON near byte %d: %s", s.Offset, s.Error())
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			return errors.New("not readable as JSON: it ends too early")
		}
		return errors.New(strings.TrimPrefix(err.Error(), "json: "))
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("there is more text after the end of the JSON")
	}
	return nil
}

// check says what is wrong with an entry, or nil.
func (x *Fix) check() error {
	finite := func(ps ...Point) bool {
		for _, p := range ps {
			if math.IsNaN(p[0]+p[1]) || math.Abs(p[0]) > 1e6 || math.Abs(p[1]) > 1e6 {
				return false
			}
		}
		return true
	}
	if x.Op != "add" && x.Op != "" && x.At == nil {
		return errors.New(`needs "at": [x, y], a point inside the fruit`)
	}
	if x.At != nil && !finite(*x.At) || x.With != nil && !finite(*x.With) || x.Stem != nil && !finite(*x.Stem) || !finite(x.Outline...) || !finite(x.Line...) {
		return errors.New("a coordinate is not a usable number")
	}
	extra := *x
	extra.Op, extra.At = "", nil
	switch x.Op {
	case "drop":
	case "add", "redraw":
		var px []geom.Px
		for _, p := range x.Outline {
			px = append(px, p.Px())
		}
		if len(px) < 3 || geom.Area(px) < 16 {
			return errors.New(`needs "outline" with at least three points around an area`)
		}
		if x.Op == "add" && x.At != nil {
			return errors.New(`has "at", which belongs to the other kinds`)
		}
		extra.Outline, extra.Exact = nil, false
	case "split":
		if len(x.Line) != 2 || x.Line[0] == x.Line[1] {
			return errors.New(`needs "line" with two different points of the cut`)
		}
		extra.Line = nil
	case "merge":
		if x.With == nil {
			return errors.New(`needs "with": [x, y], a point inside the other fruit`)
		}
		extra.With = nil
	case "pose":
		if x.Pose != "side" && x.Pose != "upright" && x.Pose != "unclear" {
			return fmt.Errorf(`"pose" is %q: use side, upright or unclear`, x.Pose)
		}
		extra.Pose = ""
	case "stem":
		if x.Stem == nil {
			return errors.New(`needs "stem": [x, y], the place of the stem end`)
		}
		extra.Stem = nil
	case "plant":
		if n, err := plantNumber(x.Plant); err != nil || n < 0 {
			return fmt.Errorf(`"plant" is %q: use the number on the tag, 0 for none`, x.Plant)
		}
		extra.Plant = ""
	default:
		return fmt.Errorf("unknown op %q: use add, drop, redraw, split, merge, pose, stem or plant", x.Op)
	}
	if extra.Outline != nil || extra.Exact || extra.Line != nil || extra.With != nil || extra.Pose != "" || extra.Stem != nil || extra.Plant != "" {
		return errors.New("has fields of another kind of correction")
	}
	return nil
}

func plantNumber(s string) (int, error) {
	var n int
	if len(s) > 6 || len(s) == 0 {
		return 0, errors.New("not a plant number")
	}
	for _, r := range s {
		if r < '0' || r > '9' {
			return 0, errors.New("not a plant number")
		}
		n = 10*n + int(r-'0')
	}
	return n, nil
}

// Hash names the corrections for the settings of a run: equal corrections, equal hash; none give "".
func (f *Fixes) Hash() string {
	if f == nil || len(f.Fixes) == 0 {
		return ""
	}
	b, err := json.Marshal(f)
	if err != nil {
		return "unreadable"
	}
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:8])
}

// FixPath returns where the corrections of a photo lie: beside it, or in dir when dir is not empty.
// The name is the photo's with .fix.json behind it (a.jpg.fix.json); a file that is already there
// without the photo's own ending (a.fix.json) is used too.
func FixPath(photo, dir string) string {
	if dir != "" {
		photo = filepath.Join(dir, filepath.Base(photo))
	}
	full := photo + ".fix.json"
	if _, err := os.Stat(full); err != nil {
		short := strings.TrimSuffix(photo, filepath.Ext(photo)) + ".fix.json"
		if _, err := os.Stat(short); err == nil {
			return short
		}
	}
	return full
}

// ReadFixes reads the corrections file at path; a file that does not exist gives no corrections.
func ReadFixes(path string) (*Fixes, error) {
	b, err := atomic.Read(path, atomic.MostText)
	if errors.Is(err, os.ErrNotExist) {
		return &Fixes{Version: 1}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("corrections %q cannot be read: %w", path, err)
	}
	f, err := ParseFixes(b)
	if err != nil {
		return nil, fmt.Errorf("corrections %q: %w", path, err)
	}
	return f, nil
}

// Write puts the corrections at path in one step; without any entry the file is removed.
func (f *Fixes) Write(path string) error {
	for i := range f.Fixes {
		if err := f.Fixes[i].check(); err != nil {
			return &FixError{i + 1, f.Fixes[i].Op, err.Error()}
		}
	}
	if len(f.Fixes) == 0 {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return fmt.Errorf("remove empty corrections: %w", err)
		}
		return nil
	}
	var b bytes.Buffer
	b.WriteString("{\n \"version\": 1,\n \"fixes\": [")
	for i, x := range f.Fixes {
		j, err := json.Marshal(x)
		if err != nil {
			return fmt.Errorf("write corrections: %w", err)
		}
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString("\n  ")
		b.Write(j)
	}
	b.WriteString("\n ]\n}\n")
	return atomic.WriteBytes(path, b.Bytes())
}
