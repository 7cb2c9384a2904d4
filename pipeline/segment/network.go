package segment

import (
	"embed"
	"errors"
	"fmt"

	"offtype/pipeline/vision"
)

//go:embed model
var modelFiles embed.FS

// ErrNoNetwork is returned when the program was built without the network's weights.
var ErrNoNetwork = errors.New("this program was built without its outline network (pipeline/segment/model/*.onnx); build it from a complete source tree")

// Network is the outline network. Close it; do not copy it. Several goroutines may call it; they wait for each other.
type Network struct{ net *vision.Net }

// LoadNet loads the network that is built into the program.
func LoadNet() (*Network, error) {
	b, err := modelFiles.ReadFile("model/outline.onnx")
	if err != nil {
		return nil, ErrNoNetwork
	}
	net, err := vision.LoadNet(b)
	if err != nil {
		return nil, fmt.Errorf("outline network: %w", err)
	}
	return &Network{net}, nil
}

// Forward runs the network; see Net.
func (n *Network) Forward(in []float32, shape []int) ([]float32, []int, error) {
	out, err := n.net.Forward(vision.Tensor{Data: in, Shape: shape})
	if err != nil {
		return nil, nil, err
	}
	if len(out) != 1 {
		return nil, nil, fmt.Errorf("the outline network gave %d results, needs 1", len(out))
	}
	return out[0].Data, out[0].Shape, nil
}

// Close gives the network's memory back; a second call does nothing.
func (n *Network) Close() { n.net.Close() }
