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

// noPrior is the group of the athletes for whom the protocol has no prior of a measure.
const noPrior = -1

// kindOf is the place of the prior that holds for such athletes among a measure's priors, noPrior if none
// does. Athletes with the same place are of one kind.
func kindOf(m *screen.Measure, subject *screen.Subject) int {
	for i := range m.Priors {
		if m.Priors[i].When.Holds(subject) {
			return i
		}
	}
	return noPrior
}

// useSquad notes for every measure what is usual in the athlete's squad, for athletes of this kind. It
// serves where the throwing side is known: a difference of left and right has no common mean.
func (w *work) useSquad(squad *SquadPrior) {
	w.squad = w.squad[:0]
	if squad == nil || !w.d.named || squad.Hash != w.s.p.Hash {
		return
	}
	_, counted := slices.BinarySearch(squad.Counted, w.rec.Athlete.ID)
	w.counted = counted && squad.On == w.rec.Screen.On
	w.squad, w.squadOn = cleared(w.squad, len(w.s.p.Measures)), squad.On
	for i := range squad.Groups {
		g := &squad.Groups[i]
		m := w.s.p.MeasureIndex(g.Measure)
		if m >= 0 && g.Used && len(g.Grid) > 0 && kindOf(&w.s.p.Measures[m], &w.subject) == g.Prior {
			w.squad[m] = g
		}
	}
}

// usualOf is what is usual in the squad for a measure, nil if that is not known.
func (w *work) usualOf(m int) *GroupPrior {
	if m >= len(w.squad) {
		return nil
	}
	return w.squad[m]
}

// squadMeasures are the measures whose sides a rule compares, and what they are the sums of, in protocol
// order: a link's probability is that of the parts.
func (s *Scorer) squadMeasures() []int {
	in := make([]bool, len(s.p.Measures))
	for i := range s.rules {
		r := &s.rules[i]
		if r.Kind != screen.SideDifference && r.Kind != screen.SidePercent || s.pers[r.m] != nil {
			continue
		}
		in[r.m] = true
		for _, q := range s.sums[r.m] {
			in[q.m] = true
		}
	}
	var out []int
	for m, yes := range in {
		if yes {
			out = append(out, m)
		}
	}
	return out
}

// measuredDiff is one athlete's difference of sides in one measure.
type measuredDiff struct {
	kind         int
	d, se        float64
	mean, spread float64 // of the protocol's prior
	known        bool
}

// SquadPrior works out what is usual in a squad from its records of one day, one an athlete (of several
// the first counts), for every measure whose sides a rule compares and every kind of athlete that the
// protocol's priors tell apart. Those named in out, with the reason, are scored by it and not counted in
// it, and so are athletes whose throwing side is not known. The order of the records does not matter.
func (s *Scorer) SquadPrior(team string, on screen.Date, records []*screen.Record, opt Options, out map[string]string) *SquadPrior {
	p := &SquadPrior{Team: team, On: on, Protocol: s.p.NameAndVersion(), Hash: s.p.Hash, Groups: []GroupPrior{}}
	measures := s.squadMeasures()
	diffs := make([][]measuredDiff, len(measures))
	w := &work{}
	opt.Squad = nil
	for _, rec := range onePerAthlete(records) {
		w.begin(s, rec, opt)
		why := out[rec.Athlete.ID]
		if why == "" && !w.d.named {
			why = "no throwing side: left and right are only compared"
		}
		if why != "" {
			p.LeftOut = append(p.LeftOut, LeftOut{rec.Athlete.ID, why})
			continue
		}
		any := false
		for i, m := range measures {
			if d, ok := w.measuredDiff(m); ok {
				diffs[i], any = append(diffs[i], d), true
			}
		}
		if any {
			p.Counted = append(p.Counted, rec.Athlete.ID)
		}
	}
	p.Athletes = len(p.Counted)
	for i, m := range measures {
		p.Groups = append(p.Groups, s.groupPriors(m, diffs[i])...)
	}
	return p
}

// onePerAthlete orders records by athlete and leaves out all but the first of each.
func onePerAthlete(records []*screen.Record) []*screen.Record {
	list := slices.Clone(records)
	slices.SortStableFunc(list, func(a, b *screen.Record) int { return strings.Compare(a.Athlete.ID, b.Athlete.ID) })
	return slices.CompactFunc(list, func(a, b *screen.Record) bool { return a.Athlete.ID == b.Athlete.ID })
}

func (w *work) measuredDiff(m int) (d measuredDiff, ok bool) {
	x := &w.s.p.Measures[m]
	l := w.s.difference(m, w.d)
	if !l.measured(w.est) {
		return d, false
	}
	d = measuredDiff{kind: kindOf(x, &w.subject), d: l.value(w.est), se: l.se(w.est) * widened(x.Resolved.Pair)}
	d.mean, d.spread, d.known = x.PriorFor(&w.subject)
	return d, !math.IsNaN(d.d-d.d) && !math.IsNaN(d.se-d.se)
}

// groupPriors are those of one measure, one for each kind of athlete: in the order of the protocol's
// priors, those without one at the end.
func (s *Scorer) groupPriors(m int, diffs []measuredDiff) []GroupPrior {
	slices.SortStableFunc(diffs, func(a, b measuredDiff) int {
		return cmp.Compare(uint(a.kind), uint(b.kind)) // noPrior is the largest
	})
	var out []GroupPrior
	for from := 0; from < len(diffs); {
		to := from
		for to < len(diffs) && diffs[to].kind == diffs[from].kind {
			to++
		}
		out = append(out, s.groupPrior(m, diffs[from:to]))
		from = to
	}
	return out
}

func (s *Scorer) groupPrior(m int, diffs []measuredDiff) GroupPrior {
	x, first := &s.p.Measures[m], &diffs[0]
	g := GroupPrior{Measure: x.ID, Prior: first.kind, Group: "everyone", N: len(diffs)}
	switch {
	case first.kind != noPrior:
		g.Group = x.Priors[first.kind].When.Words()
	case len(x.Priors) > 0:
		g.Group = "athletes for whom the protocol has no prior"
	}
	if first.known {
		g.ProtocolMean, g.ProtocolSD = first.mean, first.spread
	}
	d, se, v := make([]float64, g.N), make([]float64, g.N), make([]float64, g.N)
	for i := range diffs {
		d[i], se[i], v[i] = diffs[i].d, diffs[i].se, diffs[i].se*diffs[i].se
	}
	g.REML = reml(d, v)
	if g.Why = tooFew(g.N, first.known); g.Why != "" {
		return g
	}
	grid, err := stat.Hierarchy(d, se, stat.HierarchyPrior{Mean: first.mean, SD: first.spread, Known: first.known})
	if err != nil {
		g.Why = err.Error()
		return g
	}
	sum := grid.Moments()
	g.Used, g.Grid = true, trimmed(grid)
	g.Mean, g.MeanSD, g.Spread = sum.Mu.Mean, sum.Mu.SD, sum.Omega.Mean
	g.NewMean, g.NewSD = sum.New.Mean, sum.New.SD
	return g
}

// tooFew says why so many athletes do not say what is usual, "" if they do.
func tooFew(n int, known bool) string {
	least, with := stat.SquadLeast, ""
	if !known {
		least, with = stat.SquadLeastAlone, ", since the protocol says nothing of such athletes"
	}
	if n >= least {
		return ""
	}
	return fmt.Sprintf("%d %s measured: it is used from %d on%s", n, plural(n, "athlete", "athletes"), least, with)
}

func reml(d, v []float64) *GroupREML {
	got, err := stat.Shrink(d, v)
	if err != nil {
		return nil // with one athlete there is nothing to estimate
	}
	r := &GroupREML{Mean: got.Mu, MeanSE: got.MuSE, Spread: math.Sqrt(got.Tau2), AtZero: got.AtZero}
	if got.AtZero {
		r.Note = "the athletes do not differ more than the errors allow; plugged in, all of them would get the same value"
	}
	return r
}

// negligible is the weight below which a point of a grid is left out: with 41 points no probability
// changes by more than 1e-7.
const negligible = 1e-9

// trimmed leaves out what has no weight, so that less is kept and less is added up for each finding.
func trimmed(g stat.Grid) stat.Grid {
	g = slices.DeleteFunc(g, func(p stat.GridPoint) bool { return p.Weight < negligible })
	sum := 0.0
	for i := range g {
		sum += g[i].Weight
	}
	for i := range g {
		g[i].Weight /= sum
	}
	return g
}

// Group is what is usual for a measure in athletes of one kind, nil if there is none.
func (p *SquadPrior) Group(measure string, prior int) *GroupPrior {
	for i := range p.Groups {
		if g := &p.Groups[i]; g.Measure == measure && g.Prior == prior {
			return g
		}
	}
	return nil
}
