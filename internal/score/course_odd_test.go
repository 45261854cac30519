package score

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenhand/internal/screen"
)

// A change of the throwing hand: what was a difference of sides then is none now.
func TestCourseAcrossAChangeOfHand(t *testing.T) {
	s := followScorer(t)
	var in CourseInput
	for i, hand := range []screen.Hand{screen.LeftHand, screen.RightHand, screen.RightHand} {
		rec := recordOf(throwerOf(hand, "2008-01-01", screen.Male), reading("turn", screen.Right, 40), reading("turn", screen.Left, 60))
		rec.Screen.ID, rec.Screen.On = fmt.Sprint("s", i), screen.Date("2026-02-10").AddDays(28*i)
		in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
	}
	m := lineOf(t, s.Course(in), "loss", "")
	if len(m.Points) != 2 || m.Points[0].Visit != 1 || m.Points[0].Week != 0 || !strings.Contains(strings.Join(m.Notes, " "), "another throwing hand") {
		t.Errorf("%d points, notes %q", len(m.Points), m.Notes)
	}
}

// Whatever comes in, nothing breaks, every number can be written, and every line says something.
func TestCourseNeverFails(t *testing.T) {
	s := followScorer(t)
	odd := map[string]func() *Course{
		"nothing": func() *Course { return s.Course(CourseInput{}) },
		"no report": func() *Course {
			return s.Course(CourseInput{Visits: []Visited{{}, {Record: &screen.Record{}}, {Report: &Report{}}}})
		},
		"all missing": func() *Course {
			return s.Course(CourseInput{Visits: []Visited{{recordOf(screen.Athlete{}), &Report{}}}})
		},
		"no day": func() *Course {
			return courseOf(t, s, "2026-04-01", nil, look{"2026-13-40", screen.Preseason, 20, false})
		},
		"no today": func() *Course { return courseOf(t, s, "", nil, weekly(screen.Preseason, 25, 24, 23)...) },
		"one day twice": func() *Course {
			return courseOf(t, s, "2026-04-01", nil, look{"2026-02-10", screen.Preseason, 20, false}, look{"2026-02-10", screen.InSeason, 8, false}, look{"2026-02-10", screen.InSeason, 8, false})
		},
		"identical": func() *Course {
			return courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, 20, 20, 20, 20, 20, 20, 20)...)
		},
		"500 visits": func() *Course {
			return courseOf(t, s, "2036-04-01", nil, weekly(screen.Preseason, make([]float64, 500)...)...)
		},
		"years between": func() *Course {
			return courseOf(t, s, "2060-04-01", nil, look{"1990-02-10", screen.Preseason, 20, false}, look{"2020-02-10", screen.InSeason, 20, false}, look{"2050-02-10", screen.InSeason, 20, false})
		},
		"event, no visit": func() *Course {
			return courseOf(t, s, "2026-04-01", []screen.Event{event(screen.EventInjury, "2026-01-01", ""), {On: "x"}})
		},
	}
	for _, pace := range []float64{0, 1e-9, 1e4} { // the slope's variance at its bounds
		p := *s.p
		p.FollowUp.Paces = []screen.Pace{{Unit: "deg", Value: pace}}
		odd[fmt.Sprint("pace ", pace)] = func() *Course {
			return courseOf(t, New(&p), "2026-04-01", nil, weekly(screen.Preseason, 25, 24, 23, 20, 15, 9)...)
		}
	}
	for name, course := range odd {
		c := course()
		if _, err := json.Marshal(c); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		for i := range c.Measures {
			m := &c.Measures[i]
			if m.Statement == "" || m.State == "" || m.Met.Words == "" || m.BaselineWhy == "" || m.Start >= len(m.Points) || m.Trend == nil && len(m.Notes) == 0 {
				t.Errorf("%s: %+v", name, m)
			}
		}
		if (name == "no report" || name == "no day") && len(c.Notes) == 0 {
			t.Errorf("%s: no word about it", name)
		}
	}
	m := lineOf(t, odd["500 visits"](), "loss", "")
	if m.State != StateClear || m.Trend.Visits != 500 || m.Trend.Direction != directionUnclear {
		t.Errorf("500 visits without a difference: %s, %+v", m.State, m.Trend.Direction)
	}
	if m := lineOf(t, odd["one day twice"](), "loss", ""); m.Met.Met || m.Trend != nil {
		t.Errorf("three entries of one day are taken for visits: %+v", m.Met)
	}
	wild := courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, 25, 24)...)
	for _, spoil := range []func(f *Finding){func(f *Finding) { f.Difference = math.NaN() }, func(f *Finding) { f.SE = math.Inf(1) }, func(f *Finding) { f.Rule = "another" }} {
		in := CourseInput{}
		for i := range wild.Visits {
			rep := *wild.Visits[i].Report
			rep.Findings = slices.Clone(rep.Findings)
			if i == 1 {
				spoil(&rep.Findings[0])
			}
			rec := &screen.Record{Screen: screen.Screen{ID: "s", On: wild.Visits[i].On, Kind: wild.Visits[i].Kind}}
			in.Visits = append(in.Visits, Visited{rec, &rep})
		}
		c := s.Course(in)
		if _, err := json.Marshal(c); err != nil || len(c.Notes) != 1 || len(lineOf(t, c, "loss", "").Points) != 1 {
			t.Errorf("a broken finding: %v, %q", err, c.Notes)
		}
	}
}

// The order in which visits come in means nothing, and the mirror image of an athlete has the same course.
func TestCourseOrderAndMirror(t *testing.T) {
	s := defaultScorer(t)
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(rt, "visits")
		var in, back, mirror CourseInput
		day := 0
		for i := range n {
			v := func(label string, lo, hi int) float64 { return float64(rapid.IntRange(lo, hi).Draw(rt, label)) }
			rec := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male),
				shoulder(screen.Right, screen.Left, v("ir", 20, 60), v("ir other", 20, 60), v("er", 80, 110), v("er other", 80, 110))...)
			rec.Readings = append(rec.Readings, reading("grip_strength", screen.Right, v("grip", 20, 50)), reading("grip_strength", screen.Left, v("grip other", 20, 50)))
			for k := range rec.Readings {
				rec.Readings[k].ID, rec.Readings[k].Examiner = fmt.Sprint("r", k), "k"
			}
			rec.Screen.ID, rec.Screen.On = fmt.Sprint("s", i), screen.Date("2026-02-10").AddDays(day)
			rec.Screen.Kind = rapid.SampledFrom([]screen.Kind{screen.Preseason, screen.InSeason, screen.Rehab}).Draw(rt, "kind")
			day += rapid.IntRange(1, 40).Draw(rt, "gap")
			m := mirrored(rec)
			in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
			mirror.Visits = append(mirror.Visits, Visited{m, s.Score(m, Options{})})
			back.Visits = append([]Visited{in.Visits[i]}, back.Visits...)
		}
		in.Today, back.Today, mirror.Today = "2026-12-01", "2026-12-01", "2026-12-01"
		a, err := json.Marshal(s.Course(in))
		if err != nil {
			rt.Fatal(err)
		}
		if b, _ := json.Marshal(s.Course(back)); string(a) != string(b) {
			rt.Fatalf("another order:\n%s\n%s", a, b)
		}
		x, y := s.Course(in), s.Course(mirror)
		for i := range x.Measures {
			p, q := &x.Measures[i], &y.Measures[i]
			if p.State != q.State || (p.Trend == nil) != (q.Trend == nil) || p.Start != q.Start || p.Met != q.Met {
				rt.Fatalf("%s mirrored: %s %s, %+v %+v", p.Rule, p.State, q.State, p.Met, q.Met)
			}
			if p.Trend != nil && math.Abs(math.Abs(p.Trend.LevelNow)-math.Abs(q.Trend.LevelNow)) > 1e-9 {
				rt.Fatalf("%s mirrored: level %g, %g", p.Rule, p.Trend.LevelNow, q.Trend.LevelNow)
			}
		}
	})
}

// courseInput is n weekly visits with the measures of the default protocol.
func courseInput(s *Scorer, n int) CourseInput {
	in := CourseInput{Today: "2027-06-01"}
	for i := range n {
		rec := fullRecord(s.p, 80)
		rec.Screen.ID, rec.Screen.On, rec.Screen.Kind = fmt.Sprintf("s%03d", i), screen.Date("2026-02-10").AddDays(7*i), screen.InSeason
		if i == 0 {
			rec.Screen.Kind = screen.Preseason
		}
		in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
	}
	return in
}

// BenchmarkCourse50 is the course of an athlete with 50 visits, all measures of the default protocol.
func BenchmarkCourse50(b *testing.B) {
	s := defaultScorer(b)
	in := courseInput(s, 50)
	lines := 0
	b.ReportAllocs()
	for b.Loop() {
		lines = len(s.Course(in).Measures)
	}
	b.ReportMetric(float64(lines), "measures")
}

// BenchmarkTrendOfOneMeasure50 is one measure with 50 visits, all that is said of it.
func BenchmarkTrendOfOneMeasure50(b *testing.B) {
	s := followScorer(b)
	c := courseOf(b, s, "2027-06-01", nil, weekly(screen.Preseason, make([]float64, 50)...)...)
	var in CourseInput
	for i := range c.Visits {
		rep := *c.Visits[i].Report
		rep.Findings = rep.Findings[:1]
		in.Visits = append(in.Visits, Visited{&screen.Record{Screen: screen.Screen{ID: c.Visits[i].Screen, On: c.Visits[i].On}}, &rep})
	}
	b.ReportAllocs()
	for b.Loop() {
		s.Course(in)
	}
}
