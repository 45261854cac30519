package proof

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"evenhand/internal/screen"
)

// person is one simulated athlete.
type person struct {
	left bool
	d    []float64 // true differences, by place among what is read; larger is worse
}

// truth draws an athlete's true differences from what the protocol knows: shifted by so many of its
// standard deviations. Measures of which nothing is known stay at 0.
func (w *world) truth(rng *rand.Rand, p *person, shift float64) {
	p.left = rng.IntN(2) == 0
	var z [64]float64
	for i := range w.read {
		z[i] = rng.NormFloat64()
	}
	for _, c := range w.pairs {
		z[c.b] = c.rho*z[c.a] + math.Sqrt(1-c.rho*c.rho)*z[c.b]
	}
	for i := range w.read {
		p.d[i] = 0
		if m := &w.read[i]; m.known {
			p.d[i] = m.mu + m.omega*(z[i]+shift)
		}
	}
}

// set makes the true difference of a rule's measure x; of a sum all parts but the first stay as they
// are.
func (r *Rule) set(p *person, x float64) {
	q := r.parts[0]
	p.d[q.at] += (x - r.difference(p.d)) / q.c
}

// visit is one athlete's record with what its readings consist of, so that a further reading can share
// what it would share.
type visit struct {
	w      *world
	rec    screen.Record
	factor float64 // true errors over the assumed ones
	step   bool    // readings are rounded to the step of the instrument
	cells  []cell
}

// cell is one side of a measure on one day.
type cell struct {
	truth, examiner, day, placing float64
}

// newVisit makes the memory for visits; record and trials are written over by each.
func (w *world) newVisit(factor float64) *visit {
	v := &visit{w: w, factor: factor, cells: make([]cell, 2*len(w.read))}
	v.rec.Screen = screen.Screen{ID: "s", Athlete: "a", Team: "t", On: day, Kind: screen.Preseason, Examiner: "k"}
	for i := range w.read {
		for range 2 {
			v.rec.Readings = append(v.rec.Readings, screen.Reading{ID: fmt.Sprint("r", len(v.rec.Readings)), Screen: "s",
				Measure: w.read[i].ID, Trials: make([]float64, w.read[i].Trials.Planned)})
		}
	}
	return v
}

// sides are the side that is looked at first, the throwing arm or the lead leg, and the other.
func sides(m *screen.Measure, left bool) (first, second screen.Side) {
	if left != (m.Limb == screen.Leg) {
		return screen.Left, screen.Right
	}
	return screen.Right, screen.Left
}

var hands = map[bool]screen.Hand{false: screen.RightHand, true: screen.LeftHand}

// take measures an athlete: planned trials of both sides of everything, by one examiner.
func (v *visit) take(rng *rand.Rand, p *person) *screen.Record {
	v.rec.Athlete = v.w.athlete(hands[p.left])
	v.rec.Readings = v.rec.Readings[:2*len(v.w.read)]
	for i := range v.w.read {
		m := &v.w.read[i]
		first, second := sides(m.Measure, p.left)
		e := &m.Resolved
		examiner := v.factor * e.Examiner * rng.NormFloat64()
		for k, side := range [2]screen.Side{first, second} {
			c := &v.cells[2*i+k]
			c.truth = m.mid
			if k == 0 {
				c.truth -= m.sign * p.d[i]
			}
			c.examiner = examiner
			c.day = v.factor * e.Day * rng.NormFloat64()
			c.placing = v.factor * e.Placing * rng.NormFloat64()
			r := &v.rec.Readings[2*i+k]
			r.Side = side
			r.Trials = r.Trials[:m.Trials.Planned]
			v.trials(rng, m, c, r.Trials)
		}
	}
	return &v.rec
}

// trials draws trials around what their placing makes of the true value.
func (v *visit) trials(rng *rand.Rand, m *readMeasure, c *cell, out []float64) {
	at := c.truth + c.examiner + c.day + c.placing
	for j := range out {
		y := at + v.factor*m.Resolved.Trial*rng.NormFloat64()
		if m.Scale == screen.Log {
			y = math.Exp(y)
		}
		if v.step {
			y = math.Round(y/m.Step) * m.Step
		}
		out[j] = y
	}
}

// The ways to measure again.
const (
	moreTrials = iota
	newPlacing
	anotherDay
)

// again is the record with everything measured again: three more trials as placed, or once more newly
// placed, on the same day or on another one. It shares no trials with the first.
func (v *visit) again(rng *rand.Rand, how int) *screen.Record {
	rec := v.rec
	rec.Readings = slices.Clone(v.rec.Readings)
	for i := range v.w.read {
		m := &v.w.read[i]
		for k := range 2 {
			r := &rec.Readings[2*i+k]
			c := v.cells[2*i+k]
			if how == moreTrials {
				more := make([]float64, 3)
				v.trials(rng, m, &c, more)
				r.Trials = append(slices.Clone(r.Trials), more...)
				continue
			}
			if how == anotherDay {
				c.day = v.factor * m.Resolved.Day * rng.NormFloat64()
			}
			c.placing = v.factor * m.Resolved.Placing * rng.NormFloat64()
			next := *r
			next.ID += "b"
			next.Trials = make([]float64, m.Trials.Planned)
			v.trials(rng, m, &c, next.Trials)
			rec.Readings = append(rec.Readings, next)
		}
	}
	return &rec
}
