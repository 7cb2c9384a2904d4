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

// Fingerprint names the fruit of a run by their measurements, so that a description learnt from a harvest is
// recognised when the same harvest is judged.
func Fingerprint(fs []record.Fruit) string {
	h := sha256.New()
	for i := range fs {
		f := &fs[i]
		fmt.Fprintf(h, "%s %d %.0f %.0f %s %s %s\n", f.Photo, f.Number, f.X, f.Y, record.Fixed(f.Length.V, 1), record.Fixed(f.Width.V, 1), record.Fixed(f.Volume.V, 0))
	}
	return hex.EncodeToString(h.Sum(nil))[:16]
}

// taughtBy reports whether the run taught the description without the grower naming the true plants.
func taughtBy(run *record.Run, d *reference.Description) bool {
	return d.Learnt != nil && !d.Learnt.Named && d.Learnt.From != "" && d.Learnt.From == Fingerprint(run.Fruits)
}

// teachers lists the judged plants of the run that taught the description, because the grower named them as true.
func teachers(run *record.Run, d *reference.Description) []string {
	if d.Learnt == nil || !d.Learnt.Named || d.Learnt.From == "" || d.Learnt.From != Fingerprint(run.Fruits) {
		return nil
	}
	var out []string
	for _, p := range run.Judgement.Plants {
		if slices.Contains(d.Learnt.Tags, p.Plant) && p.Verdict != record.NotJudged && p.Verdict != record.NotAssessable {
			out = append(out, p.Plant)
		}
	}
	return out
}

// taughtSentence says what the plants that taught the description are worth as evidence.
func taughtSentence(plants []string, seen int) string {
	rest := "Only the others are evidence on the seed lot."
	if len(plants) >= seen {
		rest = "That is no evidence on the seed lot: judge another harvest with it."
	}
	they := "they are"
	if len(plants) == 1 {
		they = "it is"
	}
	who := record.NamedPlants(plants, record.NamedAtMost)
	return fmt.Sprintf("%s of this harvest taught the description that all are compared with: %s true by the grower's word, not by this comparison. %s", strings.ToUpper(who[:1])+who[1:], they, rest)
}

// Learn makes a description from the fruit of a harvest: of the named plants, or of all fruit when plants is empty.
// Fruit cut by the frame or set aside by a note do not teach.
//
// Errors: a plant that is not in the table; reference.ErrTeachers, reference.ErrNoTeachers.
func Learn(fs []record.Fruit, plants []string, head reference.Head) (*reference.Description, error) {
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
	d.Learnt.From = Fingerprint(fs)
	return d, nil
}
