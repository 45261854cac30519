package stat

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// remlPoint is the likelihood at one set of variances. With B the covariance without crossed effects,
// D the crossed effects' standard deviations (1 for fixed effects) and J 1 for crossed columns, 0 for
// fixed ones: H = D(W'B⁻¹W)D + J, and
//
//	P = V⁻¹ − V⁻¹X(X'V⁻¹X)⁻¹X'V⁻¹ = B⁻¹ − B⁻¹WD H⁻¹ DW'B⁻¹, log|V| + log|X'V⁻¹X| = log|B| + log|H|.
type remlPoint struct {
	ok     bool
	loglik float64
	h      [][]float64   // H
	low    [][]float64   // its Cholesky factor L
	d      []float64     // diagonal of D
	w      [][]float64   // W'B⁻¹W
	fy     []float64     // DW'B⁻¹y
	hy     []float64     // L⁻¹ of that
	inv    [][][]float64 // B⁻¹ of each shape
	logdet []float64     // log|B| of each shape
	f      [][][]float64 // B⁻¹W of each pattern
}

// at works out the likelihood; theta holds a variance for each effect, and the residual's. The point is
// not ok where the covariance cannot be inverted.
func (m *remlModel) at(theta []float64) *remlPoint {
	q := &remlPoint{d: ones(m.m), w: square(m.m), h: square(m.m), fy: make([]float64, m.m),
		inv: make([][][]float64, m.shapes), logdet: make([]float64, m.shapes)}
	for i, c := range m.first {
		for j := range m.levels[i] {
			q.d[c+j] = math.Sqrt(theta[i])
		}
	}
	logs, quad := 0.0, 0.0
	for _, p := range m.patterns {
		if q.inv[p.shape] == nil {
			var ok bool
			if q.inv[p.shape], q.logdet[p.shape], ok = p.inverse(theta); !ok {
				return q
			}
		}
		inv, count := q.inv[p.shape], float64(len(p.ys))
		f := product(inv, p.w)
		q.f = append(q.f, f)
		logs += count * q.logdet[p.shape]
		for a, w := range p.w {
			for s, x := range w {
				if x != 0 {
					floats.AddScaled(q.w[s], count*x, f[a])
				}
			}
		}
		for _, y := range p.ys {
			for a := range y {
				floats.AddScaled(q.fy, y[a], f[a])
				quad += y[a] * floats.Dot(inv[a], y)
			}
		}
	}
	return m.finish(q, theta[len(theta)-1], logs, quad)
}

func (m *remlModel) finish(q *remlPoint, residual, logs, quad float64) *remlPoint {
	h := mat.NewSymDense(max(1, m.m), nil)
	for s := range m.m {
		q.fy[s] *= q.d[s]
		for t := range m.m {
			q.h[s][t] = q.d[s] * q.w[s][t] * q.d[t]
		}
		if s >= m.p {
			q.h[s][s]++
		}
		for t := range s + 1 {
			h.SetSym(s, t, q.h[s][t])
		}
	}
	if m.m == 0 {
		h.SetSym(0, 0, 1)
	}
	var chol mat.Cholesky
	if !chol.Factorize(h) {
		return q
	}
	var low mat.TriDense
	chol.LTo(&low)
	q.low = square(m.m)
	for s := range m.m {
		for t := range s + 1 {
			q.low[s][t] = low.At(s, t)
		}
	}
	q.hy = append([]float64(nil), q.fy...)
	forward(q.low, q.hy)
	quad -= floats.Dot(q.hy, q.hy)
	if m.df > 0 {
		logs += m.df * math.Log(residual)
		quad += m.ss / residual
	}
	q.loglik = -(logs + chol.LogDet() + quad) / 2
	q.ok = true
	return q
}

// forward replaces b by L⁻¹b.
func forward(low [][]float64, b []float64) {
	for s := range b {
		b[s] = (b[s] - floats.Dot(low[s][:s], b[:s])) / low[s][s]
	}
}

// inverse is B⁻¹ of the pattern's block, with log|B|.
func (p *remlPattern) inverse(theta []float64) (inv [][]float64, logdet float64, ok bool) {
	b := mat.NewSymDense(p.n, nil)
	for e, level := range p.level {
		for a, l := range level {
			for c := a; c < p.n; c++ {
				if l >= 0 && level[c] == l {
					b.SetSym(a, c, b.At(a, c)+theta[e]*p.weight[e][a]*p.weight[e][c])
				}
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(b) {
		return nil, 0, false
	}
	var s mat.SymDense
	_ = chol.InverseTo(&s) // an error says badly conditioned: the inverse is still the best there is
	return rowsOf(&s), chol.LogDet(), true
}

func rowsOf(s *mat.SymDense) [][]float64 {
	n := s.SymmetricDim()
	out := square(n)
	for i := range n {
		for j := range n {
			out[i][j] = s.At(i, j)
		}
	}
	return out
}

// product is ab.
func product(a, b [][]float64) [][]float64 {
	out := table(len(a), len(b[0]))
	for i := range a {
		for k, x := range a[i] {
			floats.AddScaled(out[i], x, b[k])
		}
	}
	return out
}

// symInverse is the inverse of a symmetric matrix; ok is false, and the inverse zero, if it has none.
func symInverse(a [][]float64) (inv [][]float64, ok bool) {
	n := len(a)
	if n == 0 {
		return nil, true
	}
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, a[i][j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(s) {
		return square(n), false
	}
	var out mat.SymDense
	_ = chol.InverseTo(&out) // an error says badly conditioned: the inverse is still the best there is
	return rowsOf(&out), true
}
