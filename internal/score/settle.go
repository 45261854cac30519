package score

import (
	"math"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// settle works out the chance that measuring again settles a comparison: with posterior variance v₀
// now and v₁ after, the posterior mean will move by a normal step of variance v₀ − v₁. A verdict needs
// both probabilities, so the step must carry both over their cut-off: what P_m asks of the combined
// measurement D′ is put as a condition on the posterior mean μ + w₁(D′ − μ). Without a prior this is
// the chance Φ((m − τ − z√v₁)/√(v₀ − v₁)) + Φ((τ − z√v₁ − m)/√(v₀ − v₁)).
func (w *work) settle(e *evaluated) *Chance {
	if len(w.chances) == cap(w.chances) {
		w.chances = make([]Chance, 0, 24)
	}
	w.chances = append(w.chances, Chance{NewPlacing: w.chance(e, w.after(e, newPlacing)), AnotherDay: w.chance(e, w.after(e, anotherDay))})
	ch := &w.chances[len(w.chances)-1]
	if w.mayAddTrials(&e.c.l) {
		ch.MoreTrials = w.pointer(w.chance(e, w.after(e, moreTrials)))
	}
	return ch
}

type again int

const (
	moreTrials again = iota
	newPlacing
	anotherDay
)

func (w *work) mayAddTrials(l *lin) bool {
	for i := range l.n {
		m := &w.s.p.Measures[l.t[i].m]
		if m.Trials.Combine == screen.Best || w.est[l.t[i].m].trials[l.t[i].side]+3 > m.Trials.Most {
			return false
		}
	}
	return true
}

// after is the measurement variance once every value of the sum was measured again by the same
// examiner; what the examiner adds stays.
func (w *work) after(e *evaluated, how again) float64 {
	v := e.se * e.se
	for i := range e.c.l.n {
		t := &e.c.l.t[i]
		m, s := &w.s.p.Measures[t.m], &w.est[t.m]
		r := &m.Resolved
		old, day := s.within[t.side], r.Day*r.Day
		placed := r.Trial*r.Trial*m.Trials.Share(m.Trials.Planned) + r.Placing*r.Placing
		var next float64
		switch how {
		case moreTrials:
			k := max(1, s.trials[t.side])
			next = max(0, old-r.Trial*r.Trial*(m.Trials.Share(k)-m.Trials.Share(k+3))) + day
		case newPlacing:
			next = parallel(old, placed) + day
		case anotherDay:
			next = parallel(old+day, placed+day)
		}
		v -= square(t.c*widened(e.c.pair)) * max(0, old+day-next)
	}
	return max(v, 0)
}

// parallel is the variance of the best combination of two independent measurements.
func parallel(a, b float64) float64 {
	if a+b == 0 {
		return 0
	}
	return a * b / (a + b)
}

func (w *work) chance(e *evaluated, variance float64) float64 {
	c := &e.c
	se := math.Sqrt(variance)
	mean, now := c.posterior(e.x, e.se) // of a squad's figures the moments, before and after
	_, sd := c.posterior(0, se)
	step2 := now*now - sd*sd
	if step2 <= 1e-12 {
		return 0
	}
	step := math.Sqrt(step2)
	b := w.bounds(c, se, sd)
	if !c.absolute {
		return stat.Phi((mean-b.over)/step) + stat.Phi((b.upper-mean)/step)
	}
	p := stat.Phi((mean-b.over)/step) + stat.Phi((b.under-mean)/step)
	if b.clear && b.upper > b.lower {
		p += stat.Phi((b.upper-mean)/step) - stat.Phi((b.lower-mean)/step)
	}
	return min(1, p)
}

// bounds are posterior means: from over up, of an absolute rule also from under down, a deficit is
// called; up to upper, of an absolute rule from lower on, a clear. Where no mean is clear, clear is
// false.
type bounds struct {
	over, under, upper, lower float64
	clear                     bool
}

// bounds are those that hold after measuring again, with the standard error se and posterior SD sd: what
// P_m asks of the measurement is put as a condition on the posterior mean, μ + w(D − μ). An absolute
// rule with a prior mean of 0 is symmetric.
func (w *work) bounds(c *comparison, se, sd float64) (b bounds) {
	z, zc := w.s.z, w.s.zc
	wt, mu := 1.0, 0.0
	if c.prior {
		wt, mu = c.omega*c.omega/(c.omega*c.omega+se*se), c.mu
	}
	if !c.absolute {
		return bounds{over: max(c.tau+z*sd, mu+wt*(c.tau+z*se-mu)), upper: min(c.tau-zc*sd, mu+wt*(c.tau-zc*se-mu)), clear: true}
	}
	cut := &w.s.p.Cutoffs
	hi := nearBeyond(c.tau, se, cut.Deficit, z)
	lo, ok := nearClear(c.tau, se, cut.Clear, zc)
	if !c.prior {
		return bounds{hi, -hi, lo, -lo, ok}
	}
	far := nearBeyond(c.tau, sd, cut.Deficit, z)
	own, ownOK := nearClear(c.tau, sd, cut.Clear, zc)
	return bounds{max(far, mu+wt*(hi-mu)), min(-far, mu-wt*(hi+mu)),
		min(own, mu+wt*(lo-mu)), max(-own, mu-wt*(lo+mu)), ok && ownOK}
}

func square(x float64) float64 { return x * x }

// nearClear is clearMean to about a thousandth of the SD. zc is the quantile of 1 − p.
func nearClear(tau, sd, p, zc float64) (float64, bool) {
	if 2*tau/sd-zc < 2.2 {
		return clearMean(tau, sd, p)
	}
	return nearBeyond(tau, sd, p, -zc), true
}

// nearBeyond is solveBeyond to about a thousandth of the SD, which is enough for a chance: one step of
// Newton's method from the one-sided answer. z is the quantile of p.
func nearBeyond(tau, sd, p, z float64) float64 {
	far := 2*tau/sd + z
	switch {
	case far > 5 || sd <= 0:
		return tau + z*sd
	case far < 2.2:
		return solveBeyond(tau, sd, p)
	}
	slope := (math.Exp(-z*z/2) - math.Exp(-far*far/2)) / math.Sqrt(2*math.Pi)
	return tau + z*sd - sd*stat.Phi(-far)/slope
}

// solveBeyond is the mean m ≥ 0 at which a normal variable is beyond ±tau with probability p: the
// one-sided answer, corrected for the other tail; where that is no longer small, Newton's method.
func solveBeyond(tau, sd, p float64) float64 {
	if sd <= 0 {
		return tau
	}
	z := stat.Quantile(p)
	m := tau + z*sd
	if far := (m + tau) / sd; far > 6 {
		return m // the other tail is below 1e-9
	} else if far > 3.5 {
		return m - stat.Phi(-far)*sd*math.Sqrt(2*math.Pi)*math.Exp(z*z/2)
	}
	if stat.Beyond(tau, 0, sd) >= p {
		return 0
	}
	lo, hi := 0.0, max(m, tau)+8*sd
	for range 50 {
		f := stat.Beyond(tau, m, sd) - p
		if math.Abs(f) < 1e-10 {
			break
		}
		if f < 0 {
			lo = m
		} else {
			hi = m
		}
		a, b := (m-tau)/sd, (m+tau)/sd
		m -= f * sd * math.Sqrt(2*math.Pi) / (math.Exp(-a*a/2) - math.Exp(-b*b/2))
		if !(m > lo && m < hi) {
			m = (lo + hi) / 2
		}
	}
	return m
}

// clearMean is the largest such mean for the clear cut-off; ok is false if even 0 is not clear.
func clearMean(tau, sd, p float64) (float64, bool) {
	if tau < 2*sd && stat.Beyond(tau, 0, sd) > p {
		return 0, false
	}
	return solveBeyond(tau, sd, p), true
}

// adviceDeficit guards against regression to the mean: a reading that picked an athlete out is too high
// on average, and would make training look better than it was.
const adviceDeficit = "read once more on another day before training starts; that reading is the baseline"

// advice names the cheapest way to measure again with a chance of 40 % or more.
func (c *Chance) advice() string {
	switch {
	case c.MoreTrials != nil && *c.MoreTrials >= 0.4:
		return adviceTrials[aboutIn(*c.MoreTrials)]
	case c.NewPlacing >= 0.4:
		return advicePlacing[aboutIn(c.NewPlacing)]
	case c.AnotherDay >= 0.4:
		return adviceDay[aboutIn(c.AnotherDay)]
	}
	return "this measure will not settle it; treat as borderline"
}

var (
	adviceTrials  = adviceWords("three more trials now: settled in ")
	advicePlacing = adviceWords("place anew and measure again now: settled in ")
	adviceDay     = adviceWords("measure again on another day: settled in ")
)

func adviceWords(start string) (out [4]string) {
	for i, w := range []string{"about 1 in 2", "about 2 in 3", "about 3 in 4", "most cases"} {
		out[i] = start + w
	}
	return out
}

func aboutIn(p float64) int {
	switch {
	case p >= 0.85:
		return 3
	case p >= 0.7:
		return 2
	case p >= 0.6:
		return 1
	}
	return 0
}

// Target is the value to reach for a side difference: the largest one that a single planned visit
// would call clear by the measurement alone.
type Target struct {
	Value float64
	OK    bool
}

// target of a comparison with the standard error of a planned visit. A signed one is τ − z·SE; of an
// absolute one the D in [0, τ) that is beyond ±τ with the clear probability. There is none if it does
// not exist, or if an athlete without any difference would meet it on fewer than half of the visits.
func (s *Scorer) target(c *comparison, se float64) Target {
	if !c.absolute {
		t := c.tau - s.zc*se
		return Target{t, c.tau <= 0 || t >= 0}
	}
	t, ok := clearMean(c.tau, se, s.p.Cutoffs.Clear)
	return Target{t, ok && t >= 0.67*se}
}

const targetCannot = "the measurement cannot show it; aim for no difference"

// plannedSE is the standard error of a comparison at a planned visit: the planned trials, one
// examiner, both sides measured anew.
func (s *Scorer) plannedSE(l *lin) float64 { return s.plannedMore(l, 0) }

// plannedMore is the same with more trials of each measure, as far as the protocol allows them; a best
// trial is fixed in number.
func (s *Scorer) plannedMore(l *lin, more int) float64 {
	v := 0.0
	for i := range l.n {
		x := &l.t[i]
		e := s.plannedTrials(int(x.m), trialsWith(&s.p.Measures[x.m], more))
		for j := range l.n {
			if y := &l.t[j]; y.m == x.m {
				v += x.c * y.c * e.cov[x.side][y.side]
			}
		}
	}
	return math.Sqrt(max(0, v))
}

// planned is what one planned visit says of a measure: variances and covariance, no values.
func (s *Scorer) planned(m int) sided { return s.plannedTrials(m, s.p.Measures[m].Trials.Planned) }

// trialsWith is the number of trials that are planned with some more.
func trialsWith(m *screen.Measure, more int) int {
	if m.Trials.Combine == screen.Best {
		return m.Trials.Planned
	}
	return max(m.Trials.Planned, min(m.Trials.Most, m.Trials.Planned+more))
}

func (s *Scorer) plannedTrials(m, trials int) sided {
	x := &s.p.Measures[m]
	r := &x.Resolved
	within := r.Trial*r.Trial*x.Trials.Share(trials) + r.Placing*r.Placing
	if x.Unit == "deg" && x.Step >= 2 {
		within += x.Step * x.Step / 12
	}
	exam := r.Examiner * r.Examiner
	e := sided{within: [2]float64{within, within}, shared: exam}
	e.cov = [2][2]float64{{within + r.Day*r.Day + exam, exam}, {exam, within + r.Day*r.Day + exam}}
	return e
}
