package api

import (
	"encoding/json"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

const paper = `{"id":"c9","purpose":"coach","on":"2026-01-20","given_by":"guardian","giver":"G. Uardian"}`

func TestConsentEndpoints(t *testing.T) {
	r := newRig(t)
	r.squad()
	a := r.do("POST", "/api/v1/athletes/A/consents", paper).is(200)
	var c screen.Consent
	if err := json.Unmarshal(a.body, &c); err != nil || c.ID != "c9" || c.Version != "example 1" || c.ByName == "" {
		t.Errorf("%s, %v", a.body, err)
	}
	r.do("POST", "/api/v1/athletes/A/consents", paper).is(200)
	var list struct{ Items []screen.Consent }
	if err := json.Unmarshal(r.do("GET", "/api/v1/athletes/A/consents", "").is(200).body, &list); err != nil || len(list.Items) != 2 {
		t.Errorf("%+v, %v", list, err)
	}
	var team struct{ Items []teamConsent }
	if err := json.Unmarshal(r.do("GET", "/api/v1/teams/T/consents", "").is(200).body, &team); err != nil || len(team.Items) == 0 || team.Items[0].Coach == nil || team.Items[0].Photographs != nil {
		t.Errorf("%+v, %v", team, err)
	}
	r.do("POST", "/api/v1/consents/c9/withdrawal", `{"on":"2026-01-19","why":"x"}`).is(422)
	r.do("POST", "/api/v1/consents/c9/withdrawal", `{"on":"2026-01-21","why":"asked for"}`).is(200)
	r.do("POST", "/api/v1/consents/c9/withdrawal", `{"on":"2026-01-22","why":"something else"}`).is(409)
	r.do("POST", "/api/v1/consents/none/withdrawal", `{"on":"2026-01-22","why":"x"}`).is(404)
	for body, field := range map[string]string{
		strings.Replace(paper, "2026-01-20", "2036-01-20", 1):                  "on",
		strings.Replace(paper, "c9", "c 9", 1):                                 "id",
		strings.Replace(paper, "guardian", "athlete", 1):                       "given_by",
		strings.Replace(paper, `"purpose":"coach"`, `"purpose":"research"`, 1): "purpose",
	} {
		if a := r.do("POST", "/api/v1/athletes/A/consents", body).is(422); !strings.Contains(string(a.body), `"body.`+field+`"`) {
			t.Errorf("%s: %s", field, a.body)
		}
	}
	r.do("GET", "/api/v1/athletes/none/consents", "").is(404)
}

// After a withdrawal readings are refused with what is wrong and what would be right.
func TestReadingsWithoutConsent(t *testing.T) {
	r := newRig(t)
	r.squad()
	var list struct{ Items []screen.Consent }
	if err := json.Unmarshal(r.do("GET", "/api/v1/athletes/A/consents", "").is(200).body, &list); err != nil {
		t.Fatal(err)
	}
	r.do("POST", "/api/v1/consents/"+list.Items[0].ID+"/withdrawal", `{"on":"`+string(r.clinic.Today())+`","why":"asked for"}`).is(200)
	a := r.do("PUT", "/api/v1/screens/S/readings", shoulder).is(422)
	for _, want := range []string{"there is no consent for screening on record for this athlete", "record the consent of a guardian"} {
		if !strings.Contains(string(a.body), want) {
			t.Errorf("%s does not say %q", a.body, want)
		}
	}
}

func TestHeldEndpoint(t *testing.T) {
	r := newRig(t)
	r.squad()
	var got clinic.Held
	if err := json.Unmarshal(r.do("GET", "/api/v1/athletes/A/held", "").is(200).body, &got); err != nil || got.Athlete.ID != "A" || len(got.Screens) == 0 || len(got.Consents) != 1 {
		t.Errorf("%+v, %v", got, err)
	}
	r.do("GET", "/api/v1/athletes/none/held", "").is(404)
	r.who = access.Person{ID: "t", Name: "Trainer", Grants: []access.Grant{{Team: "T", Role: access.Trainer}}}
	r.do("GET", "/api/v1/athletes/A/held", "").is(403)
	r.do("GET", "/api/v1/athletes/A/consents", "").is(200)
}
