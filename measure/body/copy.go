package body

import "slices"

// Copy returns a body that Alike may fit anew while b stays as it was fitted by itself.
func (b *Body) Copy() *Body {
	c := *b
	if b.task == nil {
		return &c
	}
	t := *b.task
	c.m = b.m.clone()
	t.minima = make([]*model, len(b.task.minima))
	for i, m := range b.task.minima {
		t.minima[i] = m.clone()
	}
	t.rays = slices.Clone(t.rays)
	t.under, t.abs = slices.Clone(t.under), slices.Clone(t.abs)
	t.eq, t.buf, t.sorted = nil, nil, nil // room of a descent
	c.task = &t
	return &c
}
