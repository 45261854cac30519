package score

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// sided is what was measured of one measure: the best linear unbiased estimate of each side with the
// covariance of the two. Side 0 is left, or the only one of an unpaired or pooled measure; 1 is right.
type sided struct {
	has     [2]bool
	mean    [2]float64
	cov     [2][2]float64
	trials  [2]int     // all trials, all readings
	within  [2]float64 // the part of the variance that another placing on the same day can shrink
	shared  float64    // σ_e² if one examiner read both sides
	counts  [2]float64 // sum of a count's trials
	capped  [2]int     // trials of a count that reached its cap
	unnamed bool
}

// seen is one group of readings that share side and examiner: within a group only the trials and the
// placings differ, so their precision-weighted mean holds all that they say.
type seen struct {
	side     int
	examiner string
	sum, w   float64 // Σ y/v and Σ 1/v
}

// Options are what a score takes besides the record.
type Options struct {
	// Heaped says that more than 90 % of this clinic's angles end in 0 or 5: they are read to 5°.
	Heaped bool
	// Squad is what was usual in the athlete's squad when the day was closed; nil: the protocol's prior
	// holds. One made by another protocol is not used, and the report says so.
	Squad *SquadPrior
}

// estimates works through the current readings of a record, measure by measure: heads holds the first
// reading of each measure, next the one after each, so that nothing is sorted and nothing is copied.
func (w *work) estimates(opt Options) {
	p, rec := w.s.p, w.rec
	w.est = cleared(w.est, len(p.Measures))
	w.heads = cleared(w.heads, len(p.Measures))
	w.next = cleared(w.next, len(rec.Readings))
	for i := len(rec.Readings) - 1; i >= 0; i-- {
		r := &rec.Readings[i]
		if m := p.MeasureIndex(r.Measure); m >= 0 && r.Stands() && len(r.Trials) > 0 {
			w.next[i] = w.heads[m]
			w.heads[m] = i + 1 // 0 ends the chain
		}
	}
	for m := range p.Measures {
		if w.heads[m] > 0 {
			w.estimate(m, opt)
		}
	}
}

// cleared is a slice of n zero values in the memory of s.
func cleared[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

func sideIndex(m *screen.Measure, side screen.Side) int {
	if side == screen.Right && !m.Pooled {
		return 1
	}
	return 0
}

// estimate combines the readings of one measure with the weights that minimise the variance.
func (w *work) estimate(measure int, opt Options) {
	m, e := &w.s.p.Measures[measure], &w.est[measure]
	w.groups = w.groups[:0]
	for at := w.heads[measure]; at > 0; at = w.next[at-1] {
		r := &w.rec.Readings[at-1]
		side := sideIndex(m, r.Side)
		e.has[side] = true
		e.trials[side] += len(r.Trials)
		if m.Scale == screen.Count {
			e.addCount(m, side, r.Trials)
		}
		examiner := r.Examiner
		if examiner == "" {
			examiner = w.rec.Screen.Examiner
		}
		e.unnamed = e.unnamed || examiner == ""
		y, g := combined(m, r.Trials)
		group := w.groupOf(side, examiner)
		v := placedVariance(m, r, g, opt)
		group.sum += y / v
		group.w += 1 / v
	}
	e.combine(m, w.groups)
}

// groupOf is the group of readings of a side by an examiner.
func (w *work) groupOf(side int, examiner string) *seen {
	for k := range w.groups {
		if w.groups[k].side == side && w.groups[k].examiner == examiner {
			return &w.groups[k]
		}
	}
	w.groups = append(w.groups, seen{side: side, examiner: examiner})
	return &w.groups[len(w.groups)-1]
}

func (e *sided) addCount(m *screen.Measure, side int, trials []float64) {
	for _, t := range trials {
		e.counts[side] += t
		if m.Cap > 0 && t >= m.Cap {
			e.capped[side]++
		}
	}
}

// placedVariance is the variance of a reading that is its own: trials, placing, and the step that the
// instrument was read to. A step of 2° or more, or above the error itself, adds a rounding error g²/12.
func placedVariance(m *screen.Measure, r *screen.Reading, g float64, opt Options) float64 {
	e := &m.Resolved
	v := e.Trial*e.Trial*g + e.Placing*e.Placing
	step := m.Step
	if r.Step > 0 {
		step = r.Step
	}
	if opt.Heaped && m.Unit == "deg" {
		step = max(step, 5)
	}
	if m.Scale == screen.Linear && (m.Unit == "deg" && step >= 2 || step*step > e.Trial*e.Trial+e.Placing*e.Placing+e.Day*e.Day) {
		v += step * step / 12
	}
	return max(v, 1e-12)
}

// combine is generalised least squares over the groups: V has each group's own variance, the day's
// for every pair on one side, and the examiner's for every pair by one examiner.
func (e *sided) combine(m *screen.Measure, groups []seen) {
	day, exam := m.Resolved.Day*m.Resolved.Day, m.Resolved.Examiner*m.Resolved.Examiner
	if len(groups) == 1 || len(groups) == 2 && groups[0].side != groups[1].side {
		for i := range groups {
			g := &groups[i]
			e.mean[g.side] = g.sum / g.w
			e.within[g.side] = 1 / g.w
			e.cov[g.side][g.side] = 1/g.w + day + exam
		}
		if len(groups) == 2 && groups[0].examiner == groups[1].examiner {
			e.shared = exam
			e.cov[0][1], e.cov[1][0] = exam, exam
		}
		return
	}
	a, b := normalEquations(groups, day, exam)
	e.solve(a, b)
	e.shared = min(exam, max(0, e.cov[0][1]))
	for side := range 2 {
		if e.has[side] {
			e.within[side] = max(0, e.cov[side][side]-day-exam)
			if w := groupWithin(groups, side); w > 0 {
				e.within[side] = w
			}
		}
	}
}

// groupWithin is the variance of the weighted mean of one side's readings, placing and trials only.
func groupWithin(groups []seen, side int) float64 {
	w := 0.0
	for i := range groups {
		if groups[i].side == side {
			w += groups[i].w
		}
	}
	if w == 0 {
		return 0
	}
	return 1 / w
}

// solve sets the means and their covariance (X'V⁻¹X)⁻¹ from the normal equations.
func (e *sided) solve(a [2][2]float64, b [2]float64) {
	switch {
	case e.has[0] && e.has[1]:
		det := a[0][0]*a[1][1] - a[0][1]*a[1][0]
		e.cov = [2][2]float64{{a[1][1] / det, -a[0][1] / det}, {-a[1][0] / det, a[0][0] / det}}
		for i := range 2 {
			e.mean[i] = e.cov[i][0]*b[0] + e.cov[i][1]*b[1]
		}
	case e.has[0]:
		e.cov[0][0] = 1 / a[0][0]
		e.mean[0] = b[0] / a[0][0]
	case e.has[1]:
		e.cov[1][1] = 1 / a[1][1]
		e.mean[1] = b[1] / a[1][1]
	}
}

func (g *seen) covariance(h *seen, same bool, day, exam float64) float64 {
	v := 0.0
	if same {
		v = 1 / g.w
	}
	if g.side == h.side {
		v += day
	}
	if g.examiner == h.examiner {
		v += exam
	}
	return v
}

// normalEquations are X'V⁻¹X and X'V⁻¹y. The usual few groups need no memory; more go through the
// library.
func normalEquations(groups []seen, day, exam float64) (a [2][2]float64, b [2]float64) {
	n := len(groups)
	if n > stat.MaxDim {
		return manyEquations(groups, day, exam)
	}
	g := stat.Gauss{N: n}
	for i := range n {
		for j := range n {
			g.Cov[i][j] = groups[i].covariance(&groups[j], i == j, day, exam)
		}
	}
	l := g.Cholesky() // every group has a variance of its own, so V is positive definite
	for side := range 2 {
		var x [stat.MaxDim]float64
		for i := range n {
			if groups[i].side == side {
				x[i] = 1
			}
		}
		x = l.Solve(n, x)
		for i := range n {
			a[side][groups[i].side] += x[i]
			b[side] += x[i] * groups[i].sum / groups[i].w
		}
	}
	return a, b
}

func manyEquations(groups []seen, day, exam float64) (a [2][2]float64, b [2]float64) {
	n := len(groups)
	v := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			v.SetSym(i, j, groups[i].covariance(&groups[j], i == j, day, exam))
		}
	}
	var c mat.Cholesky
	c.Factorize(v)
	var inv mat.SymDense
	_ = c.InverseTo(&inv) // an error says badly conditioned: the inverse is still the best there is
	for i := range n {
		for j := range n {
			a[groups[i].side][groups[j].side] += inv.At(i, j)
			b[groups[i].side] += inv.At(i, j) * groups[j].sum / groups[j].w
		}
	}
	return a, b
}

// lin is a weighted sum of measured values: the D of a side difference, the value of a floor, the two
// sides of a ratio.
type lin struct {
	n int
	t [8]term
}

type term struct {
	m, side int32
	c       float64
}

func (l *lin) add(measure, at int, c float64) {
	m, side := int32(measure), int32(at) // a protocol has a few dozen measures
	for i := range l.n {
		if l.t[i].m == m && l.t[i].side == side {
			l.t[i].c += c
			return
		}
	}
	if l.n < len(l.t) {
		l.t[l.n] = term{m, side, c}
		l.n++
	}
}

// measured reports whether every value that the sum needs was read.
func (l *lin) measured(est []sided) bool {
	for i := range l.n {
		if !est[l.t[i].m].has[l.t[i].side] {
			return false
		}
	}
	return l.n > 0
}

func (l *lin) value(est []sided) float64 {
	s := 0.0
	for i := range l.n {
		s += float64(l.t[i].c * est[l.t[i].m].mean[l.t[i].side])
	}
	return s
}

// covariance of two sums. Different measures share no error.
func covariance(a, b *lin, est []sided) float64 {
	s := 0.0
	for i := range a.n {
		for j := range b.n {
			if x, y := &a.t[i], &b.t[j]; x.m == y.m {
				s += float64(float64(x.c*y.c) * est[x.m].cov[x.side][y.side])
			}
		}
	}
	return s
}

func (l *lin) se(est []sided) float64 { return math.Sqrt(max(0, covariance(l, l, est))) }
