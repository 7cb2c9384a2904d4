package record

import "testing"

func TestCanBeBitter(t *testing.T) {
	for species, want := range map[string]bool{
		"": true, " ": true, "Cucurbita moschata": true, "cucurbita": true, "Cucumis melo": true, "Lagenaria siceraria": true, "Momordica charantia": true,
		"squash": true, "winter squash": true, "Melon": true, "Capsicum annuum": false, "pepper": false, "Solanum lycopersicum": false, "Allium cepa": false, "carrot": false,
	} {
		if got := CanBeBitter(species); got != want {
			t.Errorf("CanBeBitter(%q) = %v", species, got)
		}
	}
}
