package web

import (
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

const visitAt = "/visit?visit=v1"

// visitForm is a form as it is sent: a visit of today with internal rotation on both sides.
func visitForm(team string, more url.Values) url.Values {
	form := url.Values{"on": {"2026-03-10"}, "kind": {"in_season"}, "team": {team}, "examiner": {"KD"}, "measure": {"shoulder_internal_rotation"},
		"shoulder_internal_rotation-right-1": {"40"}, "shoulder_internal_rotation-right-2": {"41,5"},
		"shoulder_internal_rotation-left-1": {"62"}, "shoulder_internal_rotation-left-2": {"62"}}
	for k, v := range more {
		form[k] = v
	}
	return form
}

// record is the visit that was kept under an id, nil if there is none.
func (p *place) record(id string) *screen.Record {
	p.t.Helper()
	rec, err := p.clinic.Record(p.t.Context(), clinic.LocalAdministrator, id)
	if screen.IsCode(err, screen.NotFound) {
		return nil
	}
	p.must(err)
	return rec
}

// The address gets an id of the visit first, so that going back shows the same form.
func TestVisitAddressHasTheVisit(t *testing.T) {
	p := newPlace(t, Options{})
	at := "/athletes/" + nobodyYet
	w := p.do(http.MethodGet, at+"/visit?measure=grip_strength", nil)
	if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || !regexp.MustCompile(`^`+at+`/visit\?measure=grip_strength&visit=new-\d+$`).MatchString(to) {
		t.Fatalf("%d to %q", w.Code, to)
	}
	body := p.get(w.Header().Get("Location"), http.StatusOK)
	wants(t, body, "<h1>Enter a visit</h1>", "Not screened yet", `value="2026-03-10"`, `max="2026-03-10"`, `<option value="preseason" selected>`, "Grip strength",
		`name="grip_strength-right-1"`, `inputmode="decimal"`, "Show these measures", "Pain or another sign", "referral sign", "A screen is not a diagnosis", "&lt;img src=x")
	wantsNot(t, body, `name="shoulder_internal_rotation-right-1"`, "ZgotmplZ", "&lt;no value&gt;", "%!", "<img", "<script>")
	p.get("/athletes/nowhere"+visitAt, http.StatusNotFound)
	all := p.get(at+visitAt+"&all=1", http.StatusOK)
	for i := range p.clinic.Protocol().Measures {
		m := &p.clinic.Protocol().Measures[i]
		if has := strings.Contains(all, `<fieldset id="m-`+m.ID+`">`); has == (m.Derived != nil) {
			t.Errorf("%s: shown %v, computed %v", m.ID, has, m.Derived != nil)
		}
	}
}

// What the course asks for is shown with its trials, the throwing side and the lead leg first, and what
// was read last only on request.
func TestVisitProposesWhatIsDue(t *testing.T) {
	p := newPlace(t, Options{})
	id := p.newcomer("visitor")
	p.screened(id, "w1", "2025-08-01", screen.Preseason, 40, 62)
	plan, err := p.clinic.PlanVisit(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	if plan.Due == nil || !plan.Due.Overdue || len(plan.Takings) == 0 {
		t.Fatalf("%+v", plan.Due)
	}
	body := p.get("/athletes/"+id+visitAt+"&measure=hip_internal_rotation", http.StatusOK)
	wants(t, body, "Due since "+day(plan.Due.On), `<option value="in_season" selected>`, "<summary>Last time</summary>", "1 Aug 2025", "40°, 40°")
	at := func(text string) int {
		i := strings.Index(body, text)
		if i < 0 {
			t.Errorf("%q is missing", text)
		}
		return i
	}
	for _, x := range plan.Takings {
		at(`name="trials-` + x.Measure + `" value="` + string(rune('0'+x.Trials)) + `"`)
	}
	if at(`id="shoulder_internal_rotation-right-1"`) > at(`id="shoulder_internal_rotation-left-1"`) || at("Lead leg (left)") > at("Trail leg (right)") ||
		at(`id="m-shoulder_internal_rotation"`) > at(`id="m-hip_internal_rotation"`) {
		t.Error("the order is another one")
	}
	if i := strings.Index(body, "40°, 40°"); !strings.Contains(body[strings.LastIndex(body[:i], "<details"):i], "<details><summary>Last time") {
		t.Error("the last value is not folded")
	}
}

// A visit is kept once, whatever is pressed twice, and leads to the course.
func TestVisitIsKept(t *testing.T) {
	p := newPlace(t, Options{})
	team, id := p.scenario.Teams[0].ID, p.newcomer("visitor")
	form := visitForm(team, url.Values{"threw": {"yes"}, "note": {"after warming up"}, "symptom": {"inner_elbow_tender"}, "symptom_side": {"right"},
		"elbow_extension-left-1": {"4"}, "word-elbow_extension-left-1": {"negative"}, "word-elbow_extension-left-2": {"zero"},
		"elbow_extension-right-1": {"2"}, "word-elbow_extension-right-1": {"positive"}})
	form["measure"] = []string{"shoulder_internal_rotation", "elbow_extension"}
	for range 2 {
		w := p.post("/athletes/"+id+visitAt, form)
		if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/athletes/"+id+"/course" {
			t.Fatalf("%d to %q\n%s", w.Code, w.Header().Get("Location"), clipped(w.Body.String()))
		}
	}
	rec := p.record("v1")
	got := map[string][]float64{}
	for _, r := range rec.Readings {
		got[r.Measure+" "+string(r.Side)] = r.Trials
		if r.Examiner != "KD" {
			t.Errorf("%+v", r)
		}
	}
	for cell, trials := range map[string][]float64{"shoulder_internal_rotation right": {40, 41.5}, "shoulder_internal_rotation left": {62, 62},
		"elbow_extension left": {-4, 0}, "elbow_extension right": {2}} {
		if !slices.Equal(got[cell], trials) {
			t.Errorf("%s: %v, want %v", cell, got[cell], trials)
		}
	}
	s := rec.Screen
	if len(rec.Readings) != 4 || s.Team != team || s.On != "2026-03-10" || s.Kind != screen.InSeason || s.ThrewIn48h == nil || !*s.ThrewIn48h || s.Note == "" ||
		len(rec.Symptoms) != 1 || rec.Symptoms[0].Side != screen.Right {
		t.Errorf("%+v", rec)
	}
	wants(t, p.coursePageOf(id, ""), "Enter a visit", "Referral sign on 10 Mar 2026")
	wants(t, p.get("/athletes/"+id+visitAt, http.StatusOK), "The visit of 10 Mar 2026 is on record: 4 readings.", "Enter another visit")
	wants(t, p.get("/athletes/"+nobodyYet+visitAt, http.StatusOK), "belongs to another visit")
	form.Set("shoulder_internal_rotation-right-1", "44")
	w := p.post("/athletes/"+id+visitAt, form)
	if w.Code != http.StatusConflict {
		t.Errorf("sent again with another value: %d", w.Code)
	}
	wants(t, w.Body.String(), "stays as it was sent first", `href="/screens/v1"`)
	if again := p.record("v1"); len(again.Readings) != 4 || again.Screen.Revision != rec.Screen.Revision {
		t.Errorf("%+v", again)
	}
}

// An unlikely value is taken, and asked about on the page of its screen.
func TestVisitAsks(t *testing.T) {
	p := newPlace(t, Options{})
	id := p.newcomer("visitor")
	w := p.post("/athletes/"+id+visitAt, visitForm(p.scenario.Teams[0].ID, url.Values{"shoulder_internal_rotation-right-2": {"60"}}))
	if to := w.Header().Get("Location"); to != "/athletes/"+id+"?screen=v1" {
		t.Fatalf("%d to %q", w.Code, to)
	}
	wants(t, p.get(w.Header().Get("Location"), http.StatusOK), "Look at these values again", "Measure again")
}

// Each fault stands beside its field with what would be right, everything typed stays, nothing is kept.
func TestVisitFaults(t *testing.T) {
	p := newPlace(t, Options{})
	team, id := p.scenario.Teams[0].ID, p.newcomer("visitor")
	elbow := []string{"shoulder_internal_rotation", "elbow_extension"}
	for name, x := range map[string]struct {
		more  url.Values
		field string
		says  string
	}{
		"tomorrow":           {url.Values{"on": {"2026-03-11"}}, "on", "in the future. Right would be: today or earlier."},
		"no day":             {url.Values{"on": {"10.3."}}, "on", "is not a day. Right would be: a day such as"},
		"no such occasion":   {url.Values{"kind": {"party"}}, "kind", "Right would be: preseason, in_season or rehab."},
		"another team":       {url.Values{"team": {emptyTeam}}, "team", "a team that the athlete belongs to"},
		"letters":            {url.Values{"shoulder_internal_rotation-left-1": {hostile}}, "shoulder_internal_rotation-left-1", "is not a number. Right would be: a number such as 45 or 45.5."},
		"infinity":           {url.Values{"shoulder_internal_rotation-left-1": {"inf"}}, "shoulder_internal_rotation-left-1", "is not a number."},
		"hexadecimal":        {url.Values{"shoulder_internal_rotation-left-1": {"0x10"}}, "shoulder_internal_rotation-left-1", "is not a number."},
		"out of range":       {url.Values{"shoulder_internal_rotation-left-2": {"162"}}, "shoulder_internal_rotation-left-2", "162° is outside the plausible range of shoulder internal rotation"},
		"which way":          {url.Values{"measure": elbow, "elbow_extension-left-1": {"4"}}, "elbow_extension-left-1", "not said which way. Right would be: short of straight, or beyond straight."},
		"zero and a number":  {url.Values{"measure": elbow, "elbow_extension-left-1": {"4"}, "word-elbow_extension-left-1": {"zero"}}, "elbow_extension-left-1", "Straight is said"},
		"plus and minus":     {url.Values{"measure": elbow, "elbow_extension-left-1": {"−4"}, "word-elbow_extension-left-1": {"positive"}}, "elbow_extension-left-1", "has a minus"},
		"a word alone":       {url.Values{"measure": elbow, "word-elbow_extension-left-1": {"negative"}}, "elbow_extension-left-1", "The number is missing"},
		"too far":            {url.Values{"measure": elbow, "elbow_extension-left-1": {"70"}, "word-elbow_extension-left-1": {"negative"}}, "elbow_extension-left-1", "70° short of straight is outside the plausible range. Right would be: 60° short of straight to 30° beyond straight."},
		"no such side":       {url.Values{"symptom": {"arm_tired"}, "symptom_side": {"up"}}, "symptoms", "the side is"},
		"no count":           {url.Values{"measure": {"stance_errors"}, "stance_errors-left-1": {"1.5"}}, "stance_errors-left-1", "whole number"},
		"no such category":   {url.Values{"measure": {"scapula_rating"}, "scapula_rating-left-1": {"9"}}, "scapula_rating-left-1", "is no category"},
		"control characters": {url.Values{"note": {"a\x01b"}}, "note", "control characters"},
	} {
		w := p.post("/athletes/"+id+visitAt, visitForm(team, x.more))
		body := w.Body.String()
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", name, w.Code)
			continue
		}
		wants(t, body, "Not saved.", `href="#`+x.field+`"`, `id="fault-`+x.field+`"`, "</html>")
		if !strings.Contains(strings.ToLower(body), strings.ToLower(x.says)) {
			t.Errorf("%s: %q is missing in\n%s", name, x.says, clipped(body))
		}
		wants(t, body, `value="41,5"`, `value="KD"`) // as typed
		wantsNot(t, body, "<img", "ZgotmplZ", "%!")
		if n := strings.Count(body, `id="`+x.field+`"`); n != 1 {
			t.Errorf("%s: the field stands %d times", name, n)
		}
		if p.record("v1") != nil {
			t.Fatalf("%s: it was kept", name)
		}
	}
	w := p.post("/athletes/"+id+visitAt, url.Values{"on": {"2026-03-10"}, "kind": {"rehab"}, "team": {team}})
	wants(t, w.Body.String(), "Nothing was entered. Right would be: at least one value, or a symptom.", `href="#measures"`)
	two := p.post("/athletes/"+id+visitAt, visitForm(team, url.Values{"on": {"2026-03-12"}, "shoulder_internal_rotation-left-1": {"x"}, "shoulder_internal_rotation-left-2": {"150"}}))
	wants(t, two.Body.String(), "Some things have", `id="fault-on"`, `id="fault-shoulder_internal_rotation-left-1"`, `id="fault-shoulder_internal_rotation-left-2"`)
	if p.record("v1") != nil || p.log.Len() > 0 {
		t.Errorf("kept, or logged: %s", p.log)
	}
}

// Measures and trials are added without losing what was typed, and nothing is kept meanwhile.
func TestVisitShowsMore(t *testing.T) {
	p := newPlace(t, Options{})
	team, id := p.scenario.Teams[0].ID, p.newcomer("visitor")
	show := visitForm(team, url.Values{"do": {"show"}, "measure": {"shoulder_internal_rotation", "grip_strength"}, "symptom": {"arm_tired"}})
	w := p.post("/athletes/"+id+visitAt, show)
	if w.Code != http.StatusOK {
		t.Fatal(w.Code)
	}
	wants(t, w.Body.String(), `value="41,5"`, `name="grip_strength-left-3"`, `value="arm_tired" checked`)
	wantsNot(t, w.Body.String(), "Not saved", `name="shoulder_internal_rotation-left-3"`)
	body := p.post("/athletes/"+id+visitAt, visitForm(team, url.Values{"more": {"shoulder_internal_rotation"}, "trials-shoulder_internal_rotation": {"2"}})).Body.String()
	wants(t, body, `name="shoulder_internal_rotation-left-3"`, `value="41,5"`)
	most := p.clinic.Protocol().Measure("shoulder_internal_rotation").Trials.Most
	body = p.post("/athletes/"+id+visitAt, visitForm(team, url.Values{"more": {"shoulder_internal_rotation"}, "trials-shoulder_internal_rotation": {"999"}})).Body.String()
	if n := strings.Count(body, `name="shoulder_internal_rotation-left-`); n != most {
		t.Errorf("%d trials, at most %d can be taken", n, most)
	}
	wantsNot(t, body, `value="shoulder_internal_rotation" formaction`)
	if p.record("v1") != nil {
		t.Error("it was kept")
	}
}

// Who belongs to no team, throws with both hands, or to two teams.
func TestVisitOfOthers(t *testing.T) {
	p := newPlace(t, Options{})
	a := p.scenario.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = "alone", "No Team", "", 0
	_, err := p.clinic.PutAthlete(t.Context(), clinic.LocalAdministrator, a, "", 0)
	p.must(err)
	body := p.get("/athletes/alone"+visitAt, http.StatusOK)
	wants(t, body, "belongs to no team")
	wantsNot(t, body, "<form")
	body = p.get("/athletes/"+switchHitter+visitAt+"&measure=shoulder_internal_rotation", http.StatusOK)
	wants(t, body, `<p class="side">Right</p>`, `<p class="side">Left</p>`)
	wantsNot(t, body, "Throwing (", `<select id="team"`)
	p.must(p.clinic.PutMembership(t.Context(), clinic.LocalAdministrator, screen.Membership{ID: "second", Team: emptyTeam, Athlete: switchHitter, From: "2026-03-01"}, 0))
	wants(t, p.get("/athletes/"+switchHitter+visitAt, http.StatusOK), `<select id="team"`, `<option value="`+emptyTeam+`" selected>`)
	p.event(switchHitter, screen.Event{ID: "hurt", On: "2026-03-09", Kind: screen.EventInjury})
	wants(t, p.get("/athletes/"+switchHitter+visitAt, http.StatusOK), "On hold", `<option value="rehab" selected>`)
}
