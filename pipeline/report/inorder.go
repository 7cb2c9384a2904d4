package report

import "sync"

// inOrder calls do for 0 … n−1 on w goroutines (at least one) and then, on the caller's own, with what it gave, in
// order. Results wait for those before them, at most 2·w of them. At the first error it starts no more and returns
// when those under way are done.
func inOrder[T any](n, w int, do func(i int) (T, error), then func(T)) error {
	type done struct {
		v   T
		err error
	}
	w = max(1, w)
	queue, running, stop := make(chan chan done, 2*w), make(chan struct{}, w), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		defer close(queue)
		for i := range n {
			c := make(chan done, 1)
			select {
			case running <- struct{}{}:
			case <-stop:
				return
			}
			wg.Go(func() {
				v, err := do(i)
				<-running
				c <- done{v, err}
			})
			select {
			case queue <- c:
			case <-stop:
				return
			}
		}
	})
	defer wg.Wait()
	defer close(stop)
	for c := range queue {
		d := <-c
		if d.err != nil {
			return d.err
		}
		then(d.v)
	}
	return nil
}
