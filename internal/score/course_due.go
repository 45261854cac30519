package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// together is within how many days measures are taken at one visit.
const together = 7

// mostExtra is how many trials may be proposed beyond those planned, where the protocol allows them.
const mostExtra = 3

// follow notes when a line that is followed is to be measured again. One that was left out at a later
// preseason screen is counted from that screen: its old day has no meaning any more.
func (c *courser) follow(m *MeasureCourse, l *line, fr *frame) {
	if !c.s.p.FollowUp.Known() || m.State != StateOpen && m.State != StateConfirm {
		return
	}
	from := c.on(l, l.last())
	days, more, why := c.again(m, l, fr)
	if left := c.leftOut(l); left > from {
		from, days, more = left, int(c.s.p.FollowUp.IntervalDays.Value), 0
		why = fmt.Sprintf("It was not measured at the screen of %s.", left)
	}
	c.follows = append(c.follows, DueMeasure{Rule: m.Rule, Name: m.Name, Measure: m.Measure,
		Trials: c.trials(c.s.rules[l.rule].m, more), On: from.AddDays(days), Why: why})
}

// leftOut is the day of the newest preseason screen if the line has no value there or later, "" else.
func (c *courser) leftOut(l *line) screen.Date {
	for i := len(c.out.Visits) - 1; i > l.at[l.last()]; i-- {
		if c.out.Visits[i].Kind == screen.Preseason {
			return c.out.Visits[i].On
		}
	}
	return ""
}

// trials on each side that are planned for a measure, with some more; for one that is computed, of what
// it is computed from.
func (c *courser) trials(m, more int) (n int) {
	for _, q := range append(slices.Clone(c.s.sums[m]), c.s.pers[m]...) {
		n = max(n, trialsWith(&c.s.p.Measures[q.m], more))
	}
	return n
}

// again is after how many days a line is to be measured again, and why: a deficit just found is read once
// more soon, and so is a target that was met once; else it is when the usual change would exceed what can
// be told from error, with more trials where that brings it forward by a week.
func (c *courser) again(m *MeasureCourse, l *line, fr *frame) (days, more int, why string) {
	f := &c.s.p.FollowUp
	soon := int(f.SecondReadingDays.Value)
	last := c.on(l, l.last())
	switch {
	case m.State == StateConfirm:
		return soon, 0, "The target was met once: a second look on another day decides."
	case l.last() == fr.pick && fr.baseline == fr.pick && l.newest().Verdict == Deficit && c.out.Today <= last.AddDays(soon) && !c.trained(l, last):
		return soon, 0, "A deficit is read once more on another day, before exercises begin; that reading is the baseline."
	}
	least, most := int(f.IntervalDays.Value), int(f.LatestDays.Value)
	days, more, told := c.soonestTold(l, least, most)
	with := ""
	if more > 0 {
		with = fmt.Sprintf(", with %d trials on each side", c.trials(c.s.rules[l.rule].m, more))
	}
	switch {
	case !told:
		return most, 0, fmt.Sprintf("Even in %d days a usual change could not be told from measurement error; it is looked at by then.", most)
	case days <= least:
		return least, more, fmt.Sprintf("After %d days a usual change can be told from measurement error%s.", least, with)
	}
	return days, more, fmt.Sprintf("By then a usual change would exceed what can be told from measurement error (%s)%s.", c.mdc(m, l, more), with)
}

// soonestTold is the number of days, least or more, after which a usual change can be told with the
// planned trials or, if that is at least a week sooner, with as few more as are needed for it.
func (c *courser) soonestTold(l *line, least, most int) (days, more int, told bool) {
	days, told = c.untilTold(l, most, 0)
	days = max(days, least)
	for extra := 1; extra <= mostExtra; extra++ {
		d, ok := c.untilTold(l, most, extra)
		if d = max(d, least); ok && (!told || d+together <= days) {
			days, more, told = d, extra, true
		}
	}
	return days, more, told
}

// trained reports whether exercises began on or after a day.
func (c *courser) trained(l *line, since screen.Date) bool {
	return slices.ContainsFunc(c.out.Events, func(e screen.Event) bool {
		return e.Kind == screen.EventTraining && e.On >= since && c.concerns(&e, l)
	})
}

// nextSE is the standard error of the next visit on the scale of comparison: as planned where that is
// known, else as at the newest visit.
func (c *courser) nextSE(l *line, more int) (now, next float64) {
	g, f := c.s.gaugeOf(&c.s.rules[l.rule]), l.newest()
	now = f.SE / g.rate(g.work(f.Difference))
	r := &c.s.rules[l.rule]
	if r.planned <= 0 {
		return now, now
	}
	if more == 0 {
		return now, r.planned
	}
	sum := c.s.difference(r.m, sides{arm: 1, leg: 1})
	return now, c.s.plannedMore(&sum, more) * widened(c.s.p.Measures[r.m].Resolved.Pair)
}

// untilTold is the first day on which one standard deviation of the usual change exceeds 1.96 standard
// errors of a change; told is false if that takes more than most days.
func (c *courser) untilTold(l *line, most, more int) (days int, told bool) {
	pace, ok := c.pace(l)
	if !ok {
		return most, false
	}
	now, next := c.nextSE(l, more)
	mdc := 1.96 * math.Hypot(now, next)
	model := stat.TrendModel{S: pace * pace, Lambda: c.s.p.FollowUp.FadeWeeks.Value}
	at, err := model.Smooth(stat.TrendStart{SlopeVar: model.S}, stat.TrendSeries{Weeks: []float64{0}, Readings: []float64{0}, SEs: []float64{0}, FirstInStart: true})
	if err != nil {
		return most, false
	}
	usual := func(days int) float64 {
		s := at.Forecast(float64(days) / 7)
		return s.LevelSD()
	}
	if usual(most) <= mdc {
		return most, false
	}
	lo, hi := 0, most // the usual change grows with time
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; usual(mid) > mdc {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, true
}

// mdc is the change that error alone exceeds in 5 of 100 repeats, in words.
func (c *courser) mdc(m *MeasureCourse, l *line, more int) string {
	now, next := c.nextSE(l, more)
	g := c.s.gaugeOf(&c.s.rules[l.rule])
	v := 1.96 * math.Hypot(now, next) * g.rate(g.work(l.newest().Difference))
	return screen.Amount(number(v, c.s.p.Measure(m.Measure)), m.Unit)
}

// due puts together when to screen again: the earliest day of all measures that are followed, and what is
// to be measured within a week of it.
func (c *courser) due() {
	if len(c.follows) == 0 {
		return
	}
	slices.SortStableFunc(c.follows, func(a, b DueMeasure) int { return cmp.Compare(a.On, b.On) })
	d := &Due{On: c.follows[0].On, Why: c.follows[0].Why}
	until := max(d.On, c.out.Today).AddDays(together) // one who is overdue comes today at the earliest
	later := 0
	for i := range c.follows {
		if c.follows[i].On > until {
			later++
			continue
		}
		d.Measures = append(d.Measures, c.follows[i])
	}
	d.Overdue = c.out.Today != "" && c.out.Today > d.On
	if later > 0 {
		d.Why += fmt.Sprintf(" %d more %s later.", later, plural(later, "measure is due", "measures are due"))
	}
	d.Why = strings.TrimSpace(d.Why)
	c.out.Due = d
}
