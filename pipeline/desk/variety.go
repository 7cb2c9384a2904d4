package desk

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"unicode/utf8"

	"offtype/cluster/reference"
)

// Descriptions of varieties lie in the folder "varieties" beside the harvests, one YAML file each;
// its stem is the name that harvests and forms use.

func (d *Desk) varietyDir() string { return filepath.Join(d.dir, "varieties") }

func (d *Desk) varietyNames() []string { return namesIn(d.varietyDir(), ".yaml") }

// namesIn lists the files of a folder that have the ending, without it, in order of names.
func namesIn(dir, ending string) []string {
	es, err := os.ReadDir(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range es {
		if s, ok := strings.CutSuffix(e.Name(), ending); ok && idPattern.MatchString(s) {
			out = append(out, s)
		}
	}
	slices.Sort(out)
	return out
}

func (d *Desk) hasVariety(name string) bool { return slices.Contains(d.varietyNames(), name) }

// varietyFile returns the file of the harvest's description, or nothing; the caller holds mu.
func (h *harvest) varietyFile() string {
	if h.Variety == "" || !idPattern.MatchString(h.Variety) {
		return ""
	}
	return filepath.Join(h.desk.varietyDir(), h.Variety+".yaml")
}

func (d *Desk) lotCodes(r *http.Request) []string {
	lots, err := d.book.Lots(r.Context())
	if err != nil {
		return nil
	}
	var out []string
	for _, l := range lots {
		out = append(out, l.Code)
	}
	return out
}

// varietyChoices lists the descriptions for a menu: the variety's name, with the version where two share it.
func (d *Desk) varietyChoices() []varietyLine {
	var out []varietyLine
	count := map[string]int{}
	for _, n := range d.varietyNames() {
		l := varietyLine{Name: n, Title: n}
		if x, err := d.readVariety(n); err == nil {
			l.Title, l.Text = x.Name, x.Version
		}
		count[l.Title]++
		out = append(out, l)
	}
	for i := range out {
		if count[out[i].Title] > 1 {
			out[i].Title += ", version " + out[i].Text
		}
	}
	return out
}

// varietyFromFile keeps a description that was written or learnt elsewhere.
func (d *Desk) varietyFromFile(w http.ResponseWriter, r *http.Request) {
	up, err := oneFile(w, r, maxCardFile)
	if err != nil {
		d.printProblem(w, r, err)
		return
	}
	var x *reference.Description
	if err = errors.New("it holds no text; choose the .yaml file of a description"); utf8.Valid(up.data) {
		x, err = reference.Parse(up.data)
	}
	if err == nil {
		err = d.keepVariety("", nil, x)
	}
	if err != nil {
		d.printProblem(w, r, fmt.Errorf("the file %s: %w", safeName(up.name), err))
		return
	}
	w.Header().Set("HX-Redirect", "/varieties?said=saved")
	w.WriteHeader(http.StatusCreated)
}
