package desk

import (
	"bufio"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"offtype/pipeline/segment"
)

// TestMain runs the page itself when the test below starts this binary for it.
func TestMain(m *testing.M) {
	if dir := os.Getenv("OFFTYPE_DESK_CHILD"); dir != "" {
		serveChild(dir)
		return
	}
	os.Exit(m.Run())
}

// serveChild serves a desk until it is killed.
func serveChild(dir string) {
	t := &childT{}
	d, err := New(t.Context(), Options{Book: filepath.Join(dir, "book.sqlite"), Program: "test", Workers: 1})
	if err != nil {
		fmt.Println("error", err)
		return
	}
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		fmt.Println("error", err)
		return
	}
	fmt.Println("http://"+l.Addr().String(), d.token)
	d.Serve(t.Context(), l)
}

// startChild starts the page in a process of its own.
func startChild(t *testing.T, dir string) (*exec.Cmd, *client) {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "OFFTYPE_DESK_CHILD="+dir)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	base, token, ok := strings.Cut(strings.TrimSpace(line), " ")
	if err != nil || !ok || !strings.HasPrefix(base, "http") {
		t.Fatalf("the child said %q, %v", line, err)
	}
	return cmd, newClient(t, &Desk{token: token}, base)
}

// Killed while photos arrive: every photo that was answered with 201 is there, whole, and the folder
// can be opened again.
func TestKillWhileUploading(t *testing.T) {
	dir := t.TempDir()
	said := map[string]bool{} // contents the page said it has
	for round := range 3 {
		cmd, c := startChild(t, dir)
		if round == 0 {
			if s, b := c.post("/table", url.Values{"name": {"2026 squash"}}); s != http.StatusSeeOther {
				t.Fatal(s, b)
			}
		}
		done := make(chan string, 400)
		go func() {
			defer close(done)
			for i := range 400 {
				data := plainJPEG(t, 1000*round+i)
				if s, _ := c.upload("2026-squash", "p.jpg", data); s != http.StatusCreated {
					return
				}
				done <- string(data)
			}
		}()
		n := 0
		for data := range done {
			said[data] = true
			if n++; n == 15+10*round {
				cmd.Process.Kill() // SIGKILL, with the next upload under way
			}
		}
		cmd.Wait()
		have := map[string]bool{}
		folder := filepath.Join(dir, "book.desk", "harvests", "2026-squash")
		var s saved
		b, err := os.ReadFile(filepath.Join(folder, "harvest.json"))
		if err != nil || json.Unmarshal(b, &s) != nil {
			t.Fatalf("harvest.json after the kill: %v", err)
		}
		for _, p := range s.Photos {
			b, err := os.ReadFile(filepath.Join(folder, "photos", p.File))
			if err != nil {
				t.Errorf("a listed photo is gone: %v", err)
			}
			have[string(b)] = true
		}
		for data := range said {
			if !have[data] {
				t.Errorf("round %d: a photo shown as saved is lost", round)
			}
		}
	}
	if len(said) < 60 {
		t.Errorf("only %d uploads were tried", len(said))
	}
}

// Killed while corrections are made: the corrections file is always whole, and holds every
// correction that was shown as saved.
func TestKillWhileCorrecting(t *testing.T) {
	if testing.Short() {
		t.Skip("measures a photo")
	}
	dir := t.TempDir()
	cmd, c := startChild(t, dir)
	c.post("/table", url.Values{"name": {"2026 squash"}})
	photo, err := os.ReadFile(scenePath(t, "demo-2026-table-1.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	if s, b := c.upload("2026-squash", "p.jpg", photo); s != http.StatusCreated {
		t.Fatal(s, b)
	}
	key := waitMeasured(t, c)
	shown := 0
	fixes := filepath.Join(dir, "book.desk", "harvests", "2026-squash", "photos", "p.jpg.fix.json")
	for i := range 6 {
		s, b := c.post("/h/2026-squash/photo/"+key+"/fix", url.Values{"op": {"plant"}, "fruit": {"1"}, "plant": {fmt.Sprint(10 + i)}})
		if s != http.StatusOK || strings.Contains(b, "Nothing was changed") {
			t.Fatalf("correction %d: %d", i, s)
		}
		shown++
	}
	go c.post("/h/2026-squash/photo/"+key+"/fix", url.Values{"op": {"plant"}, "fruit": {"2"}, "plant": {"99"}})
	cmd.Process.Kill()
	cmd.Wait()
	f, err := segment.ReadFixes(fixes)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Fixes) < shown {
		t.Errorf("%d corrections on disk, %d were shown as saved", len(f.Fixes), shown)
	}
	_, c = startChild(t, dir)
	waitMeasured(t, c)
	if _, b := c.get("/h/2026-squash/photo/" + key + "?fruit=1"); !strings.Contains(b, "of plant 15") {
		t.Error("after the kill the last plant shown is not there")
	}
}
