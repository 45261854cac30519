package api

import (
	"fmt"
	"testing"
)

// preseason puts n athletes on record, each with a preseason screen of 2026-02-09.
func (r *rig) preseason(n int) *rig {
	r.t.Helper()
	r.squad()
	for i := range n {
		a, s := fmt.Sprint("P", i), fmt.Sprint("SP", i)
		r.do("PUT", "/api/v1/athletes/"+a+"?team=T", athleteBody).is(201)
		r.do("PUT", "/api/v1/screens/"+s, fmt.Sprintf(`{"athlete":%q,"team":"T","on":"2026-02-09","kind":"preseason","examiner":"KD"}`, a)).is(201)
		r.do("PUT", "/api/v1/screens/"+s+"/readings", readingsBody(reading(s+"r", "shoulder_internal_rotation", "right", 50, 51),
			reading(s+"l", "shoulder_internal_rotation", "left", 62, float64(63+i)))).is(200)
	}
	return r
}

func TestSquadPriors(t *testing.T) {
	r := newRig(t).preseason(6)
	var list struct{ Items []squadBody }
	r.do("GET", "/api/v1/teams/T/squad", "").is(200).into(&list)
	if len(list.Items) != 0 {
		t.Fatalf("%+v", list)
	}
	var made squadBody
	r.do("POST", "/api/v1/teams/T/squad", `{"on":"2026-02-09"}`).is(201).into(&made)
	if made.Athletes != 6 || !made.InUse || made.On != "2026-02-09" || made.By != "local" {
		t.Errorf("%+v", made)
	}
	r.do("GET", "/api/v1/teams/T/squad", "").is(200).into(&list)
	if len(list.Items) != 1 || len(list.Items[0].Groups) == 0 || list.Items[0].Groups[0].Grid != nil {
		t.Fatalf("%+v", list)
	}
	r.do("GET", "/api/v1/teams/T/squad?on=2026-02-09", "").is(200).into(&list)
	used := list.Items[0].Group("shoulder_internal_rotation", made.Groups[0].Prior)
	if used == nil || !used.Used || len(used.Grid) == 0 || used.N != 6 {
		t.Errorf("%+v", list.Items[0])
	}
	r.do("GET", "/api/v1/teams/T/squad?on=2026-02-08", "").is(200).into(&list)
	if len(list.Items) != 0 {
		t.Error("another day has figures")
	}
	var rep scoreBody
	r.do("GET", "/api/v1/screens/SP0/score", "").is(200).into(&rep)
	if rep.SquadOn != "2026-02-09" || rep.Findings[0].Prior != "squad" {
		t.Errorf("scored by the prior of the %s, of %q", rep.Findings[0].Prior, rep.SquadOn)
	}
	r.do("POST", "/api/v1/teams/T/squad", `{"on":"2026-02-11"}`).fault(422, "body.on", "up to today")
	r.do("POST", "/api/v1/teams/T/squad", `{"on":"2026-02-01"}`).fault(422, "body.on", "on which the team was screened")
	r.do("POST", "/api/v1/teams/T/squad", `{"on":"yesterday"}`).fault(422, "body.on", "2026-02-10")
	r.do("POST", "/api/v1/teams/T/squad", `{}`).is(422)
	r.do("POST", "/api/v1/teams/none/squad", `{"on":"2026-02-09"}`).is(404)
	r.do("GET", "/api/v1/teams/none/squad", "").is(404)
}
