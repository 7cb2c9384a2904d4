package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"offtype/cluster/lot"
	"offtype/pipeline"
	"offtype/pipeline/judge"
)

// judgeFlags are what groups, verdicts and the report depend on beside the measurements: the same for photos of one
// machine and for shares that are put together.
type judgeFlags struct {
	Variety       string   `help:"File with the variety's description (YAML). Without one: groups, no verdicts." placeholder:"FILE"`
	Other         []string `help:"Description of another variety, to say which way off-types lean. May be given several times." placeholder:"FILE"`
	Groups        int      `help:"Number of groups, when you know it. 0: found by the program." default:"0" placeholder:"K"`
	Plants        int      `help:"Number of fruiting plants, when there are no plant tags." default:"0" placeholder:"N"`
	ItemIsPlant   bool     `help:"One item is one plant (carrot, onion, beet)."`
	Species       string   `help:"Species or crop of the fruit; the description must be of the same." placeholder:"NAME"`
	Control       []string `help:"Plant numbers of control plants: same variety, other seed, same bed and sowing." placeholder:"PLANT"`
	NotAssessable []string `help:"Fruit (PHOTO:NUMBER) or plants (plant:NUMBER) that are sick, damaged, late or unripe." placeholder:"WHAT"`
	Stage         string   `help:"Stage of the fruit: young, at harvest, cured, stored." enum:"young,at harvest,cured,stored," default:""`
	Standard      float64  `help:"Share of off-types that the off-type rule accepts in a lot (population standard), in percent." default:"1" placeholder:"PERCENT"`
	Acceptance    float64  `help:"How often the rule passes a lot that is just good enough (acceptance probability), in percent." default:"95" placeholder:"PERCENT"`
	White         string   `help:"White point that colours are shown with: d65, or d50 (adapted by Bradford): in the report, and in further columns of fruits.csv." enum:"d65,d50" default:"d65"`
}

// fill checks the flags, as far as no photo is needed for it, and puts them into o.
func (f *judgeFlags) fill(o *pipeline.Options) error {
	if f.Groups < 0 || f.Plants < 0 {
		return errors.New("--groups and --plants cannot be negative")
	}
	if !(f.Standard > 0 && f.Standard < 100 && f.Acceptance > 0 && f.Acceptance < 100) {
		return errors.New("--standard and --acceptance are percentages between 0 and 100")
	}
	for _, w := range f.NotAssessable {
		i := strings.LastIndexByte(w, ':')
		if _, err := strconv.Atoi(w[i+1:]); i < 1 || err != nil {
			return fmt.Errorf("--not-assessable %q: write PHOTO:NUMBER as in fruits.csv, or plant:NUMBER", w)
		}
	}
	o.Variety, o.Others, o.White = f.Variety, f.Other, shownWhite(f.White)
	o.Judge = judge.Options{
		Groups: f.Groups, Plants: f.Plants, ItemIsPlant: f.ItemIsPlant, Controls: f.Control, NotAssessable: f.NotAssessable,
		Stage: f.Stage, Species: f.Species, Standard: lot.FromPercent(f.Standard), Acceptance: lot.FromPercent(f.Acceptance),
	}
	return nil
}

// ended gives an error of the main job its exit status.
func ended(err error) error {
	if errors.Is(err, pipeline.ErrUsage) {
		return usage(err)
	}
	return err
}

// printSummary prints the short result.
func printSummary(e *env, res *pipeline.Result, asJSON bool) error {
	if asJSON {
		j := json.NewEncoder(e.out)
		j.SetIndent("", " ")
		return j.Encode(res.Summary())
	}
	_, err := fmt.Fprint(e.out, res.Summary().Text())
	return err
}
