package score

import (
	"math"
	"slices"

	"evenhand/internal/screen"
)

// explainer writes the steps of one finding. Its numbers come from the same functions as the score's.
type explainer struct {
	w   *work
	opt Options
	i   int // the rule's place in the protocol
	r   *rule
	m   *screen.Measure // that the finding shows
	mi  int             // its place
	f   Finding
	e   evaluated

	first int     // index of the throwing side or lead leg
	sign  float64 // −1 turns a difference that is only compared by its size around, so that it is positive
	side  int     // index of the side that is moved by what would change it: the worse one, or the only one

	// The scale on which the rule compares: its numbers times by, in unit.
	by   float64
	unit string
	l    lin // whose error the finding shows

	steps []Step
}

// Explain gives the arithmetic of the finding by a rule: each step with its numbers, and what would
// change the verdict. side chooses between the findings of a rule that looks at each side; without one
// the first is taken. Returns a *screen.Problem, NotFound, if the screen has no such finding.
func (s *Scorer) Explain(rec *screen.Record, opt Options, rule string, side screen.Side) (*Explanation, error) {
	x, err := s.explainer(rec, opt, rule, side)
	if err != nil {
		return nil, err
	}
	x.explain()
	return &Explanation{Screen: x.w.out.Screen, Rule: rule, Name: x.f.Name, Side: x.f.Side, Verdict: x.f.Verdict,
		Sentence: s.Sentence(&x.f), Steps: x.steps, Parts: x.parts(), Change: x.change(), Source: x.f.Source}, nil
}

// explainer scores the record's rules and finds the finding.
func (s *Scorer) explainer(rec *screen.Record, opt Options, rule string, side screen.Side) (*explainer, error) {
	w := &work{}
	w.begin(s, rec, opt)
	for i := range s.rules {
		w.rule(i)
	}
	k := slices.IndexFunc(w.out.Findings, func(f Finding) bool {
		return f.Rule == rule && (side == "" || f.Side == "" || f.Side == side)
	})
	if k < 0 {
		return nil, &screen.Problem{Code: screen.NotFound, Text: "the screen has no finding by this rule", Want: "name a rule of the screen's score, and a side that was measured"}
	}
	x := &explainer{w: w, opt: opt, i: s.p.RuleIndex(rule), f: w.out.Findings[k]}
	x.r = &s.rules[x.i]
	x.mi = s.p.MeasureIndex(x.f.Measure)
	x.m = &s.p.Measures[x.mi]
	x.first = w.d.first(w.firstPart(x.mi))
	x.scale()
	return x, nil
}

// scale finds the side that matters, and the scale on which the rule compares.
func (x *explainer) scale() {
	w := x.w
	x.by, x.unit, x.e, x.sign = 1, x.m.Unit, w.conds[x.i], 1
	if x.twoSided() && x.f.Kind == "absolute" && x.e.x < 0 {
		x.sign = -1
	}
	x.side = x.first
	if x.f.Worse == string(screen.Left) || x.f.Worse == string(screen.Right) {
		x.side = sideIndex(x.m, screen.Side(x.f.Worse))
	}
	if x.twoSided() || x.r.Kind == screen.AllOf {
		x.l = w.s.difference(x.mi, w.d)
	} else {
		x.side = sideIndex(x.m, x.f.Side)
		if x.m.Scale == screen.Count {
			x.e = w.count(x.mi, x.side, x.f.Threshold)
			return
		}
		c := w.compare(x.r, x.f.Threshold, x.side)
		x.e, x.l = w.evaluate(c), c.l
	}
	switch {
	case isLog(w.s, x.mi):
		x.by, x.unit = 100, "%"
	case x.r.Kind == screen.RatioFloor: // as shownSE does
		f := x.m.Derived.Factor
		per := w.s.valueOf(w.s.pers[x.mi], x.side, 1)
		x.l = w.s.plus(w.s.valueOf(w.s.sums[x.mi], x.side, f), w.s.pers[x.mi], x.side, -x.f.Difference)
		x.by = 1 / math.Abs(per.value(w.est))
	}
}

func (x *explainer) twoSided() bool {
	return x.r.Kind == screen.SideDifference || x.r.Kind == screen.SidePercent
}

// explain writes the steps in the order in which the score takes them.
func (x *explainer) explain() {
	switch {
	case x.r.Kind == screen.AllOf:
		x.conditions()
		x.together()
	case x.m.Scale == screen.Count:
		x.countReadings()
		x.threshold()
		x.countAlone()
		x.countKnown()
	default:
		x.readings()
		x.value()
		x.errors()
		x.threshold()
		x.alone()
		x.known()
	}
	x.verdict()
	x.target()
}

func (x *explainer) step(title, text string, terms ...Term) {
	x.steps = append(x.steps, Step{title, text, terms})
}
