package record

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
)

// FileSHA256 returns the SHA-256 of a file as lower-case hex, the form of Photo.SHA256. The file is read in pieces and
// never held in memory. A pipe or a device, which may have no end, is an error. photo.SHA256 has a limit of size besides,
// and the advice of a photo.
func FileSHA256(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", errors.New("it is a folder or a device, not a file")
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
