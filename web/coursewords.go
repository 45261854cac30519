package web

import (
	"fmt"
	"math"
	"strings"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// courseMeasure is the course of one measure in words, with its picture.
type courseMeasure struct {
	Anchor, Name, Link string
	State              string
	Words              string // of the state
	Marked             bool   // the state is not that of all in its list
	Statement          string
	Scale              string // what the numbers mean
	Late               string // if the newest visit is without it
	Changes            []changeView
	Trend              string // what the visits together show
	Target             string
	Picture            *chartView
	Cut                int      // visits in all, if the table has only the newest; 0: it has all
	Notes              []string // what the numbers count from, and what was taken for granted
}

// changeView is a change in sentences: what was read, what of it comes by itself, what is beyond.
type changeView struct {
	Since string
	Lines []string
}

func (s *server) courseMeasure(m *score.MeasureCourse, v *clinic.CourseView) *courseMeasure {
	w := s.courseWords(m, v)
	out := &courseMeasure{Anchor: w.anchor(), Name: w.title(), Link: w.link(), State: m.State, Words: w.state(),
		Statement: sentenceOf(m.Statement), Scale: w.scale(), Changes: w.changes(s.clinic.Scorer()), Target: w.target()}
	if m.Trend != nil && !strings.Contains(m.Statement, m.Trend.Words) {
		out.Trend = sentenceOf(m.Trend.Words)
	}
	if n := len(m.Points); n > 0 && m.Points[n-1].Visit < len(v.Visits)-1 {
		out.Late = "Last measured on " + day(m.Points[n-1].On) + ", not at the newest visit."
	}
	if m.BaselineWhy != "" {
		out.Notes = append(out.Notes, sentenceOf(m.BaselineWhy))
	}
	for _, n := range m.Notes {
		out.Notes = append(out.Notes, sentenceOf(n))
	}
	out.Picture, out.Cut = s.coursePicture(m, v)
	return out
}

// courseWords puts a measure's course into words.
type courseWords struct {
	m        *score.MeasureCourse
	measure  *screen.Measure
	protocol *screen.Protocol
	rep      *score.Report // of the newest visit with a report at which it was taken
	as       score.Finding // what sizeWords looks at
}

func (s *server) courseWords(m *score.MeasureCourse, v *clinic.CourseView) *courseWords {
	p := s.clinic.Protocol()
	w := &courseWords{m: m, measure: p.Measure(m.Measure), protocol: p, rep: &score.Report{},
		as: score.Finding{RuleKind: m.RuleKind, Kind: m.Kind, Unit: m.Unit}}
	for i := range m.Points {
		if k := m.Points[i].Visit; k >= 0 && k < len(v.Visits) && v.Visits[k].Report != nil {
			w.rep = v.Visits[k].Report
		}
	}
	return w
}

func (w *courseWords) sided() bool {
	return w.m.RuleKind == screen.SideDifference || w.m.RuleKind == screen.SidePercent
}

func (w *courseWords) absolute() bool { return w.sided() && w.m.Kind == "absolute" }

func (w *courseWords) oneSide() bool { return w.m.Side == screen.Left || w.m.Side == screen.Right }

func (w *courseWords) anchor() string {
	if w.oneSide() {
		return "course-" + w.m.Rule + "-" + string(w.m.Side)
	}
	return "course-" + w.m.Rule
}

func (w *courseWords) title() string {
	if w.oneSide() {
		return w.m.Name + ", " + sideWords(w.rep.Hand, w.rep.Sides, w.measure, w.m.Side)
	}
	return w.m.Name
}

func (w *courseWords) link() string {
	if l := w.protocol.Link(w.m.Link); l != nil {
		return l.Name
	}
	return ""
}

func (w *courseWords) state() string {
	switch w.m.State {
	case score.StateConfirm:
		return "met once: confirm it"
	case score.StateMet:
		return "target met"
	case score.StateClear:
		return "clear"
	case score.StateShown:
		return "shown, not followed"
	}
	return "followed"
}

// amount writes a size in the rule's unit.
func (w *courseWords) amount(x float64) string { return withUnit(score.Number(x, w.measure), w.m.Unit) }

// value is a visit's value with its error.
func (w *courseWords) value(p *score.CoursePoint) string {
	return w.at(p.Difference, p.Difference) + " ± " + w.amount(1.96*p.SE)
}

// at is a value, seen from the way that the first one of a change points: where sides are only compared,
// a value of another sign is one of the other side.
func (w *courseWords) at(x, way float64) string {
	if !w.sided() {
		return w.amount(x)
	}
	if w.absolute() && x*way < 0 {
		return w.amount(math.Abs(x)) + " the other way"
	}
	return sizeWords(x, &w.as, w.measure, w.measure)
}

// scale says what the numbers mean.
func (w *courseWords) scale() string {
	if !w.sided() {
		word := "below"
		if w.m.RuleKind == screen.Ceiling {
			word = "above"
		}
		return "Looked at " + word + " " + withUnit(score.Number(w.m.Threshold, nil), w.m.Unit) + "."
	}
	first := firstSide(w.rep, w.measure)
	word := "less"
	if w.measure != nil && w.measure.Worse == "higher" {
		word = "more"
	}
	name, other := sideWords(w.rep.Hand, w.rep.Sides, w.measure, first), sideWords(w.rep.Hand, w.rep.Sides, w.measure, first.Other())
	limit := "Threshold " + sizeWords(w.m.Threshold, &w.as, w.measure, nil) + "."
	if w.absolute() {
		return "The difference between " + name + " and " + other + "; its size counts. " + limit
	}
	return "By how much " + name + " has " + word + " than " + other + ". " + limit
}

// changes are those since the baseline and since the visit before the newest.
func (w *courseWords) changes(scorer *score.Scorer) (out []changeView) {
	n, base := len(w.m.Points), -1
	if w.m.Baseline != nil {
		base = *w.m.Baseline
	}
	if c := w.m.SinceBaseline; c != nil && base >= 0 && base < n-1 {
		since := "Since the baseline"
		if base == n-2 {
			since = "Since the baseline, the visit before"
		}
		out = append(out, changeView{w.since(since, base), c.Lines(scorer, w.m)})
	}
	if c := w.m.SinceLast; c != nil && n > 1 && base != n-2 {
		out = append(out, changeView{w.since("Since the visit before", n-2), c.Lines(scorer, w.m)})
	}
	return out
}

// since names the earlier visit of a change, and what was read then and at the newest.
func (w *courseWords) since(words string, from int) string {
	a, b := &w.m.Points[from], &w.m.Points[len(w.m.Points)-1]
	way := 1.0
	if a.Difference < 0 {
		way = -1
	}
	return fmt.Sprintf("%s, %s: from %s to %s", words, day(a.On), w.at(a.Difference, way), w.at(b.Difference, way))
}

// target is what to reach, with the reading that would show it.
func (w *courseWords) target() string {
	m := w.m
	if m.Target == nil {
		if m.TargetBy == "" {
			return ""
		}
		return sentenceOf(m.TargetBy)
	}
	s := "Target: " + sizeWords(*m.Target, &w.as, w.measure, w.measure) + " or less"
	if !w.sided() {
		s = "Target: " + w.amount(*m.Target) + map[bool]string{true: " or less", false: " or more"}[m.RuleKind == screen.Ceiling]
	}
	if m.Reading != nil && w.measure != nil {
		s += "; a reading of " + withUnit(score.Number(*m.Reading, w.measure), w.measure.Unit) + " would show it reached"
	}
	if m.TargetBy != "" {
		s += ". " + upperFirst(m.TargetBy)
	}
	return sentenceOf(s)
}
