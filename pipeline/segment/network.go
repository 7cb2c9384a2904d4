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

// Network is the outline network with the second one for doubtful photos. Close it; do not copy it. Several goroutines
// may call it; they wait for each other.
//
// A network that is given another size than the last lays all its arrays out anew, which takes a fifth of a look at the
// whole photo: the glances have a network of their own.
type Network struct{ net, glance, other *vision.Net }

// LoadNet loads the networks that are built into the program.
func LoadNet() (*Network, error) {
	n, err := LoadNets(1)
	if err != nil {
		return nil, err
	}
	return n[0], nil
}

// LoadNets loads n networks that run at the same time. They share that of the glances and the second one, which few
// photos ask and which takes 40 MB when it has been asked; close them all together.
func LoadNets(n int) ([]*Network, error) {
	all := make([]*Network, n)
	var common Network
	err := errors.Join(load(&common.other, "model/second.onnx"), load(&common.glance, "model/outline.onnx"))
	for i := range all {
		m := common
		all[i] = &m
		if err == nil {
			err = load(&m.net, "model/outline.onnx")
		}
	}
	if err != nil {
		for _, m := range all {
			m.Close()
		}
		return nil, err
	}
	return all, nil
}

func load(to **vision.Net, name string) error {
	b, err := modelFiles.ReadFile(name)
	if err != nil {
		return ErrNoNetwork
	}
	if *to, err = vision.LoadNet(b); err != nil {
		return fmt.Errorf("outline network: %w", err)
	}
	return nil
}

// Forward runs the network; see Net.
func (n *Network) Forward(in []float32, shape []int) ([]float32, []int, error) {
	return forward(n.net, in, shape)
}

func forward(net *vision.Net, in []float32, shape []int) ([]float32, []int, error) {
	out, err := net.Forward(vision.Tensor{Data: in, Shape: shape})
	if err != nil {
		return nil, nil, err
	}
	if len(out) != 1 {
		return nil, nil, fmt.Errorf("the outline network gave %d results, needs 1", len(out))
	}
	return out[0].Data, out[0].Shape, nil
}

// Glance returns the network with the same weights that looks at photos made small.
func (n *Network) Glance() Net { return plain{n.glance} }

// Second returns the network that is asked about photos that leave the first in doubt.
func (n *Network) Second() Net { return plain{n.other} }

// plain is one network alone.
type plain struct{ net *vision.Net }

func (p plain) Forward(in []float32, shape []int) ([]float32, []int, error) {
	return forward(p.net, in, shape)
}

// Close gives the networks' memory back; a second call does nothing.
func (n *Network) Close() {
	for _, net := range []*vision.Net{n.net, n.glance, n.other} {
		if net != nil {
			net.Close()
		}
	}
}
