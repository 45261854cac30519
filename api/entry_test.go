package api

import (
	"bytes"
	"fmt"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

func TestEntries(t *testing.T) {
	r := newRig(t).squad()
	p := r.clinic.Protocol()
	for _, c := range []struct{ path, body string }{
		{"checklist", fmt.Sprintf(`{"checklist":[{"id":"c1","item":%q,"answer":"not_met"},{"id":"c2","item":%q,"answer":"met","examiner":"E"}]}`, p.Checklist[0].ID, p.Checklist[1].ID)},
		{"symptoms", fmt.Sprintf(`{"symptoms":[{"id":"s1","symptom":%q,"side":"right","note":"since May"},{"id":"s2","symptom":%q}]}`, p.Symptoms[0].ID, p.Symptoms[1].ID)},
		{"not-done", `{"not_done":[{"id":"n1","measure":"hip_internal_rotation","side":"left","reason":"pain"},{"id":"n2","measure":"hip_internal_rotation","side":"right","reason":"no_time"}]}`},
	} {
		var first, second clinic.Saved
		r.do("PUT", "/api/v1/screens/S/"+c.path, c.body).is(200).into(&first)
		r.do("PUT", "/api/v1/screens/S/"+c.path, c.body).is(200).into(&second)
		if first.Added != 2 || second.Already != 2 || first.Revision != second.Revision {
			t.Errorf("%s: first %+v, second %+v", c.path, first, second)
		}
		r.do("PUT", "/api/v1/screens/nowhere/"+c.path, c.body).fault(404, "", "no such screen")
	}
	var rec screen.Record
	r.do("GET", "/api/v1/screens/S", "").is(200).tag(`"4.1"`).into(&rec)
	if len(rec.Checklist) != 2 || len(rec.Symptoms) != 2 || len(rec.NotDone) != 2 || rec.Symptoms[0].Note != "since May" {
		t.Errorf("record %+v", rec)
	}
	r.do("POST", "/api/v1/symptoms/s1/withdrawal", `{"why":""}`).fault(422, "body.why", "reason")
	r.do("POST", "/api/v1/symptoms/nothing/withdrawal", `{"why":"x"}`).fault(404, "", "no such symptom")
	r.do("POST", "/api/v1/symptoms/s1/withdrawal", `{"why":"another athlete's"}`).is(204)
	r.do("GET", "/api/v1/screens/S", "").is(200).tag(`"5.1"`).into(&rec)
	if rec.Symptoms[0].Withdrawn == "" {
		t.Errorf("symptom %+v", rec.Symptoms[0])
	}
}

func TestBadEntries(t *testing.T) {
	r := newRig(t).squad()
	before := r.do("GET", "/api/v1/screens/S", "").is(200)
	p := r.clinic.Protocol()
	for _, c := range []struct{ path, body, location, says string }{
		{"checklist", `{"checklist":[]}`, "body.checklist", "1 to"},
		{"checklist", `{"checklist":[{"id":"c1","item":"nothing","answer":"met"}]}`, "body.checklist[0].item", "unknown checklist item"},
		{"checklist", fmt.Sprintf(`{"checklist":[{"id":"c1","item":%q,"answer":"perhaps"}]}`, p.Checklist[0].ID), "body.checklist[0].answer", "not_met"},
		{"symptoms", `{"symptoms":[{"id":"s1","symptom":"nothing"}]}`, "body.symptoms[0].symptom", "unknown symptom"},
		{"symptoms", fmt.Sprintf(`{"symptoms":[{"id":"s1","symptom":%q},{"id":"s 2","symptom":%q}]}`, p.Symptoms[0].ID, p.Symptoms[0].ID), "body.symptoms[1].id", "not an id"},
		{"not-done", `{"not_done":[{"id":"n1","measure":"hip_internal_rotation","side":"none","reason":"pain"}]}`, "body.not_done[0].side", "left or right"},
		{"not-done", `{"not_done":[{"id":"n1","measure":"hip_internal_rotation","side":"left","reason":"hurry"}]}`, "body.not_done[0].reason", "no_time"},
		{"not-done", `{"not_done":[{"id":"n1","measure":"hip_internal_rotation","side":"left","reason":"pain","value":0}]}`, "body.not_done[0].value", "unknown field"},
	} {
		r.do("PUT", "/api/v1/screens/S/"+c.path, c.body).fault(422, c.location, c.says)
	}
	if after := r.do("GET", "/api/v1/screens/S", "").is(200); !bytes.Equal(before.body, after.body) {
		t.Errorf("something was kept: %s", after.body)
	}
}
