package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat"

	"offtype/measure/camera"
	"offtype/measure/colour"
	"offtype/measure/geom"
	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/card"
	"offtype/pipeline/photo"
)

type cardCheckCmd struct {
	Photos      []string `arg:"" name:"photo" help:"Photos of printed cards, or folders of them."`
	CardColours []string `help:"Measured patch colours of card number N (CGATS.17 text)." placeholder:"N=FILE"`
	Save        string   `help:"Save the colours of card N as a colour file. Needs a measured card in the same photo." placeholder:"N=FILE"`
	JSON        bool     `help:"Print the result as JSON."`
}

func (*cardCheckCmd) Help() string {
	return `Example: offtype card-check card-photo.jpg
         offtype card-check --card-colours 0=card0.txt --save 1=card1.txt both-cards.jpg

Says how far a printed card is from its nominal colours and how even the light on it was. White and tone come
from the card's own greys and paper, so a cast of the whole print cannot be seen without a measured card.
With a measured card (--card-colours) beside it in the same light, the other cards are judged by it, and
--save writes the colours of one of them. Lay both flat, close together, away from coloured things.` + exitHelp
}

// patchCheck is one patch of one card.
type patchCheck struct {
	Name    string     `json:"name"`
	DE00    float64    `json:"de00"` // from nominal, or from the card's colour file
	Lab     [3]float64 `json:"lab"`  // as seen, D65
	Nominal [3]float64 `json:"nominal"`
	State   string     `json:"state"`
}

// cardCheck is one card in one photo.
type cardCheck struct {
	Photo    string       `json:"photo"`
	Card     int          `json:"card"`
	Measured bool         `json:"measured"` // it has a colour file
	By       *int         `json:"by"`       // number of the measured card it was judged by
	ApartMM  float64      `json:"apart_mm"` // distance to that card
	Mean     float64      `json:"mean_de00"`
	Uneven   float64      `json:"uneven_percent"` // spread of the light over its paper
	Advice   []string     `json:"advice"`
	Patches  []patchCheck `json:"patches"`
}

// Run checks the cards of all photos.
func (c *cardCheckCmd) Run(e *env) error {
	inks, err := readInks(c.CardColours)
	if err != nil {
		return usage(err)
	}
	saveCard, saveFile, err := c.saveTo(inks)
	if err != nil {
		return usage(err)
	}
	ins, problems := pipeline.FindInputs(c.Photos)
	for _, p := range problems {
		fmt.Fprintln(e.err, p)
	}
	failed := len(problems) > 0
	var all []cardCheck
	for _, in := range ins {
		if e.ctx.Err() != nil {
			return e.ctx.Err()
		}
		got, err := checkPhoto(in, inks)
		if err != nil {
			fmt.Fprintf(e.err, "%s: %v\n", in.Name, err)
			failed = true
			continue
		}
		all = append(all, got...)
	}
	if len(all) == 0 {
		return &exitError{exitNothing, errors.New("no card could be checked")}
	}
	if saveFile != "" {
		if err := saveInks(saveFile, saveCard, all); err != nil {
			return err
		}
	}
	if c.JSON {
		err = json.NewEncoder(e.out).Encode(all)
	} else {
		err = printChecks(e.out, all)
	}
	if err == nil && failed {
		return &exitError{code: exitPartly}
	}
	return err
}

// numbered splits N=FILE.
func numbered(flag, s string) (int, string, error) {
	n, file, ok := strings.Cut(s, "=")
	k, err := strconv.Atoi(n)
	if !ok || err != nil || k < 0 || k > card.MaxCard || file == "" {
		return 0, "", fmt.Errorf("%s %q: write N=FILE with the card's number 0 to %d", flag, s, card.MaxCard)
	}
	return k, file, nil
}

func readInks(args []string) (map[int]map[string]colour.Lab, error) {
	out := map[int]map[string]colour.Lab{}
	for _, s := range args {
		n, file, err := numbered("--card-colours", s)
		if err != nil {
			return nil, err
		}
		f, err := os.Open(file)
		if err != nil {
			return nil, fmt.Errorf("--card-colours %s: %w; check the name", s, err)
		}
		out[n], err = colour.ReadCGATS(f)
		f.Close()
		if err != nil {
			return nil, fmt.Errorf("--card-colours %s: %w", s, err)
		}
	}
	return out, nil
}

func (c *cardCheckCmd) saveTo(inks map[int]map[string]colour.Lab) (n int, file string, err error) {
	if c.Save == "" {
		return 0, "", nil
	}
	if n, file, err = numbered("--save", c.Save); err != nil {
		return 0, "", err
	}
	if len(inks) == 0 {
		return 0, "", errors.New("--save needs a measured card in the photo: name its colours with --card-colours N=FILE")
	}
	if inks[n] != nil {
		return 0, "", fmt.Errorf("--save %d: the colours of card %d are given by --card-colours; save another card", n, n)
	}
	return n, file, nil
}

// checkPhoto judges the cards of one photo, by the measured one among them when there is one.
func checkPhoto(in pipeline.Input, inks map[int]map[string]colour.Lab) ([]cardCheck, error) {
	ph, err := photo.Read(in.Path, photo.Options{})
	if err != nil {
		return nil, err
	}
	found, err := card.Find(ph, card.Options{})
	if err != nil {
		return nil, err
	}
	frame := colour.Frame{Width: ph.Width, Height: ph.Height}
	ref := slices.IndexFunc(found.Cards, func(c card.Card) bool { return inks[c.Number] != nil })
	var out []cardCheck
	for i := range found.Cards {
		c := &found.Cards[i]
		own := c.Samples(inks[c.Number])
		fitTo := own
		r := cardCheck{Photo: in.Name, Card: c.Number, Measured: inks[c.Number] != nil, Advice: []string{}}
		if ref >= 0 && inks[c.Number] == nil {
			b := &found.Cards[ref]
			fitTo, r.By = b.Samples(inks[b.Number]), &b.Number
			r.ApartMM = apart(&found.Camera, c, b)
		}
		cal, err := colour.Calibrate(fitTo, frame, colour.DefaultOptions())
		if err != nil {
			return nil, fmt.Errorf("card %d: %w; retake the photo with the whole card in even light", c.Number, err)
		}
		r.fill(cal, own)
		out = append(out, r)
	}
	return out, nil
}

// maxApartMM is how far two cards may lie apart (middle to middle) to be compared: beyond that the light may differ
// by more than the inks.
const maxApartMM = 450

// apart returns the distance of the middles of two cards on the table, mm; a kilometre when one is not on it, since
// JSON has no infinity.
func apart(cam *camera.Camera, a, b *card.Card) float64 {
	p, ok := cam.OnPlane(geom.Centroid(a.Quad), 0)
	q, ok2 := cam.OnPlane(geom.Centroid(b.Quad), 0)
	if !ok || !ok2 {
		return 1e6
	}
	return p.Sub(q).Norm()
}

// fill compares the samples with what they should be.
func (r *cardCheck) fill(cal *colour.Calibration, own []colour.Sample) {
	paper := map[string][]float64{}
	var white colour.Lab
	n := 0.0
	for _, s := range own {
		l := cal.Lab(s.RGB, s.Place)
		if s.Kind == colour.Paper {
			if s.Clipped <= 0.02 {
				paper["y"] = append(paper["y"], math.Log(math.Max(1e-3, cal.RGB(s.RGB, s.Place).XYZ().Y)))
				white = colour.Lab{L: white.L + l.L, A: white.A + l.A, B: white.B + l.B}
				n++
			}
			continue
		}
		p := patchCheck{Name: s.Name, DE00: colour.DeltaE2000(l, s.Ref), Lab: [3]float64{l.L, l.A, l.B}, Nominal: [3]float64{s.Ref.L, s.Ref.A, s.Ref.B}, State: "ok"}
		switch {
		case s.Clipped > 0.02:
			p.State = "too bright or dark"
		case p.DE00 > 6:
			p.State = "far off"
		case p.DE00 > 3:
			p.State = "off"
		}
		r.Patches = append(r.Patches, p)
		r.Mean += p.DE00
	}
	r.Mean /= math.Max(1, float64(len(r.Patches)))
	if n > 0 {
		l := [3]float64{white.L / n, white.A / n, white.B / n}
		r.Patches = append(r.Patches, patchCheck{Name: "paper", Lab: l, Nominal: [3]float64{100, 0, 0}, State: "ok",
			DE00: colour.DeltaE2000(colour.Lab{L: l[0], A: l[1], B: l[2]}, colour.Lab{L: 100})})
	}
	r.Uneven = 100 * spread(paper["y"])
	r.advise(cal)
}

// advise says what to do, with this program's own limits (docs/colour.md).
func (r *cardCheck) advise(cal *colour.Calibration) {
	say := func(bad bool, text string) {
		if bad {
			r.Advice = append(r.Advice, text)
		}
	}
	say(r.Uneven > 100*colour.DefaultOptions().MaxUneven, "the light on the card was uneven: retake the photo in open shade or even light, with no shadow on the card")
	say(slices.Contains(cal.Reasons, "card-too-bright-or-dark"), "the photo is too bright or too dark: retake it")
	far := r.ApartMM > maxApartMM
	say(far, "the measured card lies too far away to judge this one by it: lay the two side by side")
	say(!far && r.Mean > 3 && r.Uneven <= 100*colour.DefaultOptions().MaxUneven, "the print is far from nominal: have its colours measured and use --card-colours, or print it again on matt paper without any print-quality effects")
	say(!far && r.Mean > 1.5 && r.Mean <= 3, "the print is a little off: fine for comparing fruit measured with this card; to compare with others, have it measured")
}

// spread returns the standard deviation of v (n−1), 0 when there are fewer than three.
func spread(v []float64) float64 {
	if len(v) < 3 {
		return 0
	}
	return stat.StdDev(v, nil)
}

func printChecks(w io.Writer, all []cardCheck) error {
	var b strings.Builder
	for _, r := range all {
		from := "nominal, white and tone from its own greys"
		switch {
		case r.Measured:
			from = "its colour file"
		case r.By != nil:
			from = fmt.Sprintf("nominal, judged by card %d", *r.By)
		}
		fmt.Fprintf(&b, "%s, card %d: patches differ from %s by ΔE00 %.1f on average; light uneven by %.1f %%\n", r.Photo, r.Card, from, r.Mean, r.Uneven)
		fmt.Fprintf(&b, "  %-6s %6s  %-24s %-24s %s\n", "patch", "ΔE00", "L* a* b* seen (D65, 2°)", "should be", "")
		for _, p := range r.Patches {
			fmt.Fprintf(&b, "  %-6s %6.1f  %6.1f %6.1f %6.1f     %6.1f %6.1f %6.1f     %s\n", p.Name, p.DE00, p.Lab[0], p.Lab[1], p.Lab[2], p.Nominal[0], p.Nominal[1], p.Nominal[2], p.State)
		}
		for _, a := range r.Advice {
			fmt.Fprintf(&b, "  %s\n", a)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// saveInks writes the mean colours of card n over the photos as CGATS.17 text, D65.
func saveInks(file string, n int, all []cardCheck) error {
	sum, count := map[string][3]float64{}, map[string]float64{}
	var names []string
	for _, r := range all {
		if r.Card != n || r.By == nil || r.ApartMM > maxApartMM {
			continue
		}
		for _, p := range r.Patches {
			if p.State == "too bright or dark" {
				continue
			}
			if count[p.Name] == 0 {
				names = append(names, p.Name)
			}
			s := sum[p.Name]
			for k := range s {
				s[k] += p.Lab[k]
			}
			sum[p.Name] = s
			count[p.Name]++
		}
	}
	if len(names) == 0 {
		return fmt.Errorf("card %d was not seen beside a measured card: photograph both together, side by side", n)
	}
	return atomic.Write(file, func(w io.Writer) error {
		fmt.Fprintf(w, "CGATS.17\nORIGINATOR \"offtype card-check\"\nDESCRIPTOR \"card %d, beside a measured card\"\nILLUMINANT D65\n", n)
		fmt.Fprintf(w, "NUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nNUMBER_OF_SETS %d\nBEGIN_DATA\n", len(names))
		for _, s := range names {
			fmt.Fprintf(w, "%s %.3f %.3f %.3f\n", s, sum[s][0]/count[s], sum[s][1]/count[s], sum[s][2]/count[s])
		}
		_, err := io.WriteString(w, "END_DATA\n")
		return err
	})
}
