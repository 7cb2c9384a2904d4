package segment

import (
	"bufio"
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// FixFromText reads one correction as it is typed: op and text are
//
//	drop  x,y              split x,y:x1,y1,x2,y2   merge x,y:x,y
//	pose  x,y=upright      stem  x,y:x,y           plant x,y=7
//	add   x,y x,y x,y ...  (points between spaces, colons, semicolons or line ends; # comments)
func FixFromText(op, text string) (Fix, error) {
	x := Fix{Op: op}
	var err error
	switch op {
	case "add":
		x.Outline, err = pointList(text)
	case "drop":
		x.At, err = onePoint(text)
	case "split":
		at, rest, _ := strings.Cut(text, ":")
		if x.At, err = onePoint(at); err == nil {
			var v []float64
			if v, err = numbers(rest, 4); err == nil {
				x.Line = []Point{{v[0], v[1]}, {v[2], v[3]}}
			}
		}
	case "merge", "stem":
		at, rest, _ := strings.Cut(text, ":")
		var p *Point
		if x.At, err = onePoint(at); err == nil {
			p, err = onePoint(rest)
		}
		if op == "merge" {
			x.With = p
		} else {
			x.Stem = p
		}
	case "pose", "plant":
		at, rest, ok := strings.Cut(text, "=")
		if x.At, err = onePoint(at); err == nil && !ok {
			err = errors.New("has no = sign")
		}
		if op == "pose" {
			x.Pose = strings.TrimSpace(rest)
		} else {
			x.Plant = strings.TrimSpace(rest)
		}
	}
	if err == nil {
		err = x.check()
	}
	if err != nil {
		return Fix{}, fmt.Errorf("%s %q: %w", op, text, err)
	}
	return x, nil
}

func numbers(s string, n int) ([]float64, error) {
	parts := strings.Split(s, ",")
	if len(parts) != n {
		return nil, fmt.Errorf("%q has %d numbers, needs %d, with commas between", s, len(parts), n)
	}
	out := make([]float64, n)
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil {
			return nil, fmt.Errorf("%q is not a number", strings.TrimSpace(p))
		}
		out[i] = v
	}
	return out, nil
}

func onePoint(s string) (*Point, error) {
	v, err := numbers(s, 2)
	if err != nil {
		return nil, err
	}
	return &Point{v[0], v[1]}, nil
}

func pointList(text string) ([]Point, error) {
	var out []Point
	sc := bufio.NewScanner(strings.NewReader(text))
	sc.Buffer(nil, 1<<24)
	for line := 1; sc.Scan(); line++ {
		s, _, _ := strings.Cut(sc.Text(), "#")
		for _, w := range strings.FieldsFunc(s, func(r rune) bool { return strings.ContainsRune(" \t;:", r) }) {
			p, err := onePoint(w)
			if err != nil {
				return nil, fmt.Errorf("line %d: %w", line, err)
			}
			out = append(out, *p)
		}
	}
	if err := sc.Err(); err != nil {
		return nil, err
	}
	return out, nil
}

// Text is the correction as it would be typed, for lists.
func (x Fix) Text() string {
	at := ""
	if x.At != nil {
		at = x.At.String()
	}
	switch x.Op {
	case "split":
		return fmt.Sprintf("split %s along %v–%v", at, x.Line[0], x.Line[1])
	case "merge":
		return fmt.Sprintf("merge %s with %v", at, *x.With)
	case "pose":
		return fmt.Sprintf("pose %s = %s", at, x.Pose)
	case "stem":
		return fmt.Sprintf("stem end of %s at %v", at, *x.Stem)
	case "plant":
		return fmt.Sprintf("plant of %s = %s", at, x.Plant)
	case "redraw":
		return fmt.Sprintf("draw the outline at %s again, %d points", at, len(x.Outline))
	case "add":
		return fmt.Sprintf("add an outline of %d points from %v", len(x.Outline), x.Outline[0])
	}
	return x.Op + " " + at
}
