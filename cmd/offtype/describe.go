package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"offtype/cluster/reference"
	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/exchange"
	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

type describeCmd struct {
	New    string `help:"Write a template to fill in by hand." placeholder:"FILE"`
	From   string `help:"Learn from true-to-type fruit: the result folder of an earlier run, or a fruits.csv." placeholder:"DIR|CSV"`
	Packet string `help:"Make a rough description from the words of a seed packet." placeholder:"WORDS"`
	Check  string `help:"Check a description." placeholder:"FILE"`

	Plants  []string `help:"With --from: the plants that are true to type. Default: all fruit." placeholder:"N"`
	Base    string   `help:"With --from: a description written by hand whose traits are put over the learnt ones." placeholder:"FILE"`
	Out     string   `help:"File to write." default:"variety.yaml" placeholder:"FILE"`
	Name    string   `help:"Name of the variety." placeholder:"NAME"`
	Species string   `help:"Botanical name, such as Cucurbita moschata." placeholder:"SPECIES"`
	Crop    string   `help:"The crop in plain words, such as squash." placeholder:"CROP"`
	Edition string   `name:"edition" help:"Version of the description; a verdict names it." default:"1" placeholder:"VERSION"`
	Harvest string   `help:"With --from: name of the harvest." placeholder:"NAME"`
	Stage   string   `help:"Stage of the fruit: young, at harvest, cured, stored." enum:"young,at harvest,cured,stored," default:""`
	JSON    bool     `help:"Print what was written as JSON."`
}

func (*describeCmd) Help() string {
	return `Example: offtype describe --from result-2025 --plants 1,2,5,6,8,9 --name "My squash" --species "Cucurbita moschata" --out variety.yaml

Makes the description of a variety that fruit are judged against: by hand (--new), from fruit that are known
to be true to type (--from), or roughly from the words of a seed packet (--packet "20 to 25 cm long, tan, plain").
The file is plain text; docs/variety.md explains its keys. An existing file is not overwritten.` + exitHelp
}

// Run makes or checks a description.
func (c *describeCmd) Run(e *env) error {
	ways := 0
	for _, s := range []string{c.New, c.From, c.Packet, c.Check} {
		if s != "" {
			ways++
		}
	}
	if ways != 1 {
		return usage(errors.New("give one of --new FILE, --from DIR, --packet WORDS or --check FILE"))
	}
	switch {
	case c.Check != "":
		d, err := readDescription(c.Check)
		if err != nil {
			return usage(err)
		}
		_, err = fmt.Fprintf(e.out, "%s describes %s (%s), version %s: no fault found\n", c.Check, d.Name, d.Species, d.Version)
		return err
	case c.New != "":
		return c.write(e, c.New, reference.Template, "fill it in, then check it with offtype describe --check "+c.New)
	}
	if c.Name == "" || c.Species == "" {
		return usage(errors.New("the description needs a name and a species; give --name and --species"))
	}
	d, err := c.make()
	if errors.Is(err, reference.ErrTeachers) {
		err = fmt.Errorf("%w, with --plants 1,2,…", err)
	}
	if err != nil {
		return usage(err)
	}
	text, err := d.Text()
	if err != nil {
		return err
	}
	hint := "look it over: a verdict is only as good as its description"
	if len(d.Notes) > 0 {
		hint = strings.Join(d.Notes, " ")
	}
	if d.Learnt != nil && len(d.Learnt.LeftOut) > 0 {
		hint += " Left out, because unlike the others: " + strings.Join(d.Learnt.LeftOut, ", ") + "."
	}
	return c.write(e, c.Out, text, hint)
}

// make learns the description or reads it from words.
func (c *describeCmd) make() (*reference.Description, error) {
	head := reference.Head{Name: c.Name, Species: c.Species, Crop: c.Crop, Version: c.Edition, Stage: c.Stage, Harvest: c.Harvest}
	if c.Packet != "" {
		return reference.FromWords(c.Packet, head)
	}
	file := c.From
	if st, err := os.Stat(file); err == nil && st.IsDir() {
		file = filepath.Join(file, "fruits.csv")
	}
	b, err := atomic.Read(file, exchange.MostRaw)
	if err != nil {
		return nil, fmt.Errorf("--from %s: cannot be read (%w); give the result folder of a run, or a fruits.csv", c.From, err)
	}
	fs, err := record.ReadFruits(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("--from %s: %w", file, err)
	}
	d, err := judge.Learn(fs, pipeline.PhotosOf(filepath.Dir(file)), c.Plants, head)
	if err != nil || c.Base == "" {
		return d, err
	}
	hand, err := readDescription(c.Base)
	if err != nil {
		return nil, err
	}
	return d.Over(hand), nil
}

func readDescription(file string) (*reference.Description, error) {
	b, err := atomic.Read(file, atomic.MostText)
	if err != nil {
		return nil, fmt.Errorf("%s: cannot be read (%w); check the name", file, err)
	}
	d, err := reference.Parse(b)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return d, nil
}

// write writes text to a file that does not exist yet.
func (c *describeCmd) write(e *env, file, text, hint string) error {
	if _, err := os.Stat(file); err == nil {
		return usage(fmt.Errorf("%s exists already and is not overwritten; choose another name or move it away", file))
	}
	if err := atomic.Write(file, func(w io.Writer) error { _, err := io.WriteString(w, text); return err }); err != nil {
		return err
	}
	return printed(e, c.JSON, file, hint)
}
