package chart

import (
	"math"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// mark is one value with its 90 % interval.
type mark struct {
	side    screen.Side
	name    string
	value   float64
	lo, hi  float64
	verdict look // outline too for the side that the verdict is not about
	target  *float64
}

// panel is one measure: its marks, and the values that the verdict calls clear.
type panel struct {
	measure *screen.Measure
	finding *score.Finding
	title   string
	unit    string
	digits  int
	marks   []mark
	limits  []float64  // thresholds, as values of the measure
	within  [2]float64 // what lies within the threshold; infinite: to the end of the axis
}

// panelOf collects what is drawn for a finding. A finding of one side brings the same rule's finding
// of the other side along. ok is false if there is nothing to draw: no measure, or no finite value.
func panelOf(f *score.Finding, rep *score.Report, p *screen.Protocol) (panel, bool) {
	m := p.Measure(f.Measure)
	if m == nil || f.RuleKind == screen.AllOf {
		return panel{}, false
	}
	pn := panel{measure: m, finding: f, title: m.Name, unit: m.Unit, digits: decimals(m)}
	if twoSided(f) {
		pn.bothSides(rep)
	} else {
		pn.oneSided(rep)
	}
	return pn, len(pn.marks) > 0
}

func twoSided(f *score.Finding) bool {
	return f.RuleKind == screen.SideDifference || f.RuleKind == screen.SidePercent
}

// firstSide is the side of a finding's first value: that of the throwing arm or lead leg, the right
// one where sides are only compared.
func firstSide(rep *score.Report, m *screen.Measure) screen.Side {
	s := throwingSide(rep)
	if rep.Sides && m.Limb == screen.Leg {
		return s.Other()
	}
	return s
}

func (pn *panel) bothSides(rep *score.Report) {
	f, m := pn.finding, pn.measure
	first := firstSide(rep, m)
	values, errs := [2]float64{f.First, f.Second}, [2]float64{f.FirstSE, f.SecondSE}
	for i, side := range [2]screen.Side{first, first.Other()} {
		v := values[i]
		if !finite(v) {
			continue
		}
		k := mark{side: side, name: sideName(rep, m, side), value: v}
		k.lo, k.hi = sideInterval(m, v, errs[i])
		if side == pn.about(first) {
			k.verdict = lookOf(f.Verdict)
		}
		if f.Worse == string(side) && k.verdict != outline && f.Reading != nil && finite(*f.Reading) {
			k.target = f.Reading
		}
		pn.marks = append(pn.marks, k)
	}
	if finite(f.Second) && finite(f.Threshold) {
		pn.limitsAround(f.Second)
	}
}

// sideInterval is the 90 % interval of one side of a difference, on the scale of its logarithm for
// measures whose error is in percent.
func sideInterval(m *screen.Measure, v, se float64) (lo, hi float64) {
	h := z90 * se
	switch {
	case !finite(h) || h < 0:
		return v, v
	case m.Scale == screen.Log && v > 0:
		g := math.Exp(h / v)
		return v / g, v * g
	}
	return v - h, v + h
}

// limitsAround places the threshold around the other side's value: one limit where the worse side is
// known beforehand, two where it is not.
func (pn *panel) limitsAround(other float64) {
	f := pn.finding
	lower := pn.measure.Worse == "lower"
	below, above := other-f.Threshold, other+f.Threshold
	if f.RuleKind == screen.SidePercent {
		k := 1 - f.Threshold/100
		if k <= 0 {
			return
		}
		below, above = other*k, other/k
	}
	switch {
	case f.Kind == "absolute":
		pn.limits, pn.within = []float64{below, above}, [2]float64{below, above}
	case lower:
		pn.limits, pn.within = []float64{below}, [2]float64{below, math.Inf(1)}
	default:
		pn.limits, pn.within = []float64{above}, [2]float64{math.Inf(-1), above}
	}
}

func (pn *panel) oneSided(rep *score.Report) {
	f := pn.finding
	for i := range rep.Findings {
		g := &rep.Findings[i]
		if g.Rule != f.Rule || g.Measure != f.Measure || !finite(g.First) {
			continue
		}
		k := mark{side: g.Side, name: sideName(rep, pn.measure, g.Side), value: g.First, lo: g.First, hi: g.First,
			verdict: lookOf(g.Verdict)}
		if lo, hi := g.Margin[0], g.Margin[1]; finite(lo) && finite(hi) && lo <= g.First && g.First <= hi {
			k.lo, k.hi = lo, hi
		}
		if g.Reading != nil && finite(*g.Reading) {
			k.target = g.Reading
		}
		pn.marks = append(pn.marks, k)
	}
	if !finite(f.Threshold) {
		return
	}
	pn.limits = []float64{f.Threshold}
	pn.within = [2]float64{f.Threshold, math.Inf(1)}
	if f.RuleKind == screen.Ceiling {
		pn.within = [2]float64{math.Inf(-1), f.Threshold}
	}
}

// extent is the axis that everything drawn fits on.
func (pn *panel) extent() (from, to, step float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	take := func(x float64) {
		if finite(x) {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	for i := range pn.marks {
		take(pn.marks[i].lo)
		take(pn.marks[i].hi)
		if t := pn.marks[i].target; t != nil {
			take(*t)
		}
	}
	for _, x := range pn.limits {
		take(x)
	}
	if len(pn.limits) == 2 { // room for their texts, which stand outside of them
		room := 0.28 * (hi - lo)
		lo, hi = min(lo, pn.limits[0]-room), max(hi, pn.limits[1]+room)
	}
	return niceRange(lo, hi)
}

// sentence says in words what the panel shows.
func (pn *panel) sentence() string {
	f := pn.finding
	s := pn.title + ": "
	for i := range pn.marks {
		if i > 0 {
			s += ", "
		}
		k := &pn.marks[i]
		s += lowerFirst(k.name) + " " + pn.show(k.value, pn.digits)
		if !twoSided(f) {
			s += pn.giveOrTake(z95 * f.SE)
		}
	}
	unit, d := shortUnit(f.Unit), pn.digits
	if twoSided(f) && finite(f.Difference) {
		s += "; difference " + number(f.Difference, d) + unit
		if h := z95 * f.SE; finite(h) {
			s += " (give or take " + number(h, d) + unit + ")"
		}
	}
	if len(pn.limits) > 0 {
		s += "; threshold " + number(f.Threshold, d) + unit
	}
	s += "; " + pn.of() + verdictWords(f.Verdict)
	if finite(f.P) {
		s += ", " + score.OutOf100(f.P)
	}
	return s + "."
}

// about is the side that a finding on both sides speaks of: the first one where the rule says
// beforehand which side is at stake, the worse one else.
func (pn *panel) about(first screen.Side) screen.Side {
	if pn.finding.Kind == "signed" {
		return first
	}
	return screen.Side(pn.finding.Worse)
}

// of names the side that the finding is about where both sides have one of their own.
func (pn *panel) of() string {
	if twoSided(pn.finding) || len(pn.marks) < 2 {
		return ""
	}
	return string(pn.finding.Side) + " "
}

func (pn *panel) show(x float64, digits int) string { return number(x, digits) + shortUnit(pn.unit) }

func (pn *panel) giveOrTake(h float64) string {
	if h <= 0 || !finite(h) {
		return ""
	}
	return " (give or take " + pn.show(h, pn.digits) + ")"
}
