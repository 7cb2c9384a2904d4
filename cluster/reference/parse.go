package reference

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"offtype/cluster"
)

// SyntaxError is a fault of a description, with the line it stands on (0: the whole file).
type SyntaxError struct {
	Line int
	What string // what is wrong
	Do   string // what to do
}

func (e *SyntaxError) Error() string {
	s := e.What
	if e.Line > 0 {
		s = fmt.Sprintf("line %d: %s", e.Line, e.What)
	}
	if e.Do != "" {
		s += "; " + e.Do
	}
	return s
}

// unnamed stands in the template where the name belongs.
const unnamed = "Name of the variety"

// patterns are the words for a pattern.
var patterns = []string{"none", "stripes", "bands", "patches", "dots", "mottled"}

// Parse reads a description and checks it. The error is a *SyntaxError.
func Parse(b []byte) (*Description, error) {
	if len(bytes.TrimSpace(b)) == 0 {
		return nil, &SyntaxError{What: "the variety description is empty", Do: "start from a form made by `offtype describe --new FILE`, or from a description saved from the page"}
	}
	var d Description
	if err := decode(b, &d); err != nil {
		return nil, yamlError(err, string(b))
	}
	if err := halved(string(b)); err != nil {
		return nil, err
	}
	c := checker{b: b}
	c.head(&d)
	for _, e := range d.entries() {
		c.trait(e)
	}
	c.colour("skin", d.Skin)
	c.colour("second", d.Second)
	if m := d.Marks; m != nil {
		if len(m.Mean) != 3 || slices.ContainsFunc(m.Mean, func(x float64) bool { return !finite(x) }) || !spreads(m.Spread) || !spreads(m.PlantsSpread) {
			c.fail("$.marks", "marks needs mean, spread and plants_spread of three numbers each, spreads of 0 or more", "take the block out: the second colour with its share says the same")
		}
		if m.Striped != nil {
			c.ranged("$.marks.striped", "striped", "", m.Striped, 0, 1)
		}
	}
	for _, p := range d.Pattern {
		if !slices.Contains(patterns, p) {
			c.fail("$.pattern", fmt.Sprintf("pattern %q is not known", p), "use "+strings.Join(patterns, ", "))
		}
	}
	if c.err != nil {
		return nil, c.err
	}
	if !d.says() {
		return nil, &SyntaxError{What: "no trait is described", Do: "give at least one, such as length or skin"}
	}
	return &d, nil
}

// decode reads YAML; a fault in which the library gives up with a panic becomes an error.
func decode(b []byte, d *Description) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("not readable: %v", r)
		}
	}()
	return yaml.UnmarshalWithOptions(b, d, yaml.Strict())
}

type checker struct {
	b    []byte
	file *ast.File
	err  *SyntaxError
}

// fail keeps the first fault, with the line of the YAML path.
func (c *checker) fail(path, what, do string) {
	if c.err != nil {
		return
	}
	c.err = &SyntaxError{Line: c.line(path), What: what, Do: do}
}

func (c *checker) line(path string) (line int) {
	defer func() {
		if recover() != nil { // the line is only a help: without it the fault is still told
			line = 0
		}
	}()
	if c.file == nil {
		f, err := parser.ParseBytes(c.b, 0)
		if err != nil {
			return 0
		}
		c.file = f
	}
	p, err := yaml.PathString(path)
	if err != nil {
		return 0
	}
	n, err := p.FilterFile(c.file)
	if err != nil || n.GetToken() == nil {
		return 0
	}
	return n.GetToken().Position.Line
}

func (c *checker) head(d *Description) {
	if d.Format != Format {
		c.fail("$.format", fmt.Sprintf("format is %d", d.Format), fmt.Sprintf("this program reads format: %d", Format))
	}
	if strings.EqualFold(strings.TrimSpace(d.Name), unnamed) {
		c.fail("$.name", fmt.Sprintf("name is still %q, as in the form", d.Name), "fill in the name")
	}
	for _, s := range []struct{ key, v string }{{"name", d.Name}, {"species", d.Species}, {"version", d.Version}} {
		if strings.TrimSpace(s.v) == "" {
			c.fail("$."+s.key, s.key+" is missing", "add a line "+s.key+": …")
		}
	}
	c.stage("$.stage", d.Stage)
	if l := d.Learnt; l != nil && (l.Plants < 0 || l.Fruits < 1) {
		c.fail("$.learnt", "learnt needs the number of plants (0 or more) and of fruits (1 or more)", "fill them in or take the block out")
	}
}

func (c *checker) stage(path, s string) {
	if s != "" && !slices.Contains([]string{Young, AtHarvest, Cured, Stored}, s) {
		c.fail(path, fmt.Sprintf("stage %q is not known", s), "use young, at harvest, cured or stored")
	}
}

func (c *checker) trait(e entry) {
	if e.r == nil {
		return
	}
	path := "$.traits." + e.name
	c.ranged(path, e.name, e.trait.Unit, e.r, e.least, e.most)
	if e.trait.Scale != cluster.Log {
		return
	}
	for _, v := range []struct {
		key string
		v   *float64
	}{{"mean", e.r.Mean}, {"high", e.r.High}} {
		if v.v != nil && *v.v <= 0 {
			c.fail(path+"."+v.key, fmt.Sprintf("%s %s is %v", e.name, v.key, *v.v), "it must be above 0")
		}
	}
	if e.r.Low != nil && *e.r.Low <= 0 && e.r.Mean == nil && e.r.High == nil {
		c.fail(path+".low", fmt.Sprintf("%s low is %v, which every fruit exceeds", e.name, *e.r.Low), "give high or mean too, or a low above 0")
	}
}

func (c *checker) ranged(path, name, unit string, r *Range, least, most float64) {
	if r.Unit != "" && r.Unit != unit && !(unit == "" && r.Unit == "–") {
		want := unit
		if want == "" {
			want = "no unit"
		}
		c.fail(path+".unit", fmt.Sprintf("%s is in %q", name, r.Unit), "give it in "+want)
	}
	for _, v := range []struct {
		key string
		v   *float64
	}{{"low", r.Low}, {"high", r.High}, {"mean", r.Mean}} {
		if v.v != nil && (!finite(*v.v) || *v.v < least || *v.v > most) {
			c.fail(path+"."+v.key, fmt.Sprintf("%s %s is %v", name, v.key, *v.v), fmt.Sprintf("it must lie between %v and %v", least, most))
		}
	}
	for _, v := range []struct {
		key string
		v   *float64
	}{{"spread", r.Spread}, {"plants_spread", r.PlantsSpread}} {
		if v.v != nil && !(*v.v >= 0 && finite(*v.v)) {
			c.fail(path+"."+v.key, fmt.Sprintf("%s %s is %v", name, v.key, *v.v), "a spread is 0 or more")
		}
	}
	if r.Spread != nil && r.PlantsSpread != nil && *r.PlantsSpread > *r.Spread {
		c.fail(path+".plants_spread", name+": the spread between plants is larger than the whole spread", "plants_spread is a part of spread")
	}
	if r.Low != nil && r.High != nil && *r.Low > *r.High {
		c.fail(path+".low", fmt.Sprintf("%s: low (%v) is above high (%v)", name, *r.Low, *r.High), "exchange them")
	}
	if r.Mean == nil && r.Low == nil && r.High == nil {
		c.fail(path, name+" has neither a range nor a mean", "give low and high, or mean and spread")
	}
	c.weight(path, name, r.Weight)
	c.stage(path+".stage", r.Stage)
}

func (c *checker) weight(path, name string, w *float64) {
	if w != nil && !(*w >= 0 && *w <= 1) {
		c.fail(path+".weight", fmt.Sprintf("weight of %s is %v", name, *w), "a weight lies between 0 (does not count) and 1")
	}
}

func (c *checker) colour(key string, k *Colour) {
	if k == nil {
		return
	}
	path := "$." + key
	if len(k.Lab) != 3 || !(k.Lab[0] >= 0 && k.Lab[0] <= 100 && math.Abs(k.Lab[1]) <= 128 && math.Abs(k.Lab[2]) <= 128) {
		c.fail(path+".lab", key+": lab needs three numbers, lightness 0–100 and two from −128 to 128", "write lab: [70, 13, 36]")
	}
	for _, s := range [][]float64{k.Spread, k.PlantsSpread} {
		if s != nil && !spreads(s) {
			c.fail(path, key+": a spread needs three numbers, 0 or more", "write spread: [3, 3, 4] or take it out")
		}
	}
	if k.Tolerance != nil && !(*k.Tolerance > 0 && finite(*k.Tolerance)) {
		c.fail(path+".tolerance", fmt.Sprintf("tolerance of %s is %v", key, *k.Tolerance), "a tolerance is a colour difference above 0, such as 6")
	}
	if k.Share != nil {
		if key != "second" {
			c.fail(path+".share", "share belongs to the second colour", "take the line out")
		}
		c.ranged(path+".share", "share", "", k.Share, 0, 1)
	}
	c.weight(path, key, k.Weight)
	c.stage(path+".stage", k.Stage)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// spreads reports three finite numbers of 0 or more.
func spreads(s []float64) bool {
	return len(s) == 3 && !slices.ContainsFunc(s, func(x float64) bool { return !finite(x) || x < 0 })
}

// says reports whether the description describes anything.
func (d *Description) says() bool {
	for _, e := range d.entries() {
		if e.r != nil {
			return true
		}
	}
	return d.Skin != nil || d.Second != nil || d.Marks != nil || len(d.Pattern) > 0
}

// Bytes writes the description as YAML.
func (d *Description) Bytes() ([]byte, error) {
	return yaml.MarshalWithOptions(d, yaml.Indent(2), yaml.UseLiteralStyleIfMultiline(true))
}
