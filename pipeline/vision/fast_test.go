package vision

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// roundOff is how far apart two ways to add up the same single-precision products may come, over the greatest result.
// Winograd's filtering of 4 × 4 places loses about a digit.
const roundOff = 2e-5

// oneLayer describes a network of one layer: 3 × 3 convolution, or 2 × 2 transposed convolution of step 2.
type oneLayer struct {
	op                             string
	in, out, step, hole, pad, h, w int
	relu                           bool
	weights, bias                  []float32
}

func (l *oneLayer) side() int {
	if l.op == "ConvTranspose" {
		return 2
	}
	return 3
}

// field is a field of a message in the encoding of protocol buffers.
func field(n int, v any) []byte {
	b := binary.AppendUvarint(nil, uint64(n)<<3)
	switch v := v.(type) {
	case int:
		return binary.AppendUvarint(b, uint64(v))
	case string:
		return field(n, []byte(v))
	case []byte:
		b[0] |= 2 // the kind: bytes of a length that comes first
		return append(binary.AppendUvarint(b, uint64(len(v))), v...)
	}
	panic("no such field")
}

func ints(name string, v ...int) []byte {
	b := append(field(1, name), field(20, 7)...)
	for _, x := range v {
		b = append(b, field(8, x)...)
	}
	return field(5, b)
}

func array(name string, data []float32, shape ...int) []byte {
	var b, raw []byte
	for _, n := range shape {
		b = append(b, field(1, n)...)
	}
	for _, v := range data {
		raw = binary.LittleEndian.AppendUint32(raw, math.Float32bits(v))
	}
	return field(5, slices.Concat(b, field(2, 1), field(8, name), field(9, raw)))
}

func place(n int, name string, shape ...int) []byte {
	var dims []byte
	for _, s := range shape {
		dims = append(dims, field(1, field(1, s))...)
	}
	return field(n, slices.Concat(field(1, name), field(2, field(1, slices.Concat(field(1, 1), field(2, dims))))))
}

// onnx is the network as a file, after the field numbers of onnx.proto of version 1.6 (from memory).
func (l *oneLayer) onnx() []byte {
	k := l.side()
	shape := []int{l.out, l.in, k, k}
	if k == 2 {
		shape = []int{l.in, l.out, k, k}
	}
	oh, ow := l.size()
	to := "y"
	if l.relu {
		to = "z"
	}
	graph := slices.Concat(
		field(1, slices.Concat(field(1, "x"), field(1, "w"), field(1, "b"), field(2, to), field(3, "layer"), field(4, l.op),
			ints("kernel_shape", k, k), ints("strides", l.step, l.step), ints("dilations", l.hole, l.hole),
			ints("pads", l.pad, l.pad, l.pad, l.pad))))
	if l.relu {
		graph = append(graph, field(1, slices.Concat(field(1, "z"), field(2, "y"), field(3, "cut"), field(4, "Relu")))...)
	}
	graph = slices.Concat(graph, field(2, "g"), array("w", l.weights, shape...), array("b", l.bias, l.out),
		place(11, "x", 1, l.in, l.h, l.w), place(12, "y", 1, l.out, oh, ow))
	return slices.Concat(field(1, 6), field(7, graph), field(8, field(2, 11)))
}

func (l *oneLayer) size() (h, w int) {
	if l.side() == 2 {
		return 2 * l.h, 2 * l.w
	}
	of := func(n int) int { return (n+2*l.pad-2*l.hole-1)/l.step + 1 }
	return of(l.h), of(l.w)
}

// formula is the layer's result in double precision, from its definition.
func (l *oneLayer) formula(x []float32) []float64 {
	oh, ow := l.size()
	y := make([]float64, l.out*oh*ow)
	for o := range l.out {
		for i := range oh {
			for j := range ow {
				v := float64(l.bias[o])
				for c := range l.in {
					if l.side() == 2 {
						v += float64(l.weights[((c*l.out+o)*2+i%2)*2+j%2]) * float64(x[(c*l.h+i/2)*l.w+j/2])
						continue
					}
					for ky := range 3 {
						for kx := range 3 {
							r, s := i*l.step+ky*l.hole-l.pad, j*l.step+kx*l.hole-l.pad
							if r >= 0 && s >= 0 && r < l.h && s < l.w {
								v += float64(l.weights[((o*l.in+c)*3+ky)*3+kx]) * float64(x[(c*l.h+r)*l.w+s])
							}
						}
					}
				}
				if l.relu {
					v = max(0, v)
				}
				y[(o*oh+i)*ow+j] = v
			}
		}
	}
	return y
}

// TestLayersAgainstFormula runs layers of all kinds that networks have here, of sizes that fill up neither the vectors
// nor the tiles.
func TestLayersAgainstFormula(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	fill := func(n int) []float32 {
		v := make([]float32, n)
		for i := range v {
			v[i] = float32(rng.NormFloat64())
		}
		return v
	}
	for _, l := range []oneLayer{
		{op: "Conv", in: 3, out: 16, step: 2, hole: 1, pad: 1, h: 64, w: 96, relu: true},
		{op: "Conv", in: 5, out: 7, step: 2, hole: 1, pad: 1, h: 37, w: 53},
		{op: "Conv", in: 32, out: 32, step: 1, hole: 1, pad: 1, h: 48, w: 64, relu: true},
		{op: "Conv", in: 5, out: 7, step: 1, hole: 1, pad: 1, h: 37, w: 53},
		{op: "Conv", in: 96, out: 9, step: 1, hole: 1, pad: 1, h: 3, w: 1, relu: true},
		{op: "Conv", in: 4, out: 4, step: 1, hole: 1, pad: 1, h: 5, w: 131},
		{op: "Conv", in: 9, out: 6, step: 1, hole: 1, pad: 0, h: 12, w: 19},
		{op: "Conv", in: 8, out: 12, step: 1, hole: 4, pad: 4, h: 24, w: 32, relu: true},
		{op: "Conv", in: 3, out: 5, step: 1, hole: 2, pad: 2, h: 11, w: 13},
		{op: "Conv", in: 3, out: 5, step: 3, hole: 2, pad: 1, h: 31, w: 40},
		{op: "ConvTranspose", in: 32, out: 8, step: 2, hole: 1, h: 24, w: 32},
		{op: "ConvTranspose", in: 6, out: 3, step: 2, hole: 1, h: 9, w: 21},
	} {
		t.Run(fmt.Sprintf("%s %d to %d step %d hole %d pad %d of %d × %d", l.op, l.in, l.out, l.step, l.hole, l.pad, l.h, l.w), func(t *testing.T) {
			l.weights, l.bias = fill(l.in*l.out*l.side()*l.side()), fill(l.out)
			x := fill(l.in * l.h * l.w)
			want := l.formula(x)
			most := 0.0
			for _, v := range want {
				most = max(most, math.Abs(v))
			}
			n, err := LoadNet(l.onnx())
			if err != nil {
				t.Fatal(err)
			}
			defer n.Close()
			var first []float32
			for threads := 1; threads <= 2; threads++ {
				SetNumThreads(threads)
				got, err := n.Forward(Tensor{Data: x, Shape: []int{1, l.in, l.h, l.w}})
				if err != nil {
					t.Fatal(err)
				}
				if len(got) != 1 || len(got[0].Data) != len(want) {
					t.Fatalf("%d results, the first of shape %v", len(got), got[0].Shape)
				}
				for i, v := range got[0].Data {
					if !(math.Abs(float64(v)-want[i]) <= roundOff*most) {
						t.Fatalf("number %d: %v, want %v", i, v, want[i])
					}
				}
				if first = append(first, got[0].Data...); !slices.Equal(first[:len(want)], got[0].Data) {
					t.Error("two threads give other numbers than one")
				}
			}
		})
	}
}
