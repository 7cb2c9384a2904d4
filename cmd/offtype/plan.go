package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline/atomic"
	"offtype/pipeline/gather"
	"offtype/pipeline/record"
	"offtype/pipeline/seed"
)

type planCmd struct {
	bookFile
	Sow        []string `help:"What to grow: VARIETY:LOT:PLANTS; add :control for control plants. May be given several times." placeholder:"V:L:N" sep:"none"`
	Species    string   `help:"Botanical name, such as Cucurbita moschata." placeholder:"SPECIES"`
	Rate       float64  `help:"Share of off-types that must show, in percent." default:"5" placeholder:"PERCENT"`
	Confidence float64  `help:"How surely, in percent." default:"95" placeholder:"PERCENT"`
	Bed        string   `help:"Name of the bed." placeholder:"NAME"`
	Length     float64  `help:"Length of the row, in metres." placeholder:"M"`
	Spacing    float64  `help:"Distance from plant to plant, in metres." placeholder:"M"`
	FirstTag   int      `help:"Number of the first plant tag." default:"1" placeholder:"N"`
	Year       int      `help:"Season. Default: this year, from September on the next." placeholder:"YEAR"`
	Out        string   `help:"Write the bed list with the season's checklist for printing." placeholder:"FILE.html" type:"path"`
	Trial      string   `help:"Print the trial table of a harvest: one row a variety." placeholder:"HARVEST"`
	Pool       string   `help:"Put together what all harvests in the book found of one seed lot (our code or the supplier's number)." placeholder:"LOT"`
	JSON       bool     `help:"Print as JSON."`
}

func (*planCmd) Help() string {
	return `Examples:
  offtype plan --sow "My squash:L-2027:18" --sow "My squash:trusted:3:control" --length 20 --spacing 0.9 --out bed.html
  offtype plan --trial autumn-2026
  offtype plan --pool A123

Says how many plants show a bad seed lot and what the number you have room for can detect, numbers the plants along
the bed, and writes the list with the season's checklist.` + "\n" + exitHelp
}

// Run plans, or prints the trial table or the pooled count.
func (c *planCmd) Run(e *env) error {
	switch {
	case c.Trial != "" && c.Pool != "":
		return usage(errors.New("give one of --trial and --pool"))
	case c.Trial != "":
		return c.trial(e)
	case c.Pool != "":
		return c.pool(e)
	}
	in := seed.PlanInput{Species: c.Species, Year: c.Year, Rate: lot.FromPercent(c.Rate), Confidence: lot.FromPercent(c.Confidence), FirstTag: c.FirstTag,
		Bed: seed.Bed{Name: c.Bed, LengthM: c.Length, Spacing: c.Spacing}}
	if in.Year == 0 {
		in.Year = seed.SeasonOf(e.now())
	}
	for _, s := range c.Sow {
		x, err := parseSowing(s)
		if err != nil {
			return usage(err)
		}
		in.Sowings = append(in.Sowings, x)
	}
	p, err := seed.MakePlan(in)
	if err != nil {
		return usage(err)
	}
	if c.Out != "" {
		if err := atomic.Write(c.Out, p.WriteHTML); err != nil {
			return err
		}
	}
	if c.JSON {
		return writeJSON(e.out, p)
	}
	for _, s := range p.Sentences {
		fmt.Fprintln(e.out, s)
	}
	for _, s := range p.Warnings {
		fmt.Fprintln(e.out, "note: "+s)
	}
	for _, s := range p.See {
		fmt.Fprintf(e.out, "%7s off-types: %s\n", lot.Given(s.Rate), record.Count(s.Plants, "plant", "plants"))
	}
	for _, r := range p.Rows {
		kind := ""
		if r.Control {
			kind = " (control)"
		}
		at := ""
		if p.Bed.Spacing > 0 {
			at = fmt.Sprintf(" at %.2f m", r.At)
		}
		fmt.Fprintf(e.out, "tag %d%s: %s, lot %s%s\n", r.Tag, at, r.Variety, or(r.Lot), kind)
	}
	if c.Out != "" {
		fmt.Fprintln(e.out, c.Out)
	}
	return nil
}

// parseSowing reads VARIETY:LOT:PLANTS[:control]; the lot may be empty.
func parseSowing(s string) (seed.Sowing, error) {
	parts := strings.Split(s, ":")
	x := seed.Sowing{}
	if n := len(parts); n > 3 && parts[n-1] == "control" {
		x.Control, parts = true, parts[:n-1]
	}
	if len(parts) != 3 {
		return x, fmt.Errorf("--sow %q: write VARIETY:LOT:PLANTS, such as %q", s, "My squash:L-2027:18")
	}
	n, err := strconv.Atoi(strings.TrimSpace(parts[2]))
	if err != nil || n < 1 {
		return x, fmt.Errorf("--sow %q: %q is not a number of plants", s, parts[2])
	}
	x.Variety, x.Lot, x.Plants = strings.TrimSpace(parts[0]), strings.TrimSpace(parts[1]), n
	return x, nil
}

func (c *planCmd) trial(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	rows, err := gather.Trial(e.ctx, b, c.Trial)
	if err != nil {
		return err
	}
	if len(rows) == 0 {
		return fmt.Errorf("harvest %q has no plants; photograph with plant tags or add them with offtype book add plant", c.Trial)
	}
	if c.JSON {
		return writeJSON(e.out, rows)
	}
	for _, r := range rows {
		fmt.Fprintln(e.out, trialLine(&r))
	}
	return nil
}

// trialLine says what is known of a variety in the trial and what is not.
func trialLine(r *seed.TrialRow) string {
	s := fmt.Sprintf("%s: %s, %d fruit", r.Variety, record.Count(r.Plants, "plant", "plants"), r.Fruits)
	var missing []string
	say := func(v *float64, scale float64, format, name string) {
		if v == nil {
			missing = append(missing, name)
			return
		}
		s += ", " + fmt.Sprintf(format, scale**v)
	}
	say(r.YieldG, 1, "%.0f g a plant", "weight")
	say(r.Ripe, 100, "%.0f %% ripe", "ripeness")
	say(r.Taste, 1, "taste %.1f of 9", "taste")
	say(r.KeepingDays, 1, "kept %.0f days", "keeping")
	if len(missing) > 0 {
		s += "; not written down: " + strings.Join(missing, ", ")
	}
	if r.Note != "" {
		s += "; " + r.Note
	}
	return s
}

func (c *planCmd) pool(e *env) error {
	b, err := c.open(e, false)
	if err != nil {
		return err
	}
	defer b.Close()
	p, err := gather.Pool(e.ctx, b, c.Pool)
	if err != nil {
		return err
	}
	if len(p.Shares) == 0 {
		return fmt.Errorf("no measured harvest grew seed lot %q; offtype book show --lots lists the lots", c.Pool)
	}
	if c.JSON {
		return writeJSON(e.out, p)
	}
	for _, s := range p.Shares {
		fmt.Fprintf(e.out, "%s, harvest %s: %s\n", or(s.Grower), s.Harvest, s.Says())
	}
	for _, s := range p.Sentences {
		fmt.Fprintln(e.out, s)
	}
	return nil
}
