package demo

import (
	"math"
	"slices"
	"time"

	"evenhand/internal/screen"
)

// stay makes the entries of one visit and returns when it ended.
func (w *dayMaker) stay(s *stop) time.Duration {
	at := s.at
	station := &w.d.Stations[s.station]
	for _, c := range w.inOrder(s.g, station) {
		step := &station.Steps[c.Step]
		switch {
		case s.round == 2 && step.Kind != screen.StepMeasure:
		case step.Kind == screen.StepCheckIn:
			at = w.checkIn(s, at)
		case step.Kind == screen.StepChecklist:
			at += perAnswer
			w.send(s, at, DayEntry{Kind: screen.DayAnswer, About: c.About, Side: c.Side, Answer: w.seen()})
		default:
			at = w.take(s, at, c)
		}
	}
	return at
}

// inOrder are the cells of a station with the side first that is measured first.
func (w *dayMaker) inOrder(g *guest, station *screen.Station) []screen.Cell {
	sport := w.p.Sport(g.q.athlete.Sport)
	first := w.d.SideOrder.FirstSide(g.q.athlete.HandOn(w.d.On), sport != nil && sport.Throws)
	cells := w.p.Cells(station)
	slices.SortStableFunc(cells, func(a, b screen.Cell) int {
		switch {
		case a.Step != b.Step || a.About != b.About || a.Side == b.Side:
			return 0
		case a.Side == first:
			return -1
		}
		return 1
	})
	return cells
}

func (w *dayMaker) send(s *stop, at time.Duration, e DayEntry) {
	e.Station, e.Ago, e.Examiner, e.Device = s.station, DayLasts-at, w.out.Examiners[s.helper], device(s.station)
	e.Athlete, e.Round = s.g.q.athlete.ID, s.round
	w.sent = append(w.sent, e)
}

// checkIn asks about the throwing hand, throwing in the last two days and symptoms. Who is on no list is
// put on it first.
func (w *dayMaker) checkIn(s *stop, at time.Duration) time.Duration {
	q := s.g.q
	if s.g.walkOn {
		at += perCheckIn
		w.send(s, at, DayEntry{Kind: screen.DayWalkOn, Side: screen.NoSide, Person: &q.athlete})
	}
	at += perCheckIn
	if sign := w.referralSign(0); s.g == w.roles.hold && sign != "" {
		w.send(s, at-5*time.Second, DayEntry{Kind: screen.DaySymptom, About: sign, Side: handSide(q.athlete.HandOn(w.d.On))})
	}
	threw := w.chance(0.4)
	w.send(s, at, DayEntry{Kind: screen.DayCheckIn, Side: screen.NoSide, Threw: &threw, Hand: q.athlete.HandOn(w.d.On)})
	return at
}

// handSide is the side of a throwing hand.
func handSide(h screen.Hand) screen.Side {
	if h == screen.LeftHand {
		return screen.Left
	}
	return screen.Right
}

// take measures one cell, or says why it was not done.
func (w *dayMaker) take(s *stop, at time.Duration, c screen.Cell) time.Duration {
	m := w.p.Measure(c.About)
	if why := w.notToday(s, &c); why != "" {
		at += perTrial
		w.send(s, at, DayEntry{Kind: screen.DayNotDone, About: c.About, Side: c.Side, Reason: why})
		return at
	}
	trials := w.draw(s.g, m, c.Side, s.helper)
	if s.g == w.roles.apart && !w.parted && m.Trials.AgreeWithin > 0 && len(trials) > 1 {
		trials[1] = within(m, rounded(trials[0]-1.6*m.Trials.AgreeWithin, m.Step))
		w.parted = true
	}
	if m.Trials.AgreeWithin > 0 && slices.Max(trials)-slices.Min(trials) > m.Trials.AgreeWithin {
		trials = append(trials, w.oneMore(m, trials))
	}
	at += perPlace + time.Duration(len(trials))*perTrial
	w.send(s, at, DayEntry{Kind: screen.DayReading, About: c.About, Side: c.Side, Trials: trials})
	return at
}

// draw reads a cell once, with as many trials as are planned.
func (w *dayMaker) draw(g *guest, m *screen.Measure, side screen.Side, helper int) []float64 {
	k := m.ID + string(side)
	if _, ok := g.offset[k]; !ok {
		g.offset[k] = w.normal(0, m.Resolved.Day)
	}
	return w.trials(&g.visit, w.p.MeasureIndex(m.ID), side, helper, g.offset[k])
}

// oneMore is a trial that is added because the others were apart.
func (w *dayMaker) oneMore(m *screen.Measure, trials []float64) float64 {
	mean := 0.0
	for _, t := range trials {
		mean += t / float64(len(trials))
	}
	if m.Scale == screen.Log {
		return within(m, rounded(mean*math.Exp(w.normal(0, m.Resolved.Trial)), m.Step))
	}
	return within(m, rounded(w.normal(mean, m.Resolved.Trial), m.Step))
}

// notToday is why a cell is not done: one athlete's throwing arm hurts at the first effort against
// resistance, and another one has no time for the last measure of the first station that measures.
func (w *dayMaker) notToday(s *stop, c *screen.Cell) screen.Reason {
	switch {
	case s.g == w.roles.pain && c.About == w.firstEffort() && c.Side == handSide(s.g.q.athlete.HandOn(w.d.On)):
		return screen.ReasonPain
	case s.g == w.roles.noTime && s.station == w.firstMeasured() && c.Step == len(w.d.Stations[s.station].Steps)-1:
		return screen.ReasonNoTime
	}
	return ""
}

// firstEffort is the first measure against resistance, empty if none is taken.
func (w *dayMaker) firstEffort() string {
	for i := range w.d.Stations {
		for _, st := range w.d.Stations[i].Steps {
			if m := w.p.Measure(st.Measure); m != nil && m.Paired && (m.Unit == "N" || m.Unit == "kg") {
				return m.ID
			}
		}
	}
	return ""
}

// firstMeasured is the first station that measures, -1 if none does.
func (w *dayMaker) firstMeasured() int {
	for st := range w.d.Stations {
		if w.measures(st) {
			return st
		}
	}
	return -1
}
