package seed

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"offtype/cluster/lot"
	"offtype/pipeline/record"
)

// SeasonOf is the season that a plan made on a day is for unless another is named: from September on that of the next
// year, when what was harvested is planned anew. Our own choice.
func SeasonOf(day time.Time) int {
	if day.Month() >= time.September {
		return day.Year() + 1
	}
	return day.Year()
}

// Sowing is one variety or lot to grow.
type Sowing struct {
	Variety string `json:"variety"`
	Lot     string `json:"lot"`
	Plants  int    `json:"plants"`
	Control bool   `json:"control"` // same variety, other seed: what season and bed do
}

// Bed is what there is room for.
type Bed struct {
	Name    string  `json:"name"`
	LengthM float64 `json:"length_m"` // of one row; 0: not given
	Spacing float64 `json:"spacing_m"`
}

// PlanInput is what is planned.
type PlanInput struct {
	Species    string
	Year       int
	Rate       float64 // off-type rate that must show, such as 0.05
	Confidence float64 // such as 0.95
	Bed        Bed
	Sowings    []Sowing
	FirstTag   int // number of the first plant tag; 1
}

// See says how many plants show a lot with a given rate.
type See struct {
	Rate   float64 `json:"rate"`
	Plants int     `json:"plants"`
	Metres float64 `json:"metres"` // of bed; 0: no spacing given
}

// Row is a place in the bed.
type Row struct {
	Tag     int     `json:"tag"`
	At      float64 `json:"at_m"`
	Variety string  `json:"variety"`
	Lot     string  `json:"lot"`
	Control bool    `json:"control"`
}

// Plan is the answer to offtype plan.
type Plan struct {
	Species   string   `json:"species"`
	Year      int      `json:"year"`
	Bed       Bed      `json:"bed"`
	See       []See    `json:"see"`
	Sentences []string `json:"sentences"`
	Warnings  []string `json:"warnings"`
	Rows      []Row    `json:"rows"`
	Crop      *Crop    `json:"crop"`
	Checklist []Step   `json:"checklist"`
}

// Step is a line of the season's checklist.
type Step struct {
	When string   `json:"when"`
	What []string `json:"what"`
}

const (
	lastTag    = 249     // the highest number that a plant tag can have
	longestBed = 10000.0 // m: more is a slip
	leastRate  = 1e-6    // rarer off-types need more plants than anybody grows, and below 1e-16 than can be counted
	mostRoom   = 10_000  // plants in a bed: more is a slip, and the common rule's limit takes long to compute
)

// MakePlan lays out the bed and says what the number of plants can and cannot show.
//
// Errors: a rate or confidence outside 0 … 1, a rate or spacing so small that it is a slip, no plants, numbers that no
// tag has.
func MakePlan(in PlanInput) (Plan, error) {
	p := Plan{Species: in.Species, Year: in.Year, Bed: in.Bed}
	if !(in.Rate > 0 && in.Rate < 1) || !(in.Confidence > 0 && in.Confidence < 1) {
		return p, errors.New("rate and confidence lie between 0 and 1, such as 5 % and 95 %")
	}
	if in.Rate < leastRate {
		return p, fmt.Errorf("the rate that must show is at least %g %%", 100*leastRate)
	}
	if in.Bed.LengthM < 0 || in.Bed.Spacing < 0 || math.IsNaN(in.Bed.LengthM+in.Bed.Spacing) || in.Bed.LengthM > longestBed || in.Bed.Spacing > longestBed {
		return p, fmt.Errorf("length and spacing of the bed lie between 0 and %g m", longestBed)
	}
	if c, ok := CropOf(in.Species); ok {
		p.Crop = &c
	}
	rates := []float64{0.01, 0.02, 0.05, 0.10, 0.25}
	if !holds(rates, in.Rate) {
		rates = append(rates, in.Rate)
	}
	for _, r := range rates {
		n := lot.PlantsToSee(r, in.Confidence)
		p.See = append(p.See, See{r, n, row(n, in.Bed.Spacing)})
	}
	total := 0
	for _, s := range in.Sowings {
		most, why := lastTag, ", as many as there are tags"
		if record.IsRoot(in.Species) {
			most, why = mostRoom, ""
		}
		if s.Plants < 0 || s.Plants > most {
			return p, fmt.Errorf("%s: %d plants cannot be planned; give 1 to %d%s", s.Variety, s.Plants, most, why)
		}
		if total += s.Plants; total > mostRoom {
			return p, fmt.Errorf("more than %d plants cannot be planned", mostRoom)
		}
	}
	if !record.IsRoot(in.Species) && (in.FirstTag > lastTag || max(1, in.FirstTag)+total-1 > lastTag) { // nobody tags thousands of roots
		return p, fmt.Errorf("%d plants from tag %d on need tags above %d; use fewer or start at 1", total, max(1, in.FirstTag), lastTag)
	}
	room := 0
	if in.Bed.Spacing > 0 && in.Bed.LengthM > 0 {
		places := math.Floor(in.Bed.LengthM/in.Bed.Spacing+1e-9) + 1
		if places > mostRoom {
			return p, fmt.Errorf("a bed of %g m with a plant every %g m has room for more than %d plants; check length and spacing, both in metres", in.Bed.LengthM, in.Bed.Spacing, mostRoom)
		}
		room = int(places)
	}
	if total == 0 && room == 0 {
		return p, errors.New("say what you have room for: plants of each lot to sow, or bed length and spacing")
	}
	p.say(in, total, room)
	if record.IsRoot(in.Species) {
		p.Sentences = append(p.Sentences, "Each root or bulb is one plant and needs no tag: measure each lot as a harvest of its own, and say there that one item is one plant.")
	} else {
		p.layout(in)
	}
	p.Checklist = checklist(in.Species)
	return p, nil
}

func holds(xs []float64, x float64) bool {
	for _, y := range xs {
		if math.Abs(x-y) < 1e-12 {
			return true
		}
	}
	return false
}

func (p *Plan) say(in PlanInput, total, room int) {
	need := lot.PlantsToSee(in.Rate, in.Confidence)
	s := fmt.Sprintf("To see at least one off-type of a lot with %s off-types with a chance of %s, grow %s of that lot", lot.Given(in.Rate), lot.Given(in.Confidence), record.Count(need, "plant", "plants"))
	if in.Bed.Spacing > 0 {
		s += fmt.Sprintf(": %.1f m of bed from the first to the last at %.2f m a plant", row(need, in.Bed.Spacing), in.Bed.Spacing)
	}
	p.Sentences = append(p.Sentences, s+".", falseCalls(need))
	byLot := map[string]int{}
	var order []string
	control := false
	for _, s := range in.Sowings {
		control = control || s.Control
		if s.Control {
			continue
		}
		k := s.Lot + "\x00" + s.Variety
		if byLot[k] == 0 {
			order = append(order, k)
		}
		byLot[k] += s.Plants
	}
	if len(order) == 0 && room == 1 {
		p.Warnings = append(p.Warnings, "Your bed: one plant cannot judge this seed.")
	} else if len(order) == 0 && room > 0 {
		p.Sentences = append(p.Sentences, shows("Your bed", room, in))
	}
	for _, k := range order {
		n := byLot[k]
		if n == 0 {
			continue
		}
		label := ""
		for _, s := range in.Sowings {
			if s.Lot+"\x00"+s.Variety == k {
				label = lotLabel(s)
			}
		}
		if n == 1 {
			p.Warnings = append(p.Warnings, label+": one plant cannot judge this seed.")
			continue
		}
		p.Sentences = append(p.Sentences, shows(label, n, in))
	}
	if room > 0 && total > room {
		p.Warnings = append(p.Warnings, fmt.Sprintf("%d plants need %.1f m; the bed has room for %d.", total, row(total, in.Bed.Spacing), room))
	}
	if !control && len(in.Sowings) > 0 {
		p.Warnings = append(p.Warnings, "No control plants are planned. A few plants of the same variety from other, trusted seed in the same bed tell what weather and soil do to every plant.")
	}
	p.Sentences = append(p.Sentences, "These numbers count plants that bear fruit and off-types that differ enough to be told from the variety: set some plants more.", "Keep some seed of every lot back in its packet, sealed, dry and cool, with the label: it is what a supplier or an office can grow again.")
}

// row is the length of a row from the first plant to the last, in metres.
func row(plants int, spacing float64) float64 { return float64(max(0, plants-1)) * spacing }

// falseCall is the share of true plants that the verdicts call off-type, as docs/verdicts.md has it.
const falseCall = 0.01

// falseCalls says how often true plants alone give an alarm: an off-type seen is not yet an off-type.
func falseCalls(n int) string {
	return fmt.Sprintf("About 1 true plant in 100 is called off-type by chance: of %s of a lot without any off-type, at least one is in %s of 100 harvests. Look at each plant that is called off-type yourself.",
		record.Count(n, "plant", "plants"), of100(lot.ChanceToSee(n, falseCall)))
}

// of100 writes a chance as so many of a hundred; nothing is certain, and nothing but 0 is never.
func of100(p float64) string {
	switch {
	case p > 0.995:
		return "more than 99"
	case p > 0 && p < 0.005:
		return "less than 1"
	}
	return fmt.Sprintf("%.0f", 100*p)
}

func lotLabel(s Sowing) string {
	switch {
	case s.Lot == "":
		return s.Variety
	case s.Variety == "":
		return "lot " + s.Lot
	}
	return s.Variety + ", lot " + s.Lot
}

// shows says what n plants of a lot can detect.
func shows(label string, n int, in PlanInput) string {
	least := 1 - math.Pow(1-in.Confidence, 1/float64(n))
	s := fmt.Sprintf("%s: %d plants show a lot with %s off-types in %s of 100 harvests; a lot with fewer than %s can stay unseen in more than %s of 100 harvests.",
		label, n, lot.Given(in.Rate), of100(lot.ChanceToSee(n, in.Rate)), lot.Percent(least), strings.TrimSuffix(lot.Given(1-in.Confidence), " %"))
	if k, err := lot.Allowed(n, 0.01, 0.95); err == nil {
		s += fmt.Sprintf(" The common rule of variety testing (1 %% off-types, 95 %%) allows %d among %d; a lot with 10 %% off-types would still pass it in %s of 100 harvests.", k, n, of100(lot.Accept(n, k, 0.10)))
	}
	return s
}

func percent(x float64) string { return lot.Percent(x) }

// layout numbers the plants. Controls are spread among the others, so that they see the same soil.
func (p *Plan) layout(in PlanInput) {
	tag := max(1, in.FirstTag)
	var plain, control []Row
	for _, s := range in.Sowings {
		for range s.Plants {
			r := Row{Variety: s.Variety, Lot: s.Lot, Control: s.Control}
			if s.Control {
				control = append(control, r)
			} else {
				plain = append(plain, r)
			}
		}
	}
	total := len(plain) + len(control)
	given := 0
	for i := range total {
		// The k-th control stands in the middle of the k-th of equal parts of the bed.
		if given < len(control) && float64(i) >= (float64(given)+0.5)*float64(total)/float64(len(control))-0.5 {
			p.Rows = append(p.Rows, control[given])
			given++
		} else {
			p.Rows = append(p.Rows, plain[i-given])
		}
	}
	for i := range p.Rows {
		p.Rows[i].Tag, p.Rows[i].At = tag+i, float64(i)*in.Bed.Spacing
	}
}

// checklist is the season's work, in order.
func checklist(species string) []Step {
	pollinate, trace := "For seed: keep foreign pollen from some flowers (a bag, a cage, or distance) and mark their fruit.", "Make sure which plant each fruit hangs on: later nobody can tell."
	pick := "Pick plant by plant; keep the tag with the fruit."
	if record.CanBeBitter(species) {
		pollinate = "For seed: shut male and female buds the evening before, pollinate next morning, shut again, mark the fruit stalk."
		trace = "Trace every vine from the root to its fruit, and write the plant's number on each fruit with a wax pencil: later nobody can tell."
		pick = "Pick plant by plant; cut with the stalk."
	}
	steps := []Step{
		{"Before sowing", []string{"Photograph the packet, front and back, and write down supplier, lot number and day of purchase.", "Keep some seed back in the packet, sealed, with its label.", "Count the seeds you sow of each lot."}},
		{"Sowing and planting", []string{"One lot a tray; label every pot.", "Count the seedlings that came up.", "Set plants in the order of the bed list and put the numbered tag at the root of each plant at once.", "Do not thin out odd-looking seedlings without writing it down: they belong to the count."}},
		{"Before flowering", []string{"Walk the bed: leaf, habit and young fruit of each plant against its neighbours.", "Plants that are clearly another type and not wanted for seed: photograph, note, pull out before they flower.", "Ask neighbours what they grow, and write down the distance."}},
		{"Flowering", []string{pollinate, "Note which plants flower, and the first day."}},
		{"While leaves are green", []string{trace, "Note the first ripe fruit of each plant and any disease."}},
		{"Harvest", []string{pick, "Lay the fruit in rows with the plant's tag at the left end, put the card beside them, and photograph.", "Keep plants without fruit in the list, with what became of them: they cannot be judged and do not count."}},
		{"After", []string{"Write weight, rind, Brix and taste on the bench sheet.", "Keep at least one fruit of every type until the matter is settled.", "Tell the supplier while plants still stand."}},
	}
	if record.IsRoot(species) {
		steps[3] = Step{"While leaves are green", []string{"Pull plants that flower in the first year, and write them down: they belong to the count.", "Note what the leaves look like and any disease."}}
		steps[4] = Step{"Harvest", []string{"Dig plant by plant; keep the tag with the root or bulb.", "Lay them in rows with the plant's tag at the left end, put the card beside them, and photograph.", "Keep plants without a root or bulb in the list, with what became of them: they cannot be judged and do not count."}}
		steps[5] = Step{"After", []string{"Write weight and taste on the bench sheet.", "Keep at least one root or bulb of every type until the matter is settled.", "For seed: store the true ones, plant them again, and keep foreign pollen away when they flower."}}
		steps = steps[:6]
	}
	if own := record.OwnCaution(species); own != "" {
		steps = append(steps, Step{"Before eating", []string{own}})
	}
	if record.CanBeBitter(species) {
		steps = append(steps, Step{"Before eating", []string{"Taste a raw piece of a rice grain's size of every fruit from saved or doubtful seed and spit it out. A bitter fruit is poisonous: throw it away. Children do not taste."}})
	}
	return steps
}
