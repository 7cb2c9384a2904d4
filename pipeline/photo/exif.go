package photo

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"github.com/bep/imagemeta"
)

var metaFormat = map[Format]imagemeta.ImageFormat{
	JPEG: imagemeta.JPEG, PNG: imagemeta.PNG, TIFF: imagemeta.TIFF, HEIC: imagemeta.HEIF,
}

// wantedTags are all that is read; anything else in the file, position and serial numbers among
// it, is skipped unread.
var wantedTags = map[string]bool{
	"Orientation": true, "FocalLengthIn35mmFormat": true, "FocalLength": true, "Make": true, "Model": true,
	"DateTimeOriginal": true, "OffsetTimeOriginal": true, "ModifyDate": true, "DigitalZoomRatio": true,
	"ExifImageWidth": true, "ExifImageHeight": true,
}

// readExif reads the tags above; a broken or missing block gives what could be read before it.
func readExif(data []byte, f Format) (x Exif) {
	tags := map[string]any{}
	format := metaFormat[f]
	if f == WebP { // imagemeta 1.0.1 loses its place behind a chunk of odd length
		data, format = bytes.TrimPrefix(webpChunk(data, "EXIF"), []byte("Exif\x00\x00")), imagemeta.TIFF
	}
	func() {
		defer func() { _ = recover() }() // a broken block costs its tags, never the photo
		_, _ = imagemeta.Decode(imagemeta.Options{
			R: bytes.NewReader(data), ImageFormat: format, Sources: imagemeta.EXIF,
			LimitNumTags: 2000, LimitTagSize: 4096,
			ShouldHandleTag: func(t imagemeta.TagInfo) bool {
				return wantedTags[t.Tag] && (t.Namespace == "IFD0" || t.Namespace == "IFD0/ExifIFDP")
			},
			HandleTag: func(t imagemeta.TagInfo) error {
				if _, seen := tags[t.Tag]; !seen {
					tags[t.Tag] = t.Value
				}
				return nil
			},
		})
	}()
	within := func(lo, hi float64, names ...string) float64 {
		for _, name := range names {
			if v := number(tags[name]); v >= lo && v <= hi {
				return v
			}
		}
		return 0
	}
	x.Orientation = int(within(1, 8, "Orientation"))
	x.Focal35MM = within(4, 3000, "FocalLengthIn35mmFormat")
	x.FocalMM = within(0.5, 3000, "FocalLength")
	x.DigitalZoom = within(0.1, 200, "DigitalZoomRatio")
	x.Width = int(within(1, 65535, "ExifImageWidth"))
	x.Height = int(within(1, 65535, "ExifImageHeight"))
	x.Make, x.Model = words(tags["Make"]), words(tags["Model"])
	for _, name := range []string{"DateTimeOriginal", "ModifyDate"} {
		if x.Taken = taken(tags[name], tags["OffsetTimeOriginal"]); x.Taken != "" {
			break
		}
	}
	return x
}

// number reads the numeric types of the decoder; NaN when it is none.
func number(v any) float64 {
	switch n := v.(type) {
	case uint8:
		return float64(n)
	case uint16:
		return float64(n)
	case uint32:
		return float64(n)
	case int16:
		return float64(n)
	case int32:
		return float64(n)
	case int:
		return float64(n)
	case float32:
		return float64(n)
	case float64:
		return n
	case interface{ Float64() float64 }:
		return n.Float64()
	}
	return math.NaN()
}

// words is a short text in one line without control characters.
func words(v any) string {
	s, _ := v.(string)
	s = strings.Map(func(r rune) rune {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, " "))
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 60 {
		s = string(r[:60])
	}
	return s
}

// taken writes an Exif time ("2026:09:30 14:05:00") the ISO way, with its offset when stated.
func taken(v, offset any) string {
	s, _ := v.(string)
	t, err := time.Parse("2006:01:02 15:04:05", strings.TrimSpace(s))
	if err != nil || t.Year() < 1990 {
		return ""
	}
	out := t.Format("2006-01-02 15:04:05")
	if o, _ := offset.(string); o != "" {
		if _, err := time.Parse("-07:00", strings.TrimSpace(o)); err == nil {
			out = fmt.Sprintf("%s %s", out, strings.TrimSpace(o))
		}
	}
	return out
}
