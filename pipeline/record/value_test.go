package record

import "testing"

// A first letter of more than one byte is a letter too.
func TestCapital(t *testing.T) {
	for s, want := range map[string]string{"print it": "Print it", "été": "Été", "41° more": "41° more", "": ""} {
		if got := Capital(s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}
