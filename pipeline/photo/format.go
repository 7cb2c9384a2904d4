package photo

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
)

// Format is a file format, by its content and not by its name.
type Format string

// The formats that are read.
const (
	JPEG    Format = "jpeg"
	PNG     Format = "png"
	TIFF    Format = "tiff"
	WebP    Format = "webp"
	HEIC    Format = "heic"
	unknown Format = ""
)

// Extensions lists the extensions, lower case without a dot, of the files that Read takes; for
// walking a folder.
func Extensions() []string {
	return []string{"heic", "heif", "jpe", "jpeg", "jpg", "png", "tif", "tiff", "webp"}
}

// IsPhotoName reports whether a file name has one of the Extensions.
func IsPhotoName(name string) bool { return slices.Contains(Extensions(), extension(name)) }

var decoders = map[Format]func([]byte, Options) (*raw, error){
	JPEG: decodeJPEG, PNG: decodePNG, TIFF: decodeTIFF, WebP: decodeWebP, HEIC: decodeHEIC,
}

// HeadBytes is how many of a file's first bytes tell its format.
const HeadBytes = 256

// EndingOf tells by a file's first HeadBytes bytes what ending a photo of its kind bears: ".jpg". It is false for what is
// not read.
func EndingOf(head []byte) (string, bool) {
	e, ok := map[Format]string{JPEG: ".jpg", PNG: ".png", TIFF: ".tif", WebP: ".webp", HEIC: ".heic"}[sniff(head)]
	return e, ok
}

// sniff tells the format from the first bytes.
func sniff(data []byte) Format {
	has := func(at int, s string) bool {
		return len(data) >= at+len(s) && string(data[at:at+len(s)]) == s
	}
	switch {
	case has(0, "\xFF\xD8\xFF"):
		return JPEG
	case has(0, "\x89PNG\r\n\x1a\n"):
		return PNG
	case has(0, "II*\x00"), has(0, "MM\x00*"):
		return TIFF
	case has(0, "RIFF") && has(8, "WEBP"):
		return WebP
	case has(4, "ftyp"):
		if isHEIC(data) {
			return HEIC
		}
	}
	return unknown
}

// isHEIC looks at the brands of an ISO base media file.
func isHEIC(data []byte) bool {
	n := min(int(binary.BigEndian.Uint32(data)), len(data), HeadBytes)
	for at := 8; at+4 <= n; at += 4 {
		switch string(data[at : at+4]) {
		case "heic", "heix", "heim", "heis", "hevc", "hevx":
			return true
		}
	}
	return false
}

// others are formats that people may hand over, with their first bytes at an offset.
var others = []struct {
	at          int
	magic, name string
}{
	{0, "GIF8", "a GIF"}, {0, "BM", "a BMP"}, {0, "%PDF", "a PDF document"}, {0, "8BPS", "a Photoshop file"},
	{0, "II+\x00", "a BigTIFF"}, {0, "MM\x00+", "a BigTIFF"}, {0, "\xFF\x0A", "a JPEG XL"},
	{4, "JXL ", "a JPEG XL"}, {4, "jP  ", "a JPEG 2000"}, {8, "avif", "an AVIF"}, {8, "crx ", "a raw camera file"},
	{0, "FUJIFILM", "a raw camera file"}, {4, "ftyp", "a film or an unknown HEIF picture"},
}

var rawExtensions = []string{"3fr", "arw", "cr2", "cr3", "dng", "erf", "iiq", "kdc", "mrw", "nef", "nrw", "orf", "pef", "raf", "raw", "rw2", "srw"}

// supported refuses what no decoder takes, with advice.
func supported(name string, data []byte, f Format) error {
	refuse := func(kind error, what, do string) error { return &Error{Kind: kind, What: what, Do: do} }
	if f == TIFF && (slices.Contains(rawExtensions, extension(name)) || isRawTIFF(data)) {
		return refuse(ErrUnsupported, "it is a raw camera file, which is not supported", "develop it and save it as JPEG or 16-bit TIFF")
	}
	if f != unknown {
		return nil
	}
	for _, o := range others {
		if len(data) >= o.at+len(o.magic) && string(data[o.at:o.at+len(o.magic)]) == o.magic {
			return refuse(ErrUnsupported, fmt.Sprintf("it is %s, which is not supported", o.name), doSaveJPEG)
		}
	}
	if len(bytes.Trim(data[:min(len(data), 4096)], "\x00")) == 0 {
		return refuse(ErrDamaged, "the file holds only zeros", doCopyAgain)
	}
	if slices.Contains(rawExtensions, extension(name)) {
		return refuse(ErrUnsupported, "it is a raw camera file, which is not supported", "develop it and save it as JPEG or 16-bit TIFF")
	}
	return refuse(ErrNotImage, "it is not an image that can be read",
		"give JPEG, PNG, TIFF, WebP or HEIC photos; if it should be one, copy it from the camera again")
}
