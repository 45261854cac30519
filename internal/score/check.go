package score

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// RuleCheck is what a rule can do with the error of its measure at a planned visit: the planned
// trials, one examiner, both sides.
type RuleCheck struct {
	Rule      string   `json:"rule"`
	Name      string   `json:"name"`
	Group     string   `json:"group" doc:"the athletes that threshold and prior are for"`
	Kind      string   `json:"kind"`
	Counted   bool     `json:"counted"`
	Core      bool     `json:"core"`
	SE        float64  `json:"se"`
	Threshold float64  `json:"threshold"`
	Unit      string   `json:"unit"`
	Prior     bool     `json:"prior_known"`
	PriorMean float64  `json:"prior_mean"`
	PriorSD   float64  `json:"prior_sd"`
	Found     float64  `json:"found" doc:"of 100 athletes with a true deficit, called a deficit"`
	Unsettled float64  `json:"unsettled" doc:"of the same 100, left unsettled"`
	Missed    float64  `json:"called_clear" doc:"of the same 100, called clear"`
	Exceeded  float64  `json:"exceeded" doc:"of 100 uninjured athletes like these, truly beyond the threshold"`
	Marks     []string `json:"marks,omitempty"`
}

// Below how many found, and from how many exceeded of 100, a rule is marked.
const (
	foundTooFew     = 20
	exceededTooMany = 30
)

// The marks of a rule.
const (
	MarkCannotSettle = "this measure cannot settle this threshold"
	MarkUsual        = "30 or more of 100 uninjured athletes exceed it"
	MarkNeverClear   = "with this error the rule can never be clear"
	MarkNoPrior      = "nothing is known of uninjured athletes: only the measurement is used"
)

// Check works out, for every rule on a difference of sides and every group of athletes that its
// threshold and prior distinguish, what the rule finds and misses.
func (s *Scorer) Check() []RuleCheck {
	var out []RuleCheck
	for i := range s.rules {
		r := &s.rules[i]
		if r.Kind == screen.AllOf {
			out = append(out, s.checkBoth(i)...)
		}
		if r.Kind != screen.SideDifference && r.Kind != screen.SidePercent {
			continue
		}
		done := map[string]bool{}
		for _, subject := range s.checkSubjects(r) {
			t := r.threshold(&subject)
			if t < 0 {
				continue
			}
			c := s.checkRule(r, t, &subject)
			key := fmt.Sprint(t, c.Prior, c.PriorMean, c.PriorSD)
			if !done[key] {
				done[key] = true
				out = append(out, c)
			}
		}
	}
	return out
}

// checkSubjects is one throwing athlete for each age at which a threshold or a prior of the rule may
// switch, and just below, of either sex.
func (s *Scorer) checkSubjects(r *rule) []screen.Subject {
	ages := []float64{30}
	add := func(w *screen.When) {
		for _, a := range []*float64{w.AgeFrom, w.AgeBelow} {
			if a != nil {
				ages = append(ages, *a, *a-0.01)
			}
		}
	}
	for i := range r.Thresholds {
		add(&r.Thresholds[i].When)
	}
	for i := range s.p.Measures[r.m].Priors {
		add(&s.p.Measures[r.m].Priors[i].When)
	}
	sort.Float64s(ages)
	out := make([]screen.Subject, 0, 2*len(ages))
	for _, age := range ages {
		for _, sex := range []screen.Sex{screen.Male, screen.Female} {
			out = append(out, screen.Subject{Age: age, Sex: sex, Level: screen.School, Sport: "baseball", Profile: "overhead_throwing", Throws: true})
		}
	}
	return out
}

func (s *Scorer) checkRule(r *rule, t int, subject *screen.Subject) RuleCheck {
	w := &work{s: s, subject: *subject, d: sides{arm: 1, leg: 0, named: true}}
	c := w.compare(r, r.Thresholds[t].Value, 0)
	se := r.planned
	out := RuleCheck{Rule: r.ID, Name: r.Name, Kind: "absolute", Counted: r.Counted, Core: r.Core, SE: se,
		Threshold: r.Thresholds[t].Value, Unit: r.Thresholds[t].Unit, Prior: c.prior, PriorMean: c.mu, PriorSD: c.omega,
		Group: groupWords(&r.Thresholds[t].When, s.p.Measures[r.m].Priors, subject)}
	if !c.absolute {
		out.Kind = "signed"
	}
	if r.Kind == screen.SidePercent {
		out.SE = 100 * se
	}
	if c.absolute && se >= 0.78*c.tau {
		out.Marks = append(out.Marks, MarkNeverClear)
	}
	if !c.prior {
		out.Marks = append(out.Marks, MarkNoPrior)
		return out
	}
	out.Exceeded = 100 * c.probability(c.mu, c.omega)
	out.Found, out.Missed = w.operating(&c, se)
	out.mark()
	return out
}

// mark fills in what follows from the figures.
func (c *RuleCheck) mark() {
	c.Unsettled = 100 - c.Found - c.Missed
	if c.Found < foundTooFew {
		c.Marks = append(c.Marks, MarkCannotSettle)
	}
	if c.Exceeded >= exceededTooMany {
		c.Marks = append(c.Marks, MarkUsual)
	}
}

func groupWords(when *screen.When, priors []screen.Prior, subject *screen.Subject) string {
	ages := *when
	for i := range priors {
		if p := &priors[i].When; p.Holds(subject) {
			if ages.AgeFrom == nil || p.AgeFrom != nil && *p.AgeFrom > *ages.AgeFrom {
				ages.AgeFrom = p.AgeFrom
			}
			if ages.AgeBelow == nil || p.AgeBelow != nil && *p.AgeBelow < *ages.AgeBelow {
				ages.AgeBelow = p.AgeBelow
			}
			break
		}
	}
	switch {
	case ages.AgeFrom != nil && ages.AgeBelow != nil:
		return fmt.Sprintf("%g to below %g", *ages.AgeFrom, *ages.AgeBelow)
	case ages.AgeFrom != nil:
		return fmt.Sprintf("from %g", *ages.AgeFrom)
	case ages.AgeBelow != nil:
		return fmt.Sprintf("below %g", *ages.AgeBelow)
	}
	return "all"
}

// operating integrates the verdicts over the athletes who truly are beyond the threshold: how many of
// 100 are called a deficit, and how many clear.
func (w *work) operating(c *comparison, se float64) (found, missed float64) {
	_, sd := c.posterior(0, se)
	b := w.bounds(c, se, sd)
	wt := c.omega * c.omega / (c.omega*c.omega + se*se)
	for _, x := range []*float64{&b.over, &b.under, &b.upper, &b.lower} {
		*x = c.mu + (*x-c.mu)/wt // from posterior means to measured differences
	}
	total := c.probability(c.mu, c.omega)
	if total == 0 {
		return 0, 0
	}
	add := func(from, to, sign float64) {
		if to <= from {
			return
		}
		n := len(gridX)
		for i := range n {
			x := sign * (from + (to-from)*gridX[i])
			u := (x - c.mu) / c.omega
			p := (to - from) * gridW[i] * math.Exp(-u*u/2) / (c.omega * math.Sqrt(2*math.Pi)) / total
			if c.absolute {
				found += p * (stat.Above(b.over, x, se) + stat.Above(-b.under, -x, se))
				if b.clear {
					missed += p * max(0, stat.Above(b.lower, x, se)-stat.Above(b.upper, x, se))
				}
			} else {
				found += p * stat.Above(b.over, x, se)
				missed += p * stat.Above(-b.upper, -x, se)
			}
		}
	}
	add(c.tau, max(c.tau, c.mu)+9*c.omega, 1)
	if c.absolute {
		add(c.tau, max(c.tau, -c.mu)+9*c.omega, -1)
	}
	return 100 * found, 100 * missed
}

var gridX, gridW = func() (x, w []float64) {
	x, w = make([]float64, 200), make([]float64, 200)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	return x, w
}()

// Remarks are what the check has to say of the protocol as a whole: priors of a sum whose mean its
// parts' priors do not add up to. The joint probabilities then use the parts' means.
func (s *Scorer) Remarks() []string {
	var out []string
	for m := range s.p.Measures {
		x := &s.p.Measures[m]
		if x.Derived == nil || x.Derived.Per != nil || len(x.Priors) == 0 {
			continue
		}
		seen := map[string]bool{}
		for _, age := range []float64{10, 17, 25} {
			subject := screen.Subject{Age: age, Sex: screen.Male, Throws: true}
			mean, _, ok := x.PriorFor(&subject)
			sum := 0.0
			for _, q := range s.sums[m] {
				mu, _, known := s.p.Measures[q.m].PriorFor(&subject)
				ok = ok && known
				sum += q.c * mu
			}
			if text := fmt.Sprintf("%s: its prior has the mean %g, those of its parts add up to %g; its own rule uses the first, joint probabilities the second.", x.ID, mean, math.Round(100*sum)/100); ok && math.Abs(mean-sum) > 0.5 && !seen[text] {
				seen[text] = true
				out = append(out, text)
			}
		}
	}
	return out
}
