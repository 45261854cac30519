package score

import (
	"fmt"

	"evenhand/internal/screen"
)

// Whether a target is met is looked at at every visit; one visit alone says so too often by chance.
const (
	byTwoVisits = "two_visits"
	byTrend     = "trend"
)

// followFrom is the probability from which a finding that was never a deficit is followed: below it no
// deficit is the likelier answer.
const followFrom = 0.5

// looks are what the visits from the start of a line on say of its target.
type looks struct {
	c *courser
	l *line
	x *trended // nil: no trend
	m *MeasureCourse
}

// metAt says by what the target is met at point k, "" if it is not: the measurement alone, or the trend,
// at this visit and the one before it, on another day. The trend at one visit alone would say so of half
// of those who sit at the threshold within six visits (docs/proof.md, section 8).
func (s *looks) metAt(k int) string {
	clear := s.c.s.p.Cutoffs.Clear
	start := s.m.Start
	before := k - 1
	for before >= start && s.c.on(s.l, before) == s.c.on(s.l, k) {
		before--
	}
	switch {
	case before < start:
		return ""
	case s.l.f[k].PMeasured <= clear && s.l.f[before].PMeasured <= clear:
		return byTwoVisits
	case s.trendSays(k) && s.trendSays(before):
		return byTrend
	}
	return ""
}

// trendSays reports whether by the trend up to point k, of enough visits, the target is met. Of a visit
// that is itself a deficit no trend says so.
func (s *looks) trendSays(k int) bool {
	i := k - s.m.Start
	return s.x != nil && i >= 0 && s.x.days[i] >= trendLevel && s.l.f[k].Verdict != Deficit &&
		aboutMet(s.x.abs, s.x.tau, &s.x.t.Visits[i].Filtered) >= 1-s.c.s.p.Cutoffs.Clear
}

// met is the state at the newest visit, and since when.
func (s *looks) met() MetState {
	last := s.l.last()
	by := s.metAt(last)
	if by == "" {
		switch {
		case s.l.newest().PMeasured <= s.c.s.p.Cutoffs.Clear:
		case s.trendSays(last):
			return MetState{Once: true, Words: fmt.Sprintf("Target met once by the trend, on %s: a second look on another day decides.", s.c.on(s.l, last))}
		default:
			return MetState{Words: "Target not met at the newest visit."}
		}
		return MetState{Once: true, Words: fmt.Sprintf("Target met once, on %s. At the threshold itself a visit says so by chance in %s: a second look on another day decides.",
			s.c.on(s.l, last), OutOf100(s.c.s.p.Cutoffs.Clear))}
	}
	k := last
	for s.metAt(k-1) != "" { // the first visit alone never meets it
		k--
	}
	out := MetState{Met: true, By: by, Since: s.c.on(s.l, k)}
	if by == byTwoVisits {
		out.Words = fmt.Sprintf("Target met since %s: clear by the measurement alone at two visits running.", out.Since)
	} else {
		out.Words = fmt.Sprintf("Target met since %s: by the trend of %d visits %s in %s.", out.Since, s.m.Trend.Visits, metWords(s.m), OutOf100(s.m.Trend.PMetNow))
	}
	return out
}

// state says where a line stands, and what about it.
func (c *courser) state(m *MeasureCourse, l *line, fr *frame, x *trended) {
	s := looks{c, l, x, m}
	m.Met = s.met()
	f := l.newest()
	found := false // a deficit since the start, of both conditions where the rule is one of two
	for k := fr.start; k < len(l.f); k++ {
		found = found || l.f[k].Verdict == Deficit && (l.whole == nil || l.whole[k] != Clear)
	}
	adapted := l.whole != nil && l.whole[l.last()] == Clear && f.Verdict != Clear
	switch {
	case !c.followed(l):
		m.State, m.Statement = StateShown, "Shown, not followed: this rule is not counted."
	case m.Target == nil && m.TargetBy != "":
		m.State, m.Statement = StateShown, "Shown, not followed: "+m.TargetBy+"."
	case c.s.p.Measures[c.s.rules[l.rule].m].Scale == screen.Count:
		m.State, m.Statement = StateShown, "Shown, not followed: a count has no target."
	case adapted:
		m.State, m.Statement = StateShown, "Shown, not followed: the other condition of a deficit does not hold at the newest visit."
	case !found && (f.Verdict == Clear || m.Met.Met):
		m.State, m.Statement = StateClear, fmt.Sprintf("Clear; no deficit since %s.", c.on(l, fr.start))
		if f.Verdict != Clear {
			m.Statement = fmt.Sprintf("No deficit since %s; by the trend %s in %s.", c.on(l, fr.start), metWords(m), OutOf100(m.Trend.PMetNow))
		}
		m.Met = MetState{Words: "There is no deficit whose target could be met."}
	case !found && f.P < followFrom:
		m.State, m.Statement = StateShown, VerdictSentence(f)+" Not followed: a deficit is less likely than none."
	case found && m.Met.Met:
		m.State, m.Statement = StateMet, m.Met.Words
	case found && m.Met.Once:
		m.State, m.Statement = StateConfirm, m.Met.Words
	default:
		m.State, m.Statement = StateOpen, c.openWords(m, f)
	}
}

// openWords say of a finding that is followed what the newest visit says and what has changed.
func (c *courser) openWords(m *MeasureCourse, f *Finding) string {
	out := VerdictSentence(f)
	switch {
	case m.Trend != nil:
		out += " " + m.Trend.Words
	case m.SinceBaseline != nil:
		out += fmt.Sprintf(" Since the baseline %s.", m.SinceBaseline.short(c.s, m))
	}
	return out
}
