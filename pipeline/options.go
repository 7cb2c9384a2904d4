// Package pipeline runs the main job: photos in, every fruit measured, groups, verdicts and a
// report out. It owns the order of the stages, the workers, progress and resuming. The stages
// themselves live in the packages below it and in measure and cluster.
package pipeline

import (
	"path/filepath"
	"runtime"
	"time"

	"offtype/pipeline/judge"
	"offtype/pipeline/record"
)

// Options is what a run depends on. The zero value of a field is its default.
type Options struct {
	Inputs []string // photos and folders
	From   string   // a table of measured fruit in place of photos
	Out    string   // result folder

	Variety     string         // file of the variety's description, empty: groups only
	Others      []string       // files of other varieties' descriptions: off-types may lean towards them
	CardColours map[int]string // card number → file of its measured patch colours
	CameraFile  string         // lens file
	CardLength  float64        // mm read on the card's 100 mm line; 0: 100
	SameTable   bool           // all photos of a folder show one undisturbed table
	CoinMM      float64        // diameter of a coin used in place of a card
	ScaleLine   string         // x1,y1,x2,y2=MM
	NoScale     bool
	Pose        string       // side or upright for every fruit, empty: seen by itself
	White       record.White // that colours are shown with; verdicts and stored values stay in D65

	Fixes     string // folder of corrections; empty: beside the photos
	ShowSteps string // folder for pictures of the stages
	Workers   int    // photos at a time; 0: one a core
	Again     bool   // measure again what was measured with the same settings
	ShardI    int    // this machine's share of the photos, 1..ShardN
	ShardN    int
	MaxPixels int // largest photo, 0: 120 million

	Judge judge.Options

	Program  string // version, part of every result
	Progress Progress
}

// Measuring is how photos were measured: the options that numbers depend on. Files and folders are absolute paths on
// the machine that measured.
type Measuring struct {
	CardColours map[int]string `json:",omitempty"`
	CameraFile  string         `json:",omitempty"`
	CardLength  float64        `json:",omitempty"`
	CoinMM      float64        `json:",omitempty"`
	ScaleLine   string         `json:",omitempty"`
	NoScale     bool           `json:",omitempty"`
	SameTable   bool           `json:",omitempty"`
	Pose        string         `json:",omitempty"`
	Fixes       string         `json:",omitempty"`
	MaxPixels   int            `json:",omitempty"`
}

func (o *Options) measuring() Measuring {
	m := Measuring{CameraFile: absolute(o.CameraFile), CardLength: o.CardLength, CoinMM: o.CoinMM, ScaleLine: o.ScaleLine, NoScale: o.NoScale,
		SameTable: o.SameTable, Pose: o.Pose, Fixes: absolute(o.Fixes), MaxPixels: o.MaxPixels}
	for n, file := range o.CardColours {
		if m.CardColours == nil {
			m.CardColours = map[int]string{}
		}
		m.CardColours[n] = absolute(file)
	}
	return m
}

// absolute is the path from the root, empty when it is empty. It stays as it is where the present folder is gone.
func absolute(path string) string {
	if abs, err := filepath.Abs(path); err == nil && path != "" {
		return abs
	}
	return path
}

// Progress is told how a run goes on. Calls come from one goroutine at a time.
type Progress interface {
	Start(photos int)
	Done(p *record.Photo, took time.Duration, skipped bool)
	Finish()
}

type quiet struct{}

func (quiet) Start(int)                               {}
func (quiet) Done(*record.Photo, time.Duration, bool) {}
func (quiet) Finish()                                 {}

func (o *Options) workers(photos int) int {
	n := o.Workers
	if n <= 0 {
		n = runtime.NumCPU()
	}
	return max(1, min(n, photos))
}
