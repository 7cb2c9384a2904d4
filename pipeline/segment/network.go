package segment

import (
	"embed"
	"errors"
	"fmt"
	"math"
	"slices"

	"offtype/pipeline/vision"
)

//go:embed model
var modelFiles embed.FS

// weightFiles are the two networks whose answers are averaged. They were trained apart: where one is blind to a
// fruit the other mostly sees it (pipeline/segment/model/README.md has the figures).
var weightFiles = []string{"model/outline.onnx", "model/outline-deep.onnx"}

// ErrNoNetwork is returned when the program was built without the network's weights.
var ErrNoNetwork = errors.New("this program was built without its outline network (pipeline/segment/model/*.onnx); build it from a complete source tree")

// Network is the outline network: the mean of several. Close it; do not copy it. Several goroutines may call it; in
// each of its networks they wait for each other.
type Network struct{ nets []*vision.Net }

// LoadNet loads the networks that are built into the program.
func LoadNet() (*Network, error) {
	n := new(Network)
	for _, name := range weightFiles {
		b, err := modelFiles.ReadFile(name)
		if err != nil {
			n.Close()
			return nil, ErrNoNetwork
		}
		one, err := vision.LoadNet(b)
		if err != nil {
			n.Close()
			return nil, fmt.Errorf("outline network: %w", err)
		}
		n.nets = append(n.nets, one)
	}
	return n, nil
}

// Forward runs the networks and averages what they say; see Net.
func (n *Network) Forward(in []float32, shape []int) ([]float32, []int, error) {
	var all [][]float32
	var at []int
	for _, one := range n.nets {
		out, err := one.Forward(vision.Tensor{Data: in, Shape: shape})
		if err != nil {
			return nil, nil, err
		}
		if len(out) != 1 || at != nil && !slices.Equal(at, out[0].Shape) {
			return nil, nil, fmt.Errorf("outline networks gave results that do not fit each other")
		}
		all, at = append(all, out[0].Data), out[0].Shape
	}
	if len(all) == 0 {
		return nil, nil, ErrNoNetwork
	}
	return average(all), at, nil
}

// average returns the mean of the networks' answers, in the first one's place. Of the body, the first of the
// channels, the probabilities are averaged, so that one network's firm no leaves a fruit that the other sees in doubt
// and does not lose it; everything else is averaged as it is.
func average(all [][]float32) []float32 {
	first, share := all[0], 1/float32(len(all))
	if len(all) == 1 {
		return first
	}
	body := len(first) / channels
	for i := range first {
		sum := float32(0)
		for _, a := range all {
			if i < body {
				sum += sigmoid(a[i]) * share
			} else {
				sum += a[i] * share
			}
		}
		if i < body {
			q := clamp(float64(sum), 1e-6, 1-1e-6)
			sum = float32(math.Log(q / (1 - q)))
		}
		first[i] = sum
	}
	return first
}

// Close gives the networks' memory back; a second call does nothing.
func (n *Network) Close() {
	for _, one := range n.nets {
		one.Close()
	}
}
