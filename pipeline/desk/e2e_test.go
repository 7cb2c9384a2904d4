package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
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
// verdict read, the report taken away; every view without a violation. Each step needs those before it.
func TestWholeJob(t *testing.T) {
	if testing.Short() {
		t.Skip("measures photos")
	}
	d, base := startDesk(t)
	u := newUser(t, base)
	for _, step := range []func(*testing.T, *Desk, *user){describeVariety, firstLook, bringPhotos, correctOutlines, numberFruit, moveFruit, weighFruit, readVerdict, otherViews, joinPhotos} {
		step(t, d, u)
	}
}

// describeVariety puts the description of the demo variety beside the harvests.
func describeVariety(t *testing.T, d *Desk, u *user) {
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
}

// firstLook opens the page of an empty book.
func firstLook(t *testing.T, d *Desk, u *user) {
	start := time.Now()
	u.open("/")
	t.Logf("first view after %v", time.Since(start))
	u.look("home")
}

// bringPhotos makes a harvest, sends two photos and what is none, and says what they are.
func bringPhotos(t *testing.T, d *Desk, u *user) {
	u.open("/table")
	u.look("table")
	u.do("make the harvest", chromedp.SendKeys("input[name=name]", "2026 squash"), chromedp.Click("form button.main"), chromedp.WaitVisible("#drop"))
	u.look("photos-empty")
	u.do("choose photos", chromedp.SetUploadFiles("#files", []string{scenePath(t, "demo-2026-table-1.jpg"), scenePath(t, "demo-2026-table-2.jpg"), abs(t, "desk.go")}))
	u.until(`document.querySelectorAll("#photolist .photo").length===2`)
	u.until(`/not a photo/.test(document.getElementById("sending").innerText)`)
	u.until(`/All photos are through/.test(document.getElementById("photolist").innerText)`)
	u.look("photos")
	u.do("say what they are", chromedp.SetValue("select[name=variety]", "hollin-tan"), chromedp.SetValue("select[name=stage]", "cured"), chromedp.Click("details.panel button"))
	u.until(`/said=saved/.test(location.href) && document.readyState==="complete"`)
	u.until(`/All photos are through/.test(document.getElementById("photolist").innerText)`)
}

// correctOutlines takes an outline away, takes that back, and draws one again, clicked point by point.
func correctOutlines(t *testing.T, d *Desk, u *user) {
	u.open("/h/2026-squash/table")
	u.until(`document.querySelectorAll("#photo .fruit").length>3`)
	n := u.text(`document.querySelectorAll("#photo .fruit").length`)
	u.do("choose by key", chromedp.Evaluate[chromedp.Void](`document.querySelector("#photo .fruit").focus()`), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#panel h2"))
	u.look("photo")
	u.do("not a fruit", chromedp.Click("[data-tool=drop]"))
	u.until(`document.querySelectorAll("#photo .fruit").length===` + n + `-1`)
	u.do("undo", chromedp.Click("[data-tool=undo]"))
	u.until(`document.querySelectorAll("#photo .fruit").length===` + n + ``)
	before := u.text(`document.querySelector("#f2 .edge").getAttribute("d").length`)
	u.do("choose 2", chromedp.Evaluate[chromedp.Void](`document.querySelector("#f2").focus()`), chromedp.KeyEvent("\r"), chromedp.WaitVisible("#panel h2"))
	u.until(`/Fruit 2/.test(document.querySelector("#panel h2").innerText)`)
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
	u.until(`/Undo.*1/.test(document.querySelector("[data-tool=undo]").innerText)`)
	t.Logf("drawn again and measured in %v (outline text was %s long)", time.Since(took), before)
	if b, err := os.ReadFile(filepath.Join(d.Folder(), "harvests", "2026-squash", "photos", "demo-2026-table-1.jpg.fix.json")); err != nil || !strings.Contains(string(b), "redraw") {
		t.Errorf("the correction is not beside the photo: %v %s", err, b)
	}
}

// numberFruit types the numbers written on the fruit: Enter, and the next one is chosen. It ends with how smoothly the table zooms.
func numberFruit(t *testing.T, d *Desk, u *user) {
	u.do("plant numbers", chromedp.Click("[data-tool=numbers]"), chromedp.WaitVisible("#number"), chromedp.KeyEvent("31\r32\r33\r"))
	u.until(`document.getElementById("numbersaid").textContent==="Saved."`)
	u.look("numbers")
	u.do("stop", chromedp.KeyEvent(kb.Escape))
	u.until(`document.getElementById("numberbar").hidden && /Undo.*4/.test(document.querySelector("[data-tool=undo]").innerText)`)
	for range 3 { // and take them back
		n := u.text(`document.querySelector("[data-tool=undo]").innerText`)
		u.do("undo", chromedp.Click("[data-tool=undo]"))
		u.until(`document.querySelector("[data-tool=undo]").innerText!=="` + strings.ReplaceAll(n, "\n", " ") + `"`)
	}
	frames(t, u)
}

// moveFruit moves a fruit to another group with the menu and back with the mouse, then looks at the unsure ones.
func moveFruit(t *testing.T, d *Desk, u *user) {
	u.until(`fetch("/h/2026-squash/photos/list").then(r=>r.text()).then(t=>window.through=/All photos are through/.test(t)),window.through`)
	u.open("/h/2026-squash/groups")
	u.until(`document.querySelectorAll(".cut img").length>8`)
	u.look("groups")
	first := u.text(`document.querySelectorAll(".cuts")[0].children.length`)
	u.do("move", chromedp.Evaluate[chromedp.Void](`document.querySelector(".cut input").focus()`), chromedp.KeyEvent(" "), chromedp.SetValue("#moveform select", "2"), chromedp.Click("#moveform button"))
	u.until(`/by hand/.test(document.getElementById("rows").innerText) && document.querySelectorAll(".cuts")[0].children.length===` + first + `-1`)
	drag(t, u, `.cuts[data-group="2"] .cut img`, `.cuts[data-group="1"] .cut:last-child img`)
	u.until(`document.querySelectorAll(".cuts")[0].children.length===` + first)
	u.open("/h/2026-squash/unsure")
	u.look("unsure")
}

// weighFruit writes a weight down, and one that cannot be.
func weighFruit(t *testing.T, d *Desk, u *user) {
	u.open("/h/2026-squash/observe")
	anew := `(()=>{const d={target:document.getElementById("main"),requestConfig:{},shouldSwap:true};document.dispatchEvent(new CustomEvent("htmx:beforeSwap",{detail:d}));return d.shouldSwap})()`
	if s := u.text(anew); s != "true" {
		t.Error("the page does not load itself anew though no field is in use")
	}
	u.do("focus", chromedp.Evaluate[chromedp.Void](`document.querySelector("table.grid tbody tr:first-child input[name=value]").focus()`))
	if s := u.text(anew); s != "false" {
		t.Error("the page loads itself anew under the fingers of who writes")
	}
	u.do("weigh", chromedp.Evaluate[chromedp.Void](`document.querySelector("table.grid tbody tr:first-child input[name=value]").focus()`), chromedp.KeyEvent("1450\r"))
	u.until(`/saved/.test(document.querySelector("table.grid tbody tr").innerText)`)
	if f := u.text(`document.activeElement.getAttribute("aria-label")`); !strings.Contains(f, "no. 2") {
		t.Errorf("after Enter the focus is on %q, not the next fruit", f)
	}
	u.do("slip", chromedp.KeyEvent("1450 kg\r"))
	u.until(`document.querySelector("table.grid td.bad")`)
	u.look("observe")
}

// readVerdict reads the verdict, decides on a plant by hand and takes the report away.
func readVerdict(t *testing.T, d *Desk, u *user) {
	u.open("/h/2026-squash/verdict")
	if s := u.text(`document.querySelector("main").innerText`); !strings.Contains(s, "Hollin Tan") || !strings.Contains(s, "off-type") {
		t.Errorf("the verdict does not name the variety and the off-types: %.400s", s)
	}
	u.look("verdict")
	u.do("decide by hand", chromedp.Evaluate[chromedp.Void](`document.querySelector("#byhand").open=true`), chromedp.SetValue("select[name=verdict]", "doubtful"), chromedp.Click("#byhand button"))
	u.until(`/by hand: doubtful/.test(document.querySelector("main").innerText)`)
	u.open("/h/2026-squash/report")
	u.look("report")
	u.do("take the report away", chromedp.Evaluate[chromedp.Void](`fetch("/h/2026-squash/file/report.html").then(r=>r.text()).then(t=>{window.rep=t})`))
	u.until(`window.rep && /<svg/.test(window.rep)`)
}

// otherViews looks at every view that has not been seen yet.
func otherViews(t *testing.T, d *Desk, u *user) {
	run, err := d.book.LoadRun(t.Context(), "2026 squash")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.book.RecordRun(t.Context(), "2025 squash", "L-1", run); err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct{ name, path string }{
		{"compared", "/compare?h=2025+squash&h=2026+squash"}, {"chosen", "/seed/choose?h=2026+squash"},
		{"sow", "/sow"}, {"bed", "/bed"}, {"seed", "/seed"}, {"lots", "/book/lot"}, {"plants", "/book/plant"}, {"varieties", "/varieties"},
		{"variety", "/varieties/edit?name=hollin-tan"}, {"compare", "/compare"}, {"choose", "/seed/choose"},
		{"plan", "/plan?v1=Hollin+Tan&n1=18&length=20&spacing=0.9"}, {"print", "/print"}, {"lens", "/lens"}, {"trial", "/trial?h=2026+squash"}, {"lots", "/lots?lot=L-1"}, {"lot", "/book/lot?name=L-1"}, {"same", "/h/2026-squash/same"}, {"share", "/share"}, {"problem", "/nothing-here"},
	} {
		u.open(v.path)
		u.look(v.name)
	}
}

// joinPhotos counts the fruit of two photos as those of one table, and opens a result that was moved away.
func joinPhotos(t *testing.T, d *Desk, u *user) {
	h := d.harvest("2026-squash")
	if s, b := newClient(t, d, u.base).post("/h/2026-squash/same", url.Values{"photo": {h.Photos[0].Key, h.Photos[1].Key}}); s != http.StatusSeeOther {
		t.Fatal(s, b)
	}
	settled(t, h)
	u.open("/h/2026-squash/same")
	u.until(`document.querySelectorAll(".sights .cut img").length>8`)
	u.look("same-table")
	gone := filepath.Join(t.TempDir(), "gone", "out")
	h.mu.Lock()
	h.lost = true
	h.place.Store(&gone)
	h.mu.Unlock()
	u.open("/h/2026-squash/photos")
	u.look("where")
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

// frames measures how smoothly a table of 60 fruit zooms, on copies of the fruit that are there.
func frames(t testing.TB, u *user) {
	u.do("zoom", chromedp.Evaluate[chromedp.Void](`(()=>{
		const svg=document.getElementById("photo"),all=[...svg.querySelectorAll(".fruit")];
		for(let i=0;svg.querySelectorAll(".fruit").length<60;i++){const c=all[i%all.length].cloneNode(true);c.removeAttribute("id");c.setAttribute("transform","translate("+(37*i%400)+","+(53*i%300)+")");svg.append(c)}
		const r=svg.getBoundingClientRect(),times=[];let n=0,last=performance.now();
		const step=()=>{const now=performance.now();times.push(now-last);last=now;
			svg.dispatchEvent(new WheelEvent("wheel",{deltaY:n<40?-60:60,clientX:r.x+r.width/2,clientY:r.y+r.height/2,bubbles:true,cancelable:true}));
			if(++n<80)requestAnimationFrame(step);else{times.sort((a,b)=>a-b);window.frames60=times}};
		requestAnimationFrame(step)})()`))
	u.until(`window.frames60`)
	t.Logf("60 fruit, zooming: median %s ms a frame, 95 %% within %s ms", u.text(`frames60[40].toFixed(1)`), u.text(`frames60[76].toFixed(1)`))
}

// drag moves the middle of one element to another with the mouse, slowly enough for the page to follow.
func drag(t testing.TB, u *user, from, to string) {
	t.Helper()
	u.do("scroll", chromedp.Evaluate[chromedp.Void](`document.querySelector('`+to+`').scrollIntoView({block:"start"});scrollBy(0,-120)`))
	at := func(sel string) (x, y float64) {
		if _, err := fmt.Sscan(u.text(`(()=>{const r=document.querySelector('`+sel+`').getBoundingClientRect();return (r.x+r.width/2)+" "+(r.y+r.height/2)})()`), &x, &y); err != nil {
			t.Fatal(err)
		}
		return x, y
	}
	x0, y0 := at(from)
	x1, y1 := at(to)
	step := func(typ input.DispatchMouseEventType, x, y float64) {
		u.do("mouse", chromedp.MouseEvent(typ, x, y, chromedp.ButtonLeft), chromedp.Sleep(60*time.Millisecond))
	}
	step(input.DispatchMouseEventTypeMousePressed, x0, y0)
	for i := 1; i <= 8; i++ {
		step(input.DispatchMouseEventTypeMouseMoved, x0+(x1-x0)*float64(i)/8, y0+(y1-y0)*float64(i)/8)
	}
	t.Logf("dragged from %.0f,%.0f to %.0f,%.0f: %s", x0, y0, x1, y1, u.text(`document.querySelectorAll(".sortable-fallback,.sortable-chosen").length`))
	step(input.DispatchMouseEventTypeMouseReleased, x1, y1)
}
