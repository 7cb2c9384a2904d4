package main

import (
	"cmp"

	"offtype/pipeline"
)

type mergeCmd struct {
	Dirs []string `arg:"" name:"dir" help:"Result folders of all shares."`
	Out  string   `help:"Folder for the result." required:"" placeholder:"DIR"`
	judgeFlags
	recordFlags
	JSON bool `help:"Print the summary as JSON."`
}

func (*mergeCmd) Help() string {
	return `Example, three shares on three machines that see the same photos and one shared folder:
  offtype run --shard 1/3 --out share1 photos/      (machine 1)
  offtype run --shard 2/3 --out share2 photos/      (machine 2)
  offtype run --shard 3/3 --out share3 photos/      (machine 3)
  offtype merge --variety variety.yaml --out result share1 share2 share3

The result is the same as that of one machine with the same options. docs/many-photos.md has examples for schedulers.` + exitHelp
}

// Run merges the shares.
func (c *mergeCmd) Run(e *env) error {
	o := pipeline.Options{Out: c.Out, Program: version}
	if err := cmp.Or(c.plain(), c.fill(&o)); err != nil {
		return usage(err)
	}
	c.known(e, &o.Judge)
	res, err := pipeline.Merge(e.ctx, c.Dirs, o)
	if err != nil {
		return ended(err)
	}
	if err := c.record(e, res, &c.judgeFlags); err != nil {
		return err
	}
	if err := printSummary(e, res, c.JSON); err != nil {
		return err
	}
	if res.Failed > 0 {
		return &exitError{exitPartly, nil}
	}
	return nil
}
