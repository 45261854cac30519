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

// followScorer scores by the protocol of protocolWith, followed as the default protocol says. With one
// trial a side the standard error of a difference is √10.
func followScorer(t testing.TB) *Scorer {
	t.Helper()
	p := protocolWith(t, 1, 2, 13, 8, 7)
	p.FollowUp = sixWeeks(t)
	return New(p)
}

// sixWeeks is the shipped block with a fading of 6 weeks and a pace of 2 in every unit, which the figures
// in these tests are worked out with.
func sixWeeks(t testing.TB) screen.FollowUp {
	t.Helper()
	f := defaultScorer(t).p.FollowUp
	f.FadeWeeks.Value, f.Paces = 6, slices.Clone(f.Paces)
	for i := range f.Paces {
		f.Paces[i].Value = 2
	}
	return f
}

// look is one visit: how much less the throwing arm turns than the other.
type look struct {
	on   screen.Date
	kind screen.Kind
	d    float64
	pain bool // a referral sign is noted
}

// courseOf screens an athlete at each of the visits and works out the course.
func courseOf(t testing.TB, s *Scorer, today screen.Date, events []screen.Event, looks ...look) *Course {
	t.Helper()
	var in CourseInput
	for i, v := range looks {
		rec := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male), reading("turn", screen.Right, 60-v.d), reading("turn", screen.Left, 60))
		rec.Screen.ID, rec.Screen.On, rec.Screen.Kind = fmt.Sprint("s", i), v.on, v.kind
		rep := s.Score(rec, Options{})
		if v.pain {
			rep.Referral = []string{"pain at night"}
		}
		in.Visits = append(in.Visits, Visited{rec, rep})
	}
	in.Events, in.Today = events, today
	return s.Course(in)
}

func lineOf(t testing.TB, c *Course, rule string, side screen.Side) *MeasureCourse {
	t.Helper()
	for i := range c.Measures {
		if m := &c.Measures[i]; m.Rule == rule && m.Side == side {
			return m
		}
	}
	t.Fatalf("no course of %s %s", rule, side)
	return nil
}

func weekly(kind screen.Kind, ds ...float64) (out []look) {
	for i, d := range ds {
		k := screen.InSeason
		if i == 0 {
			k = kind
		}
		out = append(out, look{screen.Date("2026-02-10").AddDays(7 * i), k, d, false})
	}
	return out
}

// The course's trend against the model put together here from the formulas: start N(μ + w(y₁ − μ), w·SE²),
// slope N(0, S), √S = 2 a week, Λ = 6 weeks, filtered from the second visit.
func TestCourseTrend(t *testing.T) {
	s := followScorer(t)
	ys := []float64{34, 30, 25, 20, 14, 9}
	m := lineOf(t, courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, ys...)...), "loss", "")
	w := 49.0 / 59
	in := stat.TrendSeries{FirstInStart: true}
	for i, y := range ys {
		in.Weeks, in.Readings, in.SEs = append(in.Weeks, float64(i)), append(in.Readings, y), append(in.SEs, math.Sqrt(10))
	}
	want, err := stat.TrendModel{S: 4, Lambda: 6}.Smooth(stat.TrendStart{Level: 8 + w*(34-8), LevelVar: w * 10, SlopeVar: 4}, in)
	if err != nil {
		t.Fatal(err)
	}
	now, in2, in4 := want.Visits[5].Smoothed, want.Forecast(2), want.Forecast(4)
	tr := m.Trend
	near(t, "level now", tr.LevelNow, now.Level, 1e-9)
	near(t, "90 % above", tr.Level90[1], now.Level+1.645*now.LevelSD(), 1e-9)
	near(t, "slope", *tr.Slope, now.Slope, 1e-9)
	near(t, "slope's end", tr.Slope90[0], now.Slope-1.645*now.SlopeSD(), 1e-9)
	near(t, "P now", tr.PMetNow, stat.Phi((13-now.Level)/now.LevelSD()), 1e-9)
	near(t, "P in 2 weeks", *tr.PMet2, stat.Phi((13-in2.Level)/in2.LevelSD()), 1e-9)
	near(t, "P in 4 weeks", *tr.PMet4, stat.Phi((13-in4.Level)/in4.LevelSD()), 1e-9)
	if tr.Direction != directionBetter || tr.Visits != 6 || m.Start != 0 || !strings.Contains(tr.Words, "It is improving, by about") {
		t.Errorf("%s: slope %v, %s", tr.Direction, tr.Slope90, tr.Words)
	}
	for i := range ys { // the band passes through every visit's smoothed state
		k := slices.Index(tr.Weeks, float64(i))
		if k < 0 {
			t.Fatalf("week %d is not on the grid", i)
		}
		near(t, "band", tr.Level[k], want.Visits[i].Smoothed.Level, 1e-9)
		near(t, "band's end", tr.Lo[k], want.Visits[i].Smoothed.Level-1.645*want.Visits[i].Smoothed.LevelSD(), 1e-9)
	}
	if !slices.IsSorted(tr.Weeks) || tr.Weeks[0] != 0 || tr.Weeks[len(tr.Weeks)-1] != 5 || len(tr.Weeks) < 40 {
		t.Errorf("weeks %v", tr.Weeks)
	}
}

// Where sides are only compared better is towards no difference: from either side, also once the value has
// come so near that its sign is no longer sure, and away again is worse.
func TestDirectionWithoutAWorseSide(t *testing.T) {
	s := followScorer(t)
	for want, ds := range map[string][][]float64{
		directionBetter: {{-34, -30, -25, -20, -14, -9}, {34, 30, 25, 20, 14, 9}, {-24, -19, -14, -9, -5, 0}, {24, 19, 14, 9, 5, 0}},
		directionWorse:  {{-9, -14, -20, -25, -30, -34}, {9, 14, 20, 25, 30, 34}, {15, 9, 2, -5, -13, -20}},
	} {
		for _, d := range ds {
			m := lineOf(t, courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, d...)...), "apart", "")
			if m.Trend.Direction != want {
				t.Errorf("%v: %s", d, m.Trend.Words)
			}
		}
	}
}

// 1-2 visits: the change only; 3-4: the level; direction and what is ahead from 5 visits over 4 weeks.
func TestHowManyVisitsSayWhat(t *testing.T) {
	s := followScorer(t)
	for n, want := range map[int]string{1: "none", 2: "none", 3: "level", 4: "level", 5: "direction"} {
		m := lineOf(t, courseOf(t, s, "2026-04-01", nil, weekly(screen.Preseason, []float64{20, 19, 18, 17, 16}[:n]...)...), "loss", "")
		got := "none"
		if m.Trend != nil {
			got = "level"
			if m.Trend.Slope != nil && m.Trend.PMet2 != nil && m.Trend.PMet4 != nil && m.Trend.Direction != "" {
				got = "direction"
			}
		}
		if got != want || (m.SinceLast == nil) != (n == 1) || (m.Trend == nil) != (len(m.Notes) == 1) {
			t.Errorf("%d visits: %s, notes %q", n, got, m.Notes)
		}
	}
	short := weekly(screen.Preseason, 20, 19, 18, 17, 16)
	for i := range short {
		short[i].on = screen.Date("2026-02-10").AddDays(6 * i)
	}
	if m := lineOf(t, courseOf(t, s, "2026-04-01", nil, short...), "loss", ""); m.Trend == nil || m.Trend.Slope != nil {
		t.Errorf("five visits within 24 days: %+v", m.Trend)
	}
}

// A floor (lower is worse), a difference in percent and a quotient of logarithms go through their own
// scales: better is better, bands hold their values, and units are the rule's.
func TestCourseOfOtherRules(t *testing.T) {
	s := defaultScorer(t)
	var in CourseInput
	for i := range 10 {
		x := float64(i)
		rec := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male),
			reading("hip_internal_rotation", screen.Left, 20+3*x, 20+3*x), reading("hip_internal_rotation", screen.Right, 40, 40),
			reading("grip_strength", screen.Right, 22+2*x, 22+2*x), reading("grip_strength", screen.Left, 40, 40),
			reading("shoulder_external_rotation_strength", screen.Right, 60+8*x, 60+8*x), reading("shoulder_external_rotation_strength", screen.Left, 120, 120),
			reading("shoulder_internal_rotation_strength", screen.Right, 160, 160), reading("shoulder_internal_rotation_strength", screen.Left, 160, 160))
		rec.Screen.ID, rec.Screen.On, rec.Screen.Kind = fmt.Sprint("s", i), screen.Date("2026-02-10").AddDays(7*i), screen.InSeason
		if i == 0 {
			rec.Screen.Kind = screen.Preseason
		}
		in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
	}
	in.Today, in.Events = "2026-05-01", []screen.Event{event(screen.EventTraining, "2026-02-10", "")}
	c := s.Course(in)
	for _, want := range []struct {
		rule  string
		side  screen.Side
		first float64 // shown value
		last  float64
		up    bool // the value rises as it gets better
	}{
		{"lead_hip_internal_rotation_floor", screen.Left, 20, 47, true},
		{"grip_difference", "", 45, 0, false},
		{"external_rotation_strength_ratio", screen.Right, 0.375, 0.825, true},
	} {
		m := lineOf(t, c, want.rule, want.side)
		n := len(m.Points) - 1
		near(t, want.rule+" first", m.Points[0].Difference, want.first, 1e-9)
		near(t, want.rule+" last", m.Points[n].Difference, want.last, 1e-9)
		tr := m.Trend
		if tr == nil || tr.Direction != directionBetter || (*tr.Slope > 0) != want.up || !(tr.Level90[0] < tr.LevelNow && tr.LevelNow < tr.Level90[1]) || tr.Slope90[0] > tr.Slope90[1] {
			t.Fatalf("%s: %+v %+v", want.rule, tr.Words, tr.Slope90)
		}
		near(t, want.rule+" level", tr.LevelNow, want.last, math.Abs(want.last-want.first)/3)
		near(t, want.rule+" slope", *tr.Slope, (want.last-want.first)/9, math.Abs(want.last-want.first)/18)
		for _, d := range []*Change{m.SinceBaseline, m.SinceLast} {
			if d.Raw >= 0 || d.PImproved <= 0.5 || d.SE <= 0 {
				t.Errorf("%s: a change for the better is %+v", want.rule, d)
			}
		}
		near(t, want.rule+" raw change", math.Abs(m.SinceBaseline.Raw), math.Abs(want.last-want.first), 1e-9)
		if want.up && !(*m.Target > m.Threshold) || !want.up && (m.Target != nil || m.TargetBy != targetCannot) {
			t.Errorf("%s: target %v at the threshold %g, %q", want.rule, m.Target, m.Threshold, m.TargetBy)
		}
		if !strings.Contains(tr.Words, map[bool]string{true: "at or above", false: "within"}[want.up]) {
			t.Errorf("%s: %s", want.rule, tr.Words)
		}
	}
}

// The trend of a difference in percent is that of the logarithms: the sides' quotient, 2 % a week.
func TestCourseInPercent(t *testing.T) {
	p := *defaultScorer(t).p
	p.FollowUp = sixWeeks(t)
	s := New(&p)
	var in CourseInput
	series := stat.TrendSeries{FirstInStart: true}
	for i, kg := range []float64{24, 27, 30} {
		rec := recordOf(throwerOf(screen.RightHand, "2008-01-01", screen.Male), reading("grip_strength", screen.Right, kg, kg), reading("grip_strength", screen.Left, 40, 40))
		rec.Screen.ID, rec.Screen.On, rec.Screen.Kind = fmt.Sprint("s", i), screen.Date("2026-02-10").AddDays(14*i), screen.InSeason
		in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
		f := findingOf(t, in.Visits[i].Report, "grip_difference")
		series.Weeks, series.Readings, series.SEs = append(series.Weeks, float64(2*i)), append(series.Readings, math.Log(40/kg)), append(series.SEs, f.PostSD)
	}
	want, err := stat.TrendModel{S: 0.02 * 0.02, Lambda: 6}.Smooth(stat.TrendStart{Level: math.Log(40.0 / 24), LevelVar: series.SEs[0] * series.SEs[0], SlopeVar: 0.02 * 0.02}, series)
	if err != nil {
		t.Fatal(err)
	}
	now := want.Visits[2].Smoothed
	tr := lineOf(t, s.Course(in), "grip_difference", "").Trend
	near(t, "level", tr.LevelNow, 100*(1-math.Exp(-now.Level)), 1e-9)
	near(t, "its 95 % end", tr.Level90[1], 100*(1-math.Exp(-now.Level-1.645*now.LevelSD())), 1e-9)
	near(t, "P(within 10 %)", tr.PMetNow, stat.Phi((-math.Log(0.9)-now.Level)/now.LevelSD())-stat.Phi((math.Log(0.9)-now.Level)/now.LevelSD()), 1e-9)
}

// Less internal rotation and less arc are conditions of one counted rule: both are followed while it is
// not clear; once the arc is kept, the loss of rotation is an adaptation and is only shown.
func TestCourseOfTwoConditions(t *testing.T) {
	s := defaultScorer(t)
	course := func(visits ...[]screen.Reading) *Course {
		var in CourseInput
		for i, readings := range visits {
			rec := recordOf(throwerOf(screen.RightHand, "2000-01-01", screen.Male), readings...)
			rec.Screen.ID, rec.Screen.On = fmt.Sprint("s", i), screen.Date("2026-02-10").AddDays(28*i)
			if i > 0 {
				rec.Screen.Kind = screen.InSeason
			}
			in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
		}
		return s.Course(in)
	}
	even := shoulder(screen.Right, screen.Left, 62, 63, 92, 90)
	lost, kept := shoulder(screen.Right, screen.Left, 28, 63, 90, 90), shoulder(screen.Right, screen.Left, 32, 63, 125, 90)
	c := course(lost)
	if ir, arc := lineOf(t, c, "internal_rotation_loss", ""), lineOf(t, c, "total_arc_loss", ""); ir.State != StateOpen || arc.State != StateOpen || ir.Counted || c.Due == nil {
		t.Errorf("both lost: %s, %s, %+v", ir.State, arc.State, c.Due)
	}
	c = course(kept)
	if ir, arc := lineOf(t, c, "internal_rotation_loss", ""), lineOf(t, c, "total_arc_loss", ""); ir.State != StateShown || arc.State != StateClear || !strings.Contains(ir.Statement, "other condition") {
		t.Errorf("arc kept: %s, %s", ir.State, arc.State)
	}
	if ir := lineOf(t, course(kept, even), "internal_rotation_loss", ""); ir.State != StateClear {
		t.Errorf("an adaptation was no deficit whose target is met: %s", ir.State)
	}
	if ir := lineOf(t, course(lost, even), "internal_rotation_loss", ""); ir.State != StateConfirm {
		t.Errorf("a deficit that is gone at one visit: %s", ir.State)
	}
	if slices.ContainsFunc(c.Measures, func(m MeasureCourse) bool { return m.RuleKind == screen.AllOf }) {
		t.Error("a rule of two conditions has no value of its own to follow")
	}
}

// The target of a floor is the value that a visit as exact as the newest one would just call clear; the
// reading that it amounts to is rounded to the measure's step. A threshold that changed with age is noted.
func TestTargetOfAFloor(t *testing.T) {
	s := defaultScorer(t)
	a := throwerOf(screen.RightHand, "2007-03-01", screen.Male)
	var in CourseInput
	for i, on := range []screen.Date{"2026-02-10", "2026-03-10"} {
		rec := recordOf(a, append(shoulder(screen.Right, screen.Left, 40, 56, 100, 95), reading("hip_internal_rotation", screen.Left, 20, 20), reading("hip_internal_rotation", screen.Right, 40, 40))...)
		rec.Screen.ID, rec.Screen.On = fmt.Sprint("s", i), on
		if i > 0 {
			rec.Screen.Kind = screen.InSeason
		}
		in.Visits = append(in.Visits, Visited{rec, s.Score(rec, Options{})})
	}
	c := s.Course(in)
	m := lineOf(t, c, "lead_hip_internal_rotation_floor", screen.Left)
	near(t, "P(below the floor) at the target", stat.Above(-30, -*m.Target, m.Points[1].SE), 0.2, 1e-9)
	near(t, "reading", *m.Reading, *m.Target, s.p.Measure("hip_internal_rotation").Step/2+1e-9)
	if m.State != StateOpen || !strings.Contains(m.Statement, "Since the baseline no change as read: cannot be told from measurement error.") {
		t.Errorf("%s: %s", m.State, m.Statement)
	}
	ir := lineOf(t, c, "internal_rotation_loss", "")
	if note := "The threshold was 13° until 2026-02-10; it goes by age and level."; ir.Threshold != 20 || !slices.Contains(ir.Notes, note) {
		t.Errorf("threshold %g, notes %q", ir.Threshold, ir.Notes)
	}
}

func TestMetWords(t *testing.T) {
	for want, m := range map[string]MeasureCourse{
		"at or below 13°":       {RuleKind: screen.SideDifference, Kind: "signed", Threshold: 13, Unit: "deg"},
		"the sides within 10 %": {RuleKind: screen.SidePercent, Kind: "absolute", Threshold: 10, Unit: "%"},
		"a gain of 5° or more":  {RuleKind: screen.SideDifference, Kind: "signed", Threshold: -5, Unit: "deg"},
		"at or above -5°":       {RuleKind: screen.Floor, Kind: "signed", Side: screen.Left, Threshold: -5, Unit: "deg"},
		"at or above 0.72":      {RuleKind: screen.RatioFloor, Kind: "signed", Side: screen.Right, Threshold: 0.72, Unit: "1"},
		"at or below 4.5":       {RuleKind: screen.Ceiling, Kind: "signed", Side: screen.Right, Threshold: 4.5, Unit: "{count}"},
	} {
		if got := metWords(&m); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
