package stat

import "math"

// ProbAny is the probability that at least one of the clauses happens. Variables that no covariance
// and no clause connects are independent and multiplied. A connected group of one variable is exact,
// of two is integrated over the first (error below 0.0003 where tested), a larger one goes through the
// lattice.
func (g *Gauss) ProbAny(clauses []Clause) float64 {
	if g.N == 1 {
		return g.probGroup(clauses)
	}
	group := g.groups(clauses)
	none := 1.0
	var buf [16]Clause
	for root := range g.N {
		if group[root] != root {
			continue
		}
		sub, at := g.subset(group, root)
		mine := buf[:0]
		for i := range clauses {
			if group[clauses[i].first()] == root {
				mine = append(mine, clauses[i].moved(at, sub.N))
			}
		}
		if len(mine) > 0 {
			none *= 1 - sub.probGroup(mine)
		}
	}
	return clamp01(1 - none)
}

func (g *Gauss) probGroup(clauses []Clause) float64 {
	switch {
	case len(clauses) == 1:
		return g.ProbClause(&clauses[0])
	case g.N == 1:
		return probIntervals(clauses, g.Mean[0], math.Sqrt(g.Cov[0][0]), 0, nil)
	case g.N == 2:
		if lo, hi, ok := box(clauses); ok {
			return 1 - g.probBox(lo, hi)
		}
		return g.probPlane(clauses)
	}
	return g.Lattice(clauses)
}

// groups gives each variable the smallest variable that it is connected with.
func (g *Gauss) groups(clauses []Clause) (root [MaxDim]int) {
	for i := range g.N {
		root[i] = i
	}
	join := func(i, j int) {
		a, b := min(root[i], root[j]), max(root[i], root[j])
		for k := range g.N {
			if root[k] == b {
				root[k] = a
			}
		}
	}
	for i := range g.N {
		for j := range i {
			if g.Cov[i][j] != 0 {
				join(i, j)
			}
		}
	}
	for k := range clauses {
		f := clauses[k].first()
		for h := range clauses[k].N {
			for j, c := range clauses[k].H[h].C {
				if c != 0 {
					join(f, j)
				}
			}
		}
	}
	return root
}

// first is the first variable that the clause touches.
func (c *Clause) first() int {
	for j := range MaxDim {
		if c.H[0].C[j] != 0 || (c.N == 2 && c.H[1].C[j] != 0) {
			return j
		}
	}
	return 0
}

// moved is the clause over the variables at[0], at[1], … numbered anew.
func (c *Clause) moved(at [MaxDim]int, n int) Clause {
	out := Clause{N: c.N}
	for h := range c.N {
		out.H[h].T = c.H[h].T
		for i := range n {
			out.H[h].C[i] = c.H[h].C[at[i]]
		}
	}
	return out
}

func (g *Gauss) subset(group [MaxDim]int, root int) (sub Gauss, at [MaxDim]int) {
	for i := range g.N {
		if group[i] == root {
			at[sub.N] = i
			sub.N++
		}
	}
	for i := range sub.N {
		sub.Mean[i] = g.Mean[at[i]]
		for j := range sub.N {
			sub.Cov[i][j] = g.Cov[at[i]][at[j]]
		}
	}
	return sub, at
}

// span is where one variable makes a clause true.
type span struct{ lo, hi float64 }

// probIntervals is the probability that a normal variable, number axis of the clauses, lies where any
// clause is true, the other variables being fixed at.
func probIntervals(clauses []Clause, mean, sd float64, axis int, fixed *[MaxDim]float64) float64 {
	var buf [16]span
	spans := buf[:0]
	for i := range clauses {
		s := span{math.Inf(-1), math.Inf(1)}
		for h := range clauses[i].N {
			s.cut(&clauses[i].H[h], axis, fixed)
		}
		if s.lo < s.hi {
			spans = insert(spans, s)
		}
	}
	p, end := 0.0, math.Inf(-1)
	for _, s := range spans {
		lo := max(s.lo, end)
		if s.hi > lo {
			p += Above(lo, mean, sd) - Above(s.hi, mean, sd)
			end = s.hi
		}
	}
	return clamp01(p)
}

// cut narrows the span to where the half is true.
func (s *span) cut(h *Half, axis int, fixed *[MaxDim]float64) {
	t := h.T
	if fixed != nil {
		for j, c := range h.C {
			if j != axis && c != 0 {
				t -= float64(c * fixed[j])
			}
		}
	}
	switch c := h.C[axis]; {
	case c > 0:
		s.lo = max(s.lo, t/c)
	case c < 0:
		s.hi = min(s.hi, t/c)
	case t >= 0:
		s.hi = s.lo // the half is false whatever the variable is
	}
}

func insert(spans []span, s span) []span {
	spans = append(spans, s)
	for i := len(spans) - 1; i > 0 && spans[i].lo < spans[i-1].lo; i-- {
		spans[i], spans[i-1] = spans[i-1], spans[i]
	}
	return spans
}

// box is where none of the clauses holds, if each concerns one of the two variables alone.
func box(clauses []Clause) (lo, hi [2]float64, ok bool) {
	lo = [2]float64{math.Inf(-1), math.Inf(-1)}
	hi = [2]float64{math.Inf(1), math.Inf(1)}
	for i := range clauses {
		h := &clauses[i].H[0]
		axis := 0
		if h.C[0] == 0 {
			axis = 1
		}
		if clauses[i].N != 1 || h.C[1-axis] != 0 {
			return lo, hi, false
		}
		if t := h.T / h.C[axis]; h.C[axis] > 0 {
			hi[axis] = min(hi[axis], t)
		} else {
			lo[axis] = max(lo[axis], t)
		}
	}
	return lo, hi, true
}

// probBox is the exact probability that both variables lie in the box.
func (g *Gauss) probBox(lo, hi [2]float64) float64 {
	s0, s1 := math.Sqrt(g.Cov[0][0]), math.Sqrt(g.Cov[1][1])
	if lo[0] >= hi[0] || lo[1] >= hi[1] {
		return 0
	}
	if s0 == 0 || s1 == 0 {
		return (Above(lo[0], g.Mean[0], s0) - Above(hi[0], g.Mean[0], s0)) * (Above(lo[1], g.Mean[1], s1) - Above(hi[1], g.Mean[1], s1))
	}
	rho := g.Cov[0][1] / (s0 * s1)
	upper := func(x, y float64) float64 { return UpperOrthant((x-g.Mean[0])/s0, (y-g.Mean[1])/s1, rho) }
	return clamp01(upper(lo[0], lo[1]) - upper(hi[0], lo[1]) - upper(lo[0], hi[1]) + upper(hi[0], hi[1]))
}

var planeX, planeW = legendre(64)

// reach is how many standard deviations the integral covers; what lies beyond is below 1e-10.
const reach = 6.5

// probPlane integrates over the first of two variables. Where a half depends on it alone the
// integrand jumps: there the range is cut.
func (g *Gauss) probPlane(clauses []Clause) float64 {
	m, s := g.Mean[0], math.Sqrt(g.Cov[0][0])
	if s == 0 {
		fixed := g.Mean
		return probIntervals(clauses, g.Mean[1], math.Sqrt(g.Cov[1][1]), 1, &fixed)
	}
	slope := g.Cov[0][1] / g.Cov[0][0]
	sd := math.Sqrt(max(0, g.Cov[1][1]-slope*g.Cov[0][1]))
	var buf [16]span
	cuts := insert(buf[:0], span{lo: m + reach*s})
	for i := range clauses {
		for h := range clauses[i].N {
			if c := clauses[i].H[h].C; c[1] == 0 && c[0] != 0 {
				if t := clauses[i].H[h].T / c[0]; t > m-reach*s && t < m+reach*s && len(cuts) < 15 {
					cuts = insert(cuts, span{lo: t})
				}
			}
		}
	}
	p, lo := 0.0, m-reach*s
	for _, c := range cuts {
		width := c.lo - lo
		for k, x := range planeX {
			u := lo + width*x
			z := (u - m) / s
			fixed := [MaxDim]float64{u}
			p += width / s * planeW[k] * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) *
				probIntervals(clauses, g.Mean[1]+slope*(u-m), sd, 1, &fixed)
		}
		lo = c.lo
	}
	return clamp01(p)
}
