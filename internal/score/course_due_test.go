package score

import (
	"math"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// noisy is a scorer by a measure whose trials scatter widely and whose placing is exact: more trials are
// what makes it better.
func noisy(t *testing.T, most int) *Scorer {
	t.Helper()
	p := protocolWith(t, 6, 0.5, 13, 8, 7)
	p.FollowUp = sixWeeks(t)
	p.Measures[0].Trials.Planned, p.Measures[0].Trials.Most = 1, most
	return New(p)
}

// More trials are proposed where a usual change can be told at least a week sooner with them, as few as
// are needed for the soonest day, and never more than the protocol allows. The standard error of a
// planned visit with k trials is √2·√(6²/k + 0.5²).
func TestMoreTrialsWhereTheyMatter(t *testing.T) {
	training := []screen.Event{event(screen.EventTraining, "2026-02-10", "")}
	day := func(s *Scorer, most int) (screen.Date, int, string) {
		d := courseOf(t, s, "2026-02-20", training, weekly(screen.Preseason, 32)...).Due
		if d == nil || len(d.Measures) != 1 || d.Measures[0].Trials > most {
			t.Fatalf("%+v", d)
		}
		return d.On, d.Measures[0].Trials, d.Why
	}
	few, one, _ := day(noisy(t, 1), 1)
	on, trials, why := day(noisy(t, 4), 4)
	if one != 1 || trials < 2 || on.AddDays(together) > few || !strings.Contains(why, "trials on each side") {
		t.Errorf("one trial: %s; %d trials: %s, %q", few, trials, on, why)
	}
	now := math.Sqrt(2 * (36 + 0.25)) // as it was measured, with one trial
	next := math.Sqrt(2 * (36/float64(trials) + 0.25))
	a := on.Time().Sub(screen.Date("2026-02-10").Time()).Hours() / 24 / 7 / 6
	usual := math.Sqrt(2 * 4 * 36 * (a - 1 + math.Exp(-a)))
	if usual < 1.96*math.Hypot(now, next) {
		t.Errorf("on %s the usual change is %.2f, what can be told %.2f", on, usual, 1.96*math.Hypot(now, next))
	}
	if s := noisy(t, 8); s.plannedMore(lineOfDifference(s), 100) != s.plannedMore(lineOfDifference(s), 7) {
		t.Error("more trials than the protocol allows")
	}
	s := noisy(t, 8)
	s.p.Measures[0].Trials.Combine = screen.Best
	if trialsWith(&s.p.Measures[0], 3) != 1 {
		t.Error("a best trial is fixed in number")
	}
}

func lineOfDifference(s *Scorer) *lin {
	l := s.difference(0, sides{arm: 1, leg: 1})
	return &l
}

// A measure that a later preseason screen left out is due from that screen on, not from its own old day.
func TestLeftOutAtALaterScreen(t *testing.T) {
	s := followScorer(t)
	old := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male), reading("turn", screen.Right, 35), reading("turn", screen.Left, 60))
	old.Screen.ID, old.Screen.On, old.Screen.Kind = "a", "2025-02-10", screen.Preseason
	later := recordOf(old.Athlete)
	later.Screen.ID, later.Screen.On, later.Screen.Kind = "b", "2026-02-10", screen.Preseason
	in := CourseInput{Today: "2026-02-12", Visits: []Visited{{old, s.Score(old, Options{})}, {later, s.Score(later, Options{})}}}
	d := s.Course(in).Due
	if d == nil || d.On != "2026-03-10" || d.Overdue || !strings.Contains(d.Why, "not measured at the screen of 2026-02-10") {
		t.Errorf("%+v", d)
	}
	later.Screen.Kind = screen.InSeason
	in.Visits[1].Report = s.Score(later, Options{})
	if d = s.Course(in).Due; d == nil || !d.Overdue {
		t.Errorf("a visit in season leaves out what it likes: %+v", d)
	}
}
