package colour

import (
	"errors"
	"math"
	"strings"
	"testing"
)

const cgatsHead = "CGATS.17\nORIGINATOR \"a spectrometer\"\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"

func TestReadCGATS(t *testing.T) {
	// D50 and D65 values of one colour: the program table srgb_lab_check.csv, row pumpkin_orange (4 decimals given here).
	const tol = 0.005
	got, err := ReadCGATS(strings.NewReader(cgatsHead + "BEGIN_DATA\nN1 58.2403 38.3932 59.0813 # orange\n\"paper\" 95 0 -2\nEND_DATA\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := Lab{57.5995, 36.0954, 58.3130}
	if d := DeltaE76(got["N1"], want); d > tol {
		t.Errorf("D50 value became %v, want %v", got["N1"], want)
	}
	if _, ok := got["paper"]; !ok {
		t.Error("paper is missing")
	}
	got, err = ReadCGATS(strings.NewReader("ILLUMINANT D65\n" + cgatsHead + "BEGIN_DATA\nN1 50 1 2 N2\n60,5 0 0\nEND_DATA\n"))
	if err != nil || got["N1"] != (Lab{50, 1, 2}) || got["N2"] != (Lab{60.5, 0, 0}) {
		t.Errorf("D65 file: %v, %v", got, err)
	}
	got, err = ReadCGATS(strings.NewReader("BEGIN_DATA_FORMAT\nSAMPLE_NAME RGB_R RGB_G RGB_B\nEND_DATA_FORMAT\nBEGIN_DATA\nN1 214 110 30\nEND_DATA"))
	if err != nil || DeltaE76(got["N1"], want) > tol {
		t.Errorf("RGB file: %v, %v", got, err)
	}
}

func TestReadCGATSErrorsNameTheLine(t *testing.T) {
	for name, c := range map[string]struct {
		text string
		line int
		what string
	}{
		"not a number": {cgatsHead + "BEGIN_DATA\nN1 50 x 0\nEND_DATA\n", 8, "LAB_A"},
		"out of range": {cgatsHead + "BEGIN_DATA\nN1 50 0 0\nN2 500 0 0\nEND_DATA\n", 9, "500"},
		"not a value":  {cgatsHead + "BEGIN_DATA\nN1 NaN 0 0\nEND_DATA\n", 8, "LAB_L"},
		"twice":        {cgatsHead + "BEGIN_DATA\nN1 50 0 0\nN1 50 0 0\nEND_DATA\n", 9, "twice"},
		"short":        {cgatsHead + "BEGIN_DATA\nN1 50 0\nEND_DATA\n", 9, "3 of 4"},
		"no end":       {cgatsHead + "BEGIN_DATA\nN1 50 0 0\n", 8, "END_DATA"},
		"empty":        {"", 0, "no colours"},
		"no format":    {"BEGIN_DATA\n", 1, "BEGIN_DATA_FORMAT"},
		"no name":      {"BEGIN_DATA_FORMAT\nLAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n", 3, "SAMPLE_NAME"},
		"no colour":    {"BEGIN_DATA_FORMAT\nSAMPLE_NAME XYZ_X\nEND_DATA_FORMAT\n", 3, "LAB_L"},
		"illuminant":   {"ILLUMINANT A\n", 1, "D50 or D65"},
		"open quote":   {"ORIGINATOR \"x\n", 1, "quote"},
	} {
		_, err := ReadCGATS(strings.NewReader(c.text))
		var le *LineError
		if !errors.As(err, &le) || le.Line != c.line || !strings.Contains(err.Error(), c.what) {
			t.Errorf("%s: %v, want line %d and %q", name, err, c.line, c.what)
		}
	}
}

func FuzzReadCGATS(f *testing.F) {
	f.Add(cgatsHead + "BEGIN_DATA\nN1 50 0 0\nEND_DATA\n")
	f.Add("BEGIN_DATA_FORMAT\nEND_DATA_FORMAT\nBEGIN_DATA\n")
	f.Fuzz(func(t *testing.T, s string) {
		m, err := ReadCGATS(strings.NewReader(s))
		if err != nil {
			return
		}
		for n, l := range m {
			if math.IsNaN(l.L + l.A + l.B) {
				t.Errorf("%q: %v", n, l)
			}
		}
	})
}

func TestWords(t *testing.T) {
	// the words a gardener would use for invented skins (common practice, no source)
	for want, l := range map[string]Lab{
		"dark green": {33, -12, 16}, "tan": {70, 13, 36}, "orange": {60, 34, 55}, "cream": {84, 2, 26}, "yellow": {78, 6, 60},
		"grey-green": {58, -4, 4}, "white": {94, 0, 3}, "black": {10, 0, 0}, "brown": {40, 12, 22}, "blackish green": {18, -10, 8},
	} {
		if got := Words(l); got != want {
			t.Errorf("%v: %q, want %q", l, got, want)
		}
	}
}
