package proof

import (
	"fmt"
	"math"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// world is what simulated athletes of one age have in common: the protocol, what is read of them, and
// what its rules call broken.
type world struct {
	p       *screen.Protocol
	s       *score.Scorer
	subject screen.Subject
	age     int
	read    []readMeasure
	rules   []Rule
	pairs   []pair // measures whose true differences are correlated
}

// readMeasure is a measure that is read, with what the protocol knows of its true side difference.
type readMeasure struct {
	*screen.Measure
	sign      float64 // +1 if lower is worse
	mid       float64 // a usual value, on the scale on which it is compared
	known     bool
	mu, omega float64
}

// pair of measures, by place, with the correlation that the prior of their sum asks for.
type pair struct {
	a, b int
	rho  float64
}

// Rule is a rule on a difference of sides, as one age group has it. Values are on the scale on which the
// measure is compared.
type Rule struct {
	ID, Name, Measure, Unit string
	Age                     int
	Derived                 bool
	Absolute                bool
	Tau, SE                 float64
	Known                   bool // the protocol knows the spread of true differences
	Mu, Omega               float64
	parts                   []part
	both                    []int // of a rule of two conditions: their places among the rules
}

// Both reports whether it is a rule of two conditions.
func (r *Rule) Both() bool { return len(r.both) > 0 }

type part struct {
	at int
	c  float64
}

const day = screen.Date("2026-02-10")

// newWorld takes the measures given, or, if there are none, all that a rule on a difference of sides
// needs.
func newWorld(p *screen.Protocol, age int, measures ...string) *world {
	w := &world{p: p, s: score.New(p), age: age}
	a := w.athlete(screen.RightHand)
	w.subject = p.SubjectOn(&a, day)
	for i := range p.Measures {
		m := &p.Measures[i]
		if m.Derived == nil && wanted(p, m.ID, measures) {
			w.addMeasure(m)
		}
	}
	for i := range p.Rules {
		w.addRule(&p.Rules[i])
	}
	for i := range p.Rules {
		if p.Rules[i].Kind == screen.AllOf {
			w.addBoth(&p.Rules[i])
		}
	}
	w.addPairs()
	return w
}

// wanted reports whether a measure is in the list, or, if that is empty, whether a rule on a difference
// of sides needs it.
func wanted(p *screen.Protocol, id string, list []string) bool {
	for _, x := range list {
		if x == id {
			return true
		}
	}
	if len(list) > 0 {
		return false
	}
	for i := range p.Rules {
		r := &p.Rules[i]
		if r.Kind != screen.SideDifference && r.Kind != screen.SidePercent {
			continue
		}
		m := p.Measure(r.Measure)
		if m.ID == id {
			return true
		}
		if m.Derived != nil {
			if _, in := m.Derived.Sum[id]; in {
				return true
			}
		}
	}
	return false
}

func (w *world) athlete(hand screen.Hand) screen.Athlete {
	level := screen.School
	if w.age >= 19 {
		level = screen.College
	}
	return screen.Athlete{ID: "a", Born: screen.Date(fmt.Sprintf("%d-02-10", 2026-w.age)), Sex: screen.Male,
		Sport: "baseball", Level: level, Hands: []screen.HandSince{{Hand: hand}}}
}

func signOf(m *screen.Measure) float64 {
	if m.Worse == "lower" {
		return 1
	}
	return -1
}

func (w *world) addMeasure(m *screen.Measure) {
	r := readMeasure{Measure: m, sign: signOf(m), mid: (m.Typical[0] + m.Typical[1]) / 2}
	if m.Scale == screen.Log {
		r.mid = math.Log(r.mid)
	}
	r.mu, r.omega, r.known = m.PriorFor(&w.subject)
	w.read = append(w.read, r)
}

func (w *world) place(id string) int {
	for i := range w.read {
		if w.read[i].ID == id {
			return i
		}
	}
	return -1
}

// partsOf says of which true differences that of a measure is the sum; nil if one is not read.
func (w *world) partsOf(m *screen.Measure) []part {
	if m.Derived == nil {
		if at := w.place(m.ID); at >= 0 {
			return []part{{at, 1}}
		}
		return nil
	}
	var out []part
	for i := range w.read { // in the order of the protocol
		if c, in := m.Derived.Sum[w.read[i].ID]; in {
			out = append(out, part{i, signOf(m) * c * w.read[i].sign})
		}
	}
	if m.Derived.Per != nil || len(out) != len(m.Derived.Sum) {
		return nil
	}
	return out
}

func (w *world) addRule(r *screen.Rule) {
	if r.Kind != screen.SideDifference && r.Kind != screen.SidePercent || !r.When.Holds(&w.subject) {
		return
	}
	m := w.p.Measure(r.Measure)
	out := Rule{ID: r.ID, Name: r.Name, Measure: m.ID, Unit: m.Unit, Age: w.age, Derived: m.Derived != nil,
		Absolute: !r.Signed, parts: w.partsOf(m)}
	if out.parts == nil {
		return
	}
	for i := range r.Thresholds {
		if !r.Thresholds[i].When.Holds(&w.subject) {
			continue
		}
		out.Tau = r.Thresholds[i].Value
		if r.Kind == screen.SidePercent {
			out.Tau = -math.Log1p(-out.Tau / 100)
		}
		out.Mu, out.Omega, out.Known = m.PriorFor(&w.subject)
		out.SE = w.plannedSE(out.parts)
		w.rules = append(w.rules, out)
		return
	}
}

// plannedSE is the error of a difference at a planned visit by one examiner: he cancels.
func (w *world) plannedSE(parts []part) float64 {
	v := 0.0
	for _, q := range parts {
		m := &w.read[q.at]
		e := &m.Resolved
		v += q.c * q.c * 2 * (e.Trial*e.Trial/float64(m.Trials.Planned) + e.Placing*e.Placing + e.Day*e.Day)
	}
	return math.Sqrt(v)
}

func (w *world) addBoth(r *screen.Rule) {
	out := Rule{ID: r.ID, Name: r.Name, Age: w.age, Known: true}
	for _, id := range r.AllOf {
		at := w.ruleAt(id)
		if at < 0 {
			return
		}
		out.both = append(out.both, at)
		for _, q := range w.rules[at].parts {
			out.Known = out.Known && w.read[q.at].known
		}
	}
	w.rules = append(w.rules, out)
}

func (w *world) ruleAt(id string) int {
	for i := range w.rules {
		if w.rules[i].ID == id {
			return i
		}
	}
	return -1
}

func (w *world) addPairs() {
	for i := range w.p.Measures {
		m := &w.p.Measures[i]
		if m.Derived == nil {
			continue
		}
		parts := w.partsOf(m)
		if rho, ok := w.p.PartCorrelation(m, &w.subject); ok && len(parts) == 2 {
			w.pairs = append(w.pairs, pair{parts[0].at, parts[1].at, rho})
		}
	}
}

// difference is the true difference that a rule looks at.
func (r *Rule) difference(d []float64) float64 {
	sum := 0.0
	for _, q := range r.parts {
		sum += q.c * d[q.at]
	}
	return sum
}

// broken reports whether a rule is truly broken, by the true differences of what is read.
func (w *world) broken(i int, d []float64) bool {
	r := &w.rules[i]
	if r.Both() {
		return w.broken(r.both[0], d) && w.broken(r.both[1], d)
	}
	x := r.difference(d)
	return x > r.Tau || r.Absolute && -x > r.Tau
}
