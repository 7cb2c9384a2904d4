package desk

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"offtype/cluster/lot"
	"offtype/pipeline"
	"offtype/pipeline/book"
	"offtype/pipeline/gather"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
	"offtype/pipeline/report"
)

func (d *Desk) verdictRoutes(m *http.ServeMux) {
	m.HandleFunc("GET /h/{id}/verdict", d.withHarvest(d.verdictView))
	m.HandleFunc("POST /h/{id}/verdict", d.withHarvest(d.decide))
	m.HandleFunc("GET /h/{id}/report", d.withHarvest(d.reportView))
	m.HandleFunc("GET /h/{id}/file/{name}", d.withHarvest(d.download))
	m.HandleFunc("GET /h/{id}/page", d.withHarvest(d.reportPage))
	m.HandleFunc("GET /h/{id}/print/{what}", d.withHarvest(d.printReport))
}

type verdictLine struct {
	Name, Sub     string
	Verdict, Sign string
	Class         string
	Reasons       []string
	Hand          string
	Link          string
	Plant         string
	N             int
	Cuts          []cutLink
}

// cutLink leads from the picture of a fruit to the fruit on its photo.
type cutLink struct {
	Key    string
	Number int
	Alt    string
}

// stepLine is something to do next, with the view that helps.
type stepLine struct{ About, Text, Link, LinkText string }

type verdictData struct {
	ID       string
	Moves    []string // decided by hand: shown beside, never mixed in
	Empty    string
	Judging  bool
	Variety  string
	Headline string
	Suspects []verdictLine // plants that are off-type or doubtful, with pictures
	Next     []stepLine
	Lot      []string
	Rule     string
	Rate     string
	Plants   []verdictLine
	Groups   []verdictLine
	Fruits   []verdictLine
	Cautions []string
	Said     []string
	First    int    // cautions that are shown at once
	Seed     string // address of the advice on seed
}

func (d *Desk) verdictView(w http.ResponseWriter, r *http.Request, h *harvest) {
	v := h.verdictData()
	groups := h.groupsData(r.Context())
	v.Moves = groups.Moves
	for _, g := range groups.Rows {
		if i := slices.IndexFunc(v.Groups, func(x verdictLine) bool { return x.N == g.Number }); i >= 0 && g.Name != "" {
			v.Groups[i].Name += ": " + g.Name
		}
	}
	d.byHand(r.Context(), h, &v)
	d.show(w, r, "verdict", h.page("Verdict", "verdict", v))
}

// byHand adds what was decided on plants.
func (d *Desk) byHand(ctx context.Context, h *harvest, v *verdictData) {
	b, err := d.book.Harvest(ctx, h.Name)
	if err != nil {
		return
	}
	v.decided(b.Decisions)
}

// decided puts verdicts by hand, with their reasons, beside those of the program.
func (v *verdictData) decided(all []book.Decision) {
	for _, x := range all {
		if x.Kind != "verdict" {
			continue
		}
		said := x.Value
		if x.Reason != "" {
			said += " – " + x.Reason
		}
		for _, lines := range [][]verdictLine{v.Plants, v.Suspects} {
			for i := range lines {
				if lines[i].Plant == x.Plant {
					lines[i].Hand = said
				}
			}
		}
		v.Moves = append(v.Moves, fmt.Sprintf("Plant %s: %s.", x.Plant, said))
	}
}

// decide keeps a verdict on a plant by hand, beside the computed one; empty takes it back.
func (d *Desk) decide(w http.ResponseWriter, r *http.Request, h *harvest) {
	plant, value := oneLine(r.PostForm.Get("plant"), 20), r.PostForm.Get("verdict")
	if value != "" && !slices.Contains(handVerdicts, value) {
		d.problem(w, r, http.StatusUnprocessableEntity, errors.New("choose a verdict from the list"))
		return
	}
	b, err := d.book.Harvest(r.Context(), h.Name)
	if err == nil && b.PlantNamed(plant) == nil {
		err = errors.New("there is no such plant in this harvest; load the page again")
	}
	if err == nil && value != "" {
		err = d.book.AddDecision(r.Context(), h.Name, book.Subject{Plant: plant}, "verdict", value, oneLine(r.PostForm.Get("why"), 200), "")
	}
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	for _, x := range b.Decisions { // the one before
		if x.Kind == "verdict" && x.Plant == plant {
			if err := d.book.Remove(r.Context(), "decision", x.ID); err != nil {
				d.problem(w, r, http.StatusInternalServerError, err)
				return
			}
		}
	}
	http.Redirect(w, r, "/h/"+h.ID+"/verdict?said=saved", http.StatusSeeOther)
}

var handVerdicts = []string{string(record.TrueToType), string(record.Doubtful), string(record.OffType), string(record.NotAssessable)}

func (h *harvest) verdictData() verdictData {
	h.mu.Lock()
	defer h.mu.Unlock()
	v := verdictData{ID: h.ID, Judging: h.settling(), Said: h.said}
	run := h.result
	if run == nil || len(run.Fruits) == 0 {
		v.Empty = "Nothing is measured yet. Bring photos first."
		if v.Judging {
			v.Empty = "The photos are being measured. The verdicts come after that."
		}
		return v
	}
	v.Seed = "/seed/choose?" + url.Values{"h": {h.Name}}.Encode()
	v.Lot, v.Cautions = run.Judgement.Lot.Sentences, judge.Cautions(run)
	v.First = min(3, len(v.Cautions))
	v.Next, v.Headline = h.steps(run), run.Headline()
	if run.Judgement.Variety == nil {
		v.Empty = "There is no variety description, so there are groups but no verdicts. Choose a description under Photos, or write one under Before sowing."
		return v
	}
	v.Variety = fmt.Sprintf("%s, description version %s", run.Judgement.Variety.Name, run.Judgement.Variety.Version)
	l := &run.Judgement.Lot
	if l.Rate != nil && l.HasRange() {
		off, rate := fmt.Sprint(l.Off), lot.Percent(*l.Rate)
		if l.Most > l.Off { // fruit without plant tags
			off, rate = fmt.Sprintf("%d to %d", l.Off, l.Most), lot.Percent(*l.Rate)+" to "+lot.Percent(float64(l.Most)/float64(l.Seen))
		}
		v.Rate = fmt.Sprintf("%s of %s judged off-type: %s (%s to %s at %s confidence).", off, record.Count(l.Seen-l.Unsure, l.Unit, l.Unit+"s"), rate, lot.Percent(*l.Low), lot.Percent(*l.High), lot.Percent(l.Confidence))
	}
	keys := map[string]string{}
	for i := range h.Photos {
		keys[h.Photos[i].File] = h.Photos[i].Key
	}
	for _, p := range run.Judgement.Plants {
		x := line("Plant "+p.Plant, record.Count(p.Fruits, "fruit", "fruit"), p.Verdict, p.Reasons)
		x.Plant = p.Plant
		v.Plants = append(v.Plants, x)
		if p.Verdict == record.OffType || p.Verdict == record.Doubtful {
			x.Cuts = cutsOf(run, p.Plant, keys)
			v.Suspects = append(v.Suspects, x)
		}
	}
	slices.SortStableFunc(v.Suspects, func(a, b verdictLine) int { return suspicion(a.Verdict) - suspicion(b.Verdict) })
	for _, g := range run.Judgement.Groups {
		reasons := g.Reasons
		if len(reasons) == 0 {
			reasons = g.Apart
		}
		x := line(fmt.Sprintf("Group %d", g.Group), record.FruitJudged(g.Fruits, run.Judgement.NotJudged(g.Group)), g.Verdict, reasons)
		x.N = g.Group
		v.Groups = append(v.Groups, x)
	}
	for _, f := range run.Judgement.Fruits {
		x := line(fmt.Sprintf("%s, no. %d", f.Photo, f.Fruit), "", f.Verdict, f.Reasons)
		if f.Plant != "" {
			x.Sub = "plant " + f.Plant
		}
		x.Link = fmt.Sprintf("/h/%s/photo/%s?fruit=%d", h.ID, keys[f.Photo], f.Fruit)
		v.Fruits = append(v.Fruits, x)
	}
	return v
}

// suspicion orders what is shown first: off-type, then doubtful.
func suspicion(v string) int {
	if v == string(record.OffType) {
		return 0
	}
	return 1
}

// mostCuts is how many fruit of a plant are pictured beside its verdict.
const mostCuts = 8

// cutsOf lists the fruit of a plant, at most mostCuts.
func cutsOf(run *record.Run, plant string, keys map[string]string) []cutLink {
	var out []cutLink
	for i := range run.Fruits {
		if f := &run.Fruits[i]; f.Plant == plant && len(out) < mostCuts {
			out = append(out, cutLink{Key: keys[f.Photo], Number: f.Number, Alt: f.Alt()})
		}
	}
	return out
}

// steps are the things to do next, each with the view that helps.
func (h *harvest) steps(run *record.Run) []stepLine {
	views := map[string][2]string{
		"offtype seed":     {"/seed/choose?" + url.Values{"h": {h.Name}}.Encode(), "Which plants are fit for seed"},
		"offtype report":   {"/h/" + h.ID + "/report", "Report for the supplier"},
		"offtype plan":     {"/plan", "Plan the bed"},
		"offtype describe": {"/varieties", "What a variety looks like"},
	}
	var out []stepLine
	for _, s := range judge.Next(run) {
		v := views[s.Command]
		out = append(out, stepLine{About: s.About, Text: s.Text, Link: v[0], LinkText: v[1]})
	}
	return out
}

func line(name, sub string, verdict record.Verdict, reasons []string) verdictLine {
	sign, class := verdict.Mark()
	if verdict == "" {
		verdict = record.NotJudged
	}
	return verdictLine{Name: name, Sub: sub, Verdict: string(verdict), Sign: sign, Class: class, Reasons: reasons}
}

// downloads are the files of a harvest that can be taken away: their names here, never a client's.
var downloads = []struct{ Name, Type, Text string }{
	{"report.html", "text/html; charset=utf-8", "The report as one page"},
	{"fruits.csv", "text/csv; charset=utf-8", "One row a fruit"},
	{"groups.csv", "text/csv; charset=utf-8", "Groups"},
	{"photos.csv", "text/csv; charset=utf-8", "One row a photo"},
	{"judgement.json", "application/json", "Verdicts"},
}

type reportData struct {
	ID      string
	Files   []struct{ Name, Text string }
	Judging bool
	Photos  int
	Printed bool // the measurement report can be made
}

func (d *Desk) reportView(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	v := reportData{ID: h.ID, Judging: h.settling(), Photos: len(h.Photos), Printed: h.result != nil}
	h.mu.Unlock()
	for _, f := range downloads {
		if v.Judging { // what lies there may hold no more
			break
		}
		if _, err := os.Stat(filepath.Join(h.resultDir(), f.Name)); err == nil {
			v.Files = append(v.Files, struct{ Name, Text string }{f.Name, f.Text})
		}
	}
	d.show(w, r, "report", h.page("Report", "report", v))
}

func (d *Desk) download(w http.ResponseWriter, r *http.Request, h *harvest) {
	for _, f := range downloads {
		if f.Name != r.PathValue("name") {
			continue
		}
		b, err := os.ReadFile(filepath.Join(h.resultDir(), f.Name))
		if err != nil {
			break
		}
		w.Header().Set("Content-Type", f.Type)
		w.Header().Set("Content-Disposition", fmt.Sprintf(`attachment; filename="%s-%s"`, h.ID, f.Name))
		w.Header().Set("Content-Security-Policy", reportPolicy)
		w.Write(b)
		return
	}
	d.notFound(w, r)
}

// reportPhotos is the folder that the photos lie in now; empty where the book knows better. The caller holds mu.
func (h *harvest) reportPhotos() string {
	if h.Run != nil {
		return ""
	}
	return h.photoDir()
}

// printReport makes the measurement report for the supplier, or a sheet for the bench or the wall.
func (d *Desk) printReport(w http.ResponseWriter, r *http.Request, h *harvest) {
	h.mu.Lock()
	name, photos, variety := h.Name, h.reportPhotos(), h.varietyFile()
	h.mu.Unlock()
	what := r.PathValue("what")
	write := map[string]func(*report.Document, io.Writer) error{
		"report":     (*report.Document).Page,
		"report.pdf": (*report.Document).PDF,
		"bench.pdf":  func(doc *report.Document, b io.Writer) error { return doc.BenchSheet(b, gather.BenchColumns()) },
		"wall.pdf":   (*report.Document).WallSheet,
	}[what]
	if write == nil {
		d.notFound(w, r)
		return
	}
	doc, err := d.document(r.Context(), name, photos, variety)
	if err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	if what != "report" {
		d.pdf(w, r, h.ID+"-"+what, func(b io.Writer) error { return write(doc, b) })
		return
	}
	var page bytes.Buffer
	if err := write(doc, &page); err != nil {
		d.problem(w, r, http.StatusUnprocessableEntity, err)
		return
	}
	d.wholePage(w, page.Bytes())
}

// document puts together what a report of the harvest holds: photos are looked for in the folder, the description is
// that in the file (none: that of the book).
func (d *Desk) document(ctx context.Context, harvest, photos, variety string) (*report.Document, error) {
	doc := &report.Document{Paper: "a4", Language: "en", Made: d.opt.Now()}
	v, err := gather.Report(ctx, d.book, harvest, gather.Originals{Folder: photos}, doc)
	if err != nil {
		return nil, err
	}
	if variety != "" {
		if v, err = pipeline.ReadVariety("description", variety); err != nil {
			return nil, err
		}
	}
	return doc, gather.Explain(doc, v)
}

// reportPage shows the report in the browser, without any right to run scripts.
func (d *Desk) reportPage(w http.ResponseWriter, r *http.Request, h *harvest) {
	b, err := os.ReadFile(filepath.Join(h.resultDir(), "report.html"))
	if err != nil {
		d.notFound(w, r)
		return
	}
	d.wholePage(w, b)
}

// wholePage shows a page that the program wrote, with its own style and no script.
func (d *Desk) wholePage(w http.ResponseWriter, b []byte) {
	w.Header().Set("Content-Security-Policy", reportPolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(b)
}
