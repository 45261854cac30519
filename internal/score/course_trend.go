package score

import (
	"fmt"
	"math"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// How many visits, on different days, it takes to say what, and over how many weeks.
const (
	trendLevel     = 3 // the level, and whether the target is met
	trendDirection = 5 // the direction, and what is ahead
	trendWeeks     = 4.0
	trendGrid      = 48 // points of a band between the first visit and the newest
)

// trended is a line's trend with what the rule of repeated looks asks of it.
type trended struct {
	t    *stat.Trend
	g    gauge
	tau  float64
	abs  bool
	days []int // of each visit of the trend: how many different days up to it
}

// trend draws the trend of a line into m; nil if there is none, with a note that says why.
func (c *courser) trend(m *MeasureCourse, l *line, fr *frame) *trended {
	if fr.stale {
		return nil // the frame's note says so
	}
	for k := fr.start; k < len(l.f); k++ {
		m.Points[k].InTrend = true
	}
	x := &trended{g: c.s.gaugeOf(&c.s.rules[l.rule]), abs: m.Kind == "absolute" && l.side == ""}
	x.tau = x.g.work(l.newest().Threshold)
	x.countDays(m.Points[fr.start:])
	n := x.days[len(x.days)-1]
	pace, ok := c.pace(l)
	switch {
	case n < trendLevel:
		m.Notes = append(m.Notes, fmt.Sprintf("A trend takes %d visits; there %s %d since %s.", trendLevel, plural(n, "is", "are"), n, c.on(l, fr.start)))
		return nil
	case !ok:
		m.Notes = append(m.Notes, "No trend: the protocol does not say how fast this measure usually changes.")
		return nil
	}
	model := stat.TrendModel{S: pace * pace, Lambda: c.s.p.FollowUp.FadeWeeks.Value}
	t, err := model.Smooth(x.start(l, fr, &model), x.read(m.Points[fr.start:]))
	if err != nil {
		m.Notes = append(m.Notes, "No trend: "+err.Error()+".")
		return nil
	}
	x.t = t
	m.Trend = x.view(n)
	m.Trend.Words = c.trendWords(m)
	return x
}

// pace is the usual pace of change of a line's value, on the scale on which it is compared.
func (c *courser) pace(l *line) (float64, bool) {
	m := &c.s.p.Measures[c.s.rules[l.rule].m]
	if isLog(c.s, c.s.rules[l.rule].m) {
		m = &c.s.p.Measures[c.s.sums[c.s.rules[l.rule].m][0].m]
	}
	return c.s.p.Pace(m)
}

func (x *trended) countDays(points []CoursePoint) {
	n := 0
	for k := range points {
		if k == 0 || points[k].On != points[k-1].On {
			n++
		}
		x.days = append(x.days, n)
	}
}

// start is what is known at the first visit, its reading included: after a screen that picked the athlete
// what that screen's score says, in a series that starts after an injury the reading alone.
func (x *trended) start(l *line, fr *frame, model *stat.TrendModel) stat.TrendStart {
	f := l.f[fr.start]
	level := x.g.work(f.Difference)
	sd := f.SE / x.g.rate(level)
	if !fr.flat && f.Prior != "none" && f.PriorSD > 0 {
		level, sd = f.PostMean, f.PostSD
	}
	return stat.TrendStart{Level: level, LevelVar: sd * sd, SlopeVar: model.S}
}

func (x *trended) read(points []CoursePoint) stat.TrendSeries {
	s := stat.TrendSeries{FirstInStart: true}
	for k := range points {
		v := x.g.work(points[k].Difference)
		s.Weeks = append(s.Weeks, points[k].Week)
		s.Readings = append(s.Readings, v)
		s.SEs = append(s.SEs, points[k].SE/x.g.rate(v))
	}
	return s
}

// view is the trend as it is shown.
func (x *trended) view(visits int) *Trend {
	first, last := x.t.Visits[0].Week, x.t.Visits[len(x.t.Visits)-1].Week
	out := &Trend{Visits: visits}
	for _, p := range x.t.Band(x.grid(first, last)) {
		lo, hi := x.ends(&p.TrendState)
		out.Weeks = append(out.Weeks, p.Week)
		out.Level = append(out.Level, x.g.shown(p.Level))
		out.Lo, out.Hi = append(out.Lo, lo), append(out.Hi, hi)
	}
	now := &x.t.Visits[len(x.t.Visits)-1].Smoothed
	out.LevelNow = x.g.shown(now.Level)
	out.Level90[0], out.Level90[1] = x.ends(now)
	out.PMetNow = aboutMet(x.abs, x.tau, now)
	if visits >= trendDirection && last-first >= trendWeeks {
		x.direction(out, now)
		out.PMet2, out.PMet4 = x.ahead(2), x.ahead(4) // never further than the visits span
	}
	return out
}

// ends are the 5 % and 95 % points of the level as it is shown.
func (x *trended) ends(s *stat.TrendState) (lo, hi float64) {
	lo, hi = x.g.shown(s.Level-1.645*s.LevelSD()), x.g.shown(s.Level+1.645*s.LevelSD())
	return min(lo, hi), max(lo, hi)
}

func (x *trended) ahead(weeks float64) *float64 {
	s := x.t.Forecast(weeks)
	p := aboutMet(x.abs, x.tau, &s)
	return &p
}

// grid is the weeks at which a band is drawn: the visits, and evenly between the first and the last.
func (x *trended) grid(first, last float64) []float64 {
	out := make([]float64, 0, len(x.t.Visits)+trendGrid)
	k := 1
	for i := range x.t.Visits {
		w := x.t.Visits[i].Week
		for ; k < trendGrid; k++ {
			even := first + (last-first)*float64(k)/trendGrid
			if even >= w {
				break
			}
			if len(out) == 0 || even > out[len(out)-1] {
				out = append(out, even)
			}
		}
		if len(out) == 0 || w > out[len(out)-1] {
			out = append(out, w)
		}
	}
	return out
}

// What the visits show of the direction.
const (
	directionBetter  = "improving"
	directionWorse   = "worsening"
	directionUnclear = "unclear"
)

// direction says which way the value goes if the slope's 90 % interval leaves 0 out. Where sides are
// compared without a worse one known beforehand, better is towards 0: from the side on which the value
// clearly is, or else on which it clearly was at the start.
func (x *trended) direction(out *Trend, now *stat.TrendState) {
	rate := x.g.rate(now.Level)
	if x.g.lower {
		rate = -rate
	}
	slope, reach := rate*now.Slope, 1.645*math.Abs(rate)*now.SlopeSD()
	out.Slope, out.Slope90 = &slope, [2]float64{slope - reach, slope + reach}
	towards := 1.0
	if x.abs {
		towards = clearSign(now)
		if towards == 0 {
			towards = clearSign(&x.t.Visits[0].Smoothed)
		}
	}
	switch z := towards * now.Slope; {
	case z < -1.645*now.SlopeSD():
		out.Direction = directionBetter
	case z > 1.645*now.SlopeSD():
		out.Direction = directionWorse
	default:
		out.Direction = directionUnclear
	}
}

// clearSign is the sign of the level if its 90 % interval leaves 0 out, else 0.
func clearSign(s *stat.TrendState) float64 {
	if math.Abs(s.Level) <= 1.645*s.LevelSD() {
		return 0
	}
	return math.Copysign(1, s.Level)
}

// trendWords say the trend in two or three sentences.
func (c *courser) trendWords(m *MeasureCourse) string {
	t, measure := m.Trend, c.s.p.Measure(m.Measure)
	text := func(v float64) string { return screen.Amount(number(v, measure), m.Unit) }
	out := fmt.Sprintf("Now about %s (90 in 100: %s to %s); %s in %s.", text(t.LevelNow), text(t.Level90[0]), text(t.Level90[1]), metWords(m), OutOf100(t.PMetNow))
	if t.Slope == nil {
		return out + fmt.Sprintf(" Which way it goes takes %d visits over %g weeks.", trendDirection, trendWeeks)
	}
	if t.Direction == directionUnclear {
		out += " The visits do not show which way it goes."
	} else {
		pace := func(v float64) string { return screen.Amount(fmt.Sprintf("%.1f", math.Abs(v)), m.Unit) }
		lo, hi := math.Abs(t.Slope90[0]), math.Abs(t.Slope90[1])
		out += fmt.Sprintf(" It is %s, by about %s a week (90 in 100: %s to %s).", t.Direction, pace(*t.Slope), pace(min(lo, hi)), pace(max(lo, hi)))
	}
	return out + fmt.Sprintf(" In 2 weeks %s, in 4 weeks %s, if the present pace fades as usual.", OutOf100(*t.PMet2), OutOf100(*t.PMet4))
}

// metWords name the good side of the threshold: "at or below 13°".
func metWords(m *MeasureCourse) string {
	at := screen.Amount(number(m.Threshold, nil), m.Unit)
	switch {
	case m.Threshold < 0 && m.Side == "":
		return "a gain of " + screen.Amount(number(-m.Threshold, nil), m.Unit) + " or more"
	case gaugeFor(m.RuleKind).lower:
		return "at or above " + at
	case m.Kind == "absolute" && m.Side == "":
		return "the sides within " + at
	}
	return "at or below " + at
}
