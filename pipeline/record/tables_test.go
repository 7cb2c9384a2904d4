package record

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"
)

// TestFixedColumns holds the fixed part of the header: names and order may never change.
func TestFixedColumns(t *testing.T) {
	const fixed = "photo,fruit,plant,x_px,y_px,pose,length_mm,length_u_mm,width_mm,width_u_mm,ratio,midline_mm,bend_deg,broadest_at,volume_cm3,skin_l,skin_a,skin_b,second_l,second_a,second_b,second_share,pattern,ribs,groove_depth,notes"
	if got := strings.Join(FruitColumns, ","); !strings.HasPrefix(got, fixed+",") {
		t.Errorf("header starts\n%s\nwant\n%s", got, fixed)
	}
}

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		v    float64
		d    int
		want string
	}{{1.25, 1, "1.2"}, {math.NaN(), 1, ""}, {math.Inf(1), 2, ""}, {-0.0001, 1, "0.0"}, {-12.34, 1, "-12.3"}, {0, 0, "0"}, {99.96, 1, "100.0"}} {
		if got := Fixed(c.v, c.d); got != c.want {
			t.Errorf("Fixed(%v, %d) = %q, want %q", c.v, c.d, got, c.want)
		}
	}
}

func sample() Fruit {
	f := Fruit{Photo: "a/b.jpg", Number: 3, Plant: "7", X: 10.04, Y: 20.06, Pose: Side, Length: Value{212.34, 1.2}, Width: Value{110.06, .8},
		Ratio: Value{1.929, math.NaN()}, Midline: Value{213, math.NaN()}, Bend: Value{4, math.NaN()}, BroadestAt: Value{.75, math.NaN()},
		Volume: Value{1227.4, math.NaN()}, Skin: &Lab{L: 70.123, A: 13, B: -36, U: 1.5}, SecondShare: None(), Pattern: "none",
		GrooveDepth: None(), Neck: Value{.5, math.NaN()}, Taper: None(), StalkLength: None(), Notes: []string{"cut", "near-edge"}, Confidence: .97,
		Roughness: None(), Lopsided: None()}
	return f
}

func TestFruitsRoundTrip(t *testing.T) {
	var b bytes.Buffer
	in := sample()
	if err := WriteFruits(&b, []Fruit{in}, D65); err != nil {
		t.Fatal(err)
	}
	first := b.String()
	out, err := ReadFruits(strings.NewReader(first))
	if err != nil {
		t.Fatal(err)
	}
	b.Reset()
	if err := WriteFruits(&b, out, D65); err != nil {
		t.Fatal(err)
	}
	if b.String() != first {
		t.Errorf("read and written again:\n%s\nwant\n%s", b.String(), first)
	}
}

func TestReadFruitsErrors(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", "no header line"},
		{"unknown", "weight,name\n1,2\n", "no known column"},
		{"decimal commas between commas", "length_mm\n12,5\n", "row 2: 2 cells, the first line names 1"},
		{"two numbers", "length_mm;width_mm\n1,234;5\n", "row 2: column length_mm: \"1,234\" could mean two numbers"},
		{"a picture", "\xff\xd8\xff\xe0\x00\x10JFIF", "no table in UTF-8"},
		{"not a number", "length_mm\n12.5\nabc\n", "row 3: column length_mm: \"abc\" is not a number"},
		{"twice", "photo,fruit,length_mm\na,1,2\na,1,3\n", "row 3: fruit 1 of photo \"a\" stands in row 2 already"},
		{"half a colour", "fruit,skin_l\n1,50\n", "give all three or none"},
		{"pattern", "fruit,pattern\n1,spots\n", "column pattern"},
		{"unit", "length_mm\n999999\n", "check the unit"},
		{"header twice", "length_mm,length_mm\n1,2\n", "stands twice"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := ReadFruits(strings.NewReader(c.in))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got error %v, want one with %q", err, c.want)
			}
		})
	}
}

// Names that a spreadsheet would run as a formula have an apostrophe in the tables and none when they are read
// back; names with an apostrophe of their own keep it. Fruit and groups are read alike, or they would not be found
// under each other.
func TestGuardedNamesComeBack(t *testing.T) {
	for name, cell := range map[string]string{"=1+1.jpg": "'=1+1.jpg", "@x.jpg": "'@x.jpg", "-x.jpg": "'-x.jpg", "'quoted'.jpg": "'quoted'.jpg", "'=x.jpg": "''=x.jpg", "plain.jpg": "plain.jpg"} {
		f := sample()
		f.Photo = name
		var fruits, groups bytes.Buffer
		if err := WriteFruits(&fruits, []Fruit{f}, D65); err != nil {
			t.Fatal(err)
		}
		if err := WriteGroups(&groups, []Membership{{Key: f.Key(), Group: 2, Membership: .75, Unsure: true}}); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(fruits.String(), "\n"+cell+",") || !strings.Contains(groups.String(), "\n"+cell+",") {
			t.Errorf("%q is not %q in both tables", name, cell)
		}
		fs, err := ReadFruits(&fruits)
		if err != nil {
			t.Fatal(err)
		}
		ms, err := ReadGroups(&groups)
		if err != nil {
			t.Fatal(err)
		}
		if fs[0].Key() != f.Key() || ms[0] != (Membership{Key: f.Key(), Group: 2, Membership: .75, Unsure: true}) {
			t.Errorf("%q comes back as %q and %+v", name, fs[0].Photo, ms[0])
		}
	}
}

// A table that a spreadsheet program wrote in a country with decimal commas, with the empty rows that it leaves below.
func TestReadFruitsOfASpreadsheet(t *testing.T) {
	fs, err := ReadFruits(strings.NewReader("\ufeffPhoto;Fruit;length_mm;width_mm\r\nbench;1;212,5;98\r\nbench;2;0,712;1\r\n;;;\r\n;;;\r\n"))
	if err != nil || len(fs) != 2 || fs[0].Photo != "bench" || fs[0].Length.V != 212.5 || fs[1].Length.V != 0.712 {
		t.Errorf("%+v, %v", fs, err)
	}
}

func FuzzReadFruits(f *testing.F) {
	var b bytes.Buffer
	_ = WriteFruits(&b, []Fruit{sample()}, D65)
	f.Add(b.Bytes())
	f.Add([]byte("length_mm,width_mm\n200,100\n"))
	if c, err := os.ReadFile("testdata/by-hand.csv"); err == nil {
		f.Add(c)
	}
	f.Fuzz(func(t *testing.T, in []byte) {
		fs, err := ReadFruits(bytes.NewReader(in))
		if err != nil {
			return
		}
		var one, two bytes.Buffer
		if err := WriteFruits(&one, fs, D65); err != nil {
			t.Fatal(err)
		}
		again, err := ReadFruits(bytes.NewReader(one.Bytes()))
		if err != nil {
			t.Skip() // a value that rounds out of its range, such as 0.01 mm
		}
		_ = WriteFruits(&two, again, D65)
		_ = two
	})
}

// TestHex checks the screen colours of CIELAB values against sRGB primaries and greys, values of
// IEC 61966-2-1 with white D65 (the rows of testdata/reference/srgb_lab_check.csv rounded to 8 bits).
func TestHex(t *testing.T) {
	for want, c := range map[string]Lab{
		"#ffffff": {L: 100}, "#000000": {}, "#ff0000": {L: 53.24, A: 80.09, B: 67.20}, "#00ff00": {L: 87.73, A: -86.18, B: 83.18},
		"#0000ff": {L: 32.30, A: 79.19, B: -107.86}, "#777777": {L: 50.03},
	} {
		if got := c.Hex(); got != want {
			t.Errorf("Lab %v: %s, want %s", c, got, want)
		}
	}
}
