package judge

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"offtype/cluster/reference"
	"offtype/pipeline/record"
)

// Fingerprint names the fruit of a run by their measurements as the table fruits.csv has them, so that a description
// learnt from a table is recognised when the same table is judged. Rounded otherwise, a table and its run would differ.
func Fingerprint(fs []record.Fruit) string {
	h := sha256.New()
	for i := range fs {
		f := &fs[i]
		fmt.Fprintf(h, "%s %d %s %s %s %s %s\n", f.Photo, f.Number, record.Fixed(f.X, 1), record.Fixed(f.Y, 1), record.Fixed(f.Length.V, 1), record.Fixed(f.Width.V, 1), record.Fixed(f.Volume.V, 0))
	}
	return hex.EncodeToString(h.Sum(nil))[:16]
}

// photoMark is as much of a photo's SHA-256 as a description keeps of the photos that taught it.
const photoMark = 16

// photoMarks names the photos of a harvest by their bytes: they stay what they are however often the fruit are measured anew.
func photoMarks(ps []record.Photo) []string {
	var out []string
	for i := range ps {
		if p := &ps[i]; p.Status == record.StatusOK && len(p.SHA256) >= photoMark && !slices.Contains(out, p.SHA256[:photoMark]) {
			out = append(out, p.SHA256[:photoMark])
		}
	}
	return out
}

// taught lists which fruit of the run lie on photos that taught the description, in row order; nil when it was learnt
// from no fruit of this run. Tables that were measured elsewhere have no photos: there the measurements tell.
func taught(run *record.Run, d *reference.Description) []bool {
	if d.Learnt == nil {
		return nil
	}
	whole := d.Learnt.From != "" && d.Learnt.From == Fingerprint(run.Fruits)
	on := map[string]bool{}
	for i := range run.Photos {
		if p := &run.Photos[i]; len(p.SHA256) >= photoMark && slices.Contains(d.Learnt.Photos, p.SHA256[:photoMark]) {
			on[p.Name] = true
		}
	}
	if !whole && len(on) == 0 {
		return nil
	}
	out := make([]bool, len(run.Fruits))
	for i := range run.Fruits {
		out[i] = whole || on[run.Fruits[i].Photo]
	}
	return out
}

// vouchesForItself reports whether all fruit of the run taught the description without the grower naming the true plants.
func vouchesForItself(run *record.Run, d *reference.Description) bool {
	by := taught(run, d)
	return by != nil && !d.Learnt.Named && !slices.Contains(by, false)
}

// teachers lists the judged plants of the run that taught the description: those the grower named as true, or, where
// none were named and other fruit are judged with them, all that the description was learnt from.
func teachers(run *record.Run, d *reference.Description) []string {
	by := taught(run, d)
	taughtIt := map[string]bool{}
	for i, t := range by {
		if t && slices.Contains(d.Learnt.Tags, run.Fruits[i].Plant) {
			taughtIt[run.Fruits[i].Plant] = true
		}
	}
	var out []string
	for _, p := range run.Judgement.Plants {
		if taughtIt[p.Plant] && p.Verdict != record.NotJudged && p.Verdict != record.NotAssessable {
			out = append(out, p.Plant)
		}
	}
	return out
}

// taughtSentence says what the plants that taught the description are worth as evidence.
func taughtSentence(plants []string, seen int) string {
	rest := "Only the others are evidence on the seed lot; the range and the rule take the grower's word for these."
	if len(plants) >= seen {
		rest = "That is no evidence on the seed lot, so no range is given: judge another harvest with it."
	}
	they := "they are"
	if len(plants) == 1 {
		they = "it is"
	}
	who := record.NamedPlants(plants, record.NamedAtMost)
	return fmt.Sprintf("%s of this harvest taught the description that all are compared with: %s true by the grower's word, not by this comparison. %s", strings.ToUpper(who[:1])+who[1:], they, rest)
}

// Learn makes a description from the fruit of a harvest: of the named plants, or of all fruit when plants is empty.
// Fruit cut by the frame or set aside by a note do not teach. The photos of the harvest (none for a table measured
// elsewhere) are written down by their bytes, so that the harvest is known again after it was measured anew.
//
// Errors: a plant that is not in the table; reference.ErrTeachers, reference.ErrNoTeachers.
func Learn(fs []record.Fruit, photos []record.Photo, plants []string, head reference.Head) (*reference.Description, error) {
	for _, p := range plants {
		if !slices.ContainsFunc(fs, func(f record.Fruit) bool { return f.Plant == p }) {
			return nil, fmt.Errorf("plant %q is not in the table; give plant numbers as in its column plant", p)
		}
	}
	var teach []record.Fruit
	var ids []string
	for _, f := range fs {
		if len(plants) > 0 && !slices.Contains(plants, f.Plant) || f.Has(noteCut) || slices.ContainsFunc(asideNotes, f.Has) {
			continue
		}
		teach = append(teach, f)
		ids = append(ids, fmt.Sprintf("%s fruit %d", f.Photo, f.Number))
	}
	d, err := reference.Learn(Fruits(teach), ids, head)
	if err != nil {
		return nil, err
	}
	d.Learnt.Named = len(plants) > 0
	d.Learnt.From, d.Learnt.Photos = Fingerprint(fs), photoMarks(photos)
	return d, nil
}
