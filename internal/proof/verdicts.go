package proof

import (
	"math"
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Outcome is what one rule said of simulated athletes, beside what was true.
type Outcome struct {
	Rule
	N      int
	Broken int // athletes who truly are beyond the threshold

	Deficits, FalseDeficits int // called a deficit; of these, truly not beyond
	Clears, MissedClears    int // called clear; of these, truly beyond
	Unsettled               int
	Called, FalseCalled     int // by D > τ alone
	MissedPlain             int // truly beyond, D not
	ClearByPrior            int // truly beyond, and clear if P_k alone decided
	DeficitByPrior          int // deficits if P_k alone decided
	Far, FarClear           int // truly beyond by a standard error or more; of these, called clear

	P Calibration // P_k against what was true
}

// Wrong is the share of athletes in whom the plain comparison is wrong.
func (o *Outcome) Wrong() float64 { return share(o.FalseCalled+o.MissedPlain, o.N) }

// Truth says how the simulated truth departs from what the scoring assumes.
type Truth struct {
	Errors float64 // true measurement errors over the assumed ones; 0 means 1
	Shift  float64 // true mean less the assumed one, in assumed standard deviations
	Step   bool    // readings are rounded to the instrument's step, errors are else the assumed ones
}

// Verdicts are the findings of simulated athletes of one age.
type Verdicts struct {
	Truth    Truth
	Age      int
	Draws    int
	Outcomes []Outcome // one for each rule with something known of such athletes
	JointSum []Outcome // rules on a sum, where the truth is that of the sum's parts
	Link     string
	PLink    Calibration // of the link with the rule of two conditions
}

type verdictTally struct {
	out  []Outcome
	link Calibration
}

// SimulateVerdicts scores athletes whose truth is drawn from the protocol's prior, at a planned visit:
// the planned trials by one examiner. The truth of links and of rules of two conditions is that of what
// is read. Measures limits what is read; empty: all.
func SimulateVerdicts(p *screen.Protocol, age int, truth Truth, set Settings, measures ...string) *Verdicts {
	if truth.Errors == 0 {
		truth.Errors = 1
	}
	v := &Verdicts{Truth: truth, Age: age, Draws: set.Draws}
	for _, b := range knownBenches(p, age, measures...) {
		t := b.simulate(truth, set)
		for i := range b.rules {
			switch {
			case !b.rules[i].Known:
			case b.looksAt(i):
				v.Outcomes = append(v.Outcomes, t.out[i])
			case b.sum < 0:
				v.JointSum = append(v.JointSum, t.out[i])
			}
		}
		if b.sum < 0 {
			v.Link, _ = b.countedLink()
			v.PLink = t.link
		}
	}
	return v
}

func (b *bench) simulate(truth Truth, set Settings) *verdictTally {
	link, counted := b.countedLink()
	return draw(set, func(rng *rand.Rand, n int) *verdictTally {
		t := &verdictTally{out: make([]Outcome, len(b.rules))}
		for i := range b.rules {
			t.out[i].Rule = b.rules[i]
		}
		v, p := b.newVisit(truth.Errors), b.newPerson()
		v.step = truth.Step
		for range n {
			b.truth(rng, &p, truth.Shift)
			rep := b.s.Score(v.take(rng, &p), score.Options{})
			b.eachFinding(rep, func(i int, f *score.Finding) {
				t.out[i].see(f, b.broken(i, p.d), b.far(i, p.d))
			})
			if link != "" {
				t.link.see(linkP(rep, link), b.anyBroken(counted, p.d))
			}
		}
		return t
	}, addTallies)
}

// countedLink is the link of a rule of two conditions, with its counted rules.
func (w *world) countedLink() (link string, rules []int) {
	for i := range w.rules {
		if w.rules[i].Both() {
			link = w.p.Rule(w.rules[i].ID).Link
		}
	}
	for i := range w.rules {
		if r := w.p.Rule(w.rules[i].ID); r.Link == link && r.Counted {
			rules = append(rules, i)
		}
	}
	return link, rules
}

func addTallies(sum, part *verdictTally) *verdictTally {
	if sum == nil {
		return part
	}
	for i := range sum.out {
		sum.out[i].add(&part.out[i])
	}
	sum.link.add(&part.link)
	return sum
}

func (o *Outcome) add(p *Outcome) {
	o.N += p.N
	o.Broken += p.Broken
	o.Deficits += p.Deficits
	o.FalseDeficits += p.FalseDeficits
	o.Clears += p.Clears
	o.MissedClears += p.MissedClears
	o.Unsettled += p.Unsettled
	o.Called += p.Called
	o.FalseCalled += p.FalseCalled
	o.MissedPlain += p.MissedPlain
	o.ClearByPrior += p.ClearByPrior
	o.DeficitByPrior += p.DeficitByPrior
	o.Far += p.Far
	o.FarClear += p.FarClear
	o.P.add(&p.P)
}

// eachFinding calls do for the findings of the world's rules; each has one.
func (w *world) eachFinding(rep *score.Report, do func(rule int, f *score.Finding)) {
	for k := range rep.Findings {
		f := &rep.Findings[k]
		if i := w.ruleAt(f.Rule); i >= 0 {
			do(i, f)
		}
	}
}

func linkP(rep *score.Report, link string) float64 {
	for i := range rep.Links {
		if rep.Links[i].Link == link && rep.Links[i].P != nil {
			return *rep.Links[i].P
		}
	}
	return 0
}

func (w *world) anyBroken(rules []int, d []float64) bool {
	for _, i := range rules {
		if w.broken(i, d) {
			return true
		}
	}
	return false
}

// far reports whether the truth is beyond the threshold by a standard error or more.
func (w *world) far(i int, d []float64) bool {
	r := &w.rules[i]
	if r.Both() {
		return w.far(r.both[0], d) && w.far(r.both[1], d)
	}
	x := r.difference(d)
	return x >= r.Tau+r.SE || r.Absolute && -x >= r.Tau+r.SE
}

// see counts one finding. The plain comparison of a rule of two conditions is left out: a finding has
// only the first difference.
func (o *Outcome) see(f *score.Finding, broken, far bool) {
	o.N++
	o.P.see(f.P, broken)
	count(&o.Broken, broken)
	switch f.Verdict {
	case score.Deficit:
		o.Deficits++
		count(&o.FalseDeficits, !broken)
	case score.Clear:
		o.Clears++
		count(&o.MissedClears, broken)
	default:
		o.Unsettled++
	}
	count(&o.Far, far)
	count(&o.FarClear, far && f.Verdict == score.Clear)
	count(&o.ClearByPrior, broken && f.P <= 0.2)
	count(&o.DeficitByPrior, f.P >= 0.8)
	if o.Both() {
		return
	}
	called := f.Difference > f.Threshold || o.Absolute && math.Abs(f.Difference) > f.Threshold
	count(&o.Called, called)
	count(&o.FalseCalled, called && !broken)
	count(&o.MissedPlain, broken && !called)
}

func count(n *int, yes bool) {
	if yes {
		*n++
	}
}
