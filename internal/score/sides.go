package score

import (
	"math"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Value is an estimate with its standard error.
type Value struct {
	Value float64 `json:"value"`
	SE    float64 `json:"se"`
}

// Pair is what a record says of one measure: each side that was measured, and their difference, other
// side − throwing side (trail − lead leg; right − left where sides are only compared is negative of
// left − right), signed so that larger is worse for the throwing side.
type Pair struct {
	Measure    string      `json:"measure"`
	Unit       string      `json:"unit"`
	Left       *Value      `json:"left"`
	Right      *Value      `json:"right"`
	First      screen.Side `json:"first_side" doc:"throwing side, lead leg, or right where sides are only compared"`
	Role       string      `json:"first_role,omitempty" doc:"throwing or lead; empty where sides are only compared"`
	Difference *Value      `json:"difference"`
}

// Pairs gives every measure that was read or can be computed, in protocol order, in its own unit;
// values of log measures are geometric means, with their standard error to first order.
func (s *Scorer) Pairs(rec *screen.Record, opt Options) []Pair {
	w := &work{}
	w.begin(s, rec, opt)
	var out []Pair
	for i := range s.p.Measures {
		if pair, ok := w.pair(i); ok {
			out = append(out, pair)
		}
	}
	return out
}

func (w *work) pair(i int) (Pair, bool) {
	m := &w.s.p.Measures[i]
	if m.Scale == screen.Category {
		return Pair{}, false
	}
	out := Pair{Measure: m.ID, Unit: m.Unit, Left: w.side(i, 0), Right: w.side(i, 1)}
	if out.Left == nil && out.Right == nil {
		return out, false
	}
	first := w.d.first(w.firstPart(i))
	out.First = [...]screen.Side{screen.Left, screen.Right}[first]
	if m.Pooled || !m.Paired {
		out.First, out.Right = screen.NoSide, nil
		return out, true
	}
	_, out.Role = w.sideName(m, first)
	if m.Scale == screen.Linear && m.Derived == nil || m.Derived != nil && m.Derived.Per == nil {
		l := w.s.difference(i, w.d)
		if l.measured(w.est) {
			out.Difference = &Value{l.value(w.est), l.se(w.est) * widened(m.Resolved.Pair)}
		}
	}
	return out, true
}

func (w *work) side(m, side int) *Value {
	num := w.s.valueOf(w.s.sums[m], side, 1)
	per := w.s.valueOf(w.s.pers[m], side, 1)
	if !num.measured(w.est) || (per.n > 0 && !per.measured(w.est)) {
		return nil
	}
	v := w.shown(m, side)
	switch {
	case isLog(w.s, m):
		all := w.s.plus(num, w.s.pers[m], side, -1)
		return &Value{v, v * all.se(w.est)}
	case per.n > 0:
		f := w.s.p.Measures[m].Derived.Factor
		all := w.s.plus(w.s.valueOf(w.s.sums[m], side, f), w.s.pers[m], side, -v)
		return &Value{v, all.se(w.est) / math.Abs(per.value(w.est))}
	}
	return &Value{v, num.se(w.est)}
}

// Index is a published side-to-side index of one measure.
type Index struct {
	Measure string  `json:"measure"`
	Name    string  `json:"name"`
	Value   float64 `json:"value"`
	Unit    string  `json:"unit"`
	Source  string  `json:"source"`
}

// Indices gives the published symmetry formulas where they make sense: for lengths, times and forces
// well above zero, not for angles, counts or signed quantities.
func (s *Scorer) Indices(rec *screen.Record, opt Options) []Index {
	var out []Index
	for _, p := range s.Pairs(rec, opt) {
		m := s.p.Measure(p.Measure)
		if p.Left == nil || p.Right == nil || m.Unit == "deg" || m.Scale == screen.Count || m.Worse == "neither" || p.Left.Value <= 0 || p.Right.Value <= 0 {
			continue
		}
		a, b := p.Right.Value, p.Left.Value
		if p.First == screen.Left {
			a, b = b, a
		}
		out = append(out,
			Index{m.ID, "limb symmetry index", stat.LimbSymmetryIndex(a, b), "%", "as catalogued by Bishop C et al. Strength Cond J 2016;38(6):27-32"},
			Index{m.ID, "symmetry index", stat.SymmetryIndex(a, b), "%", "Robinson RO et al. J Manipulative Physiol Ther 1987;10:172-176"},
			Index{m.ID, "symmetry angle", stat.SymmetryAngle(p.Left.Value, p.Right.Value), "%", "Zifchock RA et al. Gait Posture 2008;27:622-627"})
	}
	return out
}
