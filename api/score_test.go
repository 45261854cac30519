package api

import (
	"encoding/json"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/chart"
	"evenhand/internal/exchange"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

func TestScore(t *testing.T) {
	r := newRig(t).measured()
	var got scoreBody
	a := r.do("GET", "/api/v1/screens/S/score", "").is(200).into(&got)
	if got.Screen != "S" || got.Athlete != "A" || got.Protocol.Hash != r.clinic.Protocol().Hash || len(got.Findings) == 0 || got.Headline == "" || len(got.Cautions) == 0 {
		t.Fatalf("score %s", a.body)
	}
	for _, f := range got.Findings {
		if f.Sentence == "" || f.Rule == "" {
			t.Errorf("finding %+v", f)
		}
	}
	// the same as the use case says, finding by finding
	want, err := r.clinic.Score(t.Context(), access.Local, "S")
	if err != nil {
		t.Fatal(err)
	}
	for i := range want.Report.Findings {
		if got.Findings[i].P != want.Report.Findings[i].P || got.Findings[i].Verdict != want.Report.Findings[i].Verdict {
			t.Errorf("finding %d differs", i)
		}
	}
	r.do("GET", "/api/v1/screens/nowhere/score", "").fault(404, "", "no such screen")
}

func TestQuestionsAndPairs(t *testing.T) {
	r := newRig(t).squad()
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("r1", "shoulder_internal_rotation", "right", 70, 71), reading("r2", "shoulder_internal_rotation", "left", 50, 51),
		reading("r3", "shoulder_external_rotation", "right", 90), reading("r4", "shoulder_external_rotation", "left", 120))).is(200)
	var q struct{ Items []screen.Question }
	r.do("GET", "/api/v1/screens/S/questions", "").is(200).into(&q)
	if len(q.Items) == 0 || q.Items[len(q.Items)-1].Kind != "other_hand" {
		t.Errorf("questions %+v", q)
	}
	var p pairsBody
	r.do("GET", "/api/v1/screens/S/pairs", "").is(200).into(&p)
	if len(p.Indices) != 0 || len(p.Items) < 2 || p.Items[0].Left == nil || p.Items[0].First != screen.Right {
		t.Errorf("pairs %+v", p)
	}
	r.do("GET", "/api/v1/screens/nowhere/questions", "").fault(404, "", "no such screen")
	r.do("GET", "/api/v1/screens/nowhere/pairs", "").fault(404, "", "no such screen")
}

func TestTriage(t *testing.T) {
	r := newRig(t).measured()
	r.do("PUT", "/api/v1/athletes/B?team=T", strings.Replace(athleteBody, "A. Example", "B. Example", 1)).is(201)
	var got triageBody
	r.do("GET", "/api/v1/teams/T/triage", "").is(200).into(&got)
	if got.Team.ID != "T" || len(got.Items) != 1 || got.Items[0].Name != "A. Example" || got.Items[0].Rank != 1 || got.Items[0].Why == "" {
		t.Errorf("triage %+v", got)
	}
	if len(got.Unscreened) != 1 || got.Unscreened[0].ID != "B" {
		t.Errorf("unscreened %+v", got.Unscreened)
	}
	r.do("GET", "/api/v1/teams/nowhere/triage", "").fault(404, "", "no such team")
}

func TestCharts(t *testing.T) {
	r := newRig(t).measured()
	r.do("PUT", "/api/v1/athletes/B?team=T", strings.Replace(athleteBody, "A. Example", "</script><script>alert(1)</script>", 1)).is(201)
	rule := r.clinic.Protocol().Rules
	var side string
	for i := range rule {
		if rule[i].Measure == "shoulder_internal_rotation" {
			side = rule[i].ID
		}
	}
	for _, path := range []string{"/screens/S/charts/chain", "/screens/S/charts/sides", "/screens/S/charts/sides?link=shoulder",
		"/screens/S/charts/measures/shoulder_internal_rotation", "/screens/S/charts/measures/" + side, "/teams/T/charts/heat",
		"/teams/T/charts/distribution?measure=shoulder_internal_rotation&athlete=A", "/teams/T/charts/distribution?measure=" + side} {
		var c chart.Chart
		r.do("GET", "/api/v1"+path, "").is(200).into(&c)
		if c.Title == "" || c.Summary == "" || len(c.Option) == 0 || len(c.Table.Columns) == 0 || c.Height == 0 {
			t.Errorf("%s: chart %+v", path, c)
		}
	}
	r.do("GET", "/api/v1/screens/S/charts/measures/nothing", "").fault(404, "", "no finding")
	r.do("GET", "/api/v1/screens/S/charts/sides?link=nothing", "").fault(422, "query.link", "no such link")
	r.do("GET", "/api/v1/teams/T/charts/distribution", "").fault(422, "query.measure", "missing")
	r.do("GET", "/api/v1/teams/T/charts/distribution?measure=nothing", "").fault(422, "query.measure", "no such rule or measure")
	for _, path := range []string{"/screens/nowhere/charts/chain", "/screens/nowhere/charts/sides", "/screens/nowhere/charts/measures/x", "/teams/nowhere/charts/heat", "/teams/nowhere/charts/distribution?measure=" + side} {
		r.do("GET", "/api/v1"+path, "").fault(404, "", "no such")
	}
}

func TestProtocol(t *testing.T) {
	r := newRig(t)
	tag := `"` + r.clinic.Protocol().Hash + `"`
	var p screen.Protocol
	r.do("GET", "/api/v1/protocol", "").is(200).tag(tag).into(&p)
	if p.Hash != r.clinic.Protocol().Hash || len(p.Measures) != len(r.clinic.Protocol().Measures) {
		t.Errorf("protocol %s with %d measures", p.Hash, len(p.Measures))
	}
	r.do("GET", "/api/v1/protocol", "", "If-None-Match", tag).is(304)
	var c struct{ Items []score.RuleCheck }
	r.do("GET", "/api/v1/protocol/check", "").is(200).into(&c)
	if len(c.Items) == 0 {
		t.Error("no rule was checked")
	}
}

const document = `{"athletes":[{"id":"X","name":"C. Example","born":"2011-04-02","sex":"male","throws":"right","sport":"baseball","level":"school"}],
"screens":[{"id":"D","athlete":"X","on":"2026-02-01","kind":"preseason","readings":[
{"measure":"shoulder_internal_rotation","side":"right","trials":[40,41,42]},{"measure":"shoulder_internal_rotation","side":"left","trials":[60,61,62]}]}]}`

func TestScoreDocument(t *testing.T) {
	r := newRig(t)
	var got, want exchange.ScoreOutput
	a := r.do("POST", "/api/v1/score", document).is(200).into(&got)
	doc, err := exchange.ReadJSON(strings.NewReader(document), r.clinic.Protocol(), exchange.Options{Today: r.clinic.Today()})
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(exchange.ScoreDocument(r.clinic.Scorer(), doc))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	if len(got.Scores) != 1 || got.Triage[0].Athlete != "X" || got.Scores[0].Findings[0].P != want.Scores[0].Findings[0].P {
		t.Errorf("scores %s", a.body)
	}
	var stored items
	if r.do("GET", "/api/v1/athletes", "").is(200).into(&stored); len(stored.Items) != 0 {
		t.Errorf("something was stored: %+v", stored)
	}
	r.do("POST", "/api/v1/score", strings.Replace(document, "[40,41,42]", `[40,"41"]`, 1)).fault(422, "body.screens[0].readings[0].trials[1]", "number")
	r.do("POST", "/api/v1/score", strings.Replace(document, "[40,41,42]", `[40,1e999]`, 1)).fault(422, "body.screens[0].readings[0].trials[1]", "finite")
	r.do("POST", "/api/v1/score", strings.Replace(document, "[40,41,42]", `[40,NaN]`, 1)).fault(422, "body.screens[0].readings[0].trials[1]", "not JSON")
	r.do("POST", "/api/v1/score", "a,b", "Content-Type", "text/csv").fault(415, "", "application/json")
	r.do("POST", "/api/v1/score", "", "Content-Type", "application/json").fault(400, "body", "missing")
}
