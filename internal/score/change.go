package score

import (
	"fmt"
	"math"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Change is what became of a deficit between two visits. Differences are signed so that a negative
// change is one for the better: of floors it is the value's change with the sign reversed, of absolute
// rules that of the side which was, or became, the worse one.
type Change struct {
	Raw         float64    `json:"raw" doc:"second difference − first; negative: smaller deficit"`
	ByItself    float64    `json:"by_itself" doc:"change expected because the first was extreme; 0 without a prior, or if the first was not what the athlete was picked by"`
	Beyond      float64    `json:"beyond" doc:"the change beyond that"`
	SE          float64    `json:"se"`
	Interval90  [2]float64 `json:"interval90"`
	PImproved   float64    `json:"p_improved"`
	Real        bool       `json:"real" doc:"|beyond| > 1.96 SE"`
	MDC95       float64    `json:"mdc95" doc:"change that measurement error alone exceeds in 5 of 100 repeats"`
	PriorKnown  bool       `json:"prior_known"`
	Explanation string     `json:"explanation"`
}

// What a change is called.
const (
	changeBetter  = "a real change for the better"
	changeWorse   = "a real change for the worse"
	changeOther   = "a real change; the other side is now the worse one"
	changeNot     = "cannot be told from measurement error"
	changeNoPrior = "; part of an improvement after an extreme first reading comes by itself"
)

// Compare gives the change of a finding from the visit that picked the athlete to another one. The change
// that comes by itself after an extreme first reading is E = m₁ − D₁ with the posterior mean m₁ of the
// first, μ + w(D₁ − μ) with w = ω²/(ω² + SE₁²) under a protocol's prior; what is beyond it has SE_Δ = √(SE₂² + s₁²), s₁² = w·SE₁².
// Without a prior E is 0 and s₁ is SE₁: then Beyond/SE is the reliable change index of Jacobson NS, Truax
// P (J Consult Clin Psychol 1991;59:12-19). Both findings must be of the same rule.
func Compare(first, second *Finding) Change { return compare(first, second, true) }

// compare is Compare; picked says that the first finding is what the athlete was picked by, without
// which nothing is expected to change by itself.
func compare(first, second *Finding, picked bool) Change {
	g := gaugeFor(first.RuleKind)
	x1, v1 := g.work(first.Difference), first.SE
	x2 := g.work(second.Difference)
	c := Change{MDC95: 1.96 * math.Hypot(first.SE, second.SE)}
	m1 := x1
	if picked && first.Prior != "none" && first.PriorSD > 0 {
		mean, sd := expected(first, x1, first.SE/g.rate(x1))
		m1, v1 = mean, sd*g.rate(mean)
		c.PriorKnown = true
	}
	sign := 1.0
	if first.Kind == "absolute" && g.same() && worse(x1, x2) < 0 {
		sign = -1
	}
	c.Raw = sign * (g.larger(x2) - g.larger(x1))
	c.ByItself = sign * (g.larger(m1) - g.larger(x1))
	c.Beyond = c.Raw - c.ByItself
	c.SE = math.Hypot(second.SE, v1)
	c.Interval90 = [2]float64{c.Beyond - 1.645*c.SE, c.Beyond + 1.645*c.SE}
	c.Real = math.Abs(c.Beyond) > 1.96*c.SE
	c.PImproved = stat.Above(0, -c.Beyond, c.SE)
	if c.Beyond == 0 {
		c.PImproved = 0.5
	}
	if first.Kind == "absolute" && g.same() {
		c.PImproved = smallerSize(g.larger(m1), v1, g.larger(x2), second.SE)
	}
	c.explain(picked, sign*x2 < 0 && sign*x1 > 0 && math.Abs(x2) > 1.645*second.SE/g.rate(x2) && first.Kind == "absolute" && g.same())
	return c
}

// expected is mean and standard deviation of the true difference by the first finding, on the scale of
// comparison: of a squad's figures the mixture's, which the finding has.
func expected(f *Finding, x, se float64) (mean, sd float64) {
	if f.Prior == "squad" {
		return f.PostMean, f.PostSD
	}
	c := comparison{prior: true, mu: f.PriorMean, omega: f.PriorSD}
	return c.posterior(x, se)
}

// worse is whichever of two signed differences is the larger one in size, the first of equals.
func worse(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// smallerSize is P(|d₂| < |d₁|) for independent normal d₁ and d₂: the difference and the sum of the two
// have the same sign.
func smallerSize(m1, s1, m2, s2 float64) float64 {
	v := s1*s1 + s2*s2
	if v == 0 {
		return stat.Above(math.Abs(m2), math.Abs(m1), 0)
	}
	a, b, rho := (m1-m2)/math.Sqrt(v), (m1+m2)/math.Sqrt(v), (s1*s1-s2*s2)/v
	return stat.UpperOrthant(-a, -b, rho) + stat.UpperOrthant(a, b, rho)
}

func (c *Change) explain(picked, crossed bool) {
	switch {
	case c.Real && crossed:
		c.Explanation = changeOther
	case c.Real && c.Beyond < 0:
		c.Explanation = changeBetter
	case c.Real:
		c.Explanation = changeWorse
	default:
		c.Explanation = changeNot
	}
	if picked && !c.PriorKnown && c.Beyond < 0 {
		c.Explanation += changeNoPrior
	}
}

// Lines say a change in three sentences: as it was read, what comes by itself, and what is beyond that.
// Where nothing comes by itself there are two.
func (c *Change) Lines(s *Scorer, m *MeasureCourse) []string {
	way := func(x float64) string { return s.way(m, x) }
	out := []string{fmt.Sprintf("As read: %s.", way(c.Raw))}
	// The interval that reaches no change exactly where the change is not called real.
	beyond := fmt.Sprintf("(95 in 100: between %s and %s): %s.", way(c.Beyond-1.96*c.SE), way(c.Beyond+1.96*c.SE), c.Explanation)
	if c.PriorKnown {
		return append(out, fmt.Sprintf("Comes by itself after a first reading like that: %s.", way(c.ByItself)),
			fmt.Sprintf("Beyond that: %s %s", way(c.Beyond), beyond))
	}
	return append(out, fmt.Sprintf("With its error: %s %s", way(c.Beyond), beyond))
}

// short says a change in one half of a sentence.
func (c *Change) short(s *Scorer, m *MeasureCourse) string {
	out := s.way(m, c.Raw) + " as read"
	if c.PriorKnown {
		out += ", " + s.way(m, c.Beyond) + " beyond what comes by itself"
	}
	return out + ": " + c.Explanation
}

// way is a change with its direction, as finely as the measure is read: "6° better".
func (s *Scorer) way(m *MeasureCourse, x float64) string {
	measure := s.p.Measure(m.Measure)
	size := number(math.Abs(x), measure)
	switch {
	case size == number(0, measure):
		return "no change"
	case x < 0:
		return screen.Amount(size, m.Unit) + " better"
	}
	return screen.Amount(size, m.Unit) + " worse"
}

// gauge leads from the values of a rule, as a finding shows them, to the scale on which errors are alike
// and larger is worse, and back. There a threshold is τ and a trend is a line.
type gauge struct {
	lower   bool // floors: the lower value is the worse one
	log     bool // a value compared by its logarithm
	percent bool // a difference of logarithms, shown in percent
}

// gaugeFor is the gauge of a kind of rule, for values that are not compared by their logarithm.
func gaugeFor(k screen.RuleKind) gauge {
	return gauge{lower: k == screen.Floor || k == screen.RatioFloor, percent: k == screen.SidePercent}
}

func (s *Scorer) gaugeOf(r *rule) gauge {
	g := gaugeFor(r.Kind)
	g.log = r.Kind != screen.SideDifference && r.Kind != screen.SidePercent && isLog(s, r.m)
	return g
}

// same reports whether sides are compared: a value has no other side to change to.
func (g gauge) same() bool { return !g.lower && !g.log }

// work is a shown value on the scale of comparison.
func (g gauge) work(v float64) float64 {
	switch {
	case g.percent:
		return math.Copysign(-math.Log1p(-min(math.Abs(v), 99.999999)/100), v)
	case g.log:
		v = logTau(v)
	}
	if g.lower {
		return -v
	}
	return v
}

// shown is a value on the scale of comparison as a finding shows it.
func (g gauge) shown(x float64) float64 {
	if g.percent {
		return percentBelow(x)
	}
	if g.lower {
		x = -x
	}
	if g.log {
		return math.Exp(min(x, 30))
	}
	return x
}

// larger is the shown value with the sign that makes larger worse.
func (g gauge) larger(x float64) float64 {
	if g.lower {
		return -g.shown(x)
	}
	return g.shown(x)
}

// rate is by how much the shown value changes with the one compared: a standard error of the one, times
// rate, is one of the other.
func (g gauge) rate(x float64) float64 {
	switch {
	case g.percent:
		return 100 * math.Exp(-math.Abs(x))
	case g.log:
		return g.shown(x)
	}
	return 1
}
