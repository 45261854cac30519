package score

import (
	"math"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// work is all that the scoring of one screen needs at hand.
type work struct {
	s       *Scorer
	rec     *screen.Record
	est     []sided
	subject screen.Subject
	d       sides
	out     *Report
	conds   []evaluated   // rules already evaluated, by place in the protocol
	squad   []*GroupPrior // for each measure what is usual in the squad, nil: not known; empty: for none
	squadOn screen.Date
	counted bool // the athlete is one of those that the squad's figures were worked out from

	// Memory that scores share one after another, or that belongs to one report.
	heads, next []int
	groups      []seen
	joint       joint
	clauses     [16]stat.Clause
	floats      []float64
	chances     []Chance
}

// comparison is a rule put into numbers: the rule is broken where the normal variable with mean x and
// SD se exceeds tau; an absolute one also where its opposite does.
type comparison struct {
	l        lin
	tau      float64
	absolute bool
	prior    bool // mu and omega hold
	mu       float64
	omega    float64
	counted  bool      // the athlete is one of those that the squad's figures were worked out from
	squad    stat.Grid // what is usual in the squad; mu and omega are then its moments. nil: the protocol's prior
	average  normal    // what the protocol says of such athletes, also where the squad's figures hold
	pair     float64   // factor on the variance; 0 means 1
}

// normal is a normal distribution, if it is known.
type normal struct {
	known     bool
	mu, omega float64
}

// widened is the factor on a standard error that belongs to one on the variance.
func widened(pair float64) float64 {
	if pair > 0 {
		return math.Sqrt(pair)
	}
	return 1
}

// evaluated is a comparison with its probabilities.
type evaluated struct {
	ok       bool
	c        comparison
	x, se    float64
	pm, pk   float64
	postMean float64
	postSD   float64
	verdict  Verdict
	finding  int // place in the report
}

// compare puts a rule into numbers. side is the index of the side for rules on one side.
func (w *work) compare(r *rule, tau float64, side int) comparison {
	p := w.s.p
	m := &p.Measures[r.m]
	switch r.Kind {
	case screen.SidePercent:
		tau = -math.Log1p(-tau / 100)
	case screen.Floor:
		if m.Scale == screen.Log {
			return comparison{l: w.s.valueOf(w.s.sums[r.m], side, -1), tau: -logTau(tau)}
		}
		return comparison{l: w.s.valueOf(w.s.sums[r.m], side, -1), tau: -tau}
	case screen.Ceiling:
		if m.Scale == screen.Log {
			return comparison{l: w.s.valueOf(w.s.sums[r.m], side, 1), tau: logTau(tau)}
		}
		return comparison{l: w.s.valueOf(w.s.sums[r.m], side, 1), tau: tau}
	case screen.RatioFloor:
		return w.s.ratio(r.m, side, tau)
	}
	c := comparison{l: w.s.difference(r.m, w.d), tau: tau, absolute: !r.signed(w.d), pair: m.Resolved.Pair}
	w.addPrior(&c, r.m)
	return c
}

// isLog reports whether a measure, or what it is computed from, is compared as a logarithm.
func isLog(s *Scorer, m int) bool { return s.p.Measures[s.sums[m][0].m].Scale == screen.Log }

// addPrior sets what is known of such athletes. A prior with a mean other than 0 belongs to a throwing
// side; where sides are only compared it says nothing, and neither do the squad's figures.
func (w *work) addPrior(c *comparison, m int) {
	mu, omega, ok := w.s.p.Measures[m].PriorFor(&w.subject)
	if ok && (w.d.named || mu == 0) {
		c.prior, c.mu, c.omega = true, mu, omega
		c.average = normal{true, mu, omega}
	}
	if g := w.usualOf(m); g != nil {
		c.prior, c.mu, c.omega, c.squad = true, g.NewMean, g.NewSD, g.Grid
		c.counted = w.counted
	}
}

// ratio is τ·divisor − factor·dividend > 0, exact for linear measures; for two logarithms their
// difference.
func (s *Scorer) ratio(m, side int, tau float64) comparison {
	f := s.p.Measures[m].Derived.Factor
	if isLog(s, m) {
		return comparison{l: s.plus(s.valueOf(s.sums[m], side, -1), s.pers[m], side, 1), tau: -logTau(tau / f)}
	}
	return comparison{l: s.plus(s.valueOf(s.sums[m], side, -f), s.pers[m], side, tau)}
}

func (s *Scorer) plus(l lin, parts []part, side int, factor float64) lin {
	more := s.valueOf(parts, side, factor)
	for i := range more.n {
		l.add(int(more.t[i].m), int(more.t[i].side), more.t[i].c)
	}
	return l
}

// evaluate works out both probabilities and the verdict.
func (w *work) evaluate(c comparison) evaluated {
	e := evaluated{c: c, ok: c.l.measured(w.est)}
	if !e.ok {
		return e
	}
	e.x, e.se = c.l.value(w.est), c.l.se(w.est)*widened(c.pair)
	e.pm = c.probability(e.x, e.se)
	e.postMean, e.postSD, e.pk = e.x, e.se, e.pm
	if c.prior {
		e.postMean, e.postSD, e.pk = c.weighed(e.x, e.se)
	}
	e.verdict = w.s.verdict(e.pm, e.pk)
	return e
}

// probability that the true value is beyond the threshold, for a mean and SD of it.
func (c *comparison) probability(mean, sd float64) float64 {
	if c.absolute {
		return stat.Beyond(c.tau, mean, sd)
	}
	return stat.Above(c.tau, mean, sd)
}

// weighed is mean and SD of the true value with all that is known, and the probability that it is beyond
// the threshold. With a squad's figures it is a mixture over the squad's spread ω: the probability is the
// weighted mean of the parts' own.
//
// For the squad's own athletes that is their part of the joint posterior of the whole squad: their
// reading is in μ̂ and in the weights of ω once, as the model has it. Of an athlete who was not counted
// (in pain, or measured on a later day) the reading is a further one.
func (c *comparison) weighed(x, se float64) (mean, sd, p float64) {
	if c.squad == nil {
		mean, sd = c.posterior(x, se)
		return mean, sd, c.probability(mean, sd)
	}
	m := c.inSquad(x, se, func(weight, mean, sd float64) { p += weight * c.probability(mean, sd) })
	return m.Mean, m.SD, min(p, 1)
}

// inSquad is the posterior by a squad's figures: that of one of its athletes, or of a further one.
func (c *comparison) inSquad(x, se float64, each func(weight, mean, sd float64)) stat.Moment {
	if c.counted {
		return c.squad.Posterior(x, se, each)
	}
	return c.squad.Further(x, se, each)
}

// posterior weighs the measurement with what is known: w = ω²/(ω² + SE²). Of a squad's figures it takes
// the moments.
func (c *comparison) posterior(x, se float64) (mean, sd float64) {
	if !c.prior {
		return x, se
	}
	wt := c.omega * c.omega / (c.omega*c.omega + se*se)
	return c.mu + wt*(x-c.mu), math.Sqrt(wt) * se
}

func (s *Scorer) verdict(pm, pk float64) Verdict {
	switch cut := &s.p.Cutoffs; {
	case pm >= cut.Deficit && pk >= cut.Deficit:
		return Deficit
	case pm <= cut.Clear && pk <= cut.Clear:
		return Clear
	}
	return Unsettled
}

// The reasons of a verdict.
const (
	reasonAgree     = "the measurement and what is known of such athletes agree"
	reasonAlone     = "the measurement is clear; nothing is known of such athletes"
	reasonUndecided = "the measurement alone does not decide"
	reasonUnusual   = "the measurement says so, but it would be unusual in such athletes: measure again"
	reasonCannot    = "the measurement alone does not decide, and with its error this rule can never be clear"
	reasonExpected  = "expected adaptation of a throwing shoulder: less internal rotation, the arc is not reduced"
	reasonHalf      = "the loss of internal rotation is there; whether the arc is reduced too is not settled"
)

func (s *Scorer) reason(e *evaluated) string {
	cut := &s.p.Cutoffs
	switch {
	case e.verdict != Unsettled && e.c.prior:
		return reasonAgree
	case e.verdict != Unsettled:
		return reasonAlone
	case e.c.absolute && e.se >= 0.78*e.c.tau && e.pm < cut.Deficit:
		return reasonCannot
	case e.pm >= cut.Deficit || e.pm <= cut.Clear:
		return reasonUnusual
	}
	return reasonUndecided
}
