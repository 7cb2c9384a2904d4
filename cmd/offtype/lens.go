package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"offtype/measure/camera"
	"offtype/pipeline"
	"offtype/pipeline/atomic"
	"offtype/pipeline/lens"
)

type lensCmd struct {
	Photos []string `arg:"" optional:"" name:"photo" help:"Photos of the printed chessboard, or folders of them."`
	Print  string   `help:"Write the chessboard to print as PDF, and stop." placeholder:"FILE.pdf"`
	Paper  string   `help:"Paper of --print: a4 or letter." enum:"a4,letter" default:"a4"`
	Out    string   `help:"Lens file to write." default:"lens.json" placeholder:"FILE"`
	JSON   bool     `help:"Print the result as JSON."`
}

func (*lensCmd) Help() string {
	return `Example: offtype lens --print board.pdf
         offtype lens board-photos/ --out phone.json
         offtype run --camera phone.json --out result photos/

Calibrates the camera from 8 to 20 photos of a printed chessboard. Use the zoom and the picture shape
(4:3, 16:9) of your fruit photos.` + exitHelp
}

// Run prints the board or calibrates.
func (c *lensCmd) Run(e *env) error {
	if c.Print != "" {
		w, h := 297.0, 210.0
		if c.Paper == "letter" {
			w, h = 279.4, 215.9
		}
		if err := atomic.Write(c.Print, func(out io.Writer) error { return lens.WriteBoard(out, w, h) }); err != nil {
			return err
		}
		return printed(e, c.JSON, c.Print, "glue it flat on stiff board")
	}
	if len(c.Photos) == 0 {
		return usage(errors.New("no photos named; offtype lens --print board.pdf writes the chessboard to photograph"))
	}
	f, failed, err := c.calibrate(e)
	if err != nil {
		return err
	}
	if err := f.Write(c.Out); err != nil {
		return err
	}
	if c.JSON {
		err = json.NewEncoder(e.out).Encode(f)
	} else {
		_, err = fmt.Fprintf(e.out, "%s written from %d photos: focal length %.1f px (%.1f mm equivalent), distortion k1 %+.4f, k2 %+.4f, residual %.2f px\n",
			c.Out, f.Photos, f.FocalPx, camera.FocalMM35(f.FocalPx, f.Width, f.Height), f.K1, f.K2, f.RMSPx)
	}
	if err == nil && failed {
		return &exitError{code: exitPartly}
	}
	return err
}

// calibrate reads the photos and solves for the lens; failed when one of them was of no use.
func (c *lensCmd) calibrate(e *env) (f *lens.File, failed bool, err error) {
	ins, problems := pipeline.FindInputs(c.Photos)
	for _, p := range problems {
		fmt.Fprintln(e.err, p)
	}
	var photos []lens.Photo
	for _, in := range ins {
		photos = append(photos, lens.Photo{Name: in.Name, Path: in.Path})
	}
	made, err := lens.FromPhotos(e.ctx, photos)
	for _, s := range made.Said {
		fmt.Fprintln(e.err, s)
	}
	return made.File, made.Skipped > 0 || len(problems) > 0, err
}
