package api

import (
	"fmt"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// shares puts consents of long ago on record for an athlete.
func (r *rig) shares(athlete string, purposes ...screen.Purpose) {
	r.t.Helper()
	err := r.store.Write(r.t.Context(), func(tx *store.Tx) error {
		for _, p := range purposes {
			x := screen.Consent{ID: fmt.Sprint("ready-", athlete, p), Athlete: athlete, Purpose: p, On: "2025-01-01", Version: "example 1", GivenBy: screen.ByGuardian}
			if _, err := tx.PutConsent(x); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		r.t.Fatal(err)
	}
}

func TestReadiness(t *testing.T) {
	r := newRig(t).squad()
	r.do("PUT", "/api/v1/athletes/B?team=T", strings.Replace(athleteBody, "A. Example", "B. Example", 1)).is(201)
	r.shares("A", screen.ForScreening, screen.ForCoach)
	r.do("PUT", "/api/v1/screens/S/readings", readingsBody(reading("r1", "hip_internal_rotation", "right", 41.75), reading("r2", "hip_internal_rotation", "left", 10.25))).is(200)
	err := r.store.Write(t.Context(), func(tx *store.Tx) error {
		_, err := tx.PutChecklist("S", []screen.ChecklistAnswer{{ID: "c1", Screen: "S", Item: "leads_with_hips", Answer: screen.NotMet}})
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	r.do("POST", "/api/v1/athletes/A/events", `{"id":"e1","on":"2026-02-09","kind":"clearance","note":"Dr. Noted","limits":"no pitching"}`).is(201)
	r.who = access.Person{ID: "c", Grants: []access.Grant{{Team: "T", Role: access.Coach}}}
	var got clinic.Readiness
	a := r.do("GET", "/api/v1/teams/T/readiness", "").is(200)
	a.into(&got)
	if len(got.Rows) != 2 || got.Rows[0].Status != clinic.ReadyLimits || got.Rows[0].Limits != "no pitching" || len(got.Rows[0].Focus) != 1 || got.Rows[1].Status != clinic.ReadyAsk || got.Rows[1].Athlete != "" {
		t.Errorf("%+v", got)
	}
	for _, x := range []string{"41.75", "10.25", "Noted", "hip_internal_rotation", "deficit", "2026-02-09", "born"} {
		if strings.Contains(string(a.body), x) {
			t.Errorf("%s reaches the coach: %s", x, a.body)
		}
	}
	for _, path := range []string{"follow-up", "triage", "members", "squad", "charts/heat"} {
		r.do("GET", "/api/v1/teams/T/"+path, "").is(403)
	}
	r.do("GET", "/api/v1/teams/nowhere/readiness", "").fault(404, "", "no such team")
	r.who.Grants[0].Role = access.Helper
	r.do("GET", "/api/v1/teams/T/readiness", "").is(403)
	r.who = access.Person{}
	r.do("GET", "/api/v1/teams/T/readiness", "").is(401)
}

// Limits are for the coach to read, so only a clearance has them, and they come back with it.
func TestLimitsOfAClearance(t *testing.T) {
	r := newRig(t).squad()
	r.do("POST", "/api/v1/athletes/A/events", `{"id":"e1","on":"2026-02-09","kind":"injury","limits":"no pitching"}`).fault(422, "body.limits", "only a clearance has limits")
	var e screen.Event
	r.do("POST", "/api/v1/athletes/A/events", `{"id":"e1","on":"2026-02-09","kind":"clearance","note":"Dr. A","limits":" no pitching "}`).is(201).into(&e)
	if e.Limits != "no pitching" {
		t.Errorf("%+v", e)
	}
	r.do("POST", "/api/v1/athletes/A/events", `{"id":"e1","on":"2026-02-09","kind":"clearance","note":"Dr. A"}`).is(409)
}
