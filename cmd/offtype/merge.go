package main

import (
	"encoding/json"
	"errors"
	"fmt"

	"offtype/pipeline"
	"offtype/pipeline/judge"
)

type mergeCmd struct {
	Dirs    []string `arg:"" name:"dir" help:"Result folders of all shares."`
	Out     string   `help:"Folder for the result." required:"" placeholder:"DIR"`
	Variety string   `help:"File with the variety's description (YAML)." placeholder:"FILE"`
	Groups  int      `help:"Number of groups, when you know it. 0: found by the program." default:"0" placeholder:"K"`
	Plants  int      `help:"Number of fruiting plants, when there are no plant tags." default:"0" placeholder:"N"`
	JSON    bool     `help:"Print the summary as JSON."`
}

func (*mergeCmd) Help() string {
	return `Example, three shares on three machines that see the same photos and one shared folder:
  offtype run --shard 1/3 --out share1 photos/      (machine 1)
  offtype run --shard 2/3 --out share2 photos/      (machine 2)
  offtype run --shard 3/3 --out share3 photos/      (machine 3)
  offtype merge --variety variety.yaml --out result share1 share2 share3

The result is the same as that of one machine. docs/many-photos.md has examples for schedulers.` + exitHelp
}

// Run merges the shares.
func (c *mergeCmd) Run(e *env) error {
	res, err := pipeline.Merge(c.Dirs, pipeline.Options{Out: c.Out, Variety: c.Variety, Program: version, Judge: judge.Options{Groups: c.Groups, Plants: c.Plants}})
	if err != nil {
		if errors.Is(err, pipeline.ErrUsage) {
			return usage(err)
		}
		return err
	}
	if c.JSON {
		j := json.NewEncoder(e.out)
		j.SetIndent("", " ")
		err = j.Encode(res.Summary())
	} else {
		_, err = fmt.Fprint(e.out, res.Summary().Text())
	}
	if err == nil && res.Failed > 0 {
		return &exitError{exitPartly, nil}
	}
	return err
}
