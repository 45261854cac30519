package api

import (
	"fmt"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// visits gives athlete A screens of the shoulder's rotation two weeks apart, after a preseason screen; the
// last is on the day before the tests.
func (r *rig) visits(n int) *rig {
	r.t.Helper()
	r.squad()
	for i := range n {
		id, kind := fmt.Sprintf("V%d", i), "in_season"
		if i == 0 {
			kind = "preseason"
		}
		on := screen.Date("2026-02-09").AddDays(-14 * (n - i))
		r.do("PUT", "/api/v1/screens/"+id, fmt.Sprintf(`{"athlete":"A","team":"T","on":%q,"kind":%q}`, on, kind)).is(201)
		r.do("PUT", "/api/v1/screens/"+id+"/readings", readingsBody(
			reading(id+"r", "shoulder_internal_rotation", "right", 36+float64(i), 37+float64(i)), reading(id+"l", "shoulder_internal_rotation", "left", 62, 61),
			reading(id+"er", "shoulder_external_rotation", "right", 100, 101), reading(id+"el", "shoulder_external_rotation", "left", 100, 99))).is(200)
	}
	return r
}

const injured = `{"id":"E1","on":"2026-01-05","kind":"injury","link":"shoulder","side":"right","note":"sore after throwing"}`

func TestCourse(t *testing.T) {
	r := newRig(t).visits(5)
	r.do("POST", "/api/v1/athletes/A/events", injured).is(201)
	var got courseBody
	a := r.do("GET", "/api/v1/athletes/A/course", "").is(200).into(&got)
	if got.Athlete != "A" || got.Team != "T" || len(got.Visits) != 6 || len(got.Events) != 1 || len(got.Cautions) == 0 || got.Protocol.Hash != r.clinic.Protocol().Hash {
		t.Fatalf("course %.2000s", a.body)
	}
	want, err := r.clinic.Course(t.Context(), access.Local, "A")
	if err != nil {
		t.Fatal(err)
	}
	for i := range want.Measures {
		w, g := &want.Measures[i], &got.Measures[i]
		if g.Rule != w.Rule || g.State != w.State || g.Statement != w.Statement || len(g.Points) != len(w.Points) || (g.Trend == nil) != (w.Trend == nil) {
			t.Errorf("%s differs: %+v", w.Rule, g)
		}
	}
	r.do("GET", "/api/v1/athletes/nobody/course", "").fault(404, "", "no such athlete")
}

// Also of the demo's athletes, whose courses hold every kind of measure, the answer is as the document
// says, and so is that of somebody never screened.
func TestCourseIsAsTheDocumentSays(t *testing.T) {
	r := newRig(t).squad()
	r.do("PUT", "/api/v1/athletes/B?team=T", athleteBody).is(201)
	var none courseBody
	r.do("GET", "/api/v1/athletes/B/course", "").is(200).into(&none)
	if none.Athlete != "B" || none.Visits == nil || none.Measures == nil || none.Due != nil {
		t.Errorf("never screened: %+v", none)
	}
	d := demo.Squad(r.clinic.Protocol(), 1, r.clinic.Today())
	if err := r.clinic.Seed(t.Context(), clinic.LocalAdministrator, d.Teams, d.Seasons, d.Athletes, d.Memberships, d.Consents, d.Records); err != nil {
		t.Fatal(err)
	}
	for i := range d.Athletes {
		r.do("GET", "/api/v1/athletes/"+d.Athletes[i].ID+"/course", "").is(200)
	}
}

func TestCourseChart(t *testing.T) {
	r := newRig(t).visits(4)
	var c chart.Chart
	r.do("GET", "/api/v1/athletes/A/charts/course/internal_rotation_loss", "").is(200).into(&c)
	if len(c.Table.Rows) != 4 || !strings.Contains(c.Summary, "4 visits") || len(c.Option) == 0 {
		t.Errorf("%q, %d rows", c.Summary, len(c.Table.Rows))
	}
	r.do("GET", "/api/v1/athletes/A/charts/course/internal_rotation_loss?side=left", "").is(200) // a rule on both sides has no side
	r.do("GET", "/api/v1/athletes/A/charts/course/none", "").fault(404, "", "no values by this rule")
	r.do("GET", "/api/v1/athletes/A/charts/course/internal_rotation_loss?side=up", "").fault(422, "query.side", "left, right")
	r.do("GET", "/api/v1/athletes/nobody/charts/course/internal_rotation_loss", "").fault(404, "", "no such athlete")
}

func TestAthleteEvents(t *testing.T) {
	r := newRig(t).squad()
	var e screen.Event
	r.do("POST", "/api/v1/athletes/A/events", injured).is(201).into(&e)
	if e.ID != "E1" || e.Athlete != "A" || e.EnteredBy != clinic.LocalAdministrator.ID || !e.Entered.Equal(noon) {
		t.Errorf("%+v", e)
	}
	r.do("POST", "/api/v1/athletes/A/events", injured).is(200).into(&e)
	r.do("POST", "/api/v1/athletes/A/events", strings.Replace(injured, "01-05", "01-06", 1)).fault(409, "", "event")
	for _, x := range []struct{ from, to, at, says string }{
		{"2026-01-05", "2026-02-11", "body.on", "in the future"},
		{"2026-01-05", "5 January", "body.on", "not a day"},
		{`"shoulder"`, `"neck"`, "body.link", "link of the protocol"},
		{`"E1"`, `"a b"`, "body.id", ""},
		{`"injury"`, `"rest"`, "body.kind", ""},
		{`"injury"`, `"clearance"`, "body.note", "who gave it"},
		{`"right"`, `"none"`, "body.side", ""},
	} {
		body := strings.Replace(strings.Replace(injured, "E1", "E2", 1), x.from, x.to, 1)
		if x.to == `"clearance"` {
			body = strings.Replace(body, "sore after throwing", "", 1)
		}
		if x.from == `"E1"` {
			body = strings.Replace(injured, x.from, x.to, 1)
		}
		r.do("POST", "/api/v1/athletes/A/events", body).fault(422, x.at, x.says)
	}
	r.do("POST", "/api/v1/athletes/nobody/events", strings.Replace(injured, "E1", "E2", 1)).fault(404, "", "no such athlete")
	r.do("GET", "/api/v1/athletes/nobody/events", "").fault(404, "", "no such athlete")

	r.do("POST", "/api/v1/events/E1/withdrawal", `{"why":" "}`).fault(422, "body.why", "why")
	r.do("POST", "/api/v1/events/E9/withdrawal", `{"why":"wrong athlete"}`).fault(404, "", "no such event")
	r.do("POST", "/api/v1/events/E1/withdrawal", `{"why":"wrong athlete"}`).is(204)
	r.do("POST", "/api/v1/events/E1/withdrawal", `{"why":"wrong athlete"}`).is(204)
	r.do("POST", "/api/v1/events/E1/withdrawal", `{"why":"another day"}`).fault(409, "", "another reason")
	var list struct{ Items []screen.Event }
	r.do("GET", "/api/v1/athletes/A/events", "").is(200).into(&list)
	if len(list.Items) != 1 || list.Items[0].Withdrawn != "wrong athlete" {
		t.Errorf("%+v", list.Items)
	}
	r.do("POST", "/api/v1/athletes/A/events", injured).is(200).into(&e) // sent again later: still withdrawn
	if e.Withdrawn != "wrong athlete" {
		t.Errorf("an event sent again stands again: %+v", e)
	}
}
