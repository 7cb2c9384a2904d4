package desk

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

func scenePath(t testing.TB, name string) string {
	t.Helper()
	p, err := filepath.Abs(filepath.Join("..", "..", "testdata", "scenes", name))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// From an empty book: photos in, one outline corrected, one fruit moved, a weight written down, the
// verdict read, the report taken away; every view without a violation.
func TestWholeJob(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	d, base := startDesk(t)
	u := newUser(t, base)
	if err := os.MkdirAll(d.varietyDir(), 0o700); err != nil {
		t.Fatal(err)
	}
	yaml, err := os.ReadFile("../../testdata/demo/variety.yaml")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(d.varietyDir(), "hollin-tan.yaml"), yaml, 0o600); err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	u.open("/")
	t.Logf("first view after %v", time.Since(start))
	u.look("home")

	// a harvest with two photos
	u.open("/table")
	u.look("table")
	u.do("make the harvest", chromedp.SendKeys("input[name=name]", "2026 squash"), chromedp.Click("form button.main"), chromedp.WaitVisible("#drop"))
	u.look("photos-empty")
	u.do("choose photos", chromedp.SetUploadFiles("#files", []string{scenePath(t, "demo-2026-table-1.jpg"), scenePath(t, "demo-2026-table-2.jpg"), abs(t, "desk.go")}))
	u.until(`document.querySelectorAll("#photolist .photo").length===2`, 20*time.Second)
	u.until(`/not a photo/.test(document.getElementById("sending").innerText)`, 20*time.Second)
	u.until(`/All photos are through/.test(document.getElementById("photolist").innerText)`, 4*time.Minute)
	u.look("photos")
	u.do("say what they are", chromedp.SetValue("select[name=variety]", "hollin-tan"), chromedp.SetValue("select[name=stage]", "cured"), chromedp.Click("details.panel button"))
	u.until(`/said=saved/.test(location.href) && document.readyState==="complete"`, 20*time.Second)
	u.until(`/All photos are through/.test(document.getElementById("photolist").innerText)`, 2*time.Minute)

	// the table: choose a fruit, take its outline away, take that back, draw one again
	u.open("/h/2026-squash/table")
	u.until(`document.querySelectorAll("#photo .fruit").length>3`, 5*time.Second)
	n := u.text(`document.querySelectorAll("#photo .fruit").length`)
	u.do("choose by key", chromedp.Evaluate[chromedp.Void](`document.querySelector("#photo .fruit").focus()`), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#panel h2"))
	u.look("photo")
	u.do("not a fruit", chromedp.Click("[data-tool=drop]"))
	u.until(`document.querySelectorAll("#photo .fruit").length===`+n+`-1`, 60*time.Second)
	u.do("undo", chromedp.Click("[data-tool=undo]"))
	u.until(`document.querySelectorAll("#photo .fruit").length===`+n+``, 60*time.Second)
	before := u.text(`document.querySelector("#f2 .edge").getAttribute("d").length`)
	u.do("choose 2", chromedp.Evaluate[chromedp.Void](`document.querySelector("#f2").focus()`), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#panel h2"))
	u.until(`/Fruit 2/.test(document.querySelector("#panel h2").innerText)`, 10*time.Second)
	// eight points on its own outline, clicked one by one
	u.do("draw again", chromedp.Click("[data-tool=redraw]"))
	for i := range 8 {
		xy := u.text(`(()=>{const p=document.querySelector("#f2 .edge"),l=p.getTotalLength(),q=p.getPointAtLength(l*` + string(rune('0'+i)) + `/8),m=document.getElementById("photo").getScreenCTM(),s=new DOMPoint(q.x,q.y).matrixTransform(m);return s.x+" "+s.y})()`)
		var x, y float64
		if _, err := sscan(xy, &x, &y); err != nil {
			t.Fatal(xy, err)
		}
		u.do("point", chromedp.MouseClickXY(x, y))
	}
	took := time.Now()
	u.do("done", chromedp.Click("[data-draw=done]"))
	u.until(`/Undo.*1/.test(document.querySelector("[data-tool=undo]").innerText)`, 60*time.Second)
	t.Logf("drawn again and measured in %v (outline text was %s long)", time.Since(took), before)
	if b, err := os.ReadFile(filepath.Join(d.Folder(), "harvests", "2026-squash", "photos", "demo-2026-table-1.jpg.fix.json")); err != nil || !strings.Contains(string(b), "redraw") {
		t.Errorf("the correction is not beside the photo: %v %s", err, b)
	}

	// groups: move a fruit with the menu, then ask about unsure ones
	u.until(`fetch("/h/2026-squash/photos/list").then(r=>r.text()).then(t=>window.through=/All photos are through/.test(t)),window.through`, 2*time.Minute)
	u.open("/h/2026-squash/groups")
	u.until(`document.querySelectorAll(".cut img").length>8`, 30*time.Second)
	u.look("groups")
	first := u.text(`document.querySelectorAll(".cuts")[0].children.length`)
	u.do("move", chromedp.Evaluate[chromedp.Void](`document.querySelector(".cut input").focus()`), chromedp.KeyEvent(" "), chromedp.SetValue("#moveform select", "2"), chromedp.Click("#moveform button"))
	u.until(`/by hand/.test(document.getElementById("rows").innerText) && document.querySelectorAll(".cuts")[0].children.length===`+first+`-1`, 20*time.Second)
	u.open("/h/2026-squash/unsure")
	u.look("unsure")

	// a weight and a slip
	u.open("/h/2026-squash/observe")
	u.do("weigh", chromedp.SendKeys("table.grid tbody tr:first-child input[name=value]", "1450\r"))
	u.until(`/saved/.test(document.querySelector("table.grid tbody tr").innerText)`, 20*time.Second)
	if f := u.text(`document.activeElement.getAttribute("aria-label")`); !strings.Contains(f, "no. 2") {
		t.Errorf("after Enter the focus is on %q, not the next fruit", f)
	}
	u.do("slip", chromedp.KeyEvent("1450 kg\r"))
	u.until(`document.querySelector("table.grid td.bad")`, 20*time.Second)
	u.look("observe")

	u.open("/h/2026-squash/verdict")
	if s := u.text(`document.querySelector("main").innerText`); !strings.Contains(s, "Hollin Tan") || !strings.Contains(s, "off-type") {
		t.Errorf("the verdict does not name the variety and the off-types: %.400s", s)
	}
	u.look("verdict")
	u.open("/h/2026-squash/report")
	u.look("report")
	u.do("take the report away", chromedp.Evaluate[chromedp.Void](`fetch("/h/2026-squash/file/report.html").then(r=>r.text()).then(t=>{window.rep=t})`))
	u.until(`window.rep && /<svg/.test(window.rep)`, 20*time.Second)

	for _, v := range []struct{ name, path string }{
		{"sow", "/sow"}, {"bed", "/bed"}, {"seed", "/seed"}, {"lots", "/book/lot"}, {"plants", "/book/plant"}, {"varieties", "/varieties"},
		{"variety", "/varieties/edit?name=hollin-tan"}, {"compare", "/compare"}, {"choose", "/seed/choose"},
		{"plan", "/plan?v1=Hollin+Tan&n1=18&length=20&spacing=0.9"}, {"print", "/print"}, {"share", "/share"}, {"problem", "/nothing-here"},
	} {
		u.open(v.path)
		u.look(v.name)
	}
}

func sscan(s string, a ...any) (int, error) { return fmt.Sscan(s, a...) }

func abs(t testing.TB, p string) string {
	t.Helper()
	a, err := filepath.Abs(p)
	if err != nil {
		t.Fatal(err)
	}
	return a
}
