package chart

import (
	"hash/fnv"
	"math/rand"
	"testing"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func protocol(t testing.TB) *screen.Protocol {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// thrower is a record with every measure taken on both sides: typical values, the throwing arm (or
// lead leg) off by some of the measure's typical range. The same seed gives the same body, whichever
// hand throws, so that a left-hander is the mirror image of a right-hander.
func thrower(t testing.TB, hand screen.Hand, seed int64, leave func(m *screen.Measure) bool) *score.Report {
	t.Helper()
	p := protocol(t)
	rec := &screen.Record{
		Screen: screen.Screen{ID: "s", Athlete: "a", On: "2026-02-01", Kind: screen.Preseason},
		Athlete: screen.Athlete{ID: "a", Name: "A", Born: "2011-05-01", Sex: screen.Male, Sport: "baseball",
			Level: screen.School, Hands: []screen.HandSince{{Hand: hand}}},
	}
	for i := range p.Measures {
		m := &p.Measures[i]
		if m.Derived != nil || m.Scale == screen.Category || leave != nil && leave(m) {
			continue
		}
		rec.Readings = append(rec.Readings, readings(m, hand, seed)...)
	}
	return score.New(p).Score(rec, score.Options{})
}

func readings(m *screen.Measure, hand screen.Hand, seed int64) []screen.Reading {
	h := fnv.New64a()
	h.Write([]byte(m.ID))
	rnd := rand.New(rand.NewSource(seed ^ int64(h.Sum64())))
	mid, width := 10.0, 2.0
	if len(m.Typical) == 2 {
		mid, width = (m.Typical[0]+m.Typical[1])/2, m.Typical[1]-m.Typical[0]
	}
	firstValue, secondValue := mid+0.12*width*rnd.NormFloat64(), mid+0.12*width*rnd.NormFloat64()
	throwing := screen.Right
	if hand == screen.LeftHand {
		throwing = screen.Left
	}
	first := throwing
	if m.Limb == screen.Leg {
		first = throwing.Other()
	}
	one := func(side screen.Side, v float64) screen.Reading {
		if m.Scale == screen.Count {
			v = float64(int(max(v, 0)))
		}
		trials := make([]float64, max(m.Trials.Planned, 1))
		for i := range trials {
			trials[i] = v
		}
		return screen.Reading{ID: m.ID + string(side), Measure: m.ID, Side: side, Trials: trials, Examiner: "e"}
	}
	if !m.Paired {
		return []screen.Reading{one(screen.NoSide, firstValue)}
	}
	return []screen.Reading{one(first, firstValue), one(first.Other(), secondValue)}
}
