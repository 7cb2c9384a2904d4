package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"offtype/measure/colour"
	"offtype/pipeline/card"
)

// cardFile writes the nominal colours of the card as a colour file, with lightness changed by dL.
func cardFile(t *testing.T, dL float64) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("ILLUMINANT D65\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\nBEGIN_DATA\n")
	for _, p := range card.Revision1().Patches {
		l := colour.SRGB255(float64(p.SRGB[0]), float64(p.SRGB[1]), float64(p.SRGB[2]))
		fmt.Fprintf(&b, "%s %.3f %.3f %.3f\n", p.Name, l.L+dL, l.A, l.B)
	}
	b.WriteString("paper 100 0 0\nEND_DATA\n")
	f := filepath.Join(t.TempDir(), "card.txt")
	if err := os.WriteFile(f, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return f
}

func cardCheckRun(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(&env{ctx: context.Background(), out: &o, err: &e}, append([]string{"card-check"}, args...))
	return code, o.String(), e.String()
}

const twoCards = "../../testdata/scenes/dev-6-two-cards-far.jpg"

// TestCardCheck checks the two cards of a rendered scene; both are printed exactly as nominal, so that the patches must
// come out near it by their own greys. They lie 1.7 m apart: too far to judge one by the other.
func TestCardCheck(t *testing.T) {
	const near = 1.5 // ΔE00: the card's residual on the scenes is below 0.5, and the finder's places are a little off
	check := func(args ...string) []cardCheck {
		code, out, errs := cardCheckRun(append([]string{"--json"}, args...)...)
		var got []cardCheck
		if err := json.Unmarshal([]byte(out), &got); code != 0 || err != nil || len(got) != 2 {
			t.Fatalf("%v: exit %d, %v, %s%s", args, code, err, out, errs)
		}
		return got
	}
	for _, r := range check(twoCards) {
		if len(r.Patches) != 19 || r.Mean > near || r.Uneven > 2 || len(r.Advice) != 0 || r.By != nil {
			t.Errorf("card %d: mean %.2f, uneven %.1f, %d patches, %v", r.Card, r.Mean, r.Uneven, len(r.Patches), r.Advice)
		}
	}
	got := check("--card-colours", "0="+cardFile(t, 0), twoCards)
	if !got[0].Measured || got[0].Mean > near || got[1].By == nil || *got[1].By != 0 || len(got[1].Advice) != 1 {
		t.Errorf("judged by card 0: %+v", got)
	}
	if code, out, _ := cardCheckRun(twoCards); code != 0 || !strings.Contains(out, "card 1:") || !strings.Contains(out, "D65") {
		t.Errorf("text: exit %d, %s", code, out)
	}
}

// TestSaveInks writes the mean of two photos and reads it back.
func TestSaveInks(t *testing.T) {
	zero := 0
	row := func(l float64) cardCheck {
		return cardCheck{Card: 1, By: &zero, ApartMM: 300, Patches: []patchCheck{{Name: "N1", Lab: [3]float64{l, 1, 2}}, {Name: "paper", Lab: [3]float64{95, 0, -2}}}}
	}
	far := row(10)
	far.ApartMM = 2000
	file := filepath.Join(t.TempDir(), "card1.txt")
	if err := saveInks(file, 1, []cardCheck{row(60), row(62), far, {Card: 0}}); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	inks, err := colour.ReadCGATS(bytes.NewReader(b))
	if want := (colour.Lab{L: 61, A: 1, B: 2}); err != nil || inks["N1"] != want || len(inks) != 2 {
		t.Errorf("%v, %v; want N1 %v", inks, err, want)
	}
	if err := saveInks(file, 1, []cardCheck{far}); err == nil {
		t.Error("a card far away was saved")
	}
}

func TestCardCheckFailures(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.txt")
	if err := os.WriteFile(bad, []byte("BEGIN_DATA\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	notPhoto := filepath.Join(t.TempDir(), "a.jpg")
	if err := os.WriteFile(notPhoto, []byte("no photo"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		args []string
		code int
		say  string
	}{
		"no photo":      {[]string{"--card-colours", "0=" + bad, notPhoto}, exitUsage, "line 1"},
		"card number":   {[]string{"--card-colours", "12=" + bad, notPhoto}, exitUsage, "0 to 9"},
		"save alone":    {[]string{"--save", "1=x.txt", notPhoto}, exitUsage, "--card-colours"},
		"save the same": {[]string{"--card-colours", "1=" + cardFile(t, 0), "--save", "1=x.txt", notPhoto}, exitUsage, "another card"},
		"save too far":  {[]string{"--card-colours", "0=" + cardFile(t, 0), "--save", "1=" + filepath.Join(t.TempDir(), "x.txt"), twoCards}, exitNothing, "side by side"},
		"unreadable":    {[]string{notPhoto}, exitNothing, "a.jpg"},
	} {
		code, out, errs := cardCheckRun(c.args...)
		if code != c.code || !strings.Contains(errs, c.say) {
			t.Errorf("%s: exit %d, want %d; %q %q", name, code, c.code, out, errs)
		}
	}
}
