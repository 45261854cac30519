package demo

import (
	"math"
	"strings"
	"time"

	"evenhand/internal/screen"
)

// read takes one reading: the truth, with the errors of the day, the examiner, the placing and each
// trial, rounded to the step of the instrument.
func (m *maker) read(rec *screen.Record, v *visit, i int, side screen.Side, examiner int, day float64, at time.Time) {
	x := &m.p.Measures[i]
	r := screen.Reading{ID: m.id(at), Screen: rec.Screen.ID, Measure: x.ID, Side: side, Examiner: m.out.Examiners[examiner],
		Instrument: firstOf(x.Instrument), Device: Device, Taken: at, Entered: at.Add(2 * time.Second), EnteredBy: m.out.Examiners[examiner]}
	r.Trials = m.trials(v, i, side, examiner, day)
	rec.Readings = append(rec.Readings, r)
}

// trials are the trials that a protocol plans, of one placing by one examiner; day is the athlete's
// error of the day.
func (m *maker) trials(v *visit, i int, side screen.Side, examiner int, day float64) (out []float64) {
	x := &m.p.Measures[i]
	truth := m.truth(v.q, i, side, v.on, v.extra[x.ID])
	if v.exchanged && x.Limb == screen.Arm {
		truth = m.truth(v.q, i, side.Other(), v.on, v.extra[x.ID])
	}
	off := day + m.bias[examiner][i] + m.normal(0, x.Resolved.Placing)
	rate := m.rate(x, v)
	for range max(1, x.Trials.Planned) {
		var t float64
		switch x.Scale {
		case screen.Count:
			t = m.poisson(rate)
		case screen.Category:
			t = m.category(len(x.Categories))
		case screen.Log:
			t = truth * math.Exp(off+m.normal(0, x.Resolved.Trial))
		default:
			t = truth + off + m.normal(0, x.Resolved.Trial)
		}
		out = append(out, within(x, rounded(t, x.Step)))
	}
	return out
}

// firstOf is the first instrument of a protocol's list of alternatives.
func firstOf(s string) string {
	s, _, _ = strings.Cut(s, ";")
	s, _, _ = strings.Cut(s, " or ")
	return strings.TrimSpace(s)
}

// rounded is x to the step of the instrument; a step below 1 is taken by its reciprocal, so that 0.1
// gives 12.3 and not 12.300000000000001.
func rounded(x, step float64) float64 {
	switch {
	case step <= 0:
		step = 0.1
	case step >= 1:
		return math.Round(x/step) * step
	}
	per := math.Round(1 / step)
	return math.Round(x*per) / per
}

// within keeps a value in the range that the protocol accepts.
func within(x *screen.Measure, t float64) float64 {
	if x.Scale == screen.Count && x.Cap > 0 {
		t = min(t, x.Cap)
	}
	if len(x.Plausible) == 2 {
		t = min(max(t, x.Plausible[0]), x.Plausible[1])
	}
	return t
}

// rate is the rate of a count for an athlete at a visit: of the group of his or her age, with the
// group's spread between athletes.
func (m *maker) rate(x *screen.Measure, v *visit) float64 {
	if x.Scale != screen.Count {
		return 0
	}
	subject := m.p.SubjectOn(&v.q.athlete, v.on)
	for i := range x.Groups {
		if g := &x.Groups[i]; g.When.Holds(&subject) && g.Mean > 0 {
			s2 := math.Log1p(g.SD * g.SD / (g.Mean * g.Mean))
			return g.Mean * math.Exp(m.normal(-s2/2, math.Sqrt(s2)))
		}
	}
	return 2
}

// poisson draws a count by Knuth's product of uniforms; rates here are small.
func (m *maker) poisson(rate float64) float64 {
	n, left := -1.0, math.Exp(min(rate, 50))
	for left >= 1 {
		left *= m.rng.Float64()
		n++
	}
	return n
}

// category draws a rating: mostly the first, seldom the last.
func (m *maker) category(n int) float64 {
	k := 0
	for k < n-1 && m.chance(0.25) {
		k++
	}
	return float64(k)
}

// swapDigits writes the digits of one value of this year's preseason screens the wrong way round:
// the first, from a random athlete on, that the protocol asks about.
func (m *maker) swapDigits() {
	for _, k := range m.roles.swapCandidates {
		var now, last *screen.Record
		for i := range m.out.Records {
			if r := &m.out.Records[i]; r.Screen.Athlete == m.squad[k].athlete.ID && r.Screen.Kind == screen.Preseason {
				last, now = now, r
			}
		}
		for i := range now.Readings {
			if m.p.Measure(now.Readings[i].Measure).Unit == "deg" && m.trySwap(now, last, &now.Readings[i]) {
				return
			}
		}
	}
}

// trySwap exchanges the two digits of the last trial, and puts them back if nobody would notice.
func (m *maker) trySwap(now, last *screen.Record, r *screen.Reading) bool {
	end := len(r.Trials) - 1
	t := r.Trials[end]
	s := math.Mod(t, 10)*10 + math.Floor(t/10)
	if t < 10 || t > 99 || t != math.Trunc(t) || s < 10 || s != within(m.p.Measure(r.Measure), s) {
		return false
	}
	r.Trials[end] = s
	for _, q := range m.p.Questions(now, last) {
		if q.Kind == "digits_swapped" && q.Reading == r.ID {
			return true
		}
	}
	r.Trials[end] = t
	return false
}
