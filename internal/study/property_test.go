package study

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Order of rows, names of examiners and a mirror change nothing but the names; and whatever is read,
// each measure has its sentence and every figure is finite.
func TestStudyProperties(t *testing.T) {
	p := protocol(t)
	measures := []string{"shoulder_internal_rotation_strength", "shoulder_external_rotation_strength", "limb_length", "reach_anterior", "reach_posteromedial", "reach_posterolateral", "stance_time_eyes_closed", "scapula_rating", "stance_errors"}
	rapid.Check(t, func(rt *rapid.T) {
		athletes, trials := rapid.IntRange(1, 9).Draw(rt, "athletes"), rapid.IntRange(1, 3).Draw(rt, "trials")
		examiners := []string{"C", "A", "", "D", "E", "F", "G"}[:rapid.IntRange(1, 7).Draw(rt, "examiners")]
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 3))
		var list []Reading
		for _, r := range everything(p, athletes, trials, examiners...) {
			if !slices.Contains(measures, r.Measure) {
				continue
			}
			if rng.Float64() < 0.15 {
				r.Occasion = "2026-03-01"
			}
			if rng.Float64() < 0.9 {
				list = append(list, r)
			}
		}
		a := New(p, list)
		writable(rt, a)
		b := New(p, shuffled(list, rng))
		if !reflect.DeepEqual(a.Measures, b.Measures) {
			rt.Errorf("another order of rows gives another study")
		}
		mirror := make([]Reading, len(list))
		for i, r := range list {
			r.Side = r.Side.Other()
			mirror[i] = r
		}
		for i, m := range New(p, mirror).Measures {
			sameComponents(rt, &a.Measures[i], &m)
		}
		renamed := make([]Reading, len(list))
		for i, r := range list {
			r.Examiner = "examiner " + r.Examiner
			renamed[i] = r
		}
		for i, m := range New(p, renamed).Measures {
			sameComponents(rt, &a.Measures[i], &m)
		}
	})
}

func sameComponents(t checker, a, b *Measure) {
	t.Helper()
	if a.Measure != b.Measure || a.Same != b.Same || a.Other != b.Other || a.Days != b.Days || a.Enough != b.Enough || len(a.Components) != len(b.Components) {
		t.Fatalf("%s: %+v and %+v", a.Measure, a, b)
	}
	scale := 0.0
	for _, c := range a.Components {
		if c.SD != nil {
			scale = max(scale, *c.SD)
		}
	}
	for i, c := range a.Components {
		d := b.Components[i]
		if (c.SD == nil) != (d.SD == nil) {
			t.Fatalf("%s: %+v and %+v", a.Measure, c, d)
		}
		if c.SD != nil && math.Abs(*c.SD**c.SD-*d.SD**d.SD) > 1e-3*scale*scale { // with few athletes the top is flat
			t.Errorf("%s %s: %g and %g", a.Measure, c.ID, *c.SD, *d.SD)
		}
	}
}

// Sixty athletes, forty and more measures, two sides, two placings, three trials; then with seven
// examiners.
func BenchmarkStudy(b *testing.B) {
	p := manyMeasures(b)
	for name, examiners := range map[string][]string{"3 examiners": {"A", "B", "C"}, "7 examiners": {"A", "B", "C", "D", "E", "F", "G"}} {
		list := everything(p, 60, 3, examiners...)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if s := New(p, list); len(s.Measures) < 40 {
					b.Fatal(len(s.Measures))
				}
			}
		})
	}
}
