package api

import (
	"context"
	"net/http"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// consentForm is a consent on paper as a client records one.
type consentForm struct {
	ID      string `json:"id" doc:"made by whoever records the consent, best a UUIDv7; the same id again is the same consent"`
	Purpose string `json:"purpose" enum:"screening,photographs,coach"`
	On      string `json:"on" doc:"the day on which it was given, as 2026-02-10"`
	Version string `json:"version,omitempty" doc:"of the text that was agreed to; absent: the newest"`
	GivenBy string `json:"given_by" enum:"guardian,athlete" doc:"the athlete only if of age on that day"`
	Giver   string `json:"giver,omitempty" doc:"name of the guardian"`
}

type consentWithdrawalForm struct {
	On  string `json:"on" doc:"from this day on it does not hold"`
	Why string `json:"why" doc:"who asked for it"`
}

// teamConsent says which consents of a member hold today.
type teamConsent struct {
	Athlete string `json:"athlete"`
	Name    string `json:"name"`
	OfAge   bool   `json:"of_age" doc:"gives a consent without a guardian"`

	Screening   *screen.Consent `json:"screening" doc:"null: there is none, and nothing measured is stored"`
	Photographs *screen.Consent `json:"photographs"`
	Coach       *screen.Consent `json:"coach"`
}

func (s *server) consents() {
	add(s, route{method: http.MethodGet, path: "/athletes/{athlete}/consents", id: "list-consents", tag: "privacy", summary: "Consents of an athlete",
		text: "By purpose, the newest first; withdrawn ones are among them and say why."}, s.listConsents)
	add(s, route{method: http.MethodPost, path: "/athletes/{athlete}/consents", id: "record-consent", tag: "privacy", summary: "Record a consent of an athlete",
		text: "The same consent sent again changes nothing.", errors: []int{http.StatusConflict}}, s.recordConsent)
	add(s, route{method: http.MethodPost, path: "/consents/{consent}/withdrawal", id: "withdraw-consent", tag: "privacy", summary: "Withdraw a consent, and with it all of the athlete to the same purpose",
		text: "From that day on nothing more is stored or shown for the purpose. What is on record stays.", errors: []int{http.StatusConflict}}, s.withdrawConsent)
	add(s, route{method: http.MethodGet, path: "/teams/{team}/consents", id: "list-team-consents", tag: "privacy", summary: "Which consents of a team's members hold today"}, s.listTeamConsents)
}

func (s *server) listConsents(ctx context.Context, in *AthletePath) (*listing[screen.Consent], error) {
	got, err := s.clinic.Consents(ctx, person(ctx), in.Athlete)
	if err != nil {
		return nil, err
	}
	var out []screen.Consent
	for i := range got.Purposes {
		out = append(out, got.Purposes[i].All...)
	}
	return listOf(out, ""), nil
}

func (s *server) recordConsent(ctx context.Context, in *struct {
	AthletePath
	Body consentForm
},
) (*struct{ Body screen.Consent }, error) {
	f := &in.Body
	var bad screen.Faults
	if screen.CheckID(f.ID, "id", &bad); len(bad) > 0 {
		return nil, bad
	}
	out, err := s.clinic.RecordConsent(ctx, person(ctx), in.Athlete, clinic.ConsentToRecord{ID: f.ID, Purposes: []screen.Purpose{screen.Purpose(f.Purpose)},
		On: screen.Date(f.On), Version: f.Version, GivenBy: screen.Giver(f.GivenBy), Giver: f.Giver})
	if err != nil {
		return nil, err
	}
	return &struct{ Body screen.Consent }{out[0]}, nil
}

func (s *server) withdrawConsent(ctx context.Context, in *struct {
	Consent string `path:"consent"`
	Body    consentWithdrawalForm
},
) (*struct{ Body screen.Consent }, error) {
	out, err := s.clinic.WithdrawConsent(ctx, person(ctx), in.Consent, screen.Date(in.Body.On), in.Body.Why)
	return &struct{ Body screen.Consent }{out}, err
}

func (s *server) listTeamConsents(ctx context.Context, in *TeamPath) (*listing[teamConsent], error) {
	got, err := s.clinic.TeamConsents(ctx, person(ctx), in.Team)
	if err != nil {
		return nil, err
	}
	out := make([]teamConsent, len(got.Members))
	for i := range got.Members {
		m := &got.Members[i]
		out[i] = teamConsent{Athlete: m.Athlete.ID, Name: m.Athlete.Name, OfAge: m.OfAge, Screening: m.Now[screen.ForScreening],
			Photographs: m.Now[screen.ForPhotographs], Coach: m.Now[screen.ForCoach]}
	}
	return listOf(out, ""), nil
}
