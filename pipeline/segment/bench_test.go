package segment

import (
	"testing"

	"offtype/pipeline/scene"
)

func benchScene(b *testing.B) (Image, *scene.Scene, labels) {
	s, err := scene.Read(sceneDir, "dev-6-two-cards-far")
	if err != nil {
		b.Fatal(err)
	}
	return readPhoto(b, s.Photo), s, sceneLabels(s)
}

// BenchmarkScaleInput: photo of 2400 × 1800 px to the network's input.
func BenchmarkScaleInput(b *testing.B) {
	im, _, _ := benchScene(b)
	for b.Loop() {
		scaleInput(im, 1024)
	}
}

// BenchmarkFromMaps: everything after the network, 20 fruit.
func BenchmarkFromMaps(b *testing.B) {
	im, s, l := benchScene(b)
	m := simulated(l, s.Fruits, 1, 1)
	b.ReportAllocs()
	for b.Loop() {
		FromMaps(im, m, nil, DefaultOptions())
	}
}

// BenchmarkRegions: the first step alone.
func BenchmarkRegions(b *testing.B) {
	_, s, l := benchScene(b)
	m := simulated(l, s.Fruits, 1, 1)
	for b.Loop() {
		findRegions(m, nil, DefaultOptions())
	}
}

// BenchmarkNetwork: the network alone, input of 1024 × 768.
func BenchmarkNetwork(b *testing.B) {
	net, err := LoadNet()
	if err != nil {
		b.Fatal(err)
	}
	defer net.Close()
	im, _, _ := benchScene(b)
	in := scaleInput(im, 1024)
	for b.Loop() {
		if _, _, err := net.Forward(in.data, []int{1, 3, in.h, in.w}); err != nil {
			b.Fatal(err)
		}
	}
}
