package demo

import (
	"slices"
	"time"

	"evenhand/internal/screen"
)

// conflict lets a second helper read a cell, on a tablet of her or his own, which nobody asked for.
func (w *dayMaker) conflict() {
	g := w.roles.conflict
	if g == nil {
		return
	}
	for i := range w.sent {
		e := w.sent[i]
		m := w.p.Measure(e.About)
		if e.Kind != screen.DayReading || e.Athlete != g.q.athlete.ID || m.Scale != screen.Linear || !m.Paired {
			continue
		}
		other := (slices.Index(w.out.Examiners, e.Examiner) + 1) % len(w.out.Examiners)
		e.Examiner, e.Device, e.Ago = w.out.Examiners[other], device(len(w.d.Stations)), e.Ago-70*time.Second
		e.Trials = w.draw(g, m, e.Side, other)
		w.sent = append(w.sent, e)
		return
	}
}

// exchangeDigits writes the two digits of one value the wrong way round: the first, of those to whom
// nothing else happens, that the protocol asks about.
func (w *dayMaker) exchangeDigits() {
	r := &w.roles
	for _, g := range w.who {
		if g.twice || g.walkOn || slices.Contains([]*guest{r.hold, r.conflict, r.apart, r.hand}, g) {
			continue
		}
		now, entry := w.record(g)
		last := w.lastRecord(g)
		for i := range now.Readings {
			x := &now.Readings[i]
			if w.p.Measure(x.Measure).Unit == "deg" && len(x.Trials) > 1 && w.trySwap(now, last, x) {
				w.sent[entry[i]].Trials = x.Trials
				return
			}
		}
	}
}

// record is what was read of an athlete so far, and by reading which entry it is.
func (w *dayMaker) record(g *guest) (rec *screen.Record, entry []int) {
	rec = &screen.Record{Screen: screen.Screen{Athlete: g.q.athlete.ID, On: w.d.On}, Athlete: g.q.athlete}
	for i := range w.sent {
		if e := &w.sent[i]; e.Kind == screen.DayReading && e.Athlete == g.q.athlete.ID {
			rec.Readings = append(rec.Readings, screen.Reading{ID: e.ID, Measure: e.About, Side: e.Side, Trials: slices.Clone(e.Trials)})
			entry = append(entry, i)
		}
	}
	return rec, entry
}

// lastRecord is the athlete's newest record, nil if there is none.
func (w *dayMaker) lastRecord(g *guest) (last *screen.Record) {
	for i := range w.out.Records {
		if r := &w.out.Records[i]; r.Screen.Athlete == g.q.athlete.ID {
			last = r
		}
	}
	return last
}

// MeasuredAgain is what a station that was asked to measure again sends about a measure of an athlete:
// each side placed anew, or only the one named, right after what it had sent before. It is nil if the
// station has the athlete still before it.
func (x *Day) MeasuredAgain(athlete, measure string, side screen.Side) (out []DayEntry) {
	w := x.maker
	at := slices.IndexFunc(w.who, func(g *guest) bool { return g.q.athlete.ID == athlete })
	if at < 0 {
		return nil
	}
	var cells []DayEntry
	last := DayLasts
	for _, e := range x.Entries {
		if e.Kind == screen.DayReading && e.Athlete == athlete && e.Round == 1 && e.About == measure && (side == screen.NoSide || side == e.Side) {
			cells = append(cells, e)
		}
	}
	for _, e := range x.Entries {
		if len(cells) > 0 && e.Athlete == athlete && e.Round == 1 && e.Station == cells[0].Station {
			last = min(last, e.Ago)
		}
	}
	m := w.p.Measure(measure)
	for _, e := range cells {
		e.Trials = w.draw(w.who[at], m, e.Side, slices.Index(w.out.Examiners, e.Examiner))
		last -= perPlace + time.Duration(len(e.Trials))*perTrial
		if last < justNow {
			return nil
		}
		e.ID, e.Ago, e.Again = w.id(w.d.On.Time().Add(12*time.Hour-last)), last, true
		out = append(out, e)
	}
	return out
}
