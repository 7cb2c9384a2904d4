package vision

import (
	"errors"
	"os"
	"sync"
	"testing"
)

// tiny.onnx: a convolution with zero padding and two outputs, the plus-shaped sum with the middle
// doubled + 0.5, and 100 minus the sum of the 3 × 3 square, both cut at 0.
func tinyExpected(x []float32, w, h int) []float32 {
	at := func(i, j int) float32 {
		if i < 0 || j < 0 || i >= w || j >= h {
			return 0
		}
		return x[j*w+i]
	}
	out := make([]float32, 2*w*h)
	for j := range h {
		for i := range w {
			square := float32(0)
			for dj := -1; dj <= 1; dj++ {
				for di := -1; di <= 1; di++ {
					square += at(i+di, j+dj)
				}
			}
			out[j*w+i] = max(0, 2*at(i, j)+at(i-1, j)+at(i+1, j)+at(i, j-1)+at(i, j+1)+0.5)
			out[w*h+j*w+i] = max(0, 100-square)
		}
	}
	return out
}

func loadTiny(t *testing.T) *Net {
	t.Helper()
	data, err := os.ReadFile("testdata/tiny.onnx")
	if err != nil {
		t.Fatal(err)
	}
	n, err := LoadNet(data)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(n.Close)
	return n
}

func TestNetAgainstFormula(t *testing.T) {
	n := loadTiny(t)
	x := make([]float32, 24)
	for i := range x {
		x[i] = float32(i*i%17) - 3 // whole numbers: the sums are exact
	}
	var wait sync.WaitGroup
	for range 3 { // calls at the same time wait for each other
		wait.Go(func() {
			got, err := n.Forward(Tensor{Data: x, Shape: []int{1, 1, 4, 6}})
			if err != nil || len(got) != 1 || len(got[0].Data) != 48 || len(got[0].Shape) != 4 || got[0].Shape[1] != 2 {
				t.Errorf("%v, %+v", err, got)
				return
			}
			for i, want := range tinyExpected(x, 6, 4) {
				if got[0].Data[i] != want {
					t.Errorf("number %d: %g, want %g", i, got[0].Data[i], want)
				}
			}
		})
	}
	wait.Wait()
	if got, err := n.Forward(Tensor{Data: x, Shape: []int{1, 1, 4, 6}}, "y"); err != nil || len(got) != 1 {
		t.Errorf("by name: %v, %d results", err, len(got))
	}
}

func TestNetRefusesWrongInput(t *testing.T) {
	n := loadTiny(t)
	for _, in := range []Tensor{
		{}, {Data: make([]float32, 5), Shape: []int{1, 1, 4, 6}}, {Data: make([]float32, 24), Shape: []int{24, 0}},
		{Data: make([]float32, 1), Shape: []int{1 << 30, 1 << 30, 1 << 30}},
	} {
		if _, err := n.Forward(in); !errors.Is(err, ErrSize) {
			t.Errorf("%v: %v, want ErrSize", in.Shape, err)
		}
	}
	// Right sizes that the network cannot take: OpenCV throws, which must not end the process.
	if _, err := n.Forward(Tensor{Data: make([]float32, 72), Shape: []int{1, 3, 4, 6}}); err == nil {
		t.Error("three channels for a network of one: no error")
	}
	if _, err := n.Forward(Tensor{Data: make([]float32, 24), Shape: []int{1, 1, 4, 6}}, "no such layer"); err == nil {
		t.Error("an unknown layer: no error")
	}
	n.Close()
	n.Close()
	if _, err := n.Forward(Tensor{Data: make([]float32, 24), Shape: []int{1, 1, 4, 6}}); err == nil {
		t.Error("a closed network: no error")
	}
}

func TestBrokenNetIsAnError(t *testing.T) {
	data, err := os.ReadFile("testdata/tiny.onnx")
	if err != nil {
		t.Fatal(err)
	}
	for cut := 1; cut < 10; cut++ {
		n, err := LoadNet(data[:len(data)*cut/10])
		if err != nil {
			continue
		}
		if _, err := n.Forward(Tensor{Data: make([]float32, 24), Shape: []int{1, 1, 4, 6}}); err == nil {
			t.Errorf("cut at %d/10: loads and runs", cut)
		}
		n.Close()
	}
}
