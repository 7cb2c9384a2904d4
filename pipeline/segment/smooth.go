package segment

// whittaker smooths a closed series: it minimises Σ w (z − y)² + lambda Σ (second difference)².
// w must be ≥ 0 and not all 0. The ring is cut open with an overlap long enough for the ends not
// to matter, so that a plain banded solve does.
func whittaker(y, w []float64, lambda float64) []float64 {
	n := len(y)
	over := min(n, 80)
	m := n + 2*over
	// Symmetric pentadiagonal matrix: diagonal d, first e, second f off-diagonal.
	d, e, f, z := make([]float64, m), make([]float64, m), make([]float64, m), make([]float64, m)
	for k := range m {
		i := ((k-over)%n + n) % n
		d[k] = w[i] + 1e-9
		z[k] = (w[i] + 1e-9) * y[i]
	}
	for k := 0; k+2 < m; k++ {
		d[k] += lambda
		d[k+1] += 4 * lambda
		d[k+2] += lambda
		e[k] -= 2 * lambda
		e[k+1] -= 2 * lambda
		f[k] += lambda
	}
	// LDLᵀ in place.
	for k := range m {
		if k >= 1 {
			d[k] -= e[k-1] * e[k-1] * d[k-1]
		}
		if k >= 2 {
			d[k] -= f[k-2] * f[k-2] * d[k-2]
		}
		if k+1 < m {
			v := e[k]
			if k >= 1 {
				v -= e[k-1] * f[k-1] * d[k-1]
			}
			e[k] = v / d[k]
		}
		if k+2 < m {
			f[k] /= d[k]
		}
	}
	for k := range m {
		if k >= 1 {
			z[k] -= e[k-1] * z[k-1]
		}
		if k >= 2 {
			z[k] -= f[k-2] * z[k-2]
		}
	}
	for k := m - 1; k >= 0; k-- {
		z[k] /= d[k]
		if k+1 < m {
			z[k] -= e[k] * z[k+1]
		}
		if k+2 < m {
			z[k] -= f[k] * z[k+2]
		}
	}
	return z[over : over+n]
}
