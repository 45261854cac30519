package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// The form opens with the protocol's plan, and sent as it is it makes that day.
func TestANewDayStartsFromThePlan(t *testing.T) {
	p := newPlace(t, Options{})
	body := p.get("/teams/"+p.scenario.Teams[0].ID+"/days/new", http.StatusOK)
	plan := p.clinic.Protocol().Stations
	for _, st := range plan {
		wants(t, body, `value="`+st.Name+`"`)
	}
	for i := range p.clinic.Protocol().Measures {
		m := &p.clinic.Protocol().Measures[i]
		if offered := strings.Contains(body, `name="at-`+m.ID+`"`); offered != (m.Derived == nil) {
			t.Errorf("%s is offered: %v", m.ID, offered)
		}
	}
	wants(t, body, "throwing side first", "left side first", "right side first", `name="at-check_in"`, `name="at-checklist"`, "not today", `placeholder="3"`,
		"What it comes to", "per athlete", "Set up the day")
	wantsNot(t, body, "ZgotmplZ", "minutes")
	wants(t, p.get("/teams/"+emptyTeam+"/days/new", http.StatusOK), "add a roster first", "/teams/"+emptyTeam+"/roster")
	p.get("/teams/none/days/new", http.StatusNotFound)
}

// The 10 numbers of an athlete, by hand: 2 sides of 3 trials as typed, and 2 sides of the 2 trials that
// the protocol plans.
func TestADayIsSetUp(t *testing.T) {
	p := newPlace(t, Options{})
	id, form := p.setUp()
	v, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	d := v.Day
	if len(d.Stations) != 3 || d.Stations[1].Name != "Shoulder" || d.Stations[2].Name != "Throwing motion" || d.Every != 5 {
		t.Fatalf("%+v", d)
	}
	steps := d.Stations[1].Steps
	if len(steps) != 2 || steps[0] != (screen.Step{Kind: screen.StepMeasure, Measure: "shoulder_external_rotation", Trials: 3}) || steps[1].Measure != "shoulder_internal_rotation" {
		t.Errorf("the places do not decide the order: %+v", steps)
	}
	p.seeOther(p.post("/teams/"+d.Team+"/days/new", form)) // the same form again is the same day
	list, _, err := p.clinic.Days(t.Context(), clinic.LocalAdministrator, d.Team, clinic.Page{})
	p.must(err)
	if len(list) != 1 {
		t.Errorf("%d days", len(list))
	}
	edit := p.get("/days/"+id+"/edit", http.StatusOK)
	wants(t, edit, "10 numbers", "phones take a change over", `name="trials-shoulder_external_rotation" value="3"`, `name="code-2" value="`+d.Stations[1].Code+`"`, "by number", `name="twice"`)
	wants(t, p.get("/teams/"+d.Team, http.StatusOK), `href="/days/day-1"`, "Set up a screening day", "/roster")
	wants(t, p.get("/", http.StatusOK), "Screening today", `href="/days/day-1"`)
	wants(t, p.get("/teams/"+d.Team+"/days", http.StatusOK), "10 Mar 2026", "3 stations, open")
	wants(t, p.get("/teams/"+emptyTeam+"/days", http.StatusOK), "No screening day yet")
}

func TestChangingADay(t *testing.T) {
	p := newPlace(t, Options{})
	id, form := p.setUp()
	before, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	form.Set("revision", strconv.Itoa(before.Day.Revision))
	form.Set("every", "0")
	form.Set("name-1", "Door")
	form.Set("code-1", before.Day.Stations[0].Code)
	form.Set("code-2", before.Day.Stations[1].Code)
	form.Set("twice", before.Athletes[1].Athlete)
	p.seeOther(p.post("/days/"+id+"/edit", form))
	after, err := p.clinic.Day(t.Context(), clinic.LocalAdministrator, id)
	p.must(err)
	if after.Day.Stations[0].Name != "Door" || after.Day.Stations[0].Code != before.Day.Stations[0].Code {
		t.Errorf("the station did not keep its code: %+v", after.Day.Stations[0])
	}
	for i := range after.Athletes {
		if after.Athletes[i].Twice != (i == 1) {
			t.Errorf("number %d is measured twice: %v", after.Athletes[i].Number, after.Athletes[i].Twice)
		}
	}
	form.Set("name-1", "Gate")
	if w := p.post("/days/"+id+"/edit", form); w.Code != http.StatusConflict {
		t.Errorf("a stale form: %d", w.Code)
	}
	wants(t, p.get("/days/"+id+"/edit", http.StatusOK), `value="`+after.Athletes[1].Athlete+`" checked`)
}

// Every fault stands at the field that it came from, and what was typed stays. Station 3 is left out,
// so that the fault of the second station of the day belongs to field 4.
func TestFaultsOfADay(t *testing.T) {
	p := newPlace(t, Options{})
	team := "/teams/" + p.scenario.Teams[0].ID + "/days/new"
	good := url.Values{"id": {"day-2"}, "revision": {"0"}, "on": {"2026-03-10"}, "kind": {"preseason"}, "side_order": {"throwing_first"}, "every": {"0"}, "stations": {"8"},
		"name-1": {"Check-in"}, "at-check_in": {"1"}, "name-4": {"Strength"}, "at-grip_strength": {"4"}, "place-grip_strength": {"1"},
		"at-elbow_flexion": {"4"}, "place-elbow_flexion": {"2"}, "trials-elbow_flexion": {"12"}}
	w := p.post(team, good)
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), `id="fault-at-elbow_flexion">Elbow flexion comes after Grip strength`, "Right would be: put range before strength", `id="fault-trials-elbow_flexion"`,
		`<a href="#at-elbow_flexion">Station 4, Elbow flexion</a>`, `name="trials-elbow_flexion" value="12"`, `value="Strength"`)
	for _, x := range []struct{ field, value, fault string }{
		{"on", "tomorrow", `id="fault-on"`}, {"kind", "holiday", `id="fault-kind"`}, {"side_order", "any", `id="fault-side_order"`}, {"every", "1", `id="fault-every"`},
		{"every", "often", `&#34;often&#34; is not a whole number. Right would be: 0 for nobody, or 5 for every fifth.`},
		{"place-grip_strength", "first", `id="fault-place-grip_strength"`}, {"trials-elbow_flexion", "two", `id="fault-trials-elbow_flexion"`},
		{"name-4", "", `id="fault-name-4"`}, {"name-5", "Nothing here", `id="fault-name-5"`}, {"name-1", hostile + strings.Repeat("x", 500), `id="fault-name-1"`},
	} {
		form := url.Values{}
		for k, v := range good {
			form[k] = v
		}
		form.Set("place-elbow_flexion", "0")
		form.Set("trials-elbow_flexion", "")
		form.Set(x.field, x.value)
		w := p.post(team, form)
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s %q: %d", x.field, x.value, w.Code)
		}
		wants(t, w.Body.String(), x.fault)
		wantsNot(t, w.Body.String(), "<img")
	}
	if w := p.post(team, url.Values{"id": {"day-3"}, "stations": {"8"}, "on": {"2026-03-10"}, "kind": {"rehab"}, "side_order": {"left_first"}}); !strings.Contains(w.Body.String(), `id="fault-stations"`) {
		t.Error("a day without stations has no fault at them")
	}
}

// Counting saves nothing and says what the fields come to.
func TestCountingADay(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	form := url.Values{"id": {"day-4"}, "on": {"2026-03-10"}, "kind": {"preseason"}, "side_order": {"left_first"}, "every": {"2"}, "stations": {"8"}, "do": {"count"},
		"name-1": {"Grip"}, "at-grip_strength": {"1"}, "trials-grip_strength": {"4"}}
	w := p.post("/teams/"+team+"/days/new", form)
	if w.Code != http.StatusOK {
		t.Fatalf("%d", w.Code)
	}
	wants(t, w.Body.String(), "8 numbers per athlete", `value="left_first" selected`, "grip strength, 4 trials on each side")
	p.get("/days/day-4", http.StatusNotFound)
}

func TestGrouped(t *testing.T) {
	for n, want := range map[int]string{0: "0", 999: "999", 1000: "1,000", 6480: "6,480", 1234567: "1,234,567"} {
		if got := grouped(n); got != want {
			t.Errorf("%d: %q", n, got)
		}
	}
}
