package vision

// #include <stdlib.h>
// #include "shim.h"
import "C"

import (
	"errors"
	"fmt"
	"math"
	"sync"
	"unsafe"
)

// Tensor is an array of numbers with its shape; the last index runs fastest. Pictures have the
// shape batch, channels, height, width.
type Tensor struct {
	Data  []float32
	Shape []int
}

// check reports whether shape and data fit.
func (t Tensor) check() error {
	if len(t.Shape) < 1 || len(t.Shape) > 8 {
		return fmt.Errorf("tensor with %d dimensions: %w", len(t.Shape), ErrSize)
	}
	n := 1
	for _, s := range t.Shape {
		if s < 1 || s > math.MaxInt32 || n > math.MaxInt32/s {
			return fmt.Errorf("tensor of shape %v: %w", t.Shape, ErrSize)
		}
		n *= s
	}
	if n != len(t.Data) {
		return fmt.Errorf("tensor of shape %v with %d numbers: %w", t.Shape, len(t.Data), ErrSize)
	}
	return nil
}

// Net is a trained neural network. Close it; do not copy it. Calls from several goroutines wait
// for each other: with several workers load one for each.
type Net struct {
	mu sync.Mutex
	p  *C.vis_net
}

// LoadNet reads a network from the bytes of an ONNX file (opset 9 to 17 known to work).
func LoadNet(onnx []byte) (*Net, error) {
	if len(onnx) == 0 {
		return nil, errors.New("load network: the file is empty")
	}
	var p *C.vis_net
	if err := fail("load network", C.vis_net_load(bytesOf(onnx), C.size_t(len(onnx)), &p)); err != nil {
		return nil, err
	}
	return &Net{p: p}, nil
}

// Forward runs the network on in. outputs names the layers whose results are wanted; without
// names, all final layers in the order of the file. A shape that the network does not take is an
// error.
func (n *Net) Forward(in Tensor, outputs ...string) ([]Tensor, error) {
	if err := in.check(); err != nil {
		return nil, fmt.Errorf("run network: %w", err)
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.p == nil {
		return nil, errors.New("run network: it is closed")
	}
	shape := make([]C.int, len(in.Shape))
	for i, s := range in.Shape {
		shape[i] = C.int(s)
	}
	names, free := cStrings(outputs)
	defer free()
	err := fail("run network", C.vis_net_forward(n.p, (*C.float)(unsafe.SliceData(in.Data)),
		unsafe.SliceData(shape), C.int(len(shape)), names, C.int(len(outputs))))
	if err != nil {
		return nil, err
	}
	results := make([]Tensor, int(C.vis_net_results(n.p)))
	for i := range results {
		var sizes [8]C.int
		dims := int(C.vis_net_result_shape(n.p, C.int(i), &sizes[0], 8)) // at most 8
		total := 1
		for _, s := range sizes[:dims] {
			results[i].Shape = append(results[i].Shape, int(s))
			total *= int(s)
		}
		results[i].Data = make([]float32, total)
		if total > 0 {
			C.vis_net_result_copy(n.p, C.int(i), (*C.float)(unsafe.SliceData(results[i].Data)))
		}
	}
	return results, nil
}

// Close gives the memory back; a second call does nothing.
func (n *Net) Close() {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.p != nil {
		C.vis_net_close(n.p)
		n.p = nil
	}
}

// cStrings copies strings to C; free gives the copies back.
func cStrings(list []string) (p **C.char, free func()) {
	if len(list) == 0 {
		return nil, func() {}
	}
	size := C.size_t(len(list)) * C.size_t(unsafe.Sizeof((*C.char)(nil)))
	block := (**C.char)(C.malloc(size))
	all := unsafe.Slice(block, len(list))
	for i, s := range list {
		all[i] = C.CString(s)
	}
	return block, func() {
		for _, s := range all {
			C.free(unsafe.Pointer(s))
		}
		C.free(unsafe.Pointer(block))
	}
}
