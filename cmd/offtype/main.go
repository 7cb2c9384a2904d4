// Command offtype measures fruit on phone photos of a curing table and tells which fruit and
// plants are off-type. See README.md.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"offtype/pipeline/record"
)

// version is set by the build.
var version = "dev"

// Exit statuses, the same for every verb.
const (
	exitOK      = 0
	exitNothing = 1   // nothing could be done
	exitUsage   = 2   // wrong usage, or a broken variety, colour or lens file
	exitPartly  = 3   // some photos failed, the rest is complete
	exitStopped = 130 // stopped by Ctrl-C; what was finished is written
)

const exitHelp = `
Exit status: 0 all done; 1 nothing could be done; 2 wrong usage or a broken file; 3 some photos failed, the rest is complete; 130 stopped by Ctrl-C.`

// cli lists the verbs; each lives in a file of its own.
type cli struct {
	Version kong.VersionFlag `help:"Print the version."`

	Run       runCmd       `cmd:"" help:"Measure the photos of a harvest, group the fruit and judge them."`
	Merge     mergeCmd     `cmd:"" help:"Put together a harvest that was measured in shares on several machines."`
	Card      cardCmd      `cmd:"" help:"Write the scale card as PDF."`
	Tags      tagsCmd      `cmd:"" help:"Write plant tags as PDF."`
	CardCheck cardCheckCmd `cmd:"" help:"Say how far a printed card is from its colours and how even the light was."`
	Lens      lensCmd      `cmd:"" help:"Calibrate a camera from photos of a printed chessboard."`

	Describe describeCmd `cmd:"" help:"Make or check the description of a variety."`
	Fix      fixCmd      `cmd:"" help:"Correct what the program found in a photo."`

	Book    bookCmd    `cmd:"" help:"Keep the harvest book: seed lots, plants, backups, exports."`
	Observe observeCmd `cmd:"" help:"Write down what you observed by hand."`
	Compare compareCmd `cmd:"" help:"Compare harvests: this year against last year."`
	Report  reportCmd  `cmd:"" help:"Write the measurement report for the seed supplier, a bench sheet or a wall sheet."`
	Seed    seedCmd    `cmd:"" help:"Say which plants are fit to keep seed from."`
	Plan    planCmd    `cmd:"" help:"Plan the bed: plants, tags, checklist; trial table; pooled growers."`

	Desk deskCmd `cmd:"" help:"Open the page that does the whole job, without the command line."`
}

// env is what verbs get from outside, so that they can be tested.
type env struct {
	ctx      context.Context
	out, err io.Writer
	now      func() time.Time // in the local time zone; nil: the computer's clock
}

// checked remembers that printing failed, so that a full disk is not taken for success.
type checked struct {
	w   io.Writer
	err error
}

func (c *checked) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	if err != nil {
		c.err = err
	}
	return n, err
}

// exitError ends the program with a status; its text is printed when it has one.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}

func (e *exitError) Unwrap() error { return e.err }

// usage marks err as wrong usage or a broken file.
func usage(err error) error { return &exitError{exitUsage, err} }

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second Ctrl-C ends the program at once
	code := run(&env{ctx: ctx, out: os.Stdout, err: os.Stderr}, os.Args[1:])
	stop()
	os.Exit(code)
}

// run parses the arguments, runs the verb and returns the exit status.
func run(e *env, args []string) (code int) {
	type left int
	defer func() {
		if r := recover(); r != nil {
			l, ok := r.(left)
			if !ok {
				panic(r)
			}
			code = int(l)
		}
	}()
	if e.now == nil {
		e.now = time.Now
	}
	out := &checked{w: e.out}
	e.out = out
	var c cli
	k, err := kong.New(&c,
		kong.Name("offtype"),
		kong.Description("Measures fruit on photos of the curing table and tells which fruit and plants are off-type."+exitHelp),
		kong.Vars{"version": "offtype " + version},
		kong.Writers(e.out, e.err),
		kong.Exit(func(n int) { panic(left(n)) }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 100}),
		kong.Bind(e),
	)
	if err != nil {
		fmt.Fprintln(e.err, "offtype:", err)
		return exitUsage
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	kc, err := k.Parse(args)
	if err != nil {
		fmt.Fprintf(e.err, "offtype: %s\nhint: offtype --help lists the commands, offtype COMMAND --help explains one\n", parseWords(err))
		return exitUsage
	}
	err = kc.Run(e)
	if out.err != nil {
		err = errors.Join(err, fmt.Errorf("what was found could not be printed (%w); check the free space", out.err))
	}
	return status(e, err)
}

// status prints what went wrong and returns the exit status.
func status(e *env, err error) int {
	var x *exitError
	switch {
	case err == nil:
		return exitOK
	case e.ctx.Err() != nil && errors.Is(err, context.Canceled):
		fmt.Fprintln(e.err, "offtype: stopped; run the same command again")
		return exitStopped
	case errors.As(err, &x):
		if text := strings.TrimSpace(err.Error()); text != "" {
			fmt.Fprintf(e.err, "offtype: %s\n", record.Plain(text))
		}
		return x.code
	default:
		fmt.Fprintf(e.err, "offtype: %s\n", record.Plain(err.Error()))
		return exitNothing
	}
}

// parserWords are the parser's own words and plainer ones.
var parserWords = strings.NewReplacer(
	"expected int value but got", "is a whole number, not",
	"expected a valid 64 bit int but got", "is a whole number, not",
	"expected float value but got", "is a number, not",
	"expected a valid 64 bit float but got", "is a number, not",
	" (short flag); perhaps try", "; a negative value is written",
	`,""`, "", `"?`, `"`)

// parseWords says a fault of the command line.
func parseWords(err error) string {
	if name, ok := strings.CutPrefix(err.Error(), `expected "<`); ok {
		return strings.TrimRight(name, `>" .`) + " missing"
	}
	return parserWords.Replace(err.Error())
}
