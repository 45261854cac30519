package stat

import "math"

// MaxDim is the largest number of variables of a Gauss.
const MaxDim = 8

// Gauss is a normal vector of N ≤ MaxDim variables. It holds its numbers itself, so that a score
// makes no garbage.
type Gauss struct {
	N    int
	Mean [MaxDim]float64
	Cov  [MaxDim][MaxDim]float64
}

// Half is the event C·u > T.
type Half struct {
	C [MaxDim]float64
	T float64
}

// Clause is the event that all of its N ≤ 2 halves happen.
type Clause struct {
	H [2]Half
	N int
}

// Chol is a lower triangular factor of a covariance matrix.
type Chol [MaxDim][MaxDim]float64

// Cholesky factors the covariance of g. Directions without variance get a zero column, so that a
// variable that another one determines is no trouble.
func (g *Gauss) Cholesky() (l Chol) {
	for j := range g.N {
		d := g.Cov[j][j]
		for k := range j {
			d -= float64(l[j][k] * l[j][k])
		}
		if d <= 1e-14*g.Cov[j][j] || d <= 0 {
			continue
		}
		l[j][j] = math.Sqrt(d)
		for i := j + 1; i < g.N; i++ {
			s := g.Cov[i][j]
			for k := range j {
				s -= float64(l[i][k] * l[j][k])
			}
			l[i][j] = s / l[j][j]
		}
	}
	return l
}

// Solve gives the solution x of LLᵀx = b, for a factor without zero columns.
func (l *Chol) Solve(n int, b [MaxDim]float64) [MaxDim]float64 {
	var inv [MaxDim]float64
	for i := range n {
		inv[i] = 1 / l[i][i]
		s := b[i]
		for k := range i {
			s -= float64(l[i][k] * b[k])
		}
		b[i] = s * inv[i]
	}
	for i := n - 1; i >= 0; i-- {
		s := b[i]
		for k := i + 1; k < n; k++ {
			s -= float64(l[k][i] * b[k])
		}
		b[i] = s * inv[i]
	}
	return b
}

// Inverse is the inverse of g's covariance; ok is false if it has none.
func (g *Gauss) Inverse() (inv [MaxDim][MaxDim]float64, ok bool) {
	l := g.Cholesky()
	for i := range g.N {
		if l[i][i] == 0 {
			return inv, false
		}
	}
	for j := range g.N {
		var e [MaxDim]float64
		e[j] = 1
		col := l.Solve(g.N, e)
		for i := range g.N {
			inv[i][j] = col[i]
		}
	}
	return inv, true
}

// Posterior combines a measurement (means and error covariance) with what was known before. known
// says for which variables the prior holds; of the others nothing is known (a flat prior). With both
// known it is mean μ + W(D − μ) and covariance Ω − WΩ, W = Ω(Ω + Σ)⁻¹; the precision form used here
// gives the same and allows flat variables. ok is false if either covariance cannot be inverted.
func Posterior(measured, prior *Gauss, known [MaxDim]bool) (post Gauss, ok bool) {
	n := measured.N
	si, ok := measured.Inverse()
	if !ok {
		return *measured, false
	}
	li, ok := knownPrecision(prior, known)
	if !ok {
		return *measured, false
	}
	prec := Gauss{N: n}
	var rhs [MaxDim]float64
	for i := range n {
		for j := range n {
			prec.Cov[i][j] = si[i][j] + li[i][j]
			rhs[i] += float64(si[i][j]*measured.Mean[j]) + float64(li[i][j]*prior.Mean[j])
		}
	}
	post = Gauss{N: n}
	post.Cov, ok = prec.Inverse()
	for i := range n {
		for j := range n {
			post.Mean[i] += post.Cov[i][j] * rhs[j]
		}
	}
	return post, ok
}

// knownPrecision is the inverse of the prior covariance of the known variables, zero elsewhere.
func knownPrecision(prior *Gauss, known [MaxDim]bool) (out [MaxDim][MaxDim]float64, ok bool) {
	var at [MaxDim]int
	sub := Gauss{}
	for i := range prior.N {
		if known[i] {
			at[sub.N] = i
			sub.N++
		}
	}
	for i := range sub.N {
		for j := range sub.N {
			sub.Cov[i][j] = prior.Cov[at[i]][at[j]]
		}
	}
	inv, ok := sub.Inverse()
	for i := range sub.N {
		for j := range sub.N {
			out[at[i]][at[j]] = inv[i][j]
		}
	}
	return out, ok
}

// Linear is mean and variance of c·u.
func (g *Gauss) Linear(c *[MaxDim]float64) (mean, variance float64) {
	for i := range g.N {
		if c[i] == 0 {
			continue
		}
		mean += float64(c[i] * g.Mean[i])
		for j := range g.N {
			variance += float64(float64(c[i]*c[j]) * g.Cov[i][j])
		}
	}
	return mean, max(0, variance)
}

// covariance of a·u and b·u.
func (g *Gauss) covariance(a, b *[MaxDim]float64) float64 {
	s := 0.0
	for i := range g.N {
		for j := range g.N {
			s += float64(float64(a[i]*b[j]) * g.Cov[i][j])
		}
	}
	return s
}

// ProbClause is the exact probability of one clause.
func (g *Gauss) ProbClause(c *Clause) float64 {
	m1, v1 := g.Linear(&c.H[0].C)
	s1 := math.Sqrt(v1)
	if c.N == 1 {
		return Above(c.H[0].T, m1, s1)
	}
	m2, v2 := g.Linear(&c.H[1].C)
	s2 := math.Sqrt(v2)
	if s1 == 0 || s2 == 0 {
		return Above(c.H[0].T, m1, s1) * Above(c.H[1].T, m2, s2)
	}
	rho := g.covariance(&c.H[0].C, &c.H[1].C) / (s1 * s2)
	return UpperOrthant((c.H[0].T-m1)/s1, (c.H[1].T-m2)/s2, rho)
}
