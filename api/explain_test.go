package api

import (
	"testing"

	"evenhand/internal/score"
)

// Every finding of a score has an explanation, whose verdict and sentence are the score's.
func TestExplanations(t *testing.T) {
	r := newRig(t).measured()
	var got scoreBody
	r.do("GET", "/api/v1/screens/S/score", "").is(200).into(&got)
	if len(got.Findings) == 0 {
		t.Fatal("no findings")
	}
	for _, f := range got.Findings {
		path := "/api/v1/screens/S/findings/" + f.Rule + "/explanation"
		if f.Side == "left" || f.Side == "right" {
			path += "?side=" + string(f.Side)
		}
		var e score.Explanation
		r.do("GET", path, "").is(200).into(&e)
		if e.Rule != f.Rule || e.Side != f.Side || e.Verdict != f.Verdict || e.Sentence != f.Sentence || len(e.Steps) < 3 || e.Change == nil {
			t.Errorf("%s: %+v", path, e)
		}
	}
	r.do("GET", "/api/v1/screens/S/findings/nothing/explanation", "").fault(404, "", "no finding by this rule")
	r.do("GET", "/api/v1/screens/nowhere/findings/internal_rotation_loss/explanation", "").fault(404, "", "no such screen")
	r.do("GET", "/api/v1/screens/S/findings/internal_rotation_loss/explanation?side=up", "").fault(422, "query.side", "")
}
