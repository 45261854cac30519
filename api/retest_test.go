package api

import (
	"fmt"
	"strings"
	"testing"

	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// repeated gives team T twelve throwers whose shoulders were read twice, alternately by the same and by
// another examiner, with an error much larger than the published one.
func (r *rig) repeated() *rig {
	r.t.Helper()
	r.squad()
	off := []float64{9, -14, 3, 12, -6, 15, -11, 4, -2, 8, -13, 6}
	for i := range 12 {
		a, s := fmt.Sprintf("B%d", i), fmt.Sprintf("SB%d", i)
		r.do("PUT", "/api/v1/athletes/"+a+"?team=T", strings.Replace(athleteBody, "A. Example", "Thrower "+a, 1)).is(201)
		r.do("PUT", "/api/v1/screens/"+s, strings.Replace(screenBody, `"A"`, `"`+a+`"`, 1)).is(201)
		var list []string
		for k, side := range []string{"left", "right"} {
			for turn := range 2 {
				v := 55 + float64(i%5) + float64(turn)*off[(i+k)%12]
				one := reading(fmt.Sprint(s, side, turn), "shoulder_internal_rotation", side, v, v+1)
				list = append(list, strings.Replace(one, `"trials"`, fmt.Sprintf(`"examiner":%q,"trials"`, []string{"KD", "MO"}[turn*(i%2)]), 1))
			}
		}
		r.do("PUT", "/api/v1/screens/"+s+"/readings", readingsBody(list...)).is(200)
	}
	return r
}

func TestRetest(t *testing.T) {
	r := newRig(t).repeated()
	var got retestBody
	r.do("GET", "/api/v1/teams/T/retest", "").is(200).into(&got)
	if got.From != "2026-02-09" || len(got.Days) != 1 || got.Days[0].Sides != 24 || got.Study == nil || got.Study.Athletes != 12 || len(got.Study.Measures) != 1 {
		t.Errorf("%+v", got)
	}
	csv := r.do("GET", "/api/v1/teams/T/retest/readings?from=2026-02-09&to=2026-02-09", "").is(200)
	if !strings.HasPrefix(csv.header.Get("Content-Type"), "text/csv") || strings.Count(string(csv.body), "\n") != 49 {
		t.Errorf("%s", csv.body)
	}
	var file retestFileBody
	r.do("POST", "/api/v1/teams/T/retest/file", string(csv.body), "Content-Type", "text/csv").is(200).into(&file)
	a, b := got.Study.Measures[0], file.Study.Measures[0]
	if len(file.Readings) != 48 || a.SEMSame == nil || b.SEMSame == nil || *a.SEMSame != *b.SEMSame {
		t.Errorf("the file gives another study: %+v, want %+v", b, a)
	}
	var pic chart.Chart
	r.do("GET", "/api/v1/teams/T/charts/agreement/shoulder_internal_rotation", "").is(200).into(&pic)
	if !strings.Contains(pic.Summary, "24 pairs of readings, 12 by the same examiner") {
		t.Errorf("%q", pic.Summary)
	}
	r.do("GET", "/api/v1/teams/T/charts/examiners/shoulder_internal_rotation?from=2026-02-09", "").is(200).into(&pic)
	if len(pic.Table.Rows) != 2 {
		t.Errorf("%q", pic.Table.Rows)
	}
	for _, c := range []struct {
		path, location, says string
		status               int
	}{
		{"/teams/none/retest", "", "no such team", 404},
		{"/teams/T/retest?from=soon", "query.from", "day", 422},
		{"/teams/T/retest?from=2026-02-09&to=2026-02-08", "query.to", "before it begins", 422},
		{"/teams/T/retest/readings?from=2026-01-01", "", "nobody was measured twice", 422},
		{"/teams/T/charts/agreement/grip_strength", "", "no such measure", 404},
		{"/teams/T/charts/agreement/shoulder_internal_rotation?study=none", "", "no such retest study", 404},
		{"/teams/T/charts/examiners/shoulder_internal_rotation?to=x", "query.from", "day", 422},
		{"/studies/none", "", "no such retest study", 404},
	} {
		r.do("GET", "/api/v1"+c.path, "").fault(c.status, c.location, c.says)
	}
}

func TestRetestWithoutRepeats(t *testing.T) {
	r := newRig(t).measured()
	var got retestBody
	a := r.do("GET", "/api/v1/teams/T/retest", "").is(200).into(&got)
	if got.Study != nil || !strings.Contains(string(a.body), `"days":[]`) || !strings.Contains(string(a.body), `"study":null`) {
		t.Errorf("%s", a.body)
	}
}

func TestRetestFilesAreChecked(t *testing.T) {
	r := newRig(t).squad()
	const good = "athlete,measure,side,examiner,day,trial1\nv,shoulder_internal_rotation,left,K,2026-02-01,50\nv,shoulder_internal_rotation,left,K,2026-02-01,52\n"
	for _, c := range []struct {
		kind, body, location, says string
		status                     int
	}{
		{"text/csv", strings.Replace(good, ",52", ",520", 1), "row 3, column trial1", "plausible", 422},
		{"text/csv", strings.Replace(good, "shoulder_internal_rotation", "shoulder_internal_rotatoin", 1), "row 2, column measure", "did you mean", 422},
		{"text/csv", strings.Replace(good, "left", "right", 1), "", "no side was read twice", 422},
		{"text/csv", "", "body", "missing", 400},
		{"application/json", good, "", "text/csv", 415},
	} {
		r.do("POST", "/api/v1/teams/T/retest/file", c.body, "Content-Type", c.kind).fault(c.status, c.location, c.says)
	}
	r.do("POST", "/api/v1/teams/T/retest/file", good, "Content-Type", "text/csv").is(200)
	r.do("POST", "/api/v1/teams/none/retest/file", good, "Content-Type", "text/csv").fault(404, "", "no such team")
}

func TestStudiesAndSwitches(t *testing.T) {
	r := newRig(t).repeated()
	var kept screen.KeptStudy
	r.do("POST", "/api/v1/teams/T/studies", `{"id":"k1","name":"Preseason"}`).is(201).into(&kept)
	if kept.ID != "k1" || kept.From != "2026-02-09" || kept.Hash == "" {
		t.Errorf("%+v", kept)
	}
	const repeats = `{"athlete":"v","measure":"grip_strength","side":"left","occasion":"2026-02-01","trials":[30]}`
	r.do("POST", "/api/v1/teams/T/studies", `{"name":"Volunteers","readings":[`+repeats+`,`+repeats+`]}`).is(201)
	var list items
	if r.do("GET", "/api/v1/teams/T/studies", "").is(200).into(&list); len(list.Items) != 2 {
		t.Errorf("%+v", list)
	}
	var body keptStudyBody
	r.do("GET", "/api/v1/studies/k1", "").is(200).into(&body)
	if body.Study == nil || body.Study.Athletes != 12 || body.Stale != "" || body.Name != "Preseason" {
		t.Errorf("%+v", body)
	}
	r.do("GET", "/api/v1/teams/T/charts/agreement/shoulder_internal_rotation?study=k1", "").is(200)
	var effect effectBody
	r.do("GET", "/api/v1/teams/T/errors/effect?study=k1", "").is(200).into(&effect)
	if effect.Screens != 13 || effect.Measures != 1 || effect.Changed == 0 || len(effect.Changes) == 0 {
		t.Errorf("%+v", effect)
	}
	var now errorsBody
	if r.do("GET", "/api/v1/teams/T/errors", "").is(200).into(&now); now.InUse.Study != "" || len(now.Items) != 0 {
		t.Errorf("%+v", now)
	}
	var sw screen.ErrorSwitch
	r.do("POST", "/api/v1/teams/T/errors", `{"study":"k1","why":"read again"}`).is(200).into(&sw)
	r.do("GET", "/api/v1/teams/T/errors", "").is(200).into(&now)
	if sw.Study != "k1" || sw.By != clinic.LocalAdministrator.Name || now.InUse.Name != "Preseason" || len(now.Items) != 1 {
		t.Errorf("%+v, %+v", sw, now)
	}
	if r.do("GET", "/api/v1/teams/T/errors/effect", "").is(200).into(&effect); effect.Changed == 0 {
		t.Errorf("going back would change nothing: %+v", effect)
	}
	r.do("POST", "/api/v1/teams/T/errors", `{"why":"to compare"}`).is(200).into(&sw)
	var back errorsBody
	if r.do("GET", "/api/v1/teams/T/errors", "").is(200).into(&back); back.InUse.Study != "" || back.InUse.Why != "to compare" || len(back.Items) != 2 {
		t.Errorf("%+v", back)
	}
	for _, c := range []struct {
		path, body, location, says string
		status                     int
	}{
		{"/teams/T/studies", `{"name":" "}`, "body.name", "missing", 422},
		{"/teams/T/studies", `{"name":"n","from":"x"}`, "body.from", "day", 422},
		{"/teams/T/studies", `{"name":"n","from":"2026-01-01"}`, "", "nobody was measured twice", 422},
		{"/teams/T/studies", `{"id":"k1","name":"Other"}`, "", "", 409},
		{"/teams/T/studies", `{"name":"n","readings":[` + strings.Replace(repeats, "30", "3000", 1) + `]}`, "body.readings[0].trials[0]", "plausible", 422},
		{"/teams/T/studies", `{"name":"n","readings":[` + repeats + `]}`, "", "no side was read twice", 422},
		{"/teams/none/studies", `{"name":"n"}`, "", "no such team", 404},
		{"/teams/T/errors", `{"study":"k1","why":""}`, "body.why", "missing", 422},
		{"/teams/T/errors", `{"study":"none","why":"w"}`, "", "no such retest study", 404},
		{"/teams/T/errors", `{"study":1,"why":"w"}`, "body.study", "text in quotes", 422},
	} {
		r.do("POST", "/api/v1"+c.path, c.body).fault(c.status, c.location, c.says)
	}
	r.do("GET", "/api/v1/teams/T/errors/effect?study=none", "").fault(404, "", "no such retest study")
	r.do("GET", "/api/v1/teams/none/errors", "").fault(404, "", "no such team")
}
