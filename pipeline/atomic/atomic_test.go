package atomic

import (
	"errors"
	"io"
	"os"
	"path/filepath"
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
