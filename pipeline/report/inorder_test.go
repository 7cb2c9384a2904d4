package report

import (
	"errors"
	"slices"
	"sync/atomic"
	"testing"
)

// TestInOrder: results come in order whatever order they are made in, no more than w are made at a time, and an error
// ends it with nothing left running.
func TestInOrder(t *testing.T) {
	for _, w := range []int{0, 1, 2, 5} {
		var got []int
		var now, most atomic.Int32
		first := make(chan struct{})
		err := inOrder(40, w, func(i int) (int, error) {
			n := now.Add(1)
			defer now.Add(-1)
			for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
			}
			switch { // the second overtakes the first
			case i == 0 && w > 1:
				<-first
			case i == 1 && w > 1:
				close(first)
			}
			return i * i, nil
		}, func(v int) { got = append(got, v) })
		want := make([]int, 40)
		for i := range want {
			want[i] = i * i
		}
		if err != nil || !slices.Equal(got, want) || int(most.Load()) > max(1, w) {
			t.Errorf("%d goroutines: %v, %v, %d at a time", w, err, got, most.Load())
		}
		bad := errors.New("bad")
		got = nil
		err = inOrder(40, w, func(i int) (int, error) {
			now.Add(1)
			defer now.Add(-1)
			if i == 3 {
				return 0, bad
			}
			return i, nil
		}, func(v int) { got = append(got, v) })
		if !errors.Is(err, bad) || !slices.Equal(got, []int{0, 1, 2}) || now.Load() != 0 {
			t.Errorf("%d goroutines, the fourth fails: %v, %v, %d still running", w, err, got, now.Load())
		}
	}
	if err := inOrder(0, 2, func(int) (int, error) { return 0, errors.New("called") }, nil); err != nil {
		t.Error(err)
	}
}
