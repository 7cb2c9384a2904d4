package main

import (
	"encoding/json"
	"fmt"
	"io"

	"offtype/pipeline/atomic"
	"offtype/pipeline/card"
	"offtype/pipeline/record"
)

type cardCmd struct {
	Number int    `help:"Number of the card, 0 to 9. Several cards on one table need different numbers." default:"0" placeholder:"N"`
	Paper  string `help:"Paper: a4 or letter." enum:"a4,letter" default:"a4"`
	Out    string `help:"PDF file to write." default:"" placeholder:"FILE.pdf"`
	JSON   bool   `help:"Print what was written as JSON."`
}

func (*cardCmd) Help() string {
	return `Example: offtype card --number 0 --out card-0.pdf

Writes the scale card as a PDF of exact size. Print it at 100 % on matt paper, glue it flat on stiff board,
and check the 100 mm line with a ruler.` + exitHelp
}

// Run writes the card.
func (c *cardCmd) Run(e *env) error {
	if c.Number < 0 || c.Number > card.MaxCard {
		return usage(fmt.Errorf("--number %d: use 0 to %d", c.Number, card.MaxCard))
	}
	out := c.Out
	if out == "" {
		out = fmt.Sprintf("card-%d.pdf", c.Number)
	}
	if err := atomic.Write(out, func(w io.Writer) error { return card.WritePDF(w, c.Number, card.Paper(c.Paper)) }); err != nil {
		return err
	}
	return printed(e, c.JSON, out, "print it at 100 % on matt paper, check the 100 mm line with a ruler, then glue it flat on stiff board")
}

type tagsCmd struct {
	Plants string `arg:"" help:"Plant numbers, such as 1-24 or 3,7,9-12 (1 to 249)."`
	Paper  string `help:"Paper: a4 or letter." enum:"a4,letter" default:"a4"`
	Out    string `help:"PDF file to write." default:"tags.pdf" placeholder:"FILE.pdf"`
	JSON   bool   `help:"Print what was written as JSON."`
}

func (*tagsCmd) Help() string {
	return `Example: offtype tags 1-24 --out tags.pdf

Writes plant tags as a PDF of exact size. A tag lies flat at the left end of the row of its plant's fruit.` + exitHelp
}

// Run writes the tags.
func (c *tagsCmd) Run(e *env) error {
	plants, err := card.ParseNumbers(c.Plants)
	if err != nil {
		return usage(err)
	}
	if err := atomic.Write(c.Out, func(w io.Writer) error { return card.WriteTags(w, plants, card.Paper(c.Paper)) }); err != nil {
		return err
	}
	return printed(e, c.JSON, c.Out, "print it at 100 % on matt paper")
}

// printed says what file was written.
func printed(e *env, asJSON bool, file, advice string) error {
	if asJSON {
		return json.NewEncoder(e.out).Encode(map[string]string{"file": file})
	}
	_, err := fmt.Fprintf(e.out, "%s written. %s\n", file, record.Capital(advice))
	return err
}
