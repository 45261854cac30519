package score

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
	"evenhand/internal/stat"
)

func event(kind screen.EventKind, on screen.Date, link string) screen.Event {
	return screen.Event{ID: string(kind), Athlete: "a", On: on, Kind: kind, Link: link}
}

// Baseline and start of the trend.
func TestBaselineAndStart(t *testing.T) {
	s := followScorer(t)
	at := func(day int, kind screen.Kind, d float64) look {
		return look{screen.Date("2026-02-10").AddDays(day), kind, d, false}
	}
	hurts := func(l look) look {
		l.pain = true
		return l
	}
	day := func(n int) screen.Date { return screen.Date("2026-02-10").AddDays(n) }
	pre, in, rehab := screen.Preseason, screen.InSeason, screen.Rehab
	for _, c := range []struct {
		name     string
		events   []screen.Event
		looks    []look
		baseline int // −1: none
		start    int
		itself   bool // a change is expected by itself
	}{
		{"a preseason screen", nil, []look{at(0, pre, 20), at(30, in, 15)}, 0, 0, true},
		{"a visit before it", nil, []look{at(-100, in, 4), at(0, pre, 20), at(30, in, 15)}, 1, 1, true},
		{"last year's too", nil, []look{at(-365, pre, 4), at(0, pre, 20), at(30, in, 15)}, 1, 1, true},
		{"a second reading", nil, []look{at(0, pre, 22), at(10, in, 18), at(30, in, 15)}, 1, 0, false},
		{"entered as another preseason screen", nil, []look{at(0, pre, 22), at(10, pre, 18), at(30, in, 15)}, 1, 0, false},
		{"in rehabilitation", nil, []look{at(0, pre, 22), at(10, rehab, 18), at(30, in, 15)}, 0, 1, true},
		{"with pain", nil, []look{at(0, pre, 22), hurts(at(10, in, 18)), at(30, in, 15)}, 0, 0, true},
		{"the first with pain", nil, []look{hurts(at(0, pre, 22)), at(10, pre, 18), at(30, in, 15)}, 1, 1, true},
		{"on the same day", nil, []look{at(0, pre, 22), at(0, in, 18), at(30, in, 15)}, 0, 0, true},
		{"after an injury", []screen.Event{event(screen.EventInjury, day(5), "")}, []look{at(0, pre, 22), at(10, in, 18), at(30, in, 15)}, 0, 1, true},
		{"too late for one", nil, []look{at(0, pre, 22), at(15, in, 18), at(30, in, 15)}, 0, 0, true},
		{"after exercises began", []screen.Event{event(screen.EventTraining, day(3), "")}, []look{at(0, pre, 22), at(10, in, 18), at(30, in, 15)}, 0, 0, true},
		{"exercises of another link", []screen.Event{event(screen.EventTraining, day(3), "ankle")}, []look{at(0, pre, 22), at(10, in, 18), at(30, in, 15)}, 1, 0, false},
		{"no deficit to read again", nil, []look{at(0, pre, 10), at(10, in, 18), at(30, in, 15)}, 0, 0, true},
		{"no preseason screen", nil, []look{at(0, in, 22), at(30, in, 15)}, -1, 0, false},
		{"an injury", []screen.Event{event(screen.EventInjury, day(20), "shoulder")}, []look{at(0, pre, 22), at(30, in, 25), at(40, in, 20)}, 0, 1, true},
		{"an injury of another link", []screen.Event{event(screen.EventInjury, day(20), "ankle")}, []look{at(0, pre, 22), at(30, in, 25), at(40, in, 20)}, 0, 0, true},
		{"rehabilitation alone", nil, []look{at(0, pre, 22), at(30, in, 25), at(40, rehab, 20)}, 0, 2, true},
		{"injury and rehabilitation", []screen.Event{event(screen.EventInjury, day(20), "")}, []look{at(0, pre, 22), at(30, in, 25), at(40, rehab, 20)}, 0, 1, true},
	} {
		m := lineOf(t, courseOf(t, s, "2026-06-01", c.events, c.looks...), "loss", "")
		got := -1
		if m.Baseline != nil {
			got = *m.Baseline
		}
		itself := m.SinceBaseline != nil && m.SinceBaseline.ByItself != 0
		if got != c.baseline || m.Start != c.start || itself != c.itself || m.BaselineWhy == "" {
			t.Errorf("%s: baseline %d, start %d, by itself %v (%s)", c.name, got, m.Start, itself, m.BaselineWhy)
		}
	}
}

// A series that starts after an injury starts from the reading alone, until long enough after a clearance.
func TestStartAfterInjury(t *testing.T) {
	s := followScorer(t)
	looks := weekly(screen.Rehab, 24, 20, 16, 14)
	for name, c := range map[string]struct {
		events []screen.Event
		kind   screen.Kind
		first  float64 // variance of the first level, before later visits
		level  float64
	}{
		"rehabilitation":               {nil, screen.Rehab, 10, 24},
		"injured":                      {[]screen.Event{event(screen.EventInjury, "2026-02-01", "")}, screen.Preseason, 10, 24},
		"cleared a short time ago":     {[]screen.Event{event(screen.EventInjury, "2025-09-01", ""), event(screen.EventClearance, "2026-01-01", "")}, screen.Preseason, 10, 24},
		"cleared long ago":             {[]screen.Event{event(screen.EventInjury, "2025-05-01", ""), event(screen.EventClearance, "2025-09-01", "")}, screen.Preseason, 490.0 / 59, 8 + 49.0/59*16},
		"cleared of the injury before": {[]screen.Event{event(screen.EventInjury, "2025-05-01", ""), event(screen.EventClearance, "2025-09-01", ""), event(screen.EventInjury, "2026-02-01", "")}, screen.Preseason, 10, 24},
		"never injured":                {nil, screen.Preseason, 490.0 / 59, 8 + 49.0/59*16},
		"an injury taken back":         {[]screen.Event{{ID: "x", On: "2026-02-01", Kind: screen.EventInjury, Withdrawn: "another athlete's"}}, screen.Preseason, 490.0 / 59, 8 + 49.0/59*16},
	} {
		looks[0].kind = c.kind
		m := lineOf(t, courseOf(t, s, "2026-06-01", c.events, looks...), "loss", "")
		var series stat.TrendSeries
		for i, l := range looks {
			series.Weeks, series.Readings, series.SEs = append(series.Weeks, float64(i)), append(series.Readings, l.d), append(series.SEs, math.Sqrt(10))
		}
		series.FirstInStart = true
		want, err := stat.TrendModel{S: 4, Lambda: 6}.Smooth(stat.TrendStart{Level: c.level, LevelVar: c.first, SlopeVar: 4}, series)
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, m.Trend.LevelNow, want.Visits[3].Smoothed.Level, 1e-9)
	}
	after := lineOf(t, courseOf(t, s, "2026-06-01", []screen.Event{event(screen.EventInjury, "2026-05-01", "")}, looks...), "loss", "")
	if after.Trend != nil || !slices.ContainsFunc(after.Notes, func(n string) bool { return strings.Contains(n, "nothing has been measured since") }) {
		t.Errorf("an injury after the newest visit: %+v, %q", after.Trend, after.Notes)
	}
}

// A preseason screen with a referral sign is no baseline, and nothing is expected to change by itself.
func TestPainIsNoBaseline(t *testing.T) {
	looks := weekly(screen.Preseason, 24, 20)
	looks[0].pain = true
	c := courseOf(t, followScorer(t), "2026-06-01", nil, looks...)
	if m := lineOf(t, c, "loss", ""); m.Baseline != nil || m.SinceBaseline != nil || m.SinceLast.PriorKnown || !c.Visits[0].Pain {
		t.Errorf("%+v", m)
	}
}

// Met by two visits running, by the trend from three on, or not yet. SE √10: P_m ≤ 0.20 where D ≤ 10.34.
func TestTargetMet(t *testing.T) {
	s := followScorer(t)
	for _, c := range []struct {
		ds    []float64
		state string
		by    string
		since int // weeks
	}{
		{[]float64{25}, StateOpen, "", 0},
		{[]float64{25, 24}, StateOpen, "", 0},
		{[]float64{25, 8}, StateConfirm, "", 0},
		{[]float64{25, 8, 9}, StateMet, byTwoVisits, 2},
		{[]float64{25, 20, 11, 7}, StateConfirm, "", 0},
		{[]float64{25, 16, 11, 10.6}, StateOpen, "", 0},
		{[]float64{25, 16, 10.8, 10.6, 10.5}, StateConfirm, "", 0},        // once, by the trend alone
		{[]float64{25, 16, 10.8, 10.6, 10.5, 10.5}, StateMet, byTrend, 5}, // by the trend at two visits running
		{[]float64{20, 0, 5}, StateMet, byTwoVisits, 2},                   // two visits make no trend
		{[]float64{25, 14, 12, 11}, StateOpen, "", 0},                     // by the trend 6 in 10
		{[]float64{25, 8, 9, 30}, StateOpen, "", 0},
		{[]float64{25, 10, 9, 8, 10.9, 7}, StateMet, byTrend, 2},
		{[]float64{5}, StateClear, "", 0},
		{[]float64{5, 6}, StateClear, "", 0},
		{[]float64{25, 5, 0, -5, -5, 17}, StateOpen, "", 0}, // a deficit again, whatever the trend says
		{[]float64{11, 9, 10.6}, StateShown, "", 0},
		{[]float64{11, 9, 10.6, 10.5}, StateClear, "", 0}, // by the trend
		{[]float64{11}, StateShown, "", 0},                // unsettled, and no deficit is likelier
		{[]float64{15}, StateOpen, "", 0},                 // unsettled, and a deficit is likelier
		{[]float64{11, 4}, StateClear, "", 0},
	} {
		m := lineOf(t, courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, c.ds...)...), "loss", "")
		since := screen.Date("")
		if c.by != "" {
			since = screen.Date("2026-02-10").AddDays(7 * c.since)
		}
		if m.State != c.state || m.Met.By != c.by || m.Met.Since != since || m.Met.Met != (c.by != "") || m.Statement == "" || m.Met.Words == "" {
			t.Errorf("%v: %s by %q since %s: %s", c.ds, m.State, m.Met.By, m.Met.Since, m.Statement)
		}
	}
	m := lineOf(t, courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, 25, 8)...), "apart", "")
	if m.State != StateShown || !strings.Contains(m.Statement, "not counted") {
		t.Errorf("a rule that is not counted: %s, %s", m.State, m.Statement)
	}
}

// The day on which a usual change exceeds what can be told from error, against the closed form of an
// integrated Ornstein-Uhlenbeck slope: var = 2SΛ²(a − 1 + e^(−a)), a = weeks/Λ.
func TestDue(t *testing.T) {
	s := followScorer(t)
	var first int
	for d := 1; ; d++ {
		a := float64(d) / 7 / 6
		if math.Sqrt(2*4*36*(a-1+math.Exp(-a))) > 1.96*math.Sqrt(10+s.rules[0].planned*s.rules[0].planned) {
			first = d
			break
		}
	}
	if first < 28 || first > 182 {
		t.Fatalf("day %d is of no use for this test", first)
	}
	day := func(n int) screen.Date { return screen.Date("2026-02-10").AddDays(n) }
	training := []screen.Event{event(screen.EventTraining, day(0), "")}
	for _, c := range []struct {
		name   string
		ds     []float64
		events []screen.Event
		today  screen.Date
		on     screen.Date // empty: nothing is due
		over   bool
		why    string
	}{
		{"a second reading", []float64{25}, nil, day(3), day(14), false, "read once more"},
		{"too late for one", []float64{25}, nil, day(20), day(first), false, "usual change"},
		{"exercises began", []float64{25}, training, day(3), day(first), false, "usual change"},
		{"open", []float64{25, 24}, nil, day(20), day(7 + first), false, "usual change"},
		{"on the day", []float64{25, 24}, nil, day(7 + first), day(7 + first), false, "usual change"},
		{"overdue", []float64{25, 24}, nil, day(7 + first + 1), day(7 + first), true, "usual change"},
		{"to be confirmed", []float64{25, 8}, nil, day(10), day(7 + 14), false, "second look"},
		{"met", []float64{25, 8, 8}, nil, day(20), "", false, ""},
		{"clear", []float64{5}, nil, day(20), "", false, ""},
	} {
		d := courseOf(t, s, c.today, c.events, weekly(screen.Preseason, c.ds...)...).Due
		if d == nil || c.on == "" {
			if (d == nil) != (c.on == "") {
				t.Errorf("%s: %+v", c.name, d)
			}
			continue
		}
		if d.On != c.on || d.Overdue != c.over || !strings.Contains(d.Why, c.why) || len(d.Measures) != 1 || d.Measures[0].Rule != "loss" || d.Measures[0].Trials < 1 {
			t.Errorf("%s: %+v, want %s", c.name, d, c.on)
		}
	}
	for name, c := range map[string]struct {
		placing, tau, d float64
		days            int
	}{"an exact measure": {0.1, 13, 25, 28}, "one that shows no change in half a year": {20, 60, 200, 182}} {
		p := protocolWith(t, 0.1, c.placing, c.tau, 8, 200)
		p.FollowUp = s.p.FollowUp
		d := courseOf(t, New(p), day(20), training, weekly(screen.Preseason, c.d)...).Due
		if d == nil || d.On != day(c.days) || !strings.Contains(d.Why, fmt.Sprint(c.days, " days a usual change c")) {
			t.Errorf("%s: %+v", name, d)
		}
	}
	none := New(protocolWith(t, 1, 2, 13, 8, 7))
	c := courseOf(t, none, "2026-04-01", nil, weekly(screen.Preseason, 25, 24, 23)...)
	if m := lineOf(t, c, "loss", ""); c.Due != nil || m.Trend != nil || m.State != StateOpen || !strings.Contains(strings.Join(m.Notes, " "), "does not say how fast") {
		t.Errorf("a protocol that does not say how deficits are followed: %+v, %q", c.Due, m.Notes)
	}
}

// What is due later than a week after the earliest measure is only counted; once that day has gone by, it
// is what is due by today.
func TestDueTogether(t *testing.T) {
	s := defaultScorer(t)
	visit := func(id string, on screen.Date, readings ...screen.Reading) Visited {
		rec := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male), readings...)
		rec.Screen.ID, rec.Screen.On = id, on
		return Visited{rec, s.Score(rec, Options{})}
	}
	adduction := []screen.Reading{reading("shoulder_horizontal_adduction", screen.Right, 70, 70), reading("shoulder_horizontal_adduction", screen.Left, 115, 115)}
	elbow := []screen.Reading{reading("elbow_extension", screen.Right, -25, -25), reading("elbow_extension", screen.Left, 3, 3)}
	in := CourseInput{Today: "2026-03-01", Visits: []Visited{visit("a", "2026-02-10", append(adduction, elbow...)...)}, Events: []screen.Event{event(screen.EventTraining, "2026-02-10", "")}}
	d := s.Course(in).Due
	if len(d.Measures) != 1 || d.Measures[0].On != d.On || !strings.HasSuffix(d.Why, " 1 more measure is due later.") || d.Overdue {
		t.Errorf("%+v", d)
	}
	in.Today = "2026-06-01"
	if d = s.Course(in).Due; len(d.Measures) != 2 || !d.Overdue || d.On != d.Measures[0].On {
		t.Errorf("%+v", d)
	}
	in.Today = "some day"
	if c := s.Course(in); c.Today != "" || c.Due.Overdue || len(c.Due.Measures) != 1 {
		t.Errorf("a day that is none: %+v", c.Due)
	}
}
