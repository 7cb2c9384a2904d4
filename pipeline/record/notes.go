package record

import (
	"fmt"
	"strings"
)

// NotesInWords says the fruit's notes in words for people. A note on a number says the number: it need not stand elsewhere.
func (f *Fruit) NotesInWords() []string {
	out := NotesInWords(f.Notes)
	for i, c := range f.Notes {
		if c == noteRibs && f.Ribs > 0 {
			out[i] = fmt.Sprintf("%s, good to ±2 only", Count(f.Ribs, "rib", "ribs"))
		}
	}
	return out
}

// NotesInWords says note codes in words for people. A code that has none is shown as it stands, without its hyphens.
func NotesInWords(codes []string) []string {
	out := make([]string, len(codes))
	for i, c := range codes {
		var ok bool
		if out[i], ok = noteWords[c]; !ok {
			out[i] = strings.ReplaceAll(c, "-", " ")
		}
	}
	return out
}

// noteWords says the note codes of fruits.csv and photos.csv in words; docs/tables.md explains them at length.
var noteWords = map[string]string{
	// on a fruit
	"cut":                 "cut by the picture's edge",
	"near-edge":           "near the picture's edge",
	"touches":             "touches a neighbour",
	"partly-hidden":       "partly hidden",
	"too-much-hidden":     "too much of it is hidden",
	"weak-edge":           "hardly stands out from the table",
	"by-hand":             "corrected by hand",
	"too-oblique":         "seen too much from one end",
	"ends-unsure":         "ends not well seen",
	"pose-unsure":         "lying or standing not sure",
	"far-from-camera":     "few pixels on the fruit",
	"stem-unsure":         "stem end not sure",
	"poor-fit":            "not a round body",
	"no-body-fits":        "shape could not be fitted",
	"upright":             "stands on its end, length not seen",
	"views-do-not-fit":    "the photos of it do not fit together",
	"little-skin-seen":    "little skin without shine or shadow",
	"colour-out-of-range": "too bright or too dark for a colour",
	"colour-doubtful":     "colour doubtful",
	"other-light":         "lies in other light than the card, as the table around it shows",
	"ribs-unsure":         "number of ribs good to ±2 only",
	// what a grower says of a fruit or plant that is left out of the judging
	"sick": "sick", "damaged": "damaged", "late": "late", "unripe": "unripe", "not-assessable": "not assessable",
	// on a photo: card and camera
	"card-not-flat":                    "the card is bent or not printed at 100 %",
	"card-blurred":                     "the card is blurred",
	"card-part-hidden":                 "part of the card is hidden",
	"card-number-twice":                "two cards have the same number",
	"focal-length-unsure":              "the camera's focal length is not sure",
	"stated-focal-length-does-not-fit": "the focal length in the photo does not fit the card",
	"scale-from-coin":                  "no card, scale from a coin",
	"scale-from-line":                  "no card, scale from a line",
	"no-scale":                         "no card and no scale",
	"lens-assumed":                     "no card and no focal length in the photo, a common phone's assumed",
	"taken-obliquely":                  "taken too much from one side",
	"corrections-not-applied":          "some corrections could not be applied",
	// on a photo: colours
	"colours-uncorrected":     "colours could not be corrected by the card",
	"card-colours-do-not-fit": "the card's colours do not fit",
	"greys-do-not-fit":        "the card's greys do not fit",
	"uneven-light-on-card":    "uneven light on the card",
	"shine-or-shadow-on-card": "shine or shadow on the card",
	"card-too-bright-or-dark": "the card is too bright or too dark",
	"tone-curve-unusual":      "the camera changed the contrast much",
	"strong-cast-corrected":   "strongly coloured light, corrected by the card",
	"tone-curve-corrected":    "the camera's contrast is unusual, corrected by the card",
	"file-has-small-faults":   "the file has small faults",
	"made-for-print":          "the file is made for print, colours doubtful",
	"grey-picture":            "a grey picture, no colours",
	"colour-profile-unused":   "the colour profile could not be read",
	"high-dynamic-range":      "a high dynamic range picture, colours doubtful",
}
