package score

import (
	"math"

	"gonum.org/v1/gonum/mathext"

	"evenhand/internal/screen"
)

// count evaluates a ceiling on the rate of a count: rate ~ gamma with the group's mean and SD, count ~
// Poisson over the trials. By the measurement alone the rate has a flat prior. A trial at the cap says
// "at least".
func (w *work) count(m, side int, tau float64) evaluated {
	s := &w.est[m]
	e := evaluated{ok: s.has[side]}
	if !e.ok {
		return e
	}
	x := &w.s.p.Measures[m]
	c := counted{n: s.counts[side], k: float64(s.trials[side])}
	if s.capped[side] > 0 {
		c.capped, c.limit = s.capped[side], x.Cap
		c.n -= float64(c.capped) * x.Cap
		c.k -= float64(c.capped)
	}
	e.x = s.counts[side] / float64(s.trials[side])
	e.se = math.Sqrt(max(s.counts[side], 1)) / float64(s.trials[side])
	e.c.tau = tau
	e.pm = c.tail(1, 0, tau)
	e.pk = e.pm
	e.postMean, e.postSD = (s.counts[side]+1)/float64(s.trials[side]), math.Sqrt(s.counts[side]+1)/float64(s.trials[side])
	if g := w.group(x); g != nil {
		a, b := g.Mean*g.Mean/(g.SD*g.SD), g.Mean/(g.SD*g.SD)
		e.pk = c.tail(a, b, tau)
		rate := b + float64(s.trials[side])
		e.postMean, e.postSD = (a+s.counts[side])/rate, math.Sqrt(a+s.counts[side])/rate
		e.c.prior, e.c.mu, e.c.omega = true, g.Mean, g.SD
	}
	e.verdict = w.s.verdict(e.pm, e.pk)
	return e
}

// counted is n events in k trials, and besides capped trials of which each had at least limit events.
type counted struct {
	n, k   float64
	capped int
	limit  float64
}

// tail is the probability that the rate exceeds tau, when it had a gamma prior with the shape and rate
// given (1 and 0: flat).
func (c *counted) tail(shape, rate, tau float64) float64 {
	if c.capped == 0 {
		return mathext.GammaIncRegComp(shape+c.n, (rate+c.k)*tau)
	}
	// With capped trials the likelihood has the factor P(N ≥ limit | λ) = regularised gamma(limit, λ).
	density := func(l float64) float64 {
		f := math.Exp((shape+c.n-1)*math.Log(l) - (rate+c.k)*l)
		return f * math.Pow(mathext.GammaIncReg(c.limit, l), float64(c.capped))
	}
	over := func(from, to float64) (sum float64) {
		for i, x := range gridX {
			sum += gridW[i] * (to - from) * density(from+(to-from)*x)
		}
		return sum
	}
	// Without another trial and without a prior the rate has no upper bound; 100 events a trial is taken
	// for one.
	above := over(tau, max(100, 4*tau))
	return above / (above + over(0, tau))
}

// group is the group of athletes whose mean and SD of a count hold for the subject, nil if none does.
func (w *work) group(m *screen.Measure) *screen.Group {
	for i := range m.Groups {
		if m.Groups[i].When.Holds(&w.subject) && m.Groups[i].SD > 0 {
			return &m.Groups[i]
		}
	}
	return nil
}

// usualCount multiplies in what an average athlete has on a ceiling of a count.
func (j *joint) usualCount(e *evaluated, tau float64) {
	if !e.c.prior {
		j.usual = false
		return
	}
	b := e.c.mu / (e.c.omega * e.c.omega)
	j.apartUse *= 1 - mathext.GammaIncRegComp(e.c.mu*b, b*tau)
}
