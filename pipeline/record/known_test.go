package record

import (
	"reflect"
	"slices"
	"testing"
)

// What docs/camera.md promises of a photo without card and scale: ratios, shapes and patterns hold, mm and colours mean
// nothing. The caller's fruit keeps its numbers: fruit of one photo are grouped by them.
func TestKnown(t *testing.T) {
	f := sample()
	f.SkinWords, f.Second, f.SecondShare, f.Profile, f.More = "tan", &Lab{L: 30}, Value{V: .2}, []float64{1, 2}, []ColourShare{{Share: .1}}
	f.Ribs, f.GrooveDepth, f.Notes = 5, Value{V: .138}, []string{"cut", "ribs-unsure", "near-edge"}
	if f.Known() != &f {
		t.Error("a fruit with a scale is changed")
	}
	f.Unscaled = true
	before := f
	k := f.Known()
	for name, v := range map[string]Value{"length": k.Length, "width": k.Width, "midline": k.Midline, "volume": k.Volume, "stalk": k.StalkLength} {
		if v.Ok() {
			t.Errorf("%s %v without a scale", name, v)
		}
	}
	if k.Skin != nil || k.Second != nil || k.StalkColour != nil || k.More != nil || k.SkinWords != "" || k.Profile != nil {
		t.Errorf("colours or profile without a scale: %+v", k)
	}
	if k.Ribs != -1 || k.GrooveDepth.Ok() || !slices.Equal(k.Notes, []string{"cut", "near-edge"}) || len(f.Notes) != 3 {
		t.Errorf("ribs %d, grooves %v, notes %q (of %q): there is no camera to tell the relief by", k.Ribs, k.GrooveDepth, k.Notes, f.Notes)
	}
	if !k.Unscaled || k.Ratio.V != f.Ratio.V || k.Bend.V != f.Bend.V || k.Pattern != f.Pattern || k.SecondShare != f.SecondShare || k.LongestMM() != 0 {
		t.Errorf("shape, pattern or mark lost: %+v", k)
	}
	if f.Length != before.Length || f.Skin != before.Skin || f.SkinWords != "tan" {
		t.Error("the caller's fruit is changed")
	}
	full, empty := f.Row(), k.Row()
	if !reflect.DeepEqual(full, empty) || full[6] != "" || full[14] != "" || full[15] != "" || full[10] == "" {
		t.Errorf("fruits.csv: %q", full)
	}
}
