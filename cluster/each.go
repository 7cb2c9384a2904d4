package cluster

import (
	"runtime"
	"sync"
)

// each calls do for 0 to n − 1, on all cores: one call must not depend on another.
func each(n int, do func(i int)) {
	workers := min(n, runtime.GOMAXPROCS(0))
	if workers < 2 {
		for i := range n {
			do(i)
		}
		return
	}
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				do(i)
			}
		})
	}
	wg.Wait()
}
