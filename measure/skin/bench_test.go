package skin_test

import (
	"testing"

	"offtype/measure/skin"
)

// BenchmarkMeasure measures the eight fruit of a photo with true outlines, surfaces warm.
func BenchmarkMeasure(b *testing.B) {
	l := load(b, "dev-9-patterns")
	skin.Measure(&l.in, skin.DefaultOptions())
	b.ReportAllocs()
	for b.Loop() {
		skin.Measure(&l.in, skin.DefaultOptions())
	}
}
