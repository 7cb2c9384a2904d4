package segment

import (
	"math"
	"testing"
)

// One network's firm no must leave a fruit that the other is sure of in doubt, not lose it; two firm answers stay firm;
// distances and votes are plain means.
func TestAverage(t *testing.T) {
	a, b := make([]float32, channels), make([]float32, channels)
	a[0], b[0] = -9, 4
	a[3], b[3] = 0.2, 0.6
	got := average([][]float32{a, b})
	if p := sigmoid(got[0]); math.Abs(float64(p)-0.491) > 0.002 {
		t.Errorf("a firm no and a firm yes give body %.3f, want 0.491", p)
	}
	if math.Abs(float64(got[3])-0.4) > 1e-6 {
		t.Errorf("0.2 and 0.6 give %.3f, want their mean", got[3])
	}
	for _, v := range []float32{-8, 8} {
		a[0], b[0] = v, v
		if got := average([][]float32{a, b})[0]; math.Abs(float64(got-v)) > 0.01 {
			t.Errorf("two answers of %.0f give %.2f", v, got)
		}
	}
}

func TestNetworksBuiltIn(t *testing.T) {
	n, err := LoadNet()
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	const h, w = 64, 96
	out, shape, err := n.Forward(make([]float32, 3*h*w), []int{1, 3, h, w})
	if err != nil {
		t.Fatal(err)
	}
	if len(n.nets) != len(weightFiles) || len(out) != channels*h/2*w/2 || shape[1] != channels {
		t.Errorf("%d networks gave %d numbers of shape %v", len(n.nets), len(out), shape)
	}
}
