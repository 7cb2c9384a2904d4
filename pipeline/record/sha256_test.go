package record

import (
	"os"
	"path/filepath"
	"testing"
)

// The digest of "abc" is the example of FIPS 180-4, "SHA-256 Example (One-Block Message Sample)".
func TestFileSHA256(t *testing.T) {
	path := filepath.Join(t.TempDir(), "abc")
	if err := os.WriteFile(path, []byte("abc"), 0o600); err != nil {
		t.Fatal(err)
	}
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got, err := FileSHA256(path); err != nil || got != want {
		t.Errorf("%s, %v; want %s", got, err, want)
	}
	if _, err := FileSHA256(path + "-gone"); !os.IsNotExist(err) {
		t.Errorf("a file that is not there: %v", err)
	}
	if _, err := FileSHA256("/dev/zero"); err == nil { // would never end
		t.Error("a device was read")
	}
}
