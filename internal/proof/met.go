package proof

import (
	"math/rand/v2"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Standing is a true difference: so many times a rule's threshold, and so many standard errors. 1 and 0
// is the threshold itself, 0 and 0 no difference.
type Standing struct{ Threshold, Errors float64 }

func (s Standing) of(r *Rule) float64 { return s.Threshold*r.Tau + s.Errors*r.SE }

// Met is how often athletes in whom a deficit was found are called to have met the target within some
// visits after that, while their true difference does not change.
type Met struct {
	Rule
	Found  float64 // true difference at the visit that found the deficit
	At     float64 // and at all later ones
	Visits int     // after that one
	N      int
	One    int // by one look: P_m ≤ the clear cut-off at any visit
	ByRule int // by the rule of repeated looks, at any visit
	AtLast int // by the rule, at the last visit
	// Parts of the rule, and what stricter ones would say, at any visit.
	TwoLooks   int // two visits running
	Trend      int // the trend's P ≥ 0.80, from 3 visits on
	TrendTwice int // the same at two visits running
	Trend90    int // the trend's P ≥ 0.90
}

// SimulateMet finds a deficit in athletes whose truth is the one, and measures them every two weeks from
// then on, when it is the other.
func SimulateMet(p *screen.Protocol, age int, rule, measure string, found, at Standing, visits int, set Settings) *Met {
	w := newWorld(p, age, measure)
	r := w.rules[w.ruleAt(rule)]
	m := draw(set, func(rng *rand.Rand, n int) *Met { return w.met(rng, n, &r, found.of(&r), at.of(&r), visits) }, addMet)
	m.Rule, m.Found, m.At, m.Visits = r, found.of(&r), at.of(&r), visits
	return m
}

func addMet(sum, part *Met) *Met {
	if sum == nil {
		return part
	}
	sum.N += part.N
	sum.One += part.One
	sum.ByRule += part.ByRule
	sum.AtLast += part.AtLast
	sum.TwoLooks += part.TwoLooks
	sum.Trend += part.Trend
	sum.TrendTwice += part.TrendTwice
	sum.Trend90 += part.Trend90
	return sum
}

func (w *world) met(rng *rand.Rand, n int, r *Rule, found, at float64, visits int) *Met {
	out := &Met{}
	f := w.newFollowed(visits + 1)
	for out.N < n {
		f.person.left = rng.IntN(2) == 0
		r.set(&f.person, found)
		f.visit(rng, 0, 0)
		if !f.says(0, r.ID, score.Deficit) {
			continue
		}
		r.set(&f.person, at)
		var l looked
		for k := 1; k <= visits; k++ {
			f.visit(rng, k, 14*k)
			l.look(f, k, r.ID, w.p.Cutoffs.Clear)
		}
		out.N++
		count(&out.One, l.one)
		count(&out.ByRule, l.byRule)
		count(&out.AtLast, l.now)
		count(&out.TwoLooks, l.two)
		count(&out.Trend, l.trend)
		count(&out.TrendTwice, l.trendTwice)
		count(&out.Trend90, l.trend90)
	}
	return out
}

// looked is what was said up to a visit, and at it.
type looked struct {
	one, two, byRule, trend, trendTwice, trend90 bool
	now, clear, trendNow                         bool
}

func (l *looked) look(f *followed, k int, rule string, cut float64) {
	clear := f.finding(k, rule).PMeasured <= cut
	l.one = l.one || clear
	l.two = l.two || clear && l.clear
	l.clear = clear
	m := f.course(k+1, rule)
	l.now = m.Met.Met
	l.byRule = l.byRule || l.now
	if m.Trend == nil {
		return
	}
	now := m.Trend.PMetNow >= 1-cut
	l.trend = l.trend || now
	l.trendTwice = l.trendTwice || now && l.trendNow
	l.trendNow = now
	l.trend90 = l.trend90 || m.Trend.PMetNow >= 0.9
}
