package report

import (
	"image"
	"slices"

	"offtype/pipeline/record"
)

func isUnscaled(f record.Fruit) bool { return f.Unscaled }

// knownRun is the run as it may be shown: without a scale a fruit has neither sizes nor colours. The caller's stays as it is.
func knownRun(run *record.Run) *record.Run {
	if !slices.ContainsFunc(run.Fruits, isUnscaled) {
		return run
	}
	own := *run
	own.Fruits = slices.Clone(run.Fruits)
	onlyKnown(own.Fruits)
	return &own
}

// known is the loader with fruit as they may be shown.
func (l Loader) known() Loader {
	return func(photo string) (image.Image, float64, []record.Fruit, error) {
		m, scale, fruits, err := l(photo)
		if slices.ContainsFunc(fruits, isUnscaled) {
			fruits = slices.Clone(fruits)
			onlyKnown(fruits)
		}
		return m, scale, fruits, err
	}
}

func onlyKnown(fs []record.Fruit) {
	for i := range fs {
		fs[i] = *fs[i].Known()
	}
}

// toFit says why a fruit is drawn to fit.
func (b *docBuilder) toFit(f *record.Fruit) string {
	if f.Unscaled {
		return b.t.NoScale
	}
	return b.t.NoSize
}

// notMeasured says why a size or colour is not there.
func (b *docBuilder) notMeasured(f *record.Fruit) string {
	if f.Unscaled {
		return b.t.NoScaleShort
	}
	return b.t.NotMeasured
}

// anyScaled reports whether a fruit is drawn at its size.
func (b *docBuilder) anyScaled() bool {
	for _, v := range b.views {
		if v.scaled {
			return true
		}
	}
	return false
}
