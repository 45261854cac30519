package score

import (
	"math"
	"slices"

	"evenhand/internal/stat"
)

// joint collects the variables of a link, one true side difference for each measure that is read (or
// one value for each one-sided rule), with the clauses of its counted rules.
type joint struct {
	w        *work
	vars     [stat.MaxDim]lin
	measure  [stat.MaxDim]int // a measure's difference; valueKey for a value; −1 for a quotient
	known    [stat.MaxDim]bool
	usualOf  [stat.MaxDim]bool    // it is known in the average
	wide     [stat.MaxDim]float64 // factor on the standard error
	users    [stat.MaxDim]int     // rules whose events the variable is part of
	alone    [stat.MaxDim]bool    // p is the probability of the one rule on the variable
	p        [stat.MaxDim]float64
	measured stat.Gauss
	prior    stat.Gauss
	average  stat.Gauss // the protocol's prior, also where the squad's figures hold
	post     stat.Gauss

	coupledAt int // number of variables when they were coupled
	clauses   []stat.Clause
	apart     float64 // chance that no rule outside the joint variables is broken
	apartUse  float64 // the same for an average athlete
	usual     bool    // everything is known of an average athlete
}

// newJoint empties the joint variables for another link.
func (w *work) newJoint() *joint {
	j := &w.joint
	n := j.measured.N
	for i := range n {
		j.measured.Mean[i], j.prior.Mean[i], j.average.Mean[i] = 0, 0, 0
		j.known[i], j.usualOf[i], j.users[i], j.alone[i] = false, false, 0, false
		for k := range n {
			j.measured.Cov[i][k], j.prior.Cov[i][k], j.average.Cov[i][k] = 0, 0, 0
		}
	}
	j.measured.N, j.prior.N, j.average.N, j.coupledAt = 0, 0, 0, 0
	j.w, j.clauses, j.apart, j.apartUse, j.usual = w, w.clauses[:0], 1, 1, true
	return j
}

// variable gives the place of the true side difference of a measure that is read; −1 if it was not
// measured or there is no room.
func (j *joint) variable(m int) int {
	for i := range j.measured.N {
		if j.measure[i] == m {
			return i
		}
	}
	c := comparison{l: j.w.s.difference(m, j.w.d), pair: j.w.s.p.Measures[m].Resolved.Pair}
	j.w.addPrior(&c, m)
	return j.add(m, &c)
}

func (j *joint) add(m int, c *comparison) int {
	i := j.measured.N
	if i == stat.MaxDim || !c.l.measured(j.w.est) {
		return -1
	}
	j.vars[i], j.measure[i] = c.l, m
	j.known[i], j.usualOf[i], j.wide[i] = c.prior, c.average.known, widened(c.pair)
	j.measured.N++
	j.prior.N++
	j.average.N++
	j.measured.Mean[i] = c.l.value(j.w.est)
	for k := range i + 1 {
		v := covariance(&j.vars[k], &c.l, j.w.est) * j.wide[k] * j.wide[i]
		j.measured.Cov[i][k], j.measured.Cov[k][i] = v, v
	}
	j.prior.Mean[i], j.prior.Cov[i][i] = c.mu, c.omega*c.omega
	j.average.Mean[i], j.average.Cov[i][i] = c.average.mu, c.average.omega*c.average.omega
	return i
}

// half writes a rule's event, first > τ, over the joint variables; ok is false if it cannot be.
func (j *joint) half(r *rule, tau float64) (h stat.Half, ok bool) {
	s := j.w.s
	sign := worseSign(&s.p.Measures[r.m])
	h.T = tau
	for _, q := range s.sums[r.m] {
		i := j.variable(q.m)
		if i < 0 {
			return h, false
		}
		j.users[i]++
		h.C[i] += sign * q.c * worseSign(&s.p.Measures[q.m])
	}
	return h, true
}

func negated(h *stat.Half) stat.Half {
	o := stat.Half{T: h.T}
	for i, c := range h.C {
		o.C[i] = -c
	}
	return o
}

// difference adds the clauses of a rule on a difference of sides, which is broken with probability p.
func (j *joint) difference(r *rule, c *comparison, p float64) bool {
	h, ok := j.half(r, c.tau)
	if !ok {
		return false
	}
	if i := j.place(r.m); i >= 0 && c.squad != nil {
		j.alone[i], j.p[i] = true, p
	}
	j.clause(h, nil)
	if c.absolute {
		j.clause(negated(&h), nil)
	}
	return true
}

func (j *joint) clause(a stat.Half, b *stat.Half) {
	c := stat.Clause{N: 1}
	c.H[0] = a
	if b != nil {
		c.H[1], c.N = *b, 2
	}
	j.clauses = append(j.clauses, c)
}

// both adds the clauses of a rule that asks for two differences at once, on the same side.
func (j *joint) both(r *rule) bool {
	s := j.w.s
	a, b := &s.rules[r.conds[0]], &s.rules[r.conds[1]]
	ea, eb := &j.w.conds[r.conds[0]], &j.w.conds[r.conds[1]]
	ha, ok1 := j.half(a, ea.c.tau)
	hb, ok2 := j.half(b, eb.c.tau)
	if !ok1 || !ok2 {
		return false
	}
	j.clause(ha, &hb)
	if ea.c.absolute || eb.c.absolute {
		na, nb := negated(&ha), negated(&hb)
		j.clause(na, &nb)
	}
	return true
}

// value adds a one-sided rule on a measure: the value of that side as a variable, or, where the other
// side's value is one already, that value and the difference of sides, so that no variable is implied
// by others. A quotient is a variable of its own.
func (j *joint) value(m, side int, c *comparison) bool {
	h := stat.Half{T: c.tau}
	if c.l.n != 1 {
		i := j.add(-1, c)
		if i < 0 {
			return false
		}
		h.C[i] = 1
		j.clause(h, nil)
		return true
	}
	factor := c.l.t[0].c
	if i := j.place(valueKey(m, 1-side)); i >= 0 && !j.w.s.p.Measures[m].Pooled {
		d := j.variable(m)
		if d < 0 {
			return false
		}
		sign := worseSign(&j.w.s.p.Measures[m]) // y_second = y_first + sign·D
		if side == j.w.d.first(&j.w.s.p.Measures[m]) {
			sign = -sign
		}
		h.C[i], h.C[d] = factor, factor*sign
		j.users[i]++
		j.users[d]++
		j.clause(h, nil)
		return true
	}
	raw := comparison{}
	raw.l.add(m, side, 1)
	i := j.add(valueKey(m, side), &raw)
	if i < 0 {
		return false
	}
	h.C[i] = factor
	j.clause(h, nil)
	return true
}

// valueKey tells the value of a side from the difference of sides among the joint variables.
func valueKey(m, side int) int { return -2 - 2*m - side }

// independent multiplies in a rule that shares nothing with the others.
func (j *joint) independent(p float64) { j.apart *= 1 - p }

// couple sets the prior covariance of every pair of measures that a third one is the sum of.
func (j *joint) couple() {
	if j.coupledAt == j.measured.N {
		return
	}
	j.coupledAt = j.measured.N
	s := j.w.s
	for m := range s.p.Measures {
		d := s.p.Measures[m].Derived
		if d == nil || d.Per != nil || len(s.sums[m]) != 2 || len(s.p.Measures[m].Priors) == 0 {
			continue
		}
		a, b := j.place(s.sums[m][0].m), j.place(s.sums[m][1].m)
		if a < 0 || b < 0 || !j.known[a] || !j.known[b] {
			continue
		}
		if rho, ok := s.p.PartCorrelation(&s.p.Measures[m], &j.w.subject); ok {
			for _, g := range [...]*stat.Gauss{&j.prior, &j.average} {
				v := rho * math.Sqrt(g.Cov[a][a]*g.Cov[b][b])
				g.Cov[a][b], g.Cov[b][a] = v, v
			}
		}
	}
}

// apartOnes takes rules out of the joint variables that share nothing with the others: their probability
// is the finding's own, by the squad's whole distribution and not by its moments only.
func (j *joint) apartOnes() {
	for i := range j.measured.N {
		if !j.alone[i] || j.users[i] != 1 || j.coupled(i) {
			continue
		}
		j.independent(j.p[i])
		j.clauses = slices.DeleteFunc(j.clauses, func(c stat.Clause) bool { return c.H[0].C[i] != 0 })
	}
}

func (j *joint) coupled(i int) bool {
	for k := range j.measured.N {
		if k != i && (j.measured.Cov[i][k] != 0 || j.prior.Cov[i][k] != 0) {
			return true
		}
	}
	return false
}

func (j *joint) place(m int) int {
	for i := range j.measured.N {
		if j.measure[i] == m {
			return i
		}
	}
	return -1
}

// posterior of the joint variables. Of a squad's figures it takes the moments.
func (j *joint) posterior() *stat.Gauss {
	j.couple()
	if j.measured.N == 1 { // the usual case, in closed form
		c := comparison{prior: j.known[0], mu: j.prior.Mean[0], omega: math.Sqrt(j.prior.Cov[0][0])}
		mean, sd := c.posterior(j.measured.Mean[0], math.Sqrt(j.measured.Cov[0][0]))
		j.post.N, j.post.Mean[0], j.post.Cov[0][0] = 1, mean, sd*sd
		return &j.post
	}
	var ok bool
	if j.post, ok = stat.Posterior(&j.measured, &j.prior, j.known); !ok {
		return &j.measured
	}
	return &j.post
}

// probability of a deficit in the link, and what is usual on the same rules if that is known.
func (j *joint) probability() (p, usual float64, known bool) {
	j.couple()
	for i := range j.measured.N {
		j.usual = j.usual && j.usualOf[i]
	}
	if j.usual {
		usual = 1 - j.apartUse
		if j.measured.N > 0 {
			usual = 1 - j.apartUse*(1-j.average.ProbAny(j.clauses))
		}
	}
	j.apartOnes()
	p = 1 - j.apart
	if len(j.clauses) > 0 {
		p = 1 - j.apart*(1-j.posterior().ProbAny(j.clauses))
	}
	return p, usual, j.usual
}
