package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"

	"evenhand/internal/demo"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// demoSquad is a clinic with the demo, and the athletes of it who have rehabilitation visits.
func demoSquad(t testing.TB) (*Clinic, *demo.Scenario, []string) {
	t.Helper()
	c := open(t)
	d := demo.Squad(c.Protocol(), 1, c.Today())
	if err := c.Seed(context.Background(), boss, d.Teams, d.Seasons, d.Athletes, d.Memberships, d.Consents, d.Records); err != nil {
		t.Fatal(err)
	}
	var rehab []string
	seen := map[string]bool{}
	for i := range d.Records {
		if s := &d.Records[i].Screen; s.Kind == screen.Rehab && !seen[s.Athlete] {
			seen[s.Athlete], rehab = true, append(rehab, s.Athlete)
		}
	}
	return c, &d, rehab
}

func (c *Clinic) mustCourse(t testing.TB, athlete string) CourseView {
	t.Helper()
	return must[CourseView](t)(c.Course(context.Background(), boss, athlete))
}

// Every point of a course is the finding that the score of its screen has.
func TestCourseIsTheScoresOfTheVisits(t *testing.T) {
	c, d, rehab := demoSquad(t)
	if len(rehab) != 2 {
		t.Fatalf("%d athletes in rehabilitation", len(rehab))
	}
	for _, athlete := range rehab {
		v := c.mustCourse(t, athlete)
		screens := 0
		for i := range d.Records {
			if d.Records[i].Screen.Athlete == athlete {
				screens++
			}
		}
		if len(v.Visits) != screens || v.Athlete.ID != athlete || v.Course.Athlete != athlete || v.Team.ID == "" || v.Today != c.Today() {
			t.Fatalf("%d visits of %d screens, athlete %q, team %q", len(v.Visits), screens, v.Course.Athlete, v.Team.ID)
		}
		points := 0
		for i := range v.Measures {
			m := &v.Measures[i]
			for _, p := range m.Points {
				a := must[Assessment](t)(c.Score(context.Background(), boss, v.Visits[p.Visit].Screen))
				if f := findingBy(a.Report, m.Rule, m.Side); f == nil || f.Difference != p.Difference || f.P != p.P || f.Verdict != p.Verdict || p.On != a.Report.On {
					t.Errorf("%s on %s: %+v, by the score %+v", m.Rule, p.On, p, f)
				}
				points++
			}
		}
		if points < 40 {
			t.Errorf("only %d points", points)
		}
	}
}

func findingBy(rep *score.Report, rule string, side screen.Side) *score.Finding {
	for i := range rep.Findings {
		if f := &rep.Findings[i]; f.Rule == rule && f.Side == side {
			return f
		}
	}
	return nil
}

// seen gives an athlete a screen with internal rotation on both sides.
func (c *Clinic) seen(t testing.TB, id, athlete, team string, on screen.Date, kind screen.Kind, right, left float64) {
	t.Helper()
	ctx := context.Background()
	must[screen.Screen](t)(c.PutScreen(ctx, boss, screen.Screen{ID: id, Athlete: athlete, Team: team, On: on, Kind: kind}, 0))
	must[Saved](t)(c.SaveReadings(ctx, boss, id, []Entry{ir(id+"-r", screen.Right, right, right), ir(id+"-l", screen.Left, left, left)}))
}

func TestCourseWithoutAScreen(t *testing.T) {
	c := squad(t)
	v := c.mustCourse(t, "a2")
	if len(v.Visits) != 0 || len(v.Measures) != 0 || v.Due != nil || v.Team.ID != "" || v.Course.Athlete != "a2" || v.Hold {
		t.Errorf("%+v", v)
	}
	if _, err := c.Course(context.Background(), boss, "nobody"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("an unknown athlete: %v", err)
	}
	if _, err := c.Course(context.Background(), Person{ID: "x"}, "a2"); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("a stranger: %v", err)
	}
}

// Two screens of one day are one visit, with what was read at both combined.
func TestTwoScreensOnOneDayAreOneVisit(t *testing.T) {
	c := squad(t)
	c.seen(t, "x1", "a1", "t1", "2026-01-05", screen.Rehab, 30, 60)
	c.seen(t, "x2", "a1", "t1", "2026-01-05", screen.Rehab, 40, 60)
	c.seen(t, "x3", "a1", "t1", "2026-01-20", screen.Rehab, 45, 60)
	v := c.mustCourse(t, "a1")
	m := v.Measure("internal_rotation_loss", "")
	if m == nil || len(m.Points) != 2 || len(v.Visits) != 3 || v.Visits[0].Screen != "x1" || v.Visits[2].Screen != "s1" {
		t.Fatalf("%+v", v.Visits)
	}
	// by the symmetry of the two readings the combined one is their mean
	if d := m.Points[0].Difference; d < 25-1e-9 || d > 25+1e-9 {
		t.Errorf("30° and 20° of one day are %v", d)
	}
}

// An athlete who changed the team is scored at each visit as that team's screens are, and the newest team
// is the one that the page names.
func TestEachVisitByItsOwnTeam(t *testing.T) {
	c, ctx := squad(t), context.Background()
	must[screen.Athlete](t)(c.PutAthlete(ctx, boss, must[screen.Athlete](t)(c.Athlete(ctx, boss, "a1")), "t2", 1))
	c.seen(t, "x1", "a1", "t1", "2026-01-05", screen.InSeason, 40, 60)
	c.seen(t, "x2", "a1", "t2", "2026-01-20", screen.InSeason, 40, 60)
	own := *c.Protocol().Measure("shoulder_internal_rotation")
	own.Resolved.Placing *= 2
	body := must[[]byte](t)(json.Marshal(study.Study{Measures: []study.Measure{{Measure: own.ID, Own: &own.Resolved}}}))
	err := c.gate.Store().Write(ctx, func(tx *store.Tx) error {
		if _, err := tx.PutStudy(screen.KeptStudy{ID: "st", Team: "t2", Name: "own", Protocol: c.Protocol().NameAndVersion(), Hash: c.Protocol().Hash, Body: body, Data: []byte("[]")}); err != nil {
			return err
		}
		_, err := tx.PutErrorSwitch(screen.ErrorSwitch{ID: "sw", Team: "t2", Study: "st", By: "boss"})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	v := c.mustCourse(t, "a1")
	m := v.Measure("internal_rotation_loss", "")
	if m == nil || len(m.Points) != 2 || !(m.Points[1].SE > 1.2*m.Points[0].SE) {
		t.Fatalf("the second team's error is twice as large: %+v", m)
	}
	if v.Team.ID != "t1" { // screen s1 of 9 February, without readings
		t.Errorf("team %q", v.Team.ID)
	}
	c.seen(t, "x3", "a1", "t2", "2026-02-10", screen.InSeason, 40, 60)
	if v := c.mustCourse(t, "a1"); v.Team.ID != "t2" || v.Errors.Study != "st" {
		t.Errorf("team %q, errors %+v", v.Team.ID, v.Errors)
	}
}

func TestFiveHundredVisits(t *testing.T) {
	c, ctx := squad(t), context.Background()
	err := c.gate.Store().Write(ctx, func(tx *store.Tx) error {
		for i := range 500 {
			s := screen.Screen{ID: fmt.Sprintf("m%03d", i), Athlete: "a1", Team: "t1", On: screen.Date("2024-01-01").AddDays(i), Kind: screen.InSeason}
			if _, err := tx.PutScreen(&s, 0); err != nil {
				return err
			}
			r := ir(s.ID+"-r", screen.Right, 40, 41).Reading
			l := ir(s.ID+"-l", screen.Left, 60, 61).Reading
			r.Screen, l.Screen = s.ID, s.ID
			if _, err := tx.PutReadings(s.ID, []screen.Reading{r, l}, nil); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	v := c.mustCourse(t, "a1")
	if m := v.Measure("internal_rotation_loss", ""); len(v.Visits) != 501 || m == nil || len(m.Points) != 500 || m.Trend == nil {
		t.Errorf("%d visits", len(v.Visits))
	}
}

// Courses of several athletes at once are the same as one by one.
func TestCoursesTogether(t *testing.T) {
	c, d, rehab := demoSquad(t)
	must[bool](t)(event(c, screen.Event{ID: "e1", Athlete: rehab[0], On: "2025-09-01", Kind: screen.EventInjury}))
	ids := []string{rehab[0], rehab[1], d.Athletes[0].ID, d.Athletes[1].ID}
	err := c.gate.Store().Read(context.Background(), func(tx *store.Tx) error {
		all, err := c.courses(tx, ids)
		for _, id := range ids {
			one := c.mustCourse(t, id).Course
			a, b := must[[]byte](t)(json.Marshal(all[id])), must[[]byte](t)(json.Marshal(one))
			if string(a) != string(b) {
				t.Errorf("the course of %s differs", id)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

func event(c *Clinic, e screen.Event) (bool, error) {
	_, added, err := c.PutEvent(context.Background(), boss, e)
	return added, err
}

func BenchmarkCourse(b *testing.B) {
	c, _, rehab := demoSquad(b)
	for b.Loop() {
		c.mustCourse(b, rehab[0])
	}
}
