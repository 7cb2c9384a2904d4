// Package photo reads photos: JPEG, PNG, TIFF, WebP and HEIC become 8-bit sRGB pixels that stand
// upright (Exif orientation applied, embedded colour profile converted). Sizes are checked in the
// header before any pixel is decoded, and what is wrong with a file comes back as an *Error that
// a gardener can act on. Originals are only read. The position of the camera (GPS) and serial
// numbers are never read into memory beyond the file's own bytes.
package photo

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Photo is a decoded photo.
type Photo struct {
	// Pix is RGB, sRGB-encoded (IEC 61966-2-1), 8 bits a sample, rows from the top, 3·Width bytes a
	// row: the sample c of pixel (x, y) is Pix[3*(y*Width+x)+c]. The centre of the top-left
	// pixel is (0, 0).
	Pix           []uint8
	Width, Height int    // px, after orientation
	SHA256        string // of the file's bytes, hexadecimal
	Format        Format
	Exif          Exif
	Profile       Profile
	// Notes are short codes of what makes the picture doubtful; empty for a sound photo.
	Notes []string
}

// Notes of a Photo: short codes, explained in docs/tables.md.
const (
	NoteFaults  = "file-has-small-faults" // it was read whole all the same
	NoteInks    = "made-for-print"        // four inks: its colours are doubtful
	NoteGrey    = "grey-picture"          // no colours can be measured in it
	NoteProfile = "colour-profile-unused" // it cannot be read; sRGB is assumed
	NoteHDR     = "high-dynamic-range"    // its colours are doubtful
)

// Exif is what the camera wrote and this program uses. 0 or empty means not stated.
type Exif struct {
	Orientation   int     // 1 to 8 as stated in the file; already applied to Pix
	Focal35MM     float64 // mm, focal length scaled to 36 mm × 24 mm film
	FocalMM       float64 // mm, true focal length
	Make, Model   string  // of the camera
	Taken         string  // "2026-09-30 14:05:00", with the offset from UTC ("+02:00") when stated
	DigitalZoom   float64 // factor; 1 when the camera says that none was used
	Width, Height int     // px, as the camera stored it; another shape than Photo's means a crop
}

// Profile says how the file's colours became sRGB.
type Profile struct {
	Name      string  // description in the profile, empty when none is embedded
	Converted bool    // false: values are the file's own
	Clipped   float64 // share (0–1) of pixels with a colour outside sRGB, which is cut in each channel
}

// Options bound what is read. The zero value stands for DefaultOptions.
type Options struct {
	MaxPixels int   // width times height; default 120 000 000
	MaxBytes  int64 // of the file; default 1 GiB

	// Space, which may be nil, is an array that nobody uses any more: a JPEG's pixels are put
	// there when they fit, which spares the system finding as much memory for each photo.
	Space []uint8
}

// DefaultOptions returns the limits of the program: 120 megapixels (the largest medium-format
// cameras have 100 to 150; phones up to 200 but store 12 to 50) and 1 GiB.
func DefaultOptions() Options { return Options{MaxPixels: 120_000_000, MaxBytes: 1 << 30} }

func (o Options) orDefault() Options {
	d := DefaultOptions()
	if o.MaxPixels <= 0 {
		o.MaxPixels = d.MaxPixels
	}
	if o.MaxBytes <= 0 {
		o.MaxBytes = d.MaxBytes
	}
	return o
}

// Read reads and decodes the photo at path. Every failure is an *Error.
func Read(path string, o Options) (*Photo, error) {
	data, err := Bytes(path, o)
	if err != nil {
		return nil, err
	}
	return ReadBytes(filepath.Base(path), data, o)
}

// Bytes reads the file of a photo and does not decode it. What is no regular file is refused, as a pipe or a device has no
// end; so is a file larger than MaxBytes. Every failure is an *Error.
func Bytes(path string, o Options) (data []byte, err error) {
	err = read(path, o.orDefault(), func(r io.Reader) (err error) {
		data, err = io.ReadAll(r)
		return err
	})
	return data, err
}

// SHA256 returns the SHA-256 of the file of a photo as lower-case hex. The file is read in pieces and never held in
// memory; it is refused as by Bytes.
func SHA256(path string, o Options) (string, error) {
	h := sha256.New()
	err := read(path, o.orDefault(), func(r io.Reader) error {
		_, err := io.Copy(h, r)
		return err
	})
	if err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// read hands a regular file of bounded size to use.
func read(path string, o Options, use func(io.Reader) error) error {
	info, err := os.Stat(path)
	if err != nil {
		return unreadable(err)
	}
	if !info.Mode().IsRegular() {
		return &Error{Kind: ErrUnreadable, What: "it is a folder or a device, not a file",
			Do: "name a photo, or a folder of photos"}
	}
	if info.Size() > o.MaxBytes {
		return tooManyBytes(o)
	}
	f, err := os.Open(path)
	if err != nil {
		return unreadable(err)
	}
	defer f.Close()
	limit := io.LimitedReader{R: f, N: o.MaxBytes + 1}
	if err := use(&limit); err != nil {
		return unreadable(err)
	}
	if limit.N == 0 {
		return tooManyBytes(o)
	}
	return nil
}

func unreadable(err error) *Error {
	e := &Error{Kind: ErrUnreadable, Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.What, e.Do = "there is no such file", "check the name; it may have been moved or renamed"
	case errors.Is(err, fs.ErrPermission):
		e.What, e.Do = "you may not read this file (permission denied)", "change its permissions, or copy it to your own folder"
	default:
		// The path is left out: the caller names the photo.
		var pe *fs.PathError
		cause := err
		if errors.As(err, &pe) {
			cause = pe.Err
		}
		e.What, e.Do = fmt.Sprintf("it cannot be read (%v)", cause), "check the disk or memory card and copy the photo again"
	}
	return e
}

func tooManyBytes(o Options) *Error {
	return &Error{Kind: ErrTooLarge, What: fmt.Sprintf("the file is larger than %d MB", o.MaxBytes/1_000_000),
		Do: "save it as a JPEG of at most 120 megapixels"}
}

// ReadBytes decodes a photo from the bytes of its file. name is used for its extension only, to
// give better advice when the content is not what the name says. data is not changed. Every
// failure is an *Error; third-party decoders that panic are caught.
func ReadBytes(name string, data []byte, o Options) (p *Photo, err error) {
	o = o.orDefault()
	defer func() {
		if r := recover(); r != nil {
			p, err = nil, &Error{Kind: ErrDamaged, What: "the file is damaged", Do: doCopyAgain, Err: fmt.Errorf("decoder: %v", r)}
		}
	}()
	if len(data) == 0 {
		return nil, &Error{Kind: ErrEmpty, What: "the file is empty", Do: doCopyAgain}
	}
	if int64(len(data)) > o.MaxBytes {
		return nil, tooManyBytes(o)
	}
	format := sniff(data)
	if err := supported(name, data, format); err != nil {
		return nil, err
	}
	raw, err := decoders[format](data, o)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(data)
	p = &Photo{SHA256: hex.EncodeToString(sum[:]), Format: format, Notes: raw.notes}
	p.Exif = readExif(data, format)
	p.Pix, p.Width, p.Height = raw.pix, raw.w, raw.h
	if !raw.upright {
		p.Pix, p.Width, p.Height = orient(raw.pix, raw.w, raw.h, p.Exif.Orientation)
	}
	if raw.grey {
		p.Notes = append(p.Notes, NoteGrey)
	}
	var note string
	if p.Profile, note = convert(p.Pix, raw); note != "" {
		p.Notes = append(p.Notes, note)
	}
	return p, nil
}

// raw is what a decoder hands over: RGB before orientation and colour conversion.
type raw struct {
	pix     []uint8
	w, h    int
	upright bool   // orientation is applied already
	icc     []byte // embedded profile, nil when there is none
	grey    bool   // the file holds one channel
	inks    bool   // converted from four inks: an embedded profile does not apply any more
	nclx    int    // colour primaries (ITU-T H.273) when there is no profile, 0 when not stated
	notes   []string
}

// checkPixels is asked before pixels are decoded.
func checkPixels(w, h int, bytes int, o Options) error {
	if w < 1 || h < 1 {
		return &Error{Kind: ErrDamaged, What: fmt.Sprintf("the file says its size is %d × %d pixels", w, h), Do: doCopyAgain}
	}
	if w > 65535 || h > 65535 || w > o.MaxPixels/h {
		return &Error{Kind: ErrTooLarge,
			What: fmt.Sprintf("it has %d × %d pixels, more than %d megapixels", w, h, o.MaxPixels/1_000_000),
			Do:   "save it at a smaller size; 12 megapixels are plenty"}
	}
	// A photo of a table has at least 0.02 bytes a pixel in any format. A file far below that
	// is a decompression bomb or a blank page; small ones are let through, as they cost little.
	if w*h > 20_000_000 && w*h/1000 > bytes {
		return &Error{Kind: ErrDamaged,
			What: fmt.Sprintf("it says %d × %d pixels but holds almost no picture", w, h), Do: doCopyAgain}
	}
	return nil
}

// extension returns the lower-case extension of a name without its dot.
func extension(name string) string {
	return strings.ToLower(strings.TrimPrefix(filepath.Ext(name), "."))
}
