package api

import (
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func TestAthletes(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	var a screen.Athlete
	r.do("POST", "/api/v1/athletes?team=T", athleteBody).is(201).tag(`"1"`).into(&a)
	if a.ID != "made-1" || a.Hands[0].Hand != screen.RightHand || a.HeightCM != 170 {
		t.Errorf("made %+v", a)
	}
	r.do("POST", "/api/v1/athletes?team=nowhere", athleteBody).fault(422, "", "no such team")
	r.do("PUT", "/api/v1/athletes/B?team=nowhere", athleteBody).fault(422, "", "no such team")
	r.do("GET", "/api/v1/athletes/B", "").fault(404, "", "no such athlete")
	var got items
	r.do("GET", "/api/v1/athletes?team=T", "").is(200).into(&got)
	if len(got.Items) != 1 || got.Items[0].ID != a.ID {
		t.Errorf("athletes of the team %+v", got)
	}
}

func TestBadAthletes(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	for _, c := range []struct{ from, to, location, says string }{
		{"2011-04-02", "2031-04-02", "body.born", "in the future"},
		{"2011-04-02", "1886-01-01", "body.born", "140 years old"},
		{"2011-04-02", "1920-01-01", "body.born", "106 years old"},
		{"2011-04-02", "2011-02-30", "body.born", "is not a day"},
		{`"2011-04-02"`, "20110402", "body.born", "text in quotes"},
		{`"male"`, `"m"`, "body.sex", "male, female"},
		{`"right"`, `"sinister"`, "body.hands[0].hand", "left, right, both"},
		{`[{"hand":"right"}]`, `[]`, "body.hands", "left, right or both"},
		{`[{"hand":"right"}]`, `null`, "body.hands", "a list"},
		{`"baseball"`, `"chess"`, "body.sport", "one of"},
		{`"school"`, `"kindergarten"`, "body.level", "youth"},
		{`170`, `17000`, "body.height_cm", "out of range"},
		{`170`, `"170"`, "body.height_cm", "a number"},
		{`"A. Example"`, `" "`, "body.name", "missing"},
		{`"name":"A. Example",`, ``, "body.name", "missing"},
		{`"name":`, `"nmae":`, "body.nmae", `did you mean "name"?`},
		{`"name":`, `"Name":`, "body.Name", `did you mean "name"?`},
		{`"hand":`, `"hadn":`, "body.hands[0].hadn", `did you mean "hand"?`},
		{`"sex":"male"`, `"sex":"male","sex":"female"`, "body.sex", "twice"},
	} {
		body := strings.Replace(athleteBody, c.from, c.to, 1)
		if body == athleteBody {
			t.Fatalf("%s is not in the body", c.from)
		}
		status := 422
		if c.says == "twice" {
			status = 400
		}
		r.do("PUT", "/api/v1/athletes/A?team=T", body).fault(status, c.location, c.says)
		r.do("POST", "/api/v1/athletes?team=T", body).fault(status, c.location, c.says)
		r.do("GET", "/api/v1/athletes/A", "").is(404)
	}
	var got items
	if r.do("GET", "/api/v1/athletes", "").is(200).into(&got); len(got.Items) != 0 {
		t.Errorf("something was kept: %+v", got)
	}
}

func TestTargets(t *testing.T) {
	r := newRig(t).squad()
	var none targetsBody
	r.do("GET", "/api/v1/athletes/A/targets", "").is(200).into(&none)
	if none.Screen != "S" {
		t.Errorf("targets of a screen without readings %+v", none)
	}
	r.do("PUT", "/api/v1/screens/S/readings", shoulder).is(200)
	var got targetsBody
	r.do("GET", "/api/v1/athletes/A/targets", "").is(200).into(&got)
	if got.Screen != "S" || got.On != "2026-02-09" || len(got.Items) == 0 {
		t.Fatalf("targets %+v", got)
	}
	for _, x := range got.Items {
		if x.Verdict == "clear" || x.Sentence == "" || x.Rule == "" {
			t.Errorf("target %+v", x)
		}
	}
	r.do("PUT", "/api/v1/athletes/B?team=T", athleteBody).is(201)
	if a := r.do("GET", "/api/v1/athletes/B/targets", "").is(200); !strings.Contains(string(a.body), `"items":[]`) {
		t.Errorf("targets of an athlete never screened: %s", a.body)
	}
	r.do("GET", "/api/v1/athletes/nobody/targets", "").fault(404, "", "no such athlete")
}
