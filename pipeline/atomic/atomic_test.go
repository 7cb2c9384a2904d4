package atomic

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWriteKeepsOldFileOnError(t *testing.T) {
	p := filepath.Join(t.TempDir(), "a", "b.txt")
	if err := WriteBytes(p, []byte("old")); err != nil {
		t.Fatal(err)
	}
	bad := errors.New("bad row")
	err := Write(p, func(w io.Writer) error { _, _ = w.Write([]byte("half")); return bad })
	if !errors.Is(err, bad) {
		t.Fatalf("got %v, want %v", err, bad)
	}
	if b, _ := os.ReadFile(p); string(b) != "old" {
		t.Errorf("file holds %q, want the old text", b)
	}
	if fs, _ := os.ReadDir(filepath.Dir(p)); len(fs) != 1 {
		t.Errorf("%d files left in the folder, want 1", len(fs))
	}
}

// A key is never readable for others, not even for a moment: the temporary file has the mode too.
func TestWritePrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key.pem")
	if err := WritePrivate(path, []byte("secret")); err != nil {
		t.Fatal(err)
	}
	st, err := os.Stat(path)
	if err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v; want 0600", st.Mode(), err)
	}
}

// TestReadHasALimit: a file as large as allowed is read, one more byte and a file without end are refused.
func TestReadHasALimit(t *testing.T) {
	p := filepath.Join(t.TempDir(), "a")
	for _, n := range []int{0, 1 << 20, 1<<20 + 1} {
		if err := WriteBytes(p, make([]byte, n)); err != nil {
			t.Fatal(err)
		}
		b, err := Read(p, 1<<20)
		if n <= 1<<20 && (err != nil || len(b) != n) || n > 1<<20 && (err == nil || !strings.Contains(err.Error(), "larger than 1 MB")) {
			t.Errorf("%d bytes: %d read, %v", n, len(b), err)
		}
	}
	if _, err := Read("/dev/zero", MostText); err == nil || !strings.Contains(err.Error(), "larger than 16 MB") {
		t.Errorf("a file without end: %v", err)
	}
	if _, err := Read(p+"-gone", MostText); !errors.Is(err, os.ErrNotExist) || strings.Contains(err.Error(), p) {
		t.Errorf("a file that is not there: %v", err)
	}
}
