package demo

import (
	"slices"
	"time"

	"evenhand/internal/screen"
)

// Assumed of the demo, for the time that things take at a station.
const (
	perPlace   = 4 * time.Second // to find the place and the position, on each side
	perTrial   = 7 * time.Second
	perAnswer  = 8 * time.Second
	perCheckIn = 50 * time.Second
	changeOver = 35 * time.Second // from one athlete to the next
)

// stop is one athlete's visit to a station.
type stop struct {
	g              *guest
	station, round int
	helper         int
	at             time.Duration // from the start of the day
}

// visits lets helpers and athletes meet until now: whoever is free first goes on, check-in before all
// else, and a second time once everything was measured. Visits that are not over yet are cut later.
func (w *dayMaker) visits() {
	for {
		var next *stop
		for _, g := range w.who {
			for st := range w.d.Stations {
				if s, ok := w.nextStop(g, st); ok && (next == nil || w.sooner(&s, next)) {
					next = &s
				}
			}
		}
		if next == nil || next.at > DayLasts {
			return
		}
		end := w.stay(next)
		next.g.seen[next.round][next.station] = true
		next.g.free, w.free[next.helper] = end, end+changeOver
	}
}

// nextStop is an athlete's next visit to a station, if there is one to come.
func (w *dayMaker) nextStop(g *guest, st int) (s stop, ok bool) {
	round := 1
	if g.seen[1][st] {
		round = 2
	}
	switch {
	case g.seen[round][st], round == 2 && (!g.twice || !w.measures(st) || !w.measured(g)):
		return s, false
	case !w.checksIn(st) && !w.checkedIn(g), g == w.roles.hold && !w.checksIn(st):
		return s, false
	}
	s = stop{g: g, station: st, round: round, helper: w.helper(st, g, round)}
	s.at = max(g.free, w.free[s.helper])
	return s, true
}

// sooner says that a comes before b: the earlier one; of two at the same time a check-in, then who
// came first to be measured twice, then who came before the other.
func (w *dayMaker) sooner(a, b *stop) bool {
	switch in, other := w.checksIn(a.station), w.checksIn(b.station); {
	case a.at != b.at:
		return a.at < b.at
	case in != other:
		return in
	case a.g.early != b.g.early:
		return a.g.early
	}
	return a.g.there < b.g.there
}

// helper is who stands at a station: one for those that measure nothing, and one for each of the others
// as far as there are helpers. Of those who are measured twice every other one has the second
// measurement from the helper of the next station.
func (w *dayMaker) helper(st int, g *guest, round int) int {
	n := len(w.out.Examiners)
	if !w.measures(st) {
		return n - 1
	}
	k := 0
	for i := range st {
		if w.measures(i) {
			k++
		}
	}
	if round == 2 && slices.Index(w.who, g)%2 == 0 {
		k++
	}
	return k % (n - 1)
}

func (w *dayMaker) takes(st int, kind screen.StepKind) bool {
	return slices.ContainsFunc(w.d.Stations[st].Steps, func(s screen.Step) bool { return s.Kind == kind })
}

func (w *dayMaker) checksIn(st int) bool { return w.takes(st, screen.StepCheckIn) }
func (w *dayMaker) measures(st int) bool { return w.takes(st, screen.StepMeasure) }

func (w *dayMaker) checkedIn(g *guest) bool {
	for st := range w.d.Stations {
		if w.checksIn(st) && !g.seen[1][st] {
			return false
		}
	}
	return true
}

// measured says that every measure of an athlete was taken once.
func (w *dayMaker) measured(g *guest) bool {
	for st := range w.d.Stations {
		if w.measures(st) && !g.seen[1][st] {
			return false
		}
	}
	return true
}
