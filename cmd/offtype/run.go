package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"offtype/pipeline"
	"offtype/pipeline/card"
	"offtype/pipeline/record"
)

type runCmd struct {
	Photos []string `arg:"" optional:"" name:"photo" help:"Photos, or folders of photos (JPEG, PNG, TIFF, WebP, HEIC)."`

	Out         string   `help:"Folder for the result." default:"offtype-out" placeholder:"DIR"`
	From        string   `help:"Table of fruit measured by hand or elsewhere (CSV), in place of photos." placeholder:"FILE"`
	CardColours []string `help:"Measured patch colours of card number N (CGATS.17 text)." placeholder:"N=FILE"`
	Camera      string   `help:"Lens file made with offtype lens." placeholder:"FILE"`
	CardLength  float64  `help:"What a ruler reads on the card's 100 mm line, in mm." default:"100" placeholder:"MM"`
	SameTable   bool     `help:"All photos of a folder show one undisturbed table: one row a fruit."`

	Coin      float64 `help:"No card: diameter of a round coin lying on the table, in mm." placeholder:"MM"`
	ScaleLine string  `help:"No card: a line of known length in the photo, in pixels." placeholder:"X1,Y1,X2,Y2=MM"`
	NoScale   bool    `help:"No card and no scale: ratio, shape and pattern only."`
	Pose      string  `help:"How every fruit lies: side, upright or auto." enum:"auto,side,upright" default:"auto"`

	judgeFlags
	Fixes     string `help:"Folder of corrections (PHOTO.fix.json). Default: beside each photo." placeholder:"DIR"`
	ShowSteps string `help:"Write pictures of the outlining steps to this folder." placeholder:"DIR"`
	Workers   int    `help:"Photos measured at a time. 0: one for each core." default:"0" placeholder:"N"`
	Again     bool   `help:"Measure again what was measured with the same settings."`
	Shard     string `help:"Measure only share I of N of the photos; put together with offtype merge." placeholder:"I/N"`
	MaxMP     int    `name:"max-megapixels" help:"Largest photo, in megapixels." default:"120" placeholder:"MP"`

	recordFlags

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
		Inputs: c.Photos, From: c.From, Out: c.Out, CameraFile: c.Camera, CardLength: c.CardLength,
		SameTable: c.SameTable, CoinMM: c.Coin, ScaleLine: c.ScaleLine, NoScale: c.NoScale, Fixes: c.Fixes, ShowSteps: c.ShowSteps,
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
	if !(c.CardLength >= 50 && c.CardLength <= 200) {
		return o, fmt.Errorf("--card-length %v: the 100 mm line cannot read that; give what the ruler reads, such as 98.5", c.CardLength)
	}
	if err := c.recordFlags.plain(); err != nil {
		return o, err
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
		n, file, err := numbered("--card-colours", s)
		if err != nil {
			return o, err
		}
		o.CardColours[n] = file
	}
	if c.Shard != "" {
		i, n, _ := strings.Cut(c.Shard, "/")
		var err1, err2 error
		o.ShardI, err1 = strconv.Atoi(i)
		o.ShardN, err2 = strconv.Atoi(n)
		if err1 != nil || err2 != nil || o.ShardI < 1 || o.ShardI > o.ShardN {
			return o, fmt.Errorf("--shard %q: write I/N with I from 1 to N", c.Shard)
		}
	}
	o.Progress = newProgress(e.err, c.Quiet)
	return o, c.fill(&o)
}

// plain checks options that are wrong whatever the photos hold.
func (c *runCmd) plain() error {
	if c.Workers < 0 || !(c.Coin >= 0 && c.Coin <= 1000) {
		return errors.New("--workers and --coin cannot be negative; a coin is given in mm, such as 23.25")
	}
	if c.MaxMP < 1 {
		return fmt.Errorf("--max-megapixels %d: give at least 1", c.MaxMP)
	}
	if c.ScaleLine != "" {
		if _, _, _, err := card.ParseScaleLine(c.ScaleLine); err != nil {
			return err
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
	c.known(e, &o.Judge)
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
		return ended(err)
	}
	return c.done(e, res)
}

// done writes the result into the book, prints it and tells the exit status.
func (c *runCmd) done(e *env, res *pipeline.Result) error {
	if err := c.record(e, res, &c.judgeFlags); err != nil {
		return err
	}
	if !c.Quiet || c.JSON {
		if err := printSummary(e, res, c.JSON); err != nil {
			return err
		}
	}
	return c.status(res)
}

func (c *runCmd) status(res *pipeline.Result) error {
	ok := 0
	for _, p := range res.Run.Photos {
		if p.Status == record.StatusOK {
			ok++
		}
	}
	switch {
	case res.Stopped:
		return &exitError{exitStopped, errors.New("stopped; what was finished is written. Run the same command again to go on")}
	case c.Shard != "" && len(res.Run.Photos)+len(res.Problems) == 0: // no photo fell to this share
		return nil
	case c.From == "" && ok == 0:
		return &exitError{exitNothing, nil}
	case res.Failed > 0 || len(res.Problems) > 0:
		return &exitError{exitPartly, nil}
	}
	return nil
}
