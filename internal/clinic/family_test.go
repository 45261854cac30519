package clinic

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// linkTo is whoever holds the link of an athlete.
func linkTo(athlete string) Person { return Person{Athlete: athlete, Link: "link"} }

// handedOut is a screening day of the team with handouts for who was screened on it.
func (r *ready) handedOut(id string, on screen.Date) {
	r.t.Helper()
	d := screen.Day{ID: id, Team: "t1", On: on, Kind: screen.Preseason, SideOrder: screen.ThrowingFirst, Stations: []screen.Station{
		{Code: "S" + id, Name: "Hip", Steps: []screen.Step{{Kind: screen.StepMeasure, Measure: "hip_internal_rotation"}}}}}
	must[screen.Day](r.t)(r.PutDay(context.Background(), boss, d, nil, 0))
	must[int](r.t)(r.MakeHandouts(context.Background(), boss, id))
}

func (r *ready) page(athlete string) FamilyPage {
	r.t.Helper()
	return must[FamilyPage](r.t)(r.FamilyPage(context.Background(), linkTo(athlete), athlete))
}

func TestFamilyPageFollowsTheNewestHandout(t *testing.T) {
	r := newReady(t, "a", "b")
	r.read(r.screened("a", "2026-01-05"), "hip_internal_rotation", 10, 45)
	if got := r.page("a"); got.Handout != nil || got.Targets != nil || got.Next != nil || got.Name != "Name of a" || len(got.Doctor) < 5 {
		t.Errorf("before a handout was made: %+v", got)
	}
	r.handedOut("d1", "2026-01-05")
	first := r.page("a")
	if first.Handout == nil || first.Handout.Text.On != "2026-01-05" || first.Hold || first.Next == nil || first.Next.On <= "2026-01-05" || first.Asof != "2026-01-05" {
		t.Fatalf("%+v", first)
	}
	if i := slices.IndexFunc(first.Targets, func(x FamilyTarget) bool { return x.What == "How far the hip turns inward, left side" }); i < 0 || !strings.HasSuffix(first.Targets[i].Goal, "° or more") {
		t.Errorf("targets %+v", first.Targets)
	}
	r.read(r.screened("a", "2026-02-02"), "hip_internal_rotation", 44, 45)
	if got := r.page("a"); got.Handout.Text.On != "2026-01-05" || got.Asof != "2026-02-02" {
		t.Errorf("a later screen makes no handout: %s, targets of %s", got.Handout.Text.On, got.Asof)
	}
	later := r.now().Add(time.Hour)
	r.now = func() time.Time { return later }
	r.handedOut("d2", "2026-02-02")
	if got := r.page("a"); got.Handout.Text.On != "2026-02-02" {
		t.Errorf("the newest handout is of %s", got.Handout.Text.On)
	}
	if got := r.page("b"); got.Handout != nil {
		t.Errorf("somebody else's handout: %+v", got)
	}
}

// On hold there is nothing to work towards: a licensed clinician comes first.
func TestFamilyPageOnHold(t *testing.T) {
	r := newReady(t, "a")
	r.read(r.screened("a", "2026-02-02"), "hip_internal_rotation", 10, 45)
	r.handedOut("d1", "2026-02-02")
	r.event("a", screen.EventInjury, "2026-02-03", "")
	if got := r.page("a"); !got.Hold || got.Targets != nil || got.Next != nil || got.Handout == nil {
		t.Errorf("%+v", got)
	}
	r.event("a", screen.EventClearance, "2026-02-05", "no pitching")
	if got := r.page("a"); got.Hold || len(got.Targets) == 0 {
		t.Errorf("cleared: %+v", got)
	}
}

func TestWhoSeesAFamilyPage(t *testing.T) {
	r, ctx := newReady(t, "a", "b"), context.Background()
	as := func(team string, role access.Role) Person {
		return Person{ID: "p", Grants: []access.Grant{{Team: team, Role: role}}}
	}
	for _, x := range []struct {
		who  Person
		code screen.Code
	}{
		{linkTo("a"), ""}, {as("t1", access.Trainer), ""}, {as("t1", access.Clinician), ""},
		{linkTo("b"), screen.NotFound}, {as("t2", access.Trainer), screen.NotFound}, {Person{}, screen.Unknown},
		{as("t1", access.Coach), screen.Forbidden}, {as("t1", access.Helper), screen.Forbidden}, {as("", access.Administrator), screen.Forbidden},
	} {
		_, err := r.FamilyPage(ctx, x.who, "a")
		if x.code == "" && err != nil || x.code != "" && !screen.IsCode(err, x.code) {
			t.Errorf("%+v: %v, want %q", x.who, err, x.code)
		}
	}
	if _, err := r.FamilyPage(ctx, linkTo("gone"), "gone"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("erased since: %v", err)
	}
}

// A link leads to its page alone: no other use case lets its holder in.
func TestAFamilyLinkLeadsNowhereElse(t *testing.T) {
	r, ctx, who := newReady(t, "a"), context.Background(), linkTo("a")
	s := r.screened("a", "2026-02-02")
	_, _, list := r.Athletes(ctx, who, "t1", Page{})
	_, athlete := r.Athlete(ctx, who, "a")
	_, record := r.Record(ctx, who, s)
	_, course := r.Course(ctx, who, "a")
	_, events := r.Events(ctx, who, "a")
	_, ready := r.Readiness(ctx, who, "t1")
	_, follow := r.FollowUp(ctx, who, "t1")
	for i, err := range []error{list, athlete, record, course, events, ready, follow} {
		if !screen.IsCode(err, screen.Forbidden) && !screen.IsCode(err, screen.NotFound) {
			t.Errorf("use case %d: %v", i, err)
		}
	}
	if got := must[[]OpenStations](t)(r.OpenStations(ctx, who)); len(got) != 0 {
		t.Errorf("%+v", got)
	}
}

// Every target that the demo squad has can be said in plain words, and what is said is the course's own.
func TestFamilyTargetsAreThoseOfTheCourse(t *testing.T) {
	c, d, _ := demoSquad(t)
	said := 0
	for i := range d.Athletes {
		var course *score.Course
		c.put(t, func(tx *store.Tx) error {
			all, err := c.courses(tx, []string{d.Athletes[i].ID})
			course = all[d.Athletes[i].ID]
			return err
		})
		for _, x := range familyTargets(c.scorer, course) {
			said++
			if x.What == "" || x.Goal == "" || strings.ContainsAny(x.What+x.Goal, "{}") || strings.Contains(x.What+x.Goal, "NaN") || strings.Contains(x.Goal, "-") {
				t.Errorf("%s: %+v", d.Athletes[i].Name, x)
			}
			number, _, _ := strings.Cut(x.Goal, " ")
			if !slices.ContainsFunc(course.Measures, func(m score.MeasureCourse) bool {
				measure := c.Protocol().Measure(m.Measure)
				return m.Reading != nil && (strings.HasPrefix(screen.Amount(score.Number(*m.Reading, measure), measure.Unit), number) ||
					measure.SayWords != nil && strings.HasPrefix(measure.Say(*m.Reading), number)) || isRatio(&m)
			}) {
				t.Errorf("%s: no target of the course is %s", d.Athletes[i].Name, x.Goal)
			}
		}
	}
	if said < 10 {
		t.Errorf("only %d targets", said)
	}
}

func isRatio(m *score.MeasureCourse) bool { return m.RuleKind == screen.RatioFloor }

// Of two targets for one measure on one side the stricter one stands, whichever comes first.
func TestFamilyTargetsStrictestFirst(t *testing.T) {
	c := open(t)
	for _, x := range []struct {
		readings []float64
		want     string
	}{{[]float64{35, 41}, "41° or more"}, {[]float64{41, 35}, "41° or more"}} {
		rep := &score.Report{Hand: screen.RightHand, Sides: true}
		course := &score.Course{Visits: []score.CourseVisit{{On: "2026-02-01", Report: rep}}}
		for i, rule := range c.hipRules(t) {
			rep.Findings = append(rep.Findings, score.Finding{Rule: rule, Measure: "hip_internal_rotation", RuleKind: screen.SideDifference, Worse: "left", Side: screen.Left})
			course.Measures = append(course.Measures, score.MeasureCourse{Rule: rule, Measure: "hip_internal_rotation", RuleKind: screen.SideDifference, Side: screen.Left,
				Counted: true, State: score.StateConfirm, Target: new(float64), Reading: &x.readings[i], Points: []score.CoursePoint{{Verdict: score.Deficit}}})
		}
		got := familyTargets(c.scorer, course)
		if len(got) != 1 || got[0].Goal != x.want || !got[0].Once {
			t.Errorf("%v: %+v", x.readings, got)
		}
	}
}

// hipRules are two rules of the hip's inward turn.
func (c *Clinic) hipRules(t testing.TB) (out []string) {
	t.Helper()
	for i := range c.Protocol().Rules {
		if r := &c.Protocol().Rules[i]; r.Measure == "hip_internal_rotation" && len(out) < 2 {
			out = append(out, r.ID)
		}
	}
	if len(out) != 2 {
		t.Fatalf("rules %v", out)
	}
	return out
}
