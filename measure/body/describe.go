package body

import "fmt"

// Describe returns the fitted parameters as text, for tests and bug reports.
func (b *Body) Describe() string {
	m := b.m
	return fmt.Sprintf("rise %.1f° length %.1f tips %.3f %.3f q %.2f bends %.2f ribs %d %.3f", b.RiseDeg, m.mid.L, m.prof.c0, m.prof.c1, m.prof.c, m.mid.b, m.ribs, b.GrooveDepth)
}
