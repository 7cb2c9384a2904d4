package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"offtype/pipeline"
	"offtype/pipeline/card"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

type runCmd struct {
	Photos []string `arg:"" optional:"" name:"photo" help:"Photos, or folders of photos (JPEG, PNG, TIFF, WebP, HEIC)."`

	Variety     string   `help:"File with the variety's description (YAML). Without one: groups, no verdicts." placeholder:"FILE"`
	Other       []string `help:"Description of another variety, to say which way off-types lean. May be given several times." placeholder:"FILE"`
	Out         string   `help:"Folder for the result." default:"offtype-out" placeholder:"DIR"`
	From        string   `help:"Table of fruit measured by hand or elsewhere (CSV), in place of photos." placeholder:"FILE"`
	CardColours []string `help:"Measured patch colours of card number N (CGATS.17 text)." placeholder:"N=FILE"`
	Camera      string   `help:"Lens file made with offtype lens." placeholder:"FILE"`
	CardLength  float64  `help:"What a ruler reads on the card's 100 mm line, in mm." default:"100" placeholder:"MM"`
	White       string   `help:"White point that colours are shown with: d65, or d50 (adapted by Bradford): in the report, and in further columns of fruits.csv." enum:"d65,d50" default:"d65"`
	SameTable   bool     `help:"All photos of a folder show one undisturbed table: one row a fruit."`

	Coin      float64 `help:"No card: diameter of a round coin lying on the table, in mm." placeholder:"MM"`
	ScaleLine string  `help:"No card: a line of known length in the photo, in pixels." placeholder:"X1,Y1,X2,Y2=MM"`
	NoScale   bool    `help:"No card and no scale: ratio, shape and pattern only."`
	Pose      string  `help:"How every fruit lies: side, upright or auto." enum:"auto,side,upright" default:"auto"`

	Groups        int      `help:"Number of groups, when you know it. 0: found by the program." default:"0" placeholder:"K"`
	Plants        int      `help:"Number of fruiting plants, when there are no plant tags." default:"0" placeholder:"N"`
	ItemIsPlant   bool     `help:"One item is one plant (carrot, onion, beet)."`
	Species       string   `help:"Species or crop of the fruit; the description must be of the same." placeholder:"NAME"`
	Control       []string `help:"Plant numbers of control plants: same variety, other seed, same bed and sowing." placeholder:"PLANT"`
	NotAssessable []string `help:"Fruit (PHOTO:NUMBER) or plants (plant:NUMBER) that are sick, damaged, late or unripe." placeholder:"WHAT"`
	Stage         string   `help:"Stage of the fruit: young, at harvest, cured, stored." enum:"young,at harvest,cured,stored," default:""`
	Standard      float64  `help:"Share of off-types that the off-type rule accepts in a lot (population standard), in percent." default:"1" placeholder:"PERCENT"`
	Acceptance    float64  `help:"How often the rule passes a lot that is just good enough (acceptance probability), in percent." default:"95" placeholder:"PERCENT"`

	Fixes     string `help:"Folder of corrections (PHOTO.fix.json). Default: beside each photo." placeholder:"DIR"`
	ShowSteps string `help:"Write pictures of the outlining steps to this folder." placeholder:"DIR"`
	Workers   int    `help:"Photos measured at a time. 0: one for each core." default:"0" placeholder:"N"`
	Again     bool   `help:"Measure again what was measured with the same settings."`
	Shard     string `help:"Measure only share I of N of the photos; put together with offtype merge." placeholder:"I/N"`
	MaxMP     int    `name:"max-megapixels" help:"Largest photo, in megapixels." default:"120" placeholder:"MP"`

	Book    string `help:"Harvest book that records the run. Default: the book in your data folder." placeholder:"FILE"`
	Harvest string `help:"Record the run in the harvest book under this name." placeholder:"NAME"`
	Lot     string `help:"Seed lot of the harvest in the book." placeholder:"LOT"`

	JSON  bool `help:"Print the summary as JSON."`
	Quiet bool `short:"q" help:"Print errors only."`
}

func (*runCmd) Help() string {
	return `Example: offtype run --variety variety.yaml --out result photos/

Writes fruits.csv, photos.csv, groups.csv, judgement.json, masks/ and report.html to the result folder.
A second run skips photos that were measured with the same settings.` + exitHelp
}

func (c *runCmd) options(e *env) (pipeline.Options, error) {
	o := pipeline.Options{
		Inputs: c.Photos, From: c.From, Out: c.Out, Variety: c.Variety, Others: c.Other, CameraFile: c.Camera, CardLength: c.CardLength,
		SameTable: c.SameTable, White: shownWhite(c.White), CoinMM: c.Coin, ScaleLine: c.ScaleLine, NoScale: c.NoScale, Fixes: c.Fixes, ShowSteps: c.ShowSteps,
		Workers: c.Workers, Again: c.Again, MaxPixels: c.MaxMP * 1_000_000, Program: version,
	}
	if c.Pose != "auto" {
		o.Pose = c.Pose
	}
	if len(c.Photos) == 0 && c.From == "" {
		return o, errors.New("no photos named; give photos or a folder, or --from with a table")
	}
	if len(c.Photos) > 0 && c.From != "" {
		return o, errors.New("--from takes no photos; give one or the other")
	}
	if c.CardLength < 50 || c.CardLength > 200 {
		return o, fmt.Errorf("--card-length %v: the 100 mm line cannot read that; give what the ruler reads, such as 98.5", c.CardLength)
	}
	if c.Book != "" && c.Harvest == "" {
		return o, errors.New("--book needs --harvest NAME")
	}
	if c.Standard <= 0 || c.Standard >= 100 || c.Acceptance <= 0 || c.Acceptance >= 100 {
		return o, errors.New("--standard and --acceptance are percentages between 0 and 100")
	}
	scales := 0
	for _, set := range []bool{c.Coin > 0, c.ScaleLine != "", c.NoScale} {
		if set {
			scales++
		}
	}
	if scales > 1 {
		return o, errors.New("--coin, --scale-line and --no-scale exclude each other")
	}
	if err := c.plain(); err != nil {
		return o, err
	}
	o.CardColours = map[int]string{}
	for _, s := range c.CardColours {
		n, file, ok := strings.Cut(s, "=")
		k, err := strconv.Atoi(n)
		if !ok || err != nil || k < 0 || k > 9 || file == "" {
			return o, fmt.Errorf("--card-colours %q: write N=FILE with the card's number 0 to 9", s)
		}
		o.CardColours[k] = file
	}
	if c.Shard != "" {
		if _, err := fmt.Sscanf(c.Shard, "%d/%d", &o.ShardI, &o.ShardN); err != nil || o.ShardI < 1 || o.ShardI > o.ShardN {
			return o, fmt.Errorf("--shard %q: write I/N with I from 1 to N", c.Shard)
		}
	}
	o.Judge = c.judge()
	if !c.JSON || !c.Quiet {
		o.Progress = newProgress(e.err, c.Quiet)
	}
	return o, nil
}

// plain checks options that are wrong whatever the photos hold.
func (c *runCmd) plain() error {
	if c.Groups < 0 || c.Plants < 0 || c.Workers < 0 || c.Coin < 0 {
		return errors.New("--groups, --plants, --workers and --coin cannot be negative")
	}
	if c.MaxMP < 1 {
		return fmt.Errorf("--max-megapixels %d: give at least 1", c.MaxMP)
	}
	if c.ScaleLine != "" {
		if _, _, _, err := card.ParseScaleLine(c.ScaleLine); err != nil {
			return err
		}
	}
	for _, w := range c.NotAssessable {
		i := strings.LastIndexByte(w, ':')
		if _, err := strconv.Atoi(w[i+1:]); i < 1 || err != nil {
			return fmt.Errorf("--not-assessable %q: write PHOTO:NUMBER as in fruits.csv, or plant:NUMBER", w)
		}
	}
	return nil
}

// Run runs the main job.
func (c *runCmd) Run(e *env) error {
	o, err := c.options(e)
	if err != nil {
		return usage(err)
	}
	res, err := pipeline.Run(e.ctx, o)
	if res != nil {
		for _, p := range res.Problems {
			fmt.Fprintln(e.err, p)
		}
		for _, p := range res.Run.Photos {
			if p.Status == record.StatusOK && p.Message != "" {
				fmt.Fprintf(e.err, "%s: %s\n", p.Name, p.Message)
			}
		}
	}
	if err != nil {
		if errors.Is(err, pipeline.ErrUsage) {
			return usage(err)
		}
		return err
	}
	if c.Harvest != "" && len(res.Run.Fruits) > 0 {
		if err := recordInBook(e, c, res); err != nil {
			return err
		}
	}
	switch {
	case c.JSON:
		j := json.NewEncoder(e.out)
		j.SetIndent("", " ")
		if err := j.Encode(res.Summary()); err != nil {
			return err
		}
	case !c.Quiet:
		fmt.Fprint(e.out, res.Summary().Text())
	}
	return c.status(res)
}

func (c *runCmd) status(res *pipeline.Result) error {
	ok := 0
	for _, p := range res.Run.Photos {
		if p.Status == "ok" {
			ok++
		}
	}
	switch {
	case res.Stopped:
		return &exitError{exitStopped, errors.New("stopped; what was finished is written. Run the same command again to go on")}
	case c.From == "" && ok == 0:
		return &exitError{exitNothing, nil}
	case res.Failed > 0 || len(res.Problems) > 0:
		return &exitError{exitPartly, nil}
	}
	return nil
}

// judge returns what the verdicts depend on.
func (c *runCmd) judge() judge.Options {
	return judge.Options{
		Groups: c.Groups, Plants: c.Plants, ItemIsPlant: c.ItemIsPlant, Controls: c.Control, NotAssessable: c.NotAssessable,
		Stage: c.Stage, Species: c.Species, Standard: c.Standard / 100, Acceptance: c.Acceptance / 100,
	}
}
