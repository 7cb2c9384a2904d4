package desk

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// startDesk serves a fresh desk on a free port and returns it with its address.
func startDesk(t testing.TB) (*Desk, string) {
	t.Helper()
	d := openDesk(t, t.TempDir())
	return d, serveDesk(t, d)
}

func openDesk(t testing.TB, dir string) *Desk {
	t.Helper()
	d, err := New(t.Context(), Options{Book: filepath.Join(dir, "book.sqlite"), Program: "test", Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func serveDesk(t testing.TB, d *Desk) string {
	t.Helper()
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { d.Serve(ctx, l); close(done) }()
	t.Cleanup(func() { cancel(); <-done })
	for range 100 { // Serve has told the desk its own name
		if d.hosts.has(l.Addr().String()) {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	return "http://" + l.Addr().String()
}

// chromium starts a headless browser, or skips the test.
func chromium(t testing.TB, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	path := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		t.Skip("no Chromium on this machine: the page is not tried in a browser")
	}
	options := append([]chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.NoFirstRun, chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true),
		chromedp.Flag("disable-component-update", true), chromedp.Flag("disable-sync", true), chromedp.UserDataDir(t.TempDir())}, more...)
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	ctx, cancel2 := chromedp.NewContext(ctx)
	t.Cleanup(cancel2)
	ctx, cancel3 := context.WithTimeout(ctx, 4*patience)
	t.Cleanup(cancel3)
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900)); err != nil {
		t.Skipf("Chromium does not start here (%v): the page is not tried in a browser", err)
	}
	return ctx
}

// user is somebody at the browser.
type user struct {
	t    testing.TB
	ctx  context.Context
	base string
	shot string // folder for pictures, empty: none
}

func newUser(t testing.TB, base string) *user {
	return &user{t: t, ctx: chromium(t), base: base, shot: os.Getenv("OFFTYPE_SHOTS")}
}

func (u *user) do(what string, a ...chromedp.Action[chromedp.Void]) {
	u.t.Helper()
	ctx, cancel := context.WithTimeout(u.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, a...); err != nil {
		u.t.Fatalf("%s: %v", what, err)
	}
}

func (u *user) open(path string) {
	u.t.Helper()
	u.do("open "+path, chromedp.Navigate(u.base+path))
	u.until(`document.readyState==="complete"`) // before that its scripts may not listen
}

func (u *user) text(expression string) string {
	u.t.Helper()
	s, err := chromedp.Run(u.ctx, chromedp.Evaluate[string]("String("+expression+")"))
	if err != nil {
		u.t.Fatalf("%s: %v", expression, err)
	}
	return s
}

// until waits for a JavaScript condition.
func (u *user) until(condition string) {
	u.t.Helper()
	end := time.Now().Add(patience)
	for u.text("(()=>{try{return !!("+condition+")}catch{return false}})()") != "true" { // the next page may be loading
		if time.Now().After(end) {
			u.t.Fatalf("waited %v for %s; page says: %.600s", patience, condition, u.text("document.body&&document.body.innerText"))
		}
		time.Sleep(150 * time.Millisecond)
	}
}

// axe runs axe-core on the page and fails on any violation.
func (u *user) axe(view string) {
	u.t.Helper()
	src, err := os.ReadFile("testdata/axe.min.js")
	if err != nil {
		u.t.Fatal(err)
	}
	u.do("axe", chromedp.Evaluate[chromedp.Void](string(src)))
	out, err := chromedp.Run(u.ctx, chromedp.Evaluate[string](`axe.run(document,{resultTypes:["violations"]}).then(r=>JSON.stringify(r.violations.map(v=>({id:v.id,help:v.help,nodes:v.nodes.slice(0,4).map(n=>n.html.slice(0,220)+" "+(n.any[0]||n.all[0]||{message:""}).message)}))))`, chromedp.EvalAwaitPromise))
	if err != nil {
		u.t.Fatalf("axe on %s: %v", view, err)
	}
	var vs []struct {
		ID, Help string
		Nodes    []string
	}
	if err := json.Unmarshal([]byte(out), &vs); err != nil {
		u.t.Fatal(err)
	}
	for _, v := range vs {
		u.t.Errorf("%s: %s (%s)\n  %s", view, v.ID, v.Help, strings.Join(v.Nodes, "\n  "))
	}
}

// weight is what the view loads without photos, in bytes of the bodies.
func (u *user) weight(view string) {
	u.t.Helper()
	w := u.text(`performance.getEntriesByType("resource").concat(performance.getEntriesByType("navigation")).filter(e=>!/\.jpg|\/cut\//.test(e.name)).reduce((s,e)=>s+(e.decodedBodySize||0),0)`)
	var n float64
	fmt.Sscan(w, &n)
	u.t.Logf("%s weighs %.0f kB without photos", view, n/1000)
	if n < 1000 || n > 500_000 {
		u.t.Errorf("%s weighs %.0f bytes without photos; the limit is 500 000", view, n)
	}
}

// wide fails when the view is wider than the window.
func (u *user) wide(view string) {
	u.t.Helper()
	if s := u.text(`document.documentElement.scrollWidth > innerWidth + 1 ? [...document.querySelectorAll("body *")].filter(e=>e.getBoundingClientRect().right>innerWidth+1&&!e.closest(".scroll")&&!e.closest("svg")).slice(0,3).map(e=>e.outerHTML.slice(0,160)).join("\n") || "wider" : ""`); s != "" {
		u.t.Errorf("%s at 360 px is wider than the window:\n%s", view, s)
	}
}

// look checks a view: no violation in light and dark, wide and narrow, and takes pictures of it.
func (u *user) look(view string) {
	u.t.Helper()
	u.weight(view)
	for _, dark := range []bool{false, true} {
		scheme := "light"
		if dark {
			scheme = "dark"
		}
		for _, w := range []int64{1280, 360} {
			u.do("size", chromedp.EmulateViewport(w, 900), chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
				_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
				return err
			}))
			if !(dark && w == 360) {
				u.axe(fmt.Sprintf("%s, %s, %d px", view, scheme, w))
			}
			if w == 360 {
				u.wide(view)
			}
			if u.shot != "" {
				png, err := chromedp.Run(u.ctx, chromedp.FullScreenshot(100))
				if err == nil {
					err = os.WriteFile(filepath.Join(u.shot, fmt.Sprintf("%s-%s-%d.png", view, scheme, w)), png, 0o644)
				}
				if err != nil {
					u.t.Error(err)
				}
			}
		}
	}
	u.do("size", chromedp.EmulateViewport(1280, 900))
}
