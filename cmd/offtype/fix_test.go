package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestFixVerb adds, lists and takes back corrections, and refuses wrong ones.
func TestFixVerb(t *testing.T) {
	photo := filepath.Join(t.TempDir(), "p1.jpg")
	if err := os.WriteFile(photo, []byte("not read by fix"), 0o644); err != nil {
		t.Fatal(err)
	}
	try := func(want int, args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		if code := run(&env{ctx: context.Background(), out: &out, err: &errs}, append([]string{"fix", photo}, args...)); code != want {
			t.Fatalf("fix %v: exit %d, want %d; %s", args, code, want, errs.String())
		}
		return out.String() + errs.String()
	}
	try(exitUsage)
	try(exitOK, "--drop", "1204,880", "--plant", "310,450=7")
	if s := try(exitOK, "--list"); !strings.Contains(s, "drop 1204,880") || !strings.Contains(s, "plant of 310,450 = 7") {
		t.Errorf("list: %s", s)
	}
	if s := try(exitUsage, "--pose", "3,4=up"); !strings.Contains(s, "side, upright or unclear") {
		t.Errorf("wrong pose: %s", s)
	}
	try(exitUsage, "--undo", "--drop", "1,1")
	try(exitOK, "--undo")
	try(exitOK, "--undo")
	if s := try(exitNothing, "--undo"); !strings.Contains(s, "no corrections") {
		t.Errorf("nothing to undo: %s", s)
	}
	if _, err := os.Stat(photo + ".fix.json"); err == nil {
		t.Error("an empty corrections file stays behind")
	}
}
