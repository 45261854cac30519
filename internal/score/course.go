package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

// Course works out what became of an athlete from visit to visit: for every rule with a value its
// points, baseline, change, trend, whether the target is met, and when to screen again. Visits come as
// screen.Occasions makes them, one a day, each with its report by the same protocol; what cannot be used
// is left out with a note. Every number is finite, and what cannot be said is said in words.
func (s *Scorer) Course(in CourseInput) *Course {
	if !in.Today.Valid() {
		in.Today = ""
	}
	c := &courser{s: s, out: &Course{Today: in.Today, Visits: []CourseVisit{}, Events: []screen.Event{}, Measures: []MeasureCourse{}}}
	c.visits(in.Visits)
	c.events(in.Events)
	lines := c.series()
	c.follows = make([]DueMeasure, 0, len(lines))
	for i := range lines {
		c.measure(&lines[i])
	}
	c.due()
	return c.out
}

// courser is all that the working out of a course needs at hand.
type courser struct {
	s       *Scorer
	out     *Course
	days    []int // of each visit, days since the first
	follows []DueMeasure
}

// visits puts the visits in order and leaves out what is none.
func (c *courser) visits(in []Visited) {
	for i := range in {
		v := &in[i]
		switch {
		case v.Record == nil || v.Report == nil:
			c.note("A visit without a report is left out.")
		case !v.Record.Screen.On.Valid():
			c.note(fmt.Sprintf("A visit without a day is left out: %q is none.", string(v.Record.Screen.On)))
		default:
			s := &v.Record.Screen
			c.out.Athlete = s.Athlete
			c.out.Visits = append(c.out.Visits, CourseVisit{Screen: s.ID, On: s.On, Kind: s.Kind, Pain: len(v.Report.Referral) > 0, Report: v.Report})
		}
	}
	slices.SortStableFunc(c.out.Visits, func(a, b CourseVisit) int {
		return cmp.Or(cmp.Compare(a.On, b.On), cmp.Compare(a.Screen, b.Screen))
	})
	c.days = make([]int, len(c.out.Visits))
	for i := range c.out.Visits {
		c.days[i] = daysBetween(c.out.Visits[0].On, c.out.Visits[i].On)
	}
}

// events keeps those that hold, in order of their days.
func (c *courser) events(in []screen.Event) {
	for i := range in {
		if in[i].Stands() && in[i].On.Valid() {
			c.out.Events = append(c.out.Events, in[i])
		}
	}
	slices.SortStableFunc(c.out.Events, func(a, b screen.Event) int { return cmp.Compare(a.On, b.On) })
}

func (c *courser) note(text string) {
	if !slices.Contains(c.out.Notes, text) {
		c.out.Notes = append(c.out.Notes, text)
	}
}

func daysBetween(a, b screen.Date) int {
	return int(math.Round(b.Time().Sub(a.Time()).Hours() / 24))
}

// line is one rule's findings over the visits, on one side for rules on one side.
type line struct {
	rule  int
	side  screen.Side
	at    []int // places among the visits
	f     []*Finding
	whole []Verdict // of the rule of two conditions that this one is part of, if that is counted
	hand  bool      // earlier visits were left out: another throwing hand
}

func (l *line) last() int { return len(l.f) - 1 }

func (l *line) newest() *Finding { return l.f[len(l.f)-1] }

// series collects the findings with a value, rule by rule.
func (c *courser) series() []line {
	lines := make([]line, 0, len(c.s.rules))
	place := map[string][3]int{} // places + 1 of a rule's lines: without a side, left, right
	for v := range c.out.Visits {
		rep := c.out.Visits[v].Report
		for i := range rep.Findings {
			f := &rep.Findings[i]
			r := c.s.p.RuleIndex(f.Rule)
			if r < 0 || c.s.rules[r].m < 0 || !usable(f) {
				c.unusable(f, r)
				continue
			}
			places, k := place[f.Rule], sidePlace(f.Side)
			if places[k] == 0 {
				lines = append(lines, line{rule: r, side: f.Side})
				places[k] = len(lines)
				place[f.Rule] = places
			}
			l := &lines[places[k]-1]
			l.at, l.f = append(l.at, v), append(l.f, f)
		}
	}
	slices.SortStableFunc(lines, func(a, b line) int { return cmp.Compare(a.rule, b.rule) })
	for i := range lines {
		c.sameHand(&lines[i])
		c.conditions(&lines[i])
	}
	return lines
}

func sidePlace(s screen.Side) int {
	switch s {
	case screen.Left:
		return 1
	case screen.Right:
		return 2
	}
	return 0
}

func usable(f *Finding) bool {
	for _, x := range [...]float64{f.Difference, f.SE, f.PostMean, f.PostSD, f.PMeasured, f.P, f.Threshold} {
		if math.IsNaN(x) || math.Abs(x) > 1e9 {
			return false
		}
	}
	return f.SE >= 0 && f.PostSD >= 0
}

func (c *courser) unusable(f *Finding, rule int) {
	switch {
	case rule < 0:
		c.note("A finding of another protocol's rule is left out.")
	case f.RuleKind != screen.AllOf:
		c.note(f.Name + ": a value that is no number is left out.")
	}
}

// sameHand leaves out the visits before a change of the throwing hand: a difference of sides meant
// something else then. Rules on one side name the side.
func (c *courser) sameHand(l *line) {
	if l.side != "" {
		return
	}
	now := c.out.Visits[l.at[l.last()]].Report
	for k := l.last(); k >= 0; k-- {
		if then := c.out.Visits[l.at[k]].Report; then.Hand != now.Hand || then.Sides != now.Sides {
			l.at, l.f, l.hand = l.at[k+1:], l.f[k+1:], true
			return
		}
	}
}

// conditions notes at each visit the verdict of the counted rule that this one is a condition of.
func (c *courser) conditions(l *line) {
	r := &c.s.rules[l.rule]
	both := slices.IndexFunc(c.s.rules, func(x rule) bool {
		return x.Counted && x.Kind == screen.AllOf && slices.Contains(x.AllOf, r.ID)
	})
	if r.Counted || both < 0 {
		return
	}
	l.whole = make([]Verdict, len(l.f))
	for k := range l.f {
		l.whole[k] = Unsettled
		fs := c.out.Visits[l.at[k]].Report.Findings
		if i := slices.IndexFunc(fs, func(f Finding) bool { return f.Rule == c.s.rules[both].ID }); i >= 0 {
			l.whole[k] = fs[i].Verdict
		}
	}
}

// followed reports whether the rule of the line is counted, or is a condition of one that is.
func (c *courser) followed(l *line) bool { return c.s.rules[l.rule].Counted || l.whole != nil }

// measure works out the course of one line.
func (c *courser) measure(l *line) {
	r, f := &c.s.rules[l.rule], l.newest()
	m := MeasureCourse{Rule: r.ID, Name: r.Name, Link: r.Link, Measure: r.Measure, RuleKind: r.Kind, Kind: f.Kind, Side: l.side,
		Unit: f.Unit, Counted: r.Counted, Threshold: f.Threshold}
	c.points(&m, l)
	c.target(&m, l)
	fr := c.frame(l)
	m.Start = fr.start
	m.BaselineWhy = fr.why
	if fr.baseline >= 0 {
		m.Baseline = &fr.baseline
	}
	last := l.last()
	if fr.baseline >= 0 && fr.baseline < last {
		m.SinceBaseline = new(Change)
		*m.SinceBaseline = compare(l.f[fr.baseline], f, fr.baseline == fr.pick)
	}
	if last > 0 {
		m.SinceLast = new(Change)
		*m.SinceLast = compare(l.f[last-1], f, last-1 == fr.pick)
	}
	m.Notes = c.lineNotes(l, &fr)
	tr := c.trend(&m, l, &fr)
	c.state(&m, l, &fr, tr)
	c.out.Measures = append(c.out.Measures, m)
	c.follow(&m, l, &fr)
}

func (c *courser) points(m *MeasureCourse, l *line) {
	g := c.s.gaugeOf(&c.s.rules[l.rule])
	for k, f := range l.f {
		p := CoursePoint{Visit: l.at[k], On: c.out.Visits[l.at[k]].On, Week: c.week(l, k), Difference: f.Difference, SE: f.SE,
			First: f.First, FirstSE: f.FirstSE, Second: f.Second, SecondSE: f.SecondSE,
			PMeasured: f.PMeasured, P: f.P, Verdict: f.Verdict, Likely: f.Difference}
		if f.Prior != "none" {
			p.Likely = g.shown(f.PostMean)
		}
		m.Points = append(m.Points, p)
	}
}

// week is the time of a point in weeks since the line's first.
func (c *courser) week(l *line, k int) float64 {
	return float64(c.days[l.at[k]]-c.days[l.at[0]]) / 7
}

// target copies that of the newest visit. A value's target is, like a difference's, what a visit as
// exact as the newest one would call clear by the measurement alone.
func (c *courser) target(m *MeasureCourse, l *line) {
	f, r := l.newest(), &c.s.rules[l.rule]
	m.Target, m.Reading, m.TargetBy = f.Target, f.Reading, f.TargetBy
	measure := &c.s.p.Measures[r.m]
	if l.side == "" || measure.Scale == screen.Count {
		return
	}
	g := c.s.gaugeOf(r)
	tau := g.work(f.Threshold)
	v := g.shown(tau - c.s.zc*f.SE/g.rate(g.work(f.Difference)))
	m.Target = &v
	if f.Verdict != Clear {
		v := v
		if measure.Step > 0 {
			v = math.Round(v/measure.Step) * measure.Step
		}
		m.Reading = &v
	}
}

// lineNotes say what was taken for granted.
func (c *courser) lineNotes(l *line, fr *frame) (out []string) {
	if l.hand {
		out = append(out, "Earlier visits are left out: another throwing hand is on record for them.")
	}
	for k := l.last(); k > 0; k-- {
		if l.f[k-1].Threshold != l.f[k].Threshold {
			out = append(out, fmt.Sprintf("The threshold was %s until %s; it goes by age and level.", l.f[k-1].amount(l.f[k-1].Threshold, nil), c.out.Visits[l.at[k-1]].On))
			break
		}
	}
	if fr.note != "" {
		out = append(out, fr.note)
	}
	return out
}

// aboutMet is the probability that the true value is at the threshold or better.
func aboutMet(absolute bool, tau float64, s *stat.TrendState) float64 {
	if absolute {
		return max(0, 1-stat.Beyond(tau, s.Level, s.LevelSD()))
	}
	return 1 - stat.Above(tau, s.Level, s.LevelSD())
}
