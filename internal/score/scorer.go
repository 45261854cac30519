package score

import (
	"math"
	"sort"
	"sync"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Scorer scores records by one protocol. It is made once, holds nothing that changes but
// memory to work in, and may be used
// by many goroutines at a time.
type Scorer struct {
	p     *screen.Protocol
	ref   ProtocolRef
	rules []rule
	sums  [][]part // for each measure: what it is the sum of, expanded down to measures that are read
	pers  [][]part // for quotients: the divisor, likewise
	z     float64  // Φ⁻¹ of the deficit cut-off
	zc    float64  // −Φ⁻¹ of the clear cut-off
	most  int      // findings that a report can have
	pool  sync.Pool
}

type part struct {
	m int
	c float64
}

type rule struct {
	*screen.Rule
	m       int // measure, −1 for rules without one
	link    int
	conds   [2]int   // of an all_of rule
	sources []string // for each threshold, its reference in words
	planned float64  // standard error of the rule's comparison at a planned visit
	targets []Target // for each threshold: absolute, then signed
}

// New compiles a protocol.
func New(p *screen.Protocol) *Scorer {
	s := &Scorer{p: p, ref: ProtocolRef{p.Name, p.Version, p.Hash},
		z: stat.Quantile(p.Cutoffs.Deficit), zc: -stat.Quantile(p.Cutoffs.Clear)}
	for i := range p.Measures {
		s.sums = append(s.sums, s.expand(i, 1, nil))
		var per []part
		if d := p.Measures[i].Derived; d != nil {
			for _, id := range keys(d.Per) {
				per = s.expand(p.MeasureIndex(id), d.Per[id], per)
			}
		}
		s.pers = append(s.pers, per)
	}
	for i := range p.Rules {
		r := rule{Rule: &p.Rules[i], m: p.MeasureIndex(p.Rules[i].Measure), link: p.LinkIndex(p.Rules[i].Link)}
		for k, id := range r.AllOf {
			r.conds[k] = p.RuleIndex(id)
		}
		for k := range r.Thresholds {
			r.sources = append(r.sources, sourceWords(p, &r.Thresholds[k]))
		}
		s.plan(&r)
		s.most++
		if r.m >= 0 && p.Measures[r.m].Paired && (r.Kind == screen.Floor || r.Kind == screen.Ceiling || r.Kind == screen.RatioFloor) {
			s.most++ // one finding for each side
		}
		s.rules = append(s.rules, r)
	}
	return s
}

// plan works out what does not depend on an athlete: the error of a planned visit, and the targets.
func (s *Scorer) plan(r *rule) {
	if r.m < 0 || (r.Kind != screen.SideDifference && r.Kind != screen.SidePercent) {
		return
	}
	l := s.difference(r.m, sides{arm: 1, leg: 1})
	r.planned = s.plannedSE(&l) * widened(s.p.Measures[r.m].Resolved.Pair)
	for _, t := range r.Thresholds {
		tau := t.Value
		if r.Kind == screen.SidePercent {
			tau = -math.Log1p(-tau / 100)
		}
		for _, absolute := range []bool{true, false} {
			r.targets = append(r.targets, s.target(&comparison{tau: tau, absolute: absolute}, r.planned))
		}
	}
}

// Protocol is the protocol that s scores by.
func (s *Scorer) Protocol() *screen.Protocol { return s.p }

// Ref names it.
func (s *Scorer) Ref() ProtocolRef { return s.ref }

// expand appends what a measure is the weighted sum of.
func (s *Scorer) expand(m int, c float64, out []part) []part {
	d := s.p.Measures[m].Derived
	if d == nil {
		return append(out, part{m, c})
	}
	for _, id := range keys(d.Sum) {
		out = s.expand(s.p.MeasureIndex(id), c*d.Sum[id], out)
	}
	return out
}

func keys(m map[string]float64) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

func sourceWords(p *screen.Protocol, t *screen.Threshold) string {
	c := p.Cite(t.Source)
	switch {
	case c == "":
		return t.Status.Words()
	case t.Status != screen.Seen:
		return c + " (" + t.Status.Words() + ")"
	}
	return c
}

// sides says which side is which for one athlete on one day.
type sides struct {
	arm, leg int  // index of the throwing arm and of the lead leg
	named    bool // false: both arms throw, or none; 0 is then right, and sides are only compared
}

// sidesFor maps sides by the throwing hand: the lead leg is opposite to it. Where no hand, or both,
// throw, the right side stands first and every rule is absolute.
func sidesFor(hand screen.Hand, subject *screen.Subject) sides {
	switch {
	case !subject.Throws || hand == screen.BothHands || hand == "":
		return sides{arm: 1, leg: 1}
	case hand == screen.LeftHand:
		return sides{arm: 0, leg: 1, named: true}
	}
	return sides{arm: 1, leg: 0, named: true}
}

// first is the index of the throwing side or lead leg of a measure.
func (d sides) first(m *screen.Measure) int {
	if m.Limb == screen.Leg {
		return d.leg
	}
	return d.arm
}

// worseSign is +1 if the lower value is the worse one, −1 if the higher is or neither.
func worseSign(m *screen.Measure) float64 {
	if m.Worse == "lower" {
		return 1
	}
	return -1
}

// difference is D of a measure: other − first if lower is worse, first − other else.
func (s *Scorer) difference(m int, d sides) (l lin) {
	sign := worseSign(&s.p.Measures[m])
	for _, q := range s.sums[m] {
		first := d.first(&s.p.Measures[q.m])
		l.add(q.m, 1-first, sign*q.c)
		l.add(q.m, first, -sign*q.c)
	}
	return l
}

// valueOf is the measure's value on a side as a sum of readings.
func (s *Scorer) valueOf(parts []part, side int, factor float64) (l lin) {
	for _, q := range parts {
		at := side
		if m := &s.p.Measures[q.m]; m.Pooled || !m.Paired {
			at = 0
		}
		l.add(q.m, at, factor*q.c)
	}
	return l
}

// threshold picks the first one whose condition holds; −1 if none does.
func (r *rule) threshold(subject *screen.Subject) int {
	for i := range r.Thresholds {
		if r.Thresholds[i].When.Holds(subject) {
			return i
		}
	}
	return -1
}

// applies reports whether a rule is meant for the athlete, and gives the place of its threshold. A
// signed threshold at or below 0 asks for a gain of the throwing side: where sides are only compared
// there is no such side. A rule of two conditions applies where both do.
func (w *work) applies(i int) (threshold int, ok bool) {
	r := &w.s.rules[i]
	if !r.When.Holds(&w.subject) {
		return -1, false
	}
	if r.Kind == screen.AllOf {
		_, ok1 := w.applies(r.conds[0])
		_, ok2 := w.applies(r.conds[1])
		return -1, ok1 && ok2
	}
	t := r.threshold(&w.subject)
	if t >= 0 && r.Kind == screen.SideDifference && !r.signed(w.d) && r.Thresholds[t].Value <= 0 {
		return t, false
	}
	return t, t >= 0
}

// signed reports whether the worse side is known beforehand for this athlete.
func (r *rule) signed(d sides) bool { return r.Signed && d.named }

// logTau is a threshold on the log scale.
func logTau(x float64) float64 { return math.Log(max(x, 1e-9)) }
