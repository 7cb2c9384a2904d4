package photo

import (
	"errors"
	"io"
	"strings"
)

// What can be wrong with a photo; test with errors.Is.
var (
	ErrNotImage    = errors.New("not an image")
	ErrEmpty       = errors.New("empty file")
	ErrTruncated   = errors.New("cut off")
	ErrDamaged     = errors.New("damaged")
	ErrTooLarge    = errors.New("too large")
	ErrUnreadable  = errors.New("unreadable")
	ErrUnsupported = errors.New("not supported")
)

const (
	doCopyAgain = "copy it from the camera again, or retake it"
	doSaveJPEG  = "save it as JPEG and try again"
)

// Error says what is wrong with a photo and what to do. Its text is "what; do" without the name
// of the photo, which the caller puts in front.
type Error struct {
	Kind error  // one of the Err values above
	What string // what is wrong
	Do   string // what to do next
	Err  error  // detail for a developer, may be nil
}

func (e *Error) Error() string { return e.What + "; " + e.Do }

// Unwrap gives the kind and the cause.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

// truncated is the error of a file that ends too early.
func truncated(cause error) *Error {
	return &Error{Kind: ErrTruncated, What: "the file is cut off: part of the picture is missing", Do: doCopyAgain, Err: cause}
}

// decodeError sorts the error of a decoder by what it means for the owner of the photo.
func decodeError(err error) *Error {
	var own *Error
	if errors.As(err, &own) {
		return own
	}
	text := strings.ToLower(err.Error())
	has := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(text, w) {
				return true
			}
		}
		return false
	}
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF),
		has("unexpected eof", "premature end", "not enough pixel data", "end of file", "short buffer", "ends before"):
		return truncated(err)
	case has("unsupported", "not supported", "not implemented", "unknown color model", "subsampling type"):
		return &Error{Kind: ErrUnsupported, What: "this variant of the file format is not supported", Do: doSaveJPEG, Err: err}
	}
	return &Error{Kind: ErrDamaged, What: "the file is damaged", Do: doCopyAgain, Err: err}
}
