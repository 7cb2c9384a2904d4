package main

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// What the test program does when it is started as offtype itself.
const (
	asOfftype = "OFFTYPE_TEST_RUN"    // run the arguments as offtype
	plainUser = "OFFTYPE_TEST_PLAIN"  // first give up the right of root to read and write everything
	memoryMB  = "OFFTYPE_TEST_MEMORY" // first limit the address space
)

// TestMain lets the test program be started as offtype, to be stopped, killed and starved.
func TestMain(m *testing.M) {
	if os.Getenv(asOfftype) != "" {
		if os.Getenv(plainUser) != "" || os.Getenv(memoryMB) != "" {
			confine()
		}
		main()
	}
	os.Exit(m.Run())
}

// confine starts the program once more under the limits asked for: both hold from exec on.
func confine() {
	runtime.LockOSThread() // the rights belong to a thread, and exec takes those of the one that calls it
	if os.Getenv(plainUser) != "" && os.Geteuid() == 0 {
		const dropBound = 24                // PR_CAPBSET_DROP
		for _, right := range []int{1, 2} { // CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
			if _, _, e := syscall.RawSyscall(syscall.SYS_PRCTL, dropBound, uintptr(right), 0); e != 0 {
				fmt.Fprintln(os.Stderr, "prctl:", e)
				os.Exit(99)
			}
		}
	}
	if s := os.Getenv(memoryMB); s != "" {
		var mb uint64
		fmt.Sscan(s, &mb)
		if err := syscall.Setrlimit(syscall.RLIMIT_AS, &syscall.Rlimit{Cur: mb << 20, Max: mb << 20}); err != nil {
			fmt.Fprintln(os.Stderr, "setrlimit:", err)
			os.Exit(99)
		}
	}
	os.Unsetenv(plainUser)
	os.Unsetenv(memoryMB)
	err := syscall.Exec("/proc/self/exe", os.Args, os.Environ())
	fmt.Fprintln(os.Stderr, "exec:", err)
	os.Exit(99)
}

// child makes a command that runs offtype as a program of its own.
func child(t *testing.T, env []string, args ...string) (*exec.Cmd, *bytes.Buffer) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(self, args...)
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	c.Env = append(append(os.Environ(), asOfftype+"=1"), env...)
	return c, &said
}

// start runs offtype as a program of its own and returns what it said and its exit status, -1 when
// a signal ended it.
func start(t *testing.T, env []string, args ...string) (string, int) {
	t.Helper()
	c, said := child(t, env, args...)
	if err := c.Run(); err != nil && c.ProcessState == nil {
		t.Fatal(err)
	}
	return said.String(), c.ProcessState.ExitCode()
}

// begin starts the command; the channel is closed when it has ended.
func begin(t *testing.T, c *exec.Cmd) <-chan struct{} {
	t.Helper()
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		_ = c.Wait() // the status is looked at by the caller
		close(ended)
	}()
	return ended
}

// until waits for a file that matches the pattern, or for the end of the command.
func until(ended <-chan struct{}, pattern ...string) {
	for {
		if found, _ := filepath.Glob(filepath.Join(pattern...)); len(found) > 0 {
			return
		}
		select {
		case <-ended:
			return
		case <-time.After(2 * time.Millisecond):
		}
	}
}

// halfTable is the rendered photo demo-2025-table-1 at half its size, and its card there: four
// corners from the scene's truth. It holds eight fruit.
var halfTable = sync.OnceValues(func() (*image.RGBA, error) {
	f, err := os.Open("../../testdata/scenes/demo-2025-table-1.jpg")
	if err != nil {
		return nil, err
	}
	defer f.Close()
	big, err := jpeg.Decode(f)
	if err != nil {
		return nil, err
	}
	b := big.Bounds()
	im := image.NewRGBA(image.Rect(0, 0, b.Dx()/2, b.Dy()/2))
	for y := range b.Dy() / 2 {
		for x := range b.Dx() / 2 {
			var sum [3]uint32
			for k := range 4 {
				r, g, bl, _ := big.At(2*x+k%2, 2*y+k/2).RGBA()
				sum[0], sum[1], sum[2] = sum[0]+r, sum[1]+g, sum[2]+bl
			}
			im.SetRGBA(x, y, color.RGBA{uint8(sum[0] >> 10), uint8(sum[1] >> 10), uint8(sum[2] >> 10), 255})
		}
	}
	return im, nil
})

// The card on the half-size photo, from demo-2025-table-1.truth.json (half of its pixels).
var halfTableCard = image.Rect(168, 654, 354, 788)

// halfPhoto gives the photo as JPEG; another quality gives other bytes of the same table. Areas
// are painted over with grey.
func halfPhoto(t *testing.T, quality int, cover ...image.Rectangle) []byte {
	t.Helper()
	im, err := halfTable()
	if err != nil {
		t.Fatal(err)
	}
	if len(cover) > 0 {
		c := image.NewRGBA(im.Bounds())
		draw.Draw(c, c.Bounds(), im, image.Point{}, draw.Src)
		for _, r := range cover {
			draw.Draw(c, r, image.NewUniform(color.RGBA{120, 110, 100, 255}), image.Point{}, draw.Src)
		}
		im = c
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, im, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func put(t *testing.T, b []byte, path ...string) string {
	t.Helper()
	p := filepath.Join(path...)
	if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(p, b, 0o644); err != nil {
		t.Fatal(err)
	}
	return p
}

// harvest writes n photos to a folder.
func harvest(t *testing.T, n int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "photos")
	for i := range n {
		put(t, halfPhoto(t, 85+i), dir, fmt.Sprintf("table-%d.jpg", i+1))
	}
	return dir
}

// results gives the hash of every file that a run promises: the tables, masks and the report. The
// store of single photos (parts/) is its own affair.
func results(t *testing.T, out string) map[string]string {
	t.Helper()
	files := map[string]string{}
	err := filepath.WalkDir(out, func(p string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, _ := filepath.Rel(out, p)
		if d.IsDir() || strings.HasPrefix(rel, "parts"+string(filepath.Separator)) || strings.HasPrefix(d.Name(), ".part-") {
			return nil
		}
		b, err := os.ReadFile(p)
		files[rel] = fmt.Sprintf("%d bytes %x", len(b), sha256.Sum256(b))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// same compares two result folders byte for byte.
func same(t *testing.T, what string, got, want map[string]string) {
	t.Helper()
	for _, must := range []string{"fruits.csv", "photos.csv", "groups.csv", "judgement.json", "report.html"} {
		if want[must] == "" {
			t.Fatalf("%s: the undisturbed run has no %s", what, must)
		}
	}
	for name, w := range want {
		if got[name] != w {
			t.Errorf("%s: %s is %q, undisturbed %q", what, name, got[name], w)
		}
	}
	for name := range got {
		if want[name] == "" {
			t.Errorf("%s: %s is left over", what, name)
		}
	}
}
