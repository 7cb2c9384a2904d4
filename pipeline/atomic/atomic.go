// Package atomic writes files so that a reader never sees half of one: the bytes go to a
// temporary file in the same folder, which is then renamed over the target. It also reads files from outside whole, if
// they are no larger than they can be meant to be.
package atomic

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// MostText is more than any description, lens file, list of corrections or colour file takes, bytes.
const MostText = 16 << 20

// Read reads a file of at most most bytes, a multiple of 1 MiB. A larger one, which may have been named by mistake or
// have no end, is an error before it fills the memory. Errors leave out the path: whoever calls names the file.
func Read(path string, most int64) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, Plain(err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, Plain(err)
	}
	if int64(len(b)) > most {
		return nil, fmt.Errorf("it is larger than %d MB, which no such file is", most>>20)
	}
	return b, nil
}

// Plain drops the path that errors of the os package repeat.
func Plain(err error) error {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err
	}
	return err
}

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
