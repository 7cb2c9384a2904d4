package pipeline_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"strings"
	"testing"
)

// listed is what "go list -json" says of a package.
type listed struct {
	ImportPath string
	Name       string
	Imports    []string // of its non-test files
	Deps       []string // all packages that these need in turn
}

func goList(t *testing.T, patterns ...string) []listed {
	t.Helper()
	tool, err := exec.LookPath("go")
	if err != nil {
		t.Skip("the go tool is not on the PATH")
	}
	cmd := exec.Command(tool, append([]string{"list", "-e", "-json=ImportPath,Name,Imports,Deps"}, patterns...)...)
	cmd.Dir = ".."
	out, err := cmd.Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("go list: %v\n%s", err, exit.Stderr)
		}
		t.Fatal(err)
	}
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	if len(all) == 0 {
		t.Fatalf("go list found no package in %v", patterns)
	}
	return all
}

// forbidden is an import path (with all below it when it ends in "/...") and why.
type forbidden struct{ path, reason string }

func (f forbidden) matches(path string) bool {
	if root, all := strings.CutSuffix(f.path, "/..."); all {
		return path == root || strings.HasPrefix(path, root+"/")
	}
	return path == f.path
}

// numbersOnly holds for the direct imports of measure and cluster: libraries may use these.
var numbersOnly = []forbidden{
	{"os/...", "files and environment are the caller's: take values or an io.Reader"},
	{"path/filepath", "there are no files here"},
	{"io/fs", "there are no files here"},
	{"io/ioutil", "there are no files here"},
	{"net/...", "numbers come in and go out; pages and servers live in pipeline"},
	{"database/sql/...", "storage lives in pipeline/book"},
	{"log/...", "return an error or a note; whoever calls decides what is printed"},
	{"syscall", "nothing here depends on the machine"},
	{"C", "plain Go only: calls of C and C++ live in pipeline/vision"},
}

// neverNeeded holds for everything that measure and cluster need, directly or not.
var neverNeeded = []forbidden{
	{"offtype/pipeline/...", "dependencies point downwards: pipeline calls measure and cluster"},
	{"offtype/cmd/...", "dependencies point downwards: cmd calls pipeline"},
	{"gocv.io/x/gocv/...", "pixels are handled above; here outlines and plain slices are"},
}

func TestMeasureAndClusterStandAlone(t *testing.T) {
	for tree, other := range map[string]string{"measure": "cluster", "cluster": "measure"} {
		deps := append([]forbidden{{"offtype/" + other + "/...", "measure and cluster do not know each other: pass numbers"}}, neverNeeded...)
		for _, p := range goList(t, "./"+tree+"/...") {
			if p.Name != "main" { // a program that prints tables for docs/: nothing can import it
				report(t, p.ImportPath, "imports", p.Imports, numbersOnly)
			}
			report(t, p.ImportPath, "needs", p.Deps, deps)
		}
	}
}

func TestPipelineDoesNotKnowTheCommand(t *testing.T) {
	for _, p := range goList(t, "./pipeline/...") {
		report(t, p.ImportPath, "needs", p.Deps, []forbidden{{"offtype/cmd/...", "dependencies point downwards: cmd calls pipeline"}})
	}
}

// The packages that turn a record into something else know the record, not each other: what they need of one another
// is handed over by package pipeline, by gather, the page or the command.
func TestAdaptersDoNotKnowEachOther(t *testing.T) {
	adapters := []string{"report", "book", "compare", "seed", "judge", "exchange", "desk"}
	for _, own := range adapters {
		if own == "desk" { // the page ties them together, as the command does
			continue
		}
		rules := []forbidden{{"offtype/pipeline", "dependencies point downwards: pipeline calls its stages"},
			{"offtype/pipeline/gather", "dependencies point downwards: gather puts together what the adapters take"}}
		for _, other := range adapters {
			if other != own && other != "exchange" { // tables are read and written through it, those of record too
				rules = append(rules, forbidden{"offtype/pipeline/" + other + "/...", "adapters do not know each other: take plain values of package record"})
			}
		}
		for _, p := range goList(t, "./pipeline/"+own) {
			report(t, p.ImportPath, "needs", p.Deps, rules)
		}
	}
}

func TestOnlyVisionCallsC(t *testing.T) {
	for _, p := range goList(t, "./...") {
		if p.ImportPath != "offtype/pipeline/vision" {
			report(t, p.ImportPath, "imports", p.Imports, []forbidden{{"C", "calls of C and C++ live in pipeline/vision, where errors are caught"}})
		}
	}
}

func report(t *testing.T, pkg, verb string, paths []string, rules []forbidden) {
	t.Helper()
	for _, path := range paths {
		for _, f := range rules {
			if f.matches(path) {
				t.Errorf("%s %s %s: %s", pkg, verb, path, f.reason)
			}
		}
	}
}

// The rules above would be worthless if matching were broken.
func TestForbiddenMatches(t *testing.T) {
	for _, c := range []struct {
		rule, path string
		want       bool
	}{
		{"os/...", "os", true}, {"os/...", "os/exec", true}, {"os/...", "osx", false},
		{"io/fs", "io/fs", true}, {"io/fs", "io", false}, {"C", "C", true}, {"C", "Cx", false},
	} {
		if got := (forbidden{path: c.rule}).matches(c.path); got != c.want {
			t.Errorf("%q matches %q: %v, want %v", c.rule, c.path, got, c.want)
		}
	}
}
