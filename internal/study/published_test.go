package study

import (
	"math"
	"testing"

	"evenhand/internal/screen"
)

// By hand: twice 3² + 4² + 5²/2 is 75; the median of three trials has 0.4487 of their variance.
func TestPublishedDifference(t *testing.T) {
	se := 1.0
	m := &Measure{DiffSE: &se, Components: []Component{{ID: "athlete", Published: 9}, {ID: "day", Published: 4}, {ID: "placing", Published: 3}, {ID: "examiner", Published: 7}, {ID: "trial", Published: 5}}}
	for _, x := range []struct {
		trials screen.Trials
		want   float64
	}{
		{screen.Trials{Planned: 2, Combine: screen.Mean}, math.Sqrt(75)},
		{screen.Trials{Combine: screen.Mean}, math.Sqrt(100)},
		{screen.Trials{Planned: 3, Combine: screen.Median}, math.Sqrt(2 * (25 + 25*0.4487))},
	} {
		if got := m.PublishedDiffSE(&screen.Measure{Trials: x.trials}); got == nil || math.Abs(*got-x.want) > 1e-12 {
			t.Errorf("%+v: %v, want %v", x.trials, got, x.want)
		}
	}
	if (&Measure{}).PublishedDiffSE(&screen.Measure{}) != nil || m.PublishedDiffSE(nil) != nil || (&Measure{DiffSE: &se}).PublishedDiffSE(&screen.Measure{}) != nil {
		t.Error("an error of nothing")
	}
}

// A study switched on with just the published errors has their difference: both are worked out alike.
func TestPublishedDifferenceIsWorkedOutAsTheOwn(t *testing.T) {
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	for i := range p.Measures {
		def := &p.Measures[i]
		if def.Derived != nil || !def.Paired || def.Scale == screen.Count || def.Scale == screen.Category {
			continue
		}
		tab := &table{p: p, index: i, m: def, log: def.Scale == screen.Log, list: []placed{{k: 1}}}
		w := work{errors: make([]screen.Error, len(p.Measures))}
		w.errors[i] = def.Resolved
		m := &Measure{}
		by := tab.perCent()
		for s, sd := range map[int]float64{ofPlacing: def.Resolved.Placing, ofDay: def.Resolved.Day, ofTrial: def.Resolved.Trial} {
			m.Components = append(m.Components, Component{ID: componentIDs[s], Published: by * sd})
		}
		w.difference(m, tab, 0)
		if got := m.PublishedDiffSE(def); got == nil || math.Abs(*got-*m.DiffSE) > 1e-9*(*m.DiffSE) {
			t.Errorf("%s: %v, want %v", def.ID, got, *m.DiffSE)
		}
	}
}
