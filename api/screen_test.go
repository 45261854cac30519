package api

import (
	"strings"
	"testing"

	"evenhand/internal/screen"
)

func TestScreens(t *testing.T) {
	r := newRig(t).squad()
	var s screen.Screen
	body := strings.Replace(screenBody, `"kind"`, `"threw_in_48h":false,"note":"hot","examiner":"E","kind"`, 1)
	r.do("PUT", "/api/v1/screens/S2", body).is(201).into(&s)
	if s.ID != "S2" || s.ThrewIn48h == nil || *s.ThrewIn48h || s.Protocol == "" || s.Examiner != "E" {
		t.Errorf("screen %+v", s)
	}
	var rec screen.Record
	r.do("GET", "/api/v1/screens/S2", "").is(200).tag(`"1.1"`).into(&rec)
	if rec.Athlete.Name != "A. Example" || rec.Readings == nil {
		t.Errorf("record %+v", rec)
	}
	r.do("PUT", "/api/v1/athletes/A", strings.Replace(athleteBody, "170", "171", 1), "If-Match", `"1"`).is(200)
	r.do("GET", "/api/v1/screens/S2", "", "If-None-Match", `"1.1"`).is(200).tag(`"1.2"`)
	r.do("GET", "/api/v1/screens/nowhere", "").fault(404, "", "no such screen")
}

func TestBadScreens(t *testing.T) {
	r := newRig(t).squad()
	r.do("PUT", "/api/v1/teams/T2", teamBody).is(201)
	for _, c := range []struct{ from, to, location, says string }{
		{"2026-02-09", "2010-02-09", "body.on", "before the athlete's birth"},
		{"2026-02-09", "2026-03-09", "body.on", "in the future"},
		{"2026-02-09", "9 February", "body.on", "not a day"},
		{`"T"`, `"T2"`, "", "does not belong to the team"},
		{`"T"`, `"nowhere"`, "", "no such team"},
		{`"A"`, `"nobody"`, "", "no such athlete"},
		{`"preseason"`, `"holiday"`, "body.kind", "in_season"},
		{`"kind"`, `"threw_in_48h":"yes","kind"`, "body.threw_in_48h", "true or false"},
		{`"kind"`, `"readings":[],"kind"`, "body.readings", "unknown field"},
		{`"team":"T",`, ``, "body.team", "missing"},
	} {
		r.do("PUT", "/api/v1/screens/S3", strings.Replace(screenBody, c.from, c.to, 1)).fault(422, c.location, c.says)
		r.do("GET", "/api/v1/screens/S3", "").is(404)
	}
	r.do("PUT", "/api/v1/athletes/B?team=T", athleteBody).is(201)
	r.do("PUT", "/api/v1/screens/S", strings.Replace(screenBody, `"A"`, `"B"`, 1), "If-Match", `"1"`).fault(422, "", "keeps its athlete")
	r.do("PUT", "/api/v1/screens/bad%20id", screenBody).fault(422, "path.screen", "not an id")
}
