package demo

import (
	"slices"
	"time"

	"evenhand/internal/screen"
)

// The demo's consents: all agreed to the example text before the first screen; one withdrew a few days
// ago, every fifth does not share with the coach, and every third agreed to photographs.
const (
	consentText  = "example 1"
	consentDays  = 7 // before the first screen of the squad
	withdrawnAgo = 5
	noCoachEvery = 5
	photosEvery  = 3
	majority     = 18
)

// consents makes the consents of the squad, after everything else: no draw of another part moves.
func (m *maker) consents() {
	without := m.withdrew()
	for _, q := range m.squad {
		a, on := &q.athlete, m.ago(lastPreseason+consentDays-q.index%3)
		purposes := []screen.Purpose{screen.ForScreening}
		if q.index%photosEvery == 0 {
			purposes = append(purposes, screen.ForPhotographs)
		}
		if q.index%noCoachEvery != noCoachEvery-1 {
			purposes = append(purposes, screen.ForCoach)
		}
		for _, p := range purposes {
			c := screen.Consent{ID: m.id(on.Time()), Athlete: a.ID, Purpose: p, On: on, Version: consentText, GivenBy: screen.ByGuardian,
				Recorded: on.Time().Add(18 * time.Hour), ByName: "Demo administrator"}
			if a.OfAge(on, majority) {
				c.GivenBy = screen.ByAthlete
			}
			if q == without {
				c.WithdrawnOn, c.Withdrawn, c.WithdrawnBy, c.Why = m.ago(withdrawnAgo), m.ago(withdrawnAgo).Time().Add(17*time.Hour), "Demo administrator", "the guardian asked for it by letter"
			}
			m.out.Consents = append(m.out.Consents, c)
		}
	}
}

// withdrew is of whom a guardian withdrew: somebody of DayTeam to whom nothing else happens; nil if there
// is nobody.
func (m *maker) withdrew() *person {
	for _, i := range slices.Backward(m.roles.swapCandidates) {
		if q := m.squad[i]; q.team == len(m.out.Teams)-1 && !q.athlete.OfAge(m.today, majority) {
			return q
		}
	}
	return nil
}
