package record

import (
	"strings"
	"testing"
)

func TestCanBeBitter(t *testing.T) {
	for species, want := range map[string]bool{
		"": true, " ": true, "Cucurbita moschata": true, "cucurbita": true, "Cucumis melo": true, "Lagenaria siceraria": true, "Momordica charantia": true,
		"squash": true, "winter squash": true, "Melon": true, "Capsicum annuum": false, "pepper": false, "Solanum lycopersicum": false, "Allium cepa": false, "carrot": false,
		"C. pepo": true, "Solanum melongena": false, "watermelons": true, "butternut": true, "acorn squash": true, "pear gourd": true, "Sechium edule": true, "Daucus carota subsp. sativus": false, "sweet corn": false, "Onions": false,
	} {
		if got := CanBeBitter(species); got != want {
			t.Errorf("CanBeBitter(%q) = %v", species, got)
		}
	}
}

// What is bitter and what is hot, green or another plant altogether are cautions of different crops.
func TestOwnCaution(t *testing.T) {
	for species, want := range map[string]string{
		"Capsicum annuum": "hot", "sweet pepper": "hot", "Solanum lycopersicum": "green", "Allium cepa": "smell of onion", "Daucus carota": "deadly", "Solanum tuberosum": "potatoes",
		"pepper squash": "", "Cucurbita pepo": "", "": "", "Solanum melongena": "",
	} {
		got := OwnCaution(species)
		if !strings.Contains(got, want) || (got == "") != (want == "") {
			t.Errorf("%q: %q, want %q", species, got, want)
		}
		if got != "" && CanBeBitter(species) {
			t.Errorf("%q has a caution of its own and that of cucurbits", species)
		}
	}
	for species, want := range map[string]bool{"Allium cepa": true, "Beta vulgaris": true, "carrots": true, "Solanum lycopersicum": false, "Cucurbita pepo": false, "": false} {
		if IsRoot(species) != want {
			t.Errorf("IsRoot(%q) = %v", species, !want)
		}
	}
}
