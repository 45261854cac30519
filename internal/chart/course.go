package chart

import (
	"math"
	"time"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Course draws one measure of an athlete's course over time: each visit with its 90 % interval, the
// smoothed level with its 90 % band, the threshold, the target, the baseline and what happened
// meanwhile; below it both sides' values. Visits that are not in the trend are outlines.
func Course(m *score.MeasureCourse, c *score.Course, p *screen.Protocol) Chart {
	t := timelineOf(m, c, p)
	out := t.words()
	out.Option, out.Height = t.option(out.Summary)
	return out
}

// CourseText is the same picture without its option: the words and numbers that stand for it.
func CourseText(m *score.MeasureCourse, c *score.Course, p *screen.Protocol) Chart {
	t := timelineOf(m, c, p)
	out := t.words()
	out.Height = t.height()
	return out
}

// timeline is one rule's value over the visits.
type timeline struct {
	m        *score.MeasureCourse
	c        *score.Course
	measure  *screen.Measure // nil: unknown to the protocol
	rep      *score.Report   // of the newest visit at which it was taken, for the names of the sides
	unit     string
	digits   int
	points   []*score.CoursePoint // those with a value
	limits   []float64
	within   [2]float64 // what lies within the threshold; infinite: to the end of the axis
	target   *float64
	from, to time.Time
}

func timelineOf(m *score.MeasureCourse, c *score.Course, p *screen.Protocol) *timeline {
	t := &timeline{m: m, c: c, measure: p.Measure(m.Measure), rep: &score.Report{}, unit: m.Unit}
	t.digits = decimals(t.measure)
	for i := range m.Points {
		pt := &m.Points[i]
		if !finite(pt.Difference) || !pt.On.Valid() {
			continue
		}
		t.points = append(t.points, pt)
		if pt.Visit >= 0 && pt.Visit < len(c.Visits) && c.Visits[pt.Visit].Report != nil {
			t.rep = c.Visits[pt.Visit].Report
		}
	}
	t.limit()
	t.aim()
	t.span()
	return t
}

func (t *timeline) sided() bool {
	return t.m.RuleKind == screen.SideDifference || t.m.RuleKind == screen.SidePercent
}

// limit places the threshold.
func (t *timeline) limit() {
	x := t.m.Threshold
	if !finite(x) {
		return
	}
	t.limits, t.within = []float64{x}, [2]float64{math.Inf(-1), x}
	switch {
	case t.sided() && t.m.Kind == "absolute":
		t.limits, t.within = []float64{-x, x}, [2]float64{-x, x}
	case !t.sided() && t.m.RuleKind != screen.Ceiling:
		t.within = [2]float64{x, math.Inf(1)}
	}
}

// aim is the target; where sides are only compared, on the side of zero on which the last value is.
func (t *timeline) aim() {
	if t.m.Target == nil || !finite(*t.m.Target) || len(t.points) == 0 {
		return
	}
	x := *t.m.Target
	if t.sided() && t.m.Kind == "absolute" && t.points[len(t.points)-1].Difference < 0 {
		x = -x
	}
	t.target = &x
}

const (
	dayLong   = 24 * time.Hour
	eventNear = 42 // days before the first visit, or after the last, within which an event is drawn
)

// span is the time that is drawn: the visits, and the events near them.
func (t *timeline) span() {
	if len(t.points) == 0 {
		return
	}
	first, last := t.points[0].On.Time(), t.points[len(t.points)-1].On.Time()
	t.from, t.to = first, last
	for i := range t.c.Events {
		on := t.c.Events[i].On.Time()
		if on.Before(first) && first.Sub(on) <= eventNear*dayLong && on.Before(t.from) {
			t.from = on
		}
		if on.After(last) && on.Sub(last) <= eventNear*dayLong && on.After(t.to) {
			t.to = on
		}
	}
	pad := max(3*dayLong, (t.to.Sub(t.from) / 20).Round(dayLong))
	t.from, t.to = t.from.Add(-pad), t.to.Add(pad)
}

// events are those within the time that is drawn.
func (t *timeline) events() (out []*screen.Event) {
	for i := range t.c.Events {
		e := &t.c.Events[i]
		if on := e.On.Time(); e.Stands() && e.On.Valid() && !on.Before(t.from) && !on.After(t.to) {
			out = append(out, e)
		}
	}
	return out
}

// baseline is the point that changes are counted from, nil if there is none.
func (t *timeline) baseline() *score.CoursePoint {
	if b := t.m.Baseline; b != nil && *b >= 0 && *b < len(t.m.Points) && finite(t.m.Points[*b].Difference) {
		return &t.m.Points[*b]
	}
	return nil
}

// interval is the 90 % interval of a point.
func interval(p *score.CoursePoint) (lo, hi float64) {
	if h := z90 * p.SE; finite(h) && h > 0 {
		return p.Difference - h, p.Difference + h
	}
	return p.Difference, p.Difference
}

// sideNames are the names of the first and the second value.
func (t *timeline) sideNames() (first, second string) {
	side := t.firstSide()
	return sideName(t.rep, t.measure, side), sideName(t.rep, t.measure, side.Other())
}

func (t *timeline) firstSide() screen.Side {
	if t.measure == nil {
		return throwingSide(t.rep)
	}
	return firstSide(t.rep, t.measure)
}

// meaning says what the numbers of the difference mean.
func (t *timeline) meaning() string {
	if !t.sided() {
		return "looked at " + map[bool]string{true: "above", false: "below"}[t.m.RuleKind == screen.Ceiling] + " the threshold"
	}
	first, second := t.sideNames()
	word := "less"
	if t.measure != nil && t.measure.Worse == "higher" {
		word = "more"
	}
	s := "above 0: " + lowerFirst(first) + " has " + word
	if t.m.Kind == "absolute" {
		return s + ", below 0: " + lowerFirst(second)
	}
	return s
}

func (t *timeline) show(x float64) string { return number(x, t.digits) + shortUnit(t.unit) }

// giveOrTake is 1.96 standard errors, as the sentences of findings have it.
func (t *timeline) giveOrTake(se float64) string {
	if h := z95 * se; finite(h) && h > 0 {
		return " (give or take " + t.show(h) + ")"
	}
	return ""
}

func dateWords(d screen.Date) string {
	if !d.Valid() {
		return string(d)
	}
	return d.Time().Format("2 Jan 2006")
}
