// Package atomic writes files so that a reader never sees half of one: the bytes go to a
// temporary file in the same folder, which is then renamed over the target.
package atomic

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Write calls fill with a buffer-backed writer and puts the result at path, creating its folder.
// On an error the target is left as it was.
func Write(path string, fill func(io.Writer) error) error {
	var b bytes.Buffer
	if err := fill(&b); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	return WriteBytes(path, b.Bytes())
}

// WriteBytes puts data at path, creating its folder.
func WriteBytes(path string, data []byte) error { return write(path, data, 0o644) }

// WritePrivate is WriteBytes for what nobody but the owner may read at any moment: keys.
func WritePrivate(path string, data []byte) error { return write(path, data, 0o600) }

func write(path string, data []byte, mode os.FileMode) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	f, err := os.CreateTemp(dir, ".part-*")
	if err != nil {
		return fmt.Errorf("write %q: %w", path, err)
	}
	tmp := f.Name()
	_, err = f.Write(data)
	if err == nil {
		err = f.Chmod(mode)
	}
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(tmp, path)
	}
	if err != nil {
		os.Remove(tmp)
		return fmt.Errorf("write %q: %w", path, err)
	}
	return nil
}
