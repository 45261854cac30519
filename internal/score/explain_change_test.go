package score

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// The value from which the verdict is another, put in as a reading, gives that verdict, and one step
// before it does not.
func TestTurningValues(t *testing.T) {
	s := defaultScorer(t)
	squad := demo.Squad(s.p, 1, "2026-11-25")
	turned := map[Verdict]int{}
	for i := 0; i < len(squad.Records); i += 6 {
		rec := &squad.Records[i]
		rep := s.Score(rec, Options{})
		for k := range rep.Findings {
			f := &rep.Findings[k]
			x := explainerOf(t, s, rec, f)
			for _, want := range []Verdict{Clear, Deficit} {
				v, ok := x.turn(want)
				if f.Verdict == want || !ok {
					continue
				}
				turned[want]++
				step := x.stepSize()
				if v < x.now() {
					step = -step
				}
				name := fmt.Sprint(rec.Screen.ID, " ", f.Rule, " ", f.Side, " from ", x.now(), " to ", v)
				if got := verdictWith(t, s, rec, x, v); got != want {
					t.Errorf("%s: %s, want %s", name, got, want)
				}
				if before := v - step; (before-x.now())*step > 0 && verdictWith(t, s, rec, x, before) == want {
					t.Errorf("%s: %s one step before too", name, want)
				}
			}
		}
	}
	if turned[Clear] < 100 || turned[Deficit] < 200 {
		t.Errorf("turned: %v", turned)
	}
}

func explainerOf(t *testing.T, s *Scorer, rec *screen.Record, f *Finding) *explainer {
	t.Helper()
	x, err := s.explainer(rec, Options{}, f.Rule, f.Side)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// verdictWith scores the record with the readings of the side moved so that its value is v; of a sum or
// quotient those of its first part.
func verdictWith(t *testing.T, s *Scorer, rec *screen.Record, x *explainer, v float64) Verdict {
	t.Helper()
	out := *rec
	out.Readings = rec.Current()
	part := s.sums[x.mi][0]
	m := &s.p.Measures[part.m]
	by := x.shift(v) / part.c
	for i := range out.Readings {
		r := &out.Readings[i]
		if r.Measure != m.ID || sideIndex(m, r.Side) != x.side {
			continue
		}
		r.Trials = slices.Clone(r.Trials)
		for k := range r.Trials {
			switch m.Scale {
			case screen.Log:
				r.Trials[k] *= math.Exp(by)
			case screen.Count:
				r.Trials[k] = v // the demo has one trial
			default:
				r.Trials[k] += by
			}
		}
	}
	rep := s.Score(&out, Options{})
	for i := range rep.Findings {
		if g := &rep.Findings[i]; g.Rule == x.f.Rule && g.Side == x.f.Side {
			value := g.First
			if g.Side == "" && x.side != x.first {
				value = g.Second
			}
			near(t, "the value moved", value, v, 1e-6)
			return g.Verdict
		}
	}
	return ""
}

// The sentences about another error and about leaving out what is known are what a score says.
func TestWhatWouldChange(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2011-01-01", screen.Male)
	rec := recordOf(a, shoulder(screen.Right, screen.Left, 40, 58, 100, 95)...)
	f := findingOf(t, s.Score(rec, Options{}), "internal_rotation_loss")
	half := map[string]screen.Error{}
	for i := range s.p.Measures {
		e := s.p.Measures[i].Resolved
		e.Trial, e.Placing, e.Day, e.Examiner = 2*e.Trial, 2*e.Placing, 2*e.Day, 2*e.Examiner
		half[s.p.Measures[i].ID] = e
	}
	g := findingOf(t, New(s.p.WithErrors(half)).Score(rec, Options{}), "internal_rotation_loss")
	if f.Verdict != Deficit || g.Verdict != Unsettled {
		t.Fatalf("%s, with twice the error %s", f.Verdict, g.Verdict)
	}
	change := strings.Join(explain(t, s, rec, Options{}, f).e.Change, " ")
	want := fmt.Sprintf("The verdict depends on how large the error is: unsettled (%s) if it were twice as large.", OutOf100(g.P))
	if !strings.Contains(change, want) {
		t.Errorf("%q is not in %q", want, change)
	}
	// beyond the threshold by the measurement, held back by what is known
	rec = recordOf(throwerOf(screen.RightHand, "2011-01-01", screen.Male), reading("reach_anterior", screen.Left, 67, 67, 67), reading("reach_anterior", screen.Right, 59, 59, 59))
	f = findingOf(t, s.Score(rec, Options{}), "reach_anterior_difference")
	change = strings.Join(explain(t, s, rec, Options{}, f).e.Change, " ")
	if want := "If what is known of such athletes were left out, it would be deficit (" + OutOf100(f.PMeasured) + ")."; f.Reason != reasonUnusual || !strings.Contains(change, want) {
		t.Errorf("%s, %q is not in %q", f.Reason, want, change)
	}
	if !strings.Contains(change, "No plausible value") || !strings.Contains(change, "The chance that measuring again settles it") {
		t.Error(change)
	}
}
