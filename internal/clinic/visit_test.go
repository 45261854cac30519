package clinic

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func visitOf(id string, on screen.Date, right, left float64) Visit {
	return Visit{Screen: screen.Screen{ID: id, Athlete: "a1", Team: "t1", On: on, Kind: screen.Rehab, Examiner: "KD"},
		Readings: []Entry{ir("", screen.Right, right, right), ir("", screen.Left, left, left)}}
}

func (c *Clinic) screensOf(t testing.TB, athlete string) []screen.Screen {
	t.Helper()
	list, _, err := c.Screens(context.Background(), boss, "", athlete, Page{Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// The same visit sent twice is one: the second adds nothing, and what was given is not changed.
func TestVisitTwiceIsOnce(t *testing.T) {
	c, ctx := squad(t), context.Background()
	v := visitOf("v1", "2026-02-10", 40, 62)
	v.Symptoms = []screen.Symptom{{Symptom: "inner_elbow_tender", Side: screen.Right}}
	first := must[SavedVisit](t)(c.SaveVisit(ctx, boss, v))
	if first.Screen != "v1" || first.Added != 3 || first.Already != 0 || v.Readings[0].ID != "" || v.Symptoms[0].Screen != "" {
		t.Errorf("%+v of %+v", first, v)
	}
	second := must[SavedVisit](t)(c.SaveVisit(ctx, boss, v))
	if second.Added != 0 || second.Already != 3 || second.Revision != first.Revision {
		t.Errorf("the second time: %+v", second)
	}
	rec := must[*screen.Record](t)(c.Record(ctx, boss, "v1"))
	if len(rec.Readings) != 2 || len(rec.Symptoms) != 1 || rec.Readings[0].Examiner != "k" || rec.Readings[0].EnteredBy != boss.ID || rec.Screen.Protocol == "" {
		t.Errorf("%+v", rec)
	}
	if got := len(c.screensOf(t, "a1")); got != 2 { // the squad's own, and this one
		t.Errorf("%d screens", got)
	}
}

// Sent again with another value it is refused, and the first stays.
func TestVisitSentAgainWithAnotherContent(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[SavedVisit](t)(c.SaveVisit(ctx, boss, visitOf("v1", "2026-02-10", 40, 62)))
	for name, v := range map[string]Visit{"a value": visitOf("v1", "2026-02-10", 41, 62), "the day": visitOf("v1", "2026-02-09", 40, 62)} {
		if _, err := c.SaveVisit(ctx, boss, v); !screen.IsCode(err, screen.Conflict) {
			t.Errorf("%s: %v", name, err)
		}
	}
	rec := must[*screen.Record](t)(c.Record(ctx, boss, "v1"))
	if len(rec.Readings) != 2 || rec.Readings[0].Trials[0] != 40 || rec.Screen.On != "2026-02-10" {
		t.Errorf("%+v", rec)
	}
}

// Whatever is wrong, everything wrong is named with its place, and nothing is kept.
func TestBadVisitKeepsNothing(t *testing.T) {
	c, ctx := squad(t), context.Background()
	empty := visitOf("v", "2026-02-10", 40, 62)
	empty.Readings = nil
	sign := visitOf("v", "2026-02-10", 40, 62)
	sign.Symptoms = []screen.Symptom{{Symptom: "no_such_sign"}}
	both := visitOf("v", "2026-02-11", 40, 162) // tomorrow, and 162° of internal rotation
	both.Screen.Kind = "party"
	for name, x := range map[string]struct {
		v     Visit
		where []string
	}{
		"tomorrow":      {visitOf("v", "2026-02-11", 40, 62), []string{"on"}},
		"before birth":  {visitOf("v", "2011-04-01", 40, 62), []string{"on"}},
		"no day":        {visitOf("v", "10 February", 40, 62), []string{"on"}},
		"nothing":       {empty, []string{"readings"}},
		"no such sign":  {sign, []string{"symptoms[0].symptom"}},
		"several":       {both, []string{"on", "kind", "readings[1].trials[0]", "readings[1].trials[1]"}},
		"a computed":    {Visit{Screen: sign.Screen, Readings: []Entry{entry("", "shoulder_total_arc", screen.Left, 150)}}, []string{"readings[0].measure"}},
		"the same side": {Visit{Screen: sign.Screen, Readings: []Entry{entry("", "shoulder_internal_rotation", screen.NoSide, 50)}}, []string{"readings[0].side"}},
	} {
		_, err := c.SaveVisit(ctx, boss, x.v)
		var f screen.Faults
		errors.As(err, &f)
		var where []string
		for i := range f {
			where = append(where, f[i].Where)
		}
		if !slices.Equal(where, x.where) {
			t.Errorf("%s: faults at %v, want %v (%v)", name, where, x.where, err)
		}
		a := must[screen.Athlete](t)(c.Athlete(ctx, boss, "a1"))
		if got := c.CheckVisit(&a, x.v); len(got) != len(x.where) {
			t.Errorf("%s: checked beforehand, %d faults, want %d", name, len(got), len(x.where))
		}
	}
	stranger := visitOf("v", "2026-02-10", 40, 62)
	stranger.Screen.Team = "t2"
	if _, err := c.SaveVisit(ctx, boss, stranger); !screen.IsCode(err, screen.Invalid) {
		t.Errorf("another team: %v", err)
	}
	nobody := visitOf("v", "2026-02-10", 40, 62)
	nobody.Screen.Athlete = "nobody"
	if _, err := c.SaveVisit(ctx, boss, nobody); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown athlete: %v", err)
	}
	if _, err := c.SaveVisit(ctx, Person{ID: "x"}, visitOf("v", "2026-02-10", 40, 62)); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("a stranger: %v", err)
	}
	if got := len(c.screensOf(t, "a1")); got != 1 {
		t.Errorf("%d screens were made", got-1)
	}
}

// A screen is not left behind without its readings: the id of the second reading is taken by another.
func TestVisitIsAllOrNothing(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[Saved](t)(c.SaveReadings(ctx, boss, "s1", []Entry{ir("taken", screen.Left, 50)}))
	v := visitOf("v1", "2026-02-10", 40, 62)
	v.Readings[1].ID = "taken"
	if _, err := c.SaveVisit(ctx, boss, v); !screen.IsCode(err, screen.Conflict) {
		t.Fatal(err)
	}
	if _, err := c.Record(ctx, boss, "v1"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("the screen is there: %v", err)
	}
}

// A sign alone is a visit: pain that allows no measure is on record, and holds the athlete.
func TestVisitWithASignOnly(t *testing.T) {
	c, ctx := squad(t), context.Background()
	v := visitOf("v1", "2026-02-10", 0, 0)
	v.Readings, v.Symptoms = nil, []screen.Symptom{{Symptom: "pain_at_rest_or_night"}}
	if saved := must[SavedVisit](t)(c.SaveVisit(ctx, boss, v)); saved.Added != 1 {
		t.Errorf("%+v", saved)
	}
	course := c.mustCourse(t, "a1")
	if last := course.Visits[len(course.Visits)-1]; last.Screen != "v1" || !last.Pain || !course.Hold {
		t.Errorf("%+v, hold %v", last, course.Hold)
	}
}

func TestVisitAsksAboutWhatIsUnlikely(t *testing.T) {
	c, ctx := squad(t), context.Background()
	v := visitOf("", "2026-02-10", 40, 62)
	v.Readings[0].Trials = []float64{40, 60} // further apart than usual
	saved := must[SavedVisit](t)(c.SaveVisit(ctx, boss, v))
	if saved.Screen == "" || !slices.ContainsFunc(saved.Questions, func(q screen.Question) bool { return q.Kind == "trials_apart" }) {
		t.Errorf("%+v", saved)
	}
}

func (c *Clinic) plan(t testing.TB, athlete string) VisitPlan {
	t.Helper()
	return must[VisitPlan](t)(c.PlanVisit(context.Background(), boss, athlete))
}

// What a visit is likely to be: the first of all a preseason screen, a rehab visit after one or after an
// injury that nobody cleared, else one in the season.
func TestVisitKindProposed(t *testing.T) {
	c := squad(t)
	want := func(when string, athlete string, kind screen.Kind) {
		t.Helper()
		if got := c.plan(t, athlete).Kind; got != kind {
			t.Errorf("%s: %s, want %s", when, got, kind)
		}
	}
	want("never screened", "a2", screen.Preseason)
	want("after a preseason screen", "a1", screen.InSeason)
	hurt := injury("e1")
	hurt.Athlete, hurt.On = "a1", "2026-02-09"
	if _, err := event(c, hurt); err != nil {
		t.Fatal(err)
	}
	want("injured", "a1", screen.Rehab)
	if _, err := event(c, screen.Event{ID: "e2", Athlete: "a1", On: "2026-02-10", Kind: screen.EventClearance, Note: "Dr. K., all throws"}); err != nil {
		t.Fatal(err)
	}
	want("cleared", "a1", screen.InSeason)
	c.seen(t, "r1", "a1", "t1", "2026-02-10", screen.Rehab, 40, 62)
	want("after a rehab visit", "a1", screen.Rehab)
	if _, err := c.PlanVisit(context.Background(), boss, "nobody"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown athlete: %v", err)
	}
}

// The measures of the course's due day are proposed, computed ones by what they are computed from, and
// what was read last stands beside them.
func TestVisitPlanProposesWhatIsDue(t *testing.T) {
	c, ctx := squad(t), context.Background()
	c.seen(t, "x1", "a1", "t1", "2026-01-05", screen.Preseason, 40, 62)
	c.seen(t, "x2", "a1", "t1", "2026-01-20", screen.InSeason, 41, 63)
	must[Saved](t)(c.SaveReadings(ctx, boss, "x2", []Entry{ir("again", screen.Right, 42)}))
	must[screen.Reading](t)(c.Correct(ctx, boss, "x2-r", Entry{Reading: screen.Reading{ID: "right", Trials: []float64{43}, Why: "read on the wrong side"}}))
	p := c.plan(t, "a1")
	if p.Due == nil || len(p.Takings) == 0 || !slices.ContainsFunc(p.Takings, func(x Taking) bool { return x.Measure == "shoulder_internal_rotation" && x.Trials >= 2 }) {
		t.Fatalf("due %+v, takings %+v", p.Due, p.Takings)
	}
	for _, x := range p.Takings {
		if c.Protocol().Measure(x.Measure).Derived != nil {
			t.Errorf("%s is computed", x.Measure)
		}
	}
	last := p.Last[VisitCell{"shoulder_internal_rotation", screen.Right}]
	var trials []float64
	for i := range last.Readings {
		trials = append(trials, last.Readings[i].Trials...)
	}
	if last.On != "2026-01-20" || !slices.Equal(trials, []float64{42, 43}) {
		t.Errorf("last %s: %v", last.On, trials)
	}
	if q := c.plan(t, "a2"); len(q.Takings) != 0 || q.Takings == nil || len(q.Last) != 0 {
		t.Errorf("never screened: %+v", q)
	}
}

// The team of today stands first, of several the one joined last; the team of the newest screen decides
// where that does not.
func TestVisitTeams(t *testing.T) {
	c, ctx := squad(t), context.Background()
	teams := func() string {
		var out []string
		for _, x := range c.plan(t, "a1").Teams {
			out = append(out, x.ID)
		}
		return strings.Join(out, " ")
	}
	join := func(id, team string, from, to screen.Date) {
		t.Helper()
		if err := c.PutMembership(ctx, boss, screen.Membership{ID: id, Team: team, Athlete: "a1", From: from, To: to}, 0); err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range []string{"t0", "t3"} {
		must[screen.Team](t)(c.PutTeam(ctx, boss, screen.Team{ID: id, Name: "A " + id, Sport: "baseball"}, 0))
	}
	if got := teams(); got != "t1" {
		t.Errorf("one team: %s", got)
	}
	join("m0", "t0", "", "") // as t1, without a day, and first by name; the newest screen is t1's
	if got := teams(); got != "t1 t0" {
		t.Errorf("same days: %s", got)
	}
	join("m2", "t2", "2026-02-01", "")
	join("m3", "t3", "2026-02-05", "2026-02-07")
	if got := teams(); got != "t2 t1 t0 t3" {
		t.Errorf("joined later, left: %s", got)
	}
	alone := screen.Athlete{ID: "a9", Name: "Nobody's", Born: "2011-04-02", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
	must[screen.Athlete](t)(c.PutAthlete(ctx, boss, alone, "", 0))
	if p := c.plan(t, "a9"); len(p.Teams) != 0 {
		t.Errorf("no team: %+v", p.Teams)
	}
}

// Two visits on one day are one on the course.
func TestTwoVisitsOnOneDay(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[SavedVisit](t)(c.SaveVisit(ctx, boss, visitOf("v1", "2026-02-10", 40, 62)))
	must[SavedVisit](t)(c.SaveVisit(ctx, boss, visitOf("v2", "2026-02-10", 42, 62)))
	course := c.mustCourse(t, "a1")
	n := 0
	for _, v := range course.Visits {
		if v.On == "2026-02-10" {
			n++
		}
	}
	m := course.Measure("internal_rotation_loss", "")
	if n != 1 || m == nil || len(m.Points) != 1 || m.Points[0].First != 41 {
		t.Errorf("%d visits, %+v", n, m)
	}
}
