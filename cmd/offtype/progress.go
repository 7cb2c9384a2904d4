package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/vbauerster/mpb/v8"
	"github.com/vbauerster/mpb/v8/decor"

	"offtype/pipeline"
	"offtype/pipeline/record"
)

// newProgress returns a bar with counts and time left on a terminal, plain lines elsewhere, and
// nothing when quiet. Failures are printed to w at once, one line a photo.
func newProgress(w io.Writer, quiet bool) pipeline.Progress {
	f, ok := w.(*os.File)
	terminal := ok && isTerminal(f)
	switch {
	case quiet:
		return &lines{w: w, quiet: true}
	case terminal:
		return &bar{w: w}
	default:
		return &lines{w: w}
	}
}

func isTerminal(f *os.File) bool {
	st, err := f.Stat()
	return err == nil && st.Mode()&os.ModeCharDevice != 0
}

func problemLine(p *record.Photo) string {
	return fmt.Sprintf("%s: %s\n", p.Name, p.Message)
}

type lines struct {
	w        io.Writer
	quiet    bool
	n, total int
}

func (l *lines) Start(photos int) { l.total = photos }

func (l *lines) Done(p *record.Photo, took time.Duration, kept bool) {
	l.n++
	if p.Status == record.StatusFailed {
		fmt.Fprint(l.w, problemLine(p))
		return
	}
	if l.quiet {
		return
	}
	state := fmt.Sprintf("%d fruit, %.1f s", p.Fruits, took.Seconds())
	switch {
	case p.Status == record.StatusDuplicate:
		state = p.Message
	case kept:
		state = fmt.Sprintf("%d fruit, measured before", p.Fruits)
	}
	fmt.Fprintf(l.w, "[%d/%d] %s: %s\n", l.n, l.total, p.Name, state)
}

func (l *lines) Finish() {}

type bar struct {
	w io.Writer
	p *mpb.Progress
	b *mpb.Bar
}

func (b *bar) Start(photos int) {
	b.p = mpb.New(mpb.WithOutput(b.w), mpb.WithWidth(40))
	b.b = b.p.AddBar(int64(photos),
		mpb.PrependDecorators(decor.Name("photos "), decor.CountersNoUnit("%d of %d ")),
		mpb.AppendDecorators(decor.EwmaETA(decor.ET_STYLE_GO, 20), decor.Name(" left")))
}

func (b *bar) Done(p *record.Photo, took time.Duration, _ bool) {
	if p.Status == record.StatusFailed {
		_, _ = b.p.Write([]byte(problemLine(p)))
	}
	b.b.EwmaIncrement(took)
}

func (b *bar) Finish() {
	b.b.Abort(false)
	b.p.Wait()
}
