package colour

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// LineError says which line of a colour file is wrong.
type LineError struct {
	Line int
	What string // what is wrong and what to do
}

func (e *LineError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.What) }

// maxCGATS bounds what is read: a card has 19 colours, a file of ten thousand lines is not a card's.
const maxCGATS = 10000

// ReadCGATS reads the measured colours of a card from CGATS.17 text: SAMPLE_NAME (or SAMPLE_ID) with LAB_L LAB_A LAB_B, or
// with RGB_R RGB_G RGB_B (sRGB, 0–255). It returns CIELAB, D65/2°, by sample name.
//
// LAB values are D50/2° unless a line ILLUMINANT D65 says otherwise; they are adapted by Bradford. Other keywords and
// columns are passed over; a sample may be named paper. Text from # to the end of a line is a comment.
// Errors: *LineError with the line; the reader's own.
//
// Source: CGATS.17 keyword = value text, data between BEGIN_DATA and END_DATA (format from memory and from public reader
// documentation).
func ReadCGATS(r io.Reader) (map[string]Lab, error) {
	p := cgats{out: map[string]Lab{}, white: D50}
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, 1<<20)
	for sc.Scan() {
		p.line++
		if p.line > maxCGATS {
			return nil, p.err("the file goes on; a card's colour file has a few dozen lines, check that this is one")
		}
		text := sc.Text()
		if p.line == 1 {
			text = strings.TrimPrefix(text, "\ufeff")
		}
		w, err := fields(text)
		if err != nil {
			return nil, p.err(err.Error())
		}
		if len(w) == 0 {
			continue
		}
		if err := p.take(w); err != nil {
			return nil, err
		}
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("line %d: %w", p.line+1, err)
	}
	switch {
	case p.state == inData:
		return nil, p.err("the data are cut off: END_DATA is missing; export the file again")
	case len(p.out) == 0:
		return nil, p.err("no colours found: write them between BEGIN_DATA and END_DATA, one sample a line")
	}
	return p.out, nil
}

type cgatsState uint8

const (
	inHead cgatsState = iota
	inFormat
	inData
)

// cgats is the state of reading one file.
type cgats struct {
	line   int
	state  cgatsState
	white  XYZ
	format []string
	row    []string
	out    map[string]Lab
}

func (p *cgats) err(what string) error { return &LineError{p.line, what} }

func (p *cgats) take(w []string) error {
	key := strings.ToUpper(w[0])
	switch {
	case p.state == inFormat && key == "END_DATA_FORMAT":
		p.state = inHead
		return p.checkFormat()
	case p.state == inFormat:
		for _, f := range w {
			p.format = append(p.format, strings.ToUpper(f))
		}
	case p.state == inData && key == "END_DATA":
		if len(p.row) > 0 {
			return p.err(fmt.Sprintf("the last sample has %d of %d values", len(p.row), len(p.format)))
		}
		p.state = inHead
	case p.state == inData:
		p.row = append(p.row, w...)
		for len(p.row) >= len(p.format) {
			if err := p.sample(p.row[:len(p.format)]); err != nil {
				return err
			}
			p.row = p.row[len(p.format):]
		}
	case key == "BEGIN_DATA_FORMAT":
		p.state, p.format = inFormat, nil
	case key == "BEGIN_DATA":
		if p.format == nil {
			return p.err("BEGIN_DATA comes before the columns are named: write SAMPLE_NAME LAB_L LAB_A LAB_B between BEGIN_DATA_FORMAT and END_DATA_FORMAT first")
		}
		p.state = inData
	case key == "ILLUMINANT" && len(w) > 1:
		return p.illuminant(w[1])
	}
	return nil
}

func (p *cgats) illuminant(v string) error {
	switch strings.ToUpper(v) {
	case "D50":
		p.white = D50
	case "D65":
		p.white = D65
	default:
		return p.err(fmt.Sprintf("illuminant %q is not known; use D50 or D65", v))
	}
	if len(p.out) > 0 {
		return p.err("ILLUMINANT must stand before the data")
	}
	return nil
}

func (p *cgats) column(names ...string) int {
	for _, n := range names {
		for i, f := range p.format {
			if f == n {
				return i
			}
		}
	}
	return -1
}

func (p *cgats) checkFormat() error {
	if p.column("SAMPLE_NAME", "SAMPLE_ID") < 0 {
		return p.err("no column SAMPLE_NAME: the patches must be named as on the card (N1 … N6, S1 … S12, paper)")
	}
	for _, set := range [2][3]string{{"LAB_L", "LAB_A", "LAB_B"}, {"RGB_R", "RGB_G", "RGB_B"}} {
		if p.column(set[0]) >= 0 && p.column(set[1]) >= 0 && p.column(set[2]) >= 0 {
			return nil
		}
	}
	return p.err("no colour columns: LAB_L LAB_A LAB_B or RGB_R RGB_G RGB_B are needed")
}

func (p *cgats) sample(row []string) error {
	name := row[p.column("SAMPLE_NAME", "SAMPLE_ID")]
	if _, twice := p.out[name]; twice {
		return p.err(fmt.Sprintf("sample %q is there twice", name))
	}
	set, lo, hi := [3]string{"LAB_L", "LAB_A", "LAB_B"}, [3]float64{0, -150, -150}, [3]float64{110, 150, 150}
	lab := p.column(set[0]) >= 0
	if !lab {
		set, lo, hi = [3]string{"RGB_R", "RGB_G", "RGB_B"}, [3]float64{}, [3]float64{255, 255, 255}
	}
	var v [3]float64
	for k := range v {
		text := strings.Replace(row[p.column(set[k])], ",", ".", 1)
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(x) {
			return p.err(fmt.Sprintf("sample %q: %s is %q, not a number", name, set[k], row[p.column(set[k])]))
		}
		if x < lo[k] || x > hi[k] {
			return p.err(fmt.Sprintf("sample %q: %s is %g; it must be from %g to %g", name, set[k], x, lo[k], hi[k]))
		}
		v[k] = x
	}
	switch {
	case !lab:
		p.out[name] = SRGB255(v[0], v[1], v[2])
	case p.white == D50:
		p.out[name] = D50ToD65(Lab{v[0], v[1], v[2]})
	default:
		p.out[name] = Lab{v[0], v[1], v[2]}
	}
	return nil
}

// fields splits a line at blanks; double quotes keep a text together, # starts a comment.
func fields(s string) ([]string, error) {
	var out []string
	for {
		s = strings.TrimLeft(s, " \t\r")
		if s == "" || s[0] == '#' {
			return out, nil
		}
		if s[0] == '"' {
			end := strings.IndexByte(s[1:], '"')
			if end < 0 {
				return nil, fmt.Errorf("a quoted text is not closed; add the second quote")
			}
			out = append(out, s[1:1+end])
			s = s[end+2:]
			continue
		}
		end := strings.IndexAny(s, " \t\r")
		if end < 0 {
			end = len(s)
		}
		out = append(out, s[:end])
		s = s[end:]
	}
}
