package main

import (
	"net/http"
	"testing"

	"evenhand/internal/access"
)

// TestClearanceIsTheClinicians: a trainer may enter events and symptoms and take them back, but not what
// lifts a hold.
func TestClearanceIsTheClinicians(t *testing.T) {
	s := sharedSite(t)
	headers := map[string]string{"Content-Type": "application/json"}
	for _, x := range []struct {
		name, method, target, body string
		trainer, clinician         int
	}{
		{"a clearance", "POST", "/api/v1/athletes/own-athlete2/events", `{"id":"cleared","on":"2026-03-09","kind":"clearance","note":"by a clinician"}`, 403, 201},
		{"an injury", "POST", "/api/v1/athletes/own-athlete2/events", `{"id":"hurt","on":"2026-03-09","kind":"injury","note":"fell"}`, 201, 201},
		{"an injury taken back", "POST", "/api/v1/events/own-injury2/withdrawal", `{"why":"another person"}`, 403, 204},
		{"exercises taken back", "POST", "/api/v1/events/own-event/withdrawal", `{"why":"another person"}`, 204, 204},
		{"a referral sign taken back", "POST", "/api/v1/symptoms/own-referral/withdrawal", `{"why":"another person"}`, 403, 204},
		{"soreness taken back", "POST", "/api/v1/symptoms/own-symptom1/withdrawal", `{"why":"another person"}`, 204, 204},
		{"a hold of a day released", "POST", "/api/v1/days/own-day/releases", `{"athlete":"own-athlete1","why":"seen"}`, 403, 204},
	} {
		for role, want := range map[access.Role]int{access.Trainer: x.trainer, access.Clinician: x.clinician} {
			p, who := s.open(t, rolesNoon), s.role(role)
			sign := p.send(&who, &sent{method: "PUT", target: "/api/v1/screens/own-screen1/symptoms", body: `{"symptoms":[{"id":"own-referral","symptom":"numbness_or_tingling"}]}`, headers: headers})
			if sign.status != http.StatusOK {
				t.Fatalf("a referral sign: status %d: %s", sign.status, sign.brief())
			}
			if a := p.send(&who, &sent{method: x.method, target: x.target, body: x.body, headers: headers}); a.status != want {
				t.Errorf("%s by a %s: status %d, want %d: %s", x.name, role, a.status, want, a.brief())
			}
			_ = p.opened.store.Close()
		}
	}
}
