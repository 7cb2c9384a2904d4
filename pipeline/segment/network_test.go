package segment

import "testing"

func TestNetworkBuiltIn(t *testing.T) {
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
	if len(out) != channels*h/2*w/2 || len(shape) != 4 || shape[1] != channels || shape[2] != h/2 || shape[3] != w/2 {
		t.Errorf("the network gave %d numbers of shape %v", len(out), shape)
	}
	if _, _, err := n.Forward(make([]float32, 3), []int{1, 3, 1}); err == nil {
		t.Error("an input of the wrong shape went through")
	}
	n.Close()
}
