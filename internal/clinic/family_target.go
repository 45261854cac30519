package clinic

import (
	"fmt"
	"slices"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// mostTargets is how many targets are on an athlete's page.
const mostTargets = 6

// familyGoal is a target of one measure on one side; of several rules for them the strictest one stands.
type familyGoal struct {
	FamilyTarget
	measure string
	side    screen.Side
	value   float64
	less    bool // the value is to be reached from above
}

// familyTargets puts the targets of measures that were a deficit and are followed into plain words, in
// the order of the protocol.
func familyTargets(s *score.Scorer, course *score.Course) (out []FamilyTarget) {
	var goals []familyGoal
	for i := range course.Measures {
		g, ok := familyGoalOf(s, course, &course.Measures[i])
		if !ok {
			continue
		}
		k := slices.IndexFunc(goals, func(x familyGoal) bool { return x.measure == g.measure && x.side == g.side && x.less == g.less })
		switch {
		case k < 0:
			goals = append(goals, g)
		case g.less == (g.value < goals[k].value):
			goals[k] = g
		}
	}
	for i := range goals {
		out = append(out, goals[i].FamilyTarget)
	}
	return out
}

// familyGoalOf is the target of one rule; ok is false if it has none that is followed.
func familyGoalOf(s *score.Scorer, course *score.Course, m *score.MeasureCourse) (g familyGoal, ok bool) {
	followed := m.State == score.StateOpen || m.State == score.StateConfirm
	found := slices.ContainsFunc(m.Points, func(p score.CoursePoint) bool { return p.Verdict == score.Deficit })
	if !followed || !found || m.Target == nil || !m.Counted {
		return g, false
	}
	w := plainWords{s: s, p: s.Protocol()}
	measure, rule := w.p.Measure(m.Measure), w.p.Rule(m.Rule)
	f := w.newest(course, m)
	if measure == nil || rule == nil || f == nil {
		return g, false
	}
	g = familyGoal{measure: m.Measure, side: sideOf(f), value: *m.Target, less: m.RuleKind == screen.Ceiling}
	unit := m.Unit
	switch {
	case m.Reading != nil:
		g.value, unit = *m.Reading, measure.Unit
		g.less = g.less || comparesSides(m.RuleKind) && measure.Worse == "higher"
	case comparesSides(m.RuleKind) || m.RuleKind == screen.AllOf:
		return g, false // a difference without the reading that would show it says nothing to a family
	}
	g.Goal = goalWords(screen.Amount(score.Number(g.value, measure), unit), g.less)
	switch {
	case isShare(f):
		g.Goal = goalWords(fmt.Sprintf("%.0f %%", 100*g.value), g.less)
	case measure.SayWords != nil:
		g.Goal = measure.Say(g.value) + " or better" // on either side of zero more and less mislead
	}
	g.What = raised(w.measureWords(m.Measure))
	if side, _, named := w.sides([]*score.Finding{f}, rule); named && g.side != screen.NoSide {
		g.What += ", " + side + " side"
	}
	g.Once = m.State == score.StateConfirm
	return g, true
}

func goalWords(amount string, less bool) string {
	if less {
		return amount + " or less"
	}
	return amount + " or more"
}

// newest is the finding of a rule, on the side that is followed, at the newest visit at which it was taken.
// The report of that visit says which side throws.
func (w *plainWords) newest(course *score.Course, m *score.MeasureCourse) *score.Finding {
	if len(m.Points) == 0 {
		return nil
	}
	k := m.Points[len(m.Points)-1].Visit
	if k < 0 || k >= len(course.Visits) || course.Visits[k].Report == nil {
		return nil
	}
	w.rep = course.Visits[k].Report
	for i := range w.rep.Findings {
		f := &w.rep.Findings[i]
		if f.Rule == m.Rule && (f.Side == m.Side || m.Side == "") {
			return f
		}
	}
	return nil
}
