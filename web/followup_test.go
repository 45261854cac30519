package web

import (
	"net/http"
	"strings"
	"testing"

	"evenhand/internal/clinic"
)

// The list shows every member once, under what he or she waits for, and what to measure.
func TestFollowUpPage(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	list, err := p.clinic.FollowUp(t.Context(), clinic.LocalAdministrator, team)
	p.must(err)
	body := p.get("/teams/"+team+"/follow-up", http.StatusOK)
	wants(t, body, "<h1>Follow-up</h1>", "On hold", "licensed clinician", "Overdue", "To measure: ", "trials a side)", "follow-up.ics", "A screen is not a diagnosis")
	wantsNot(t, body, "ZgotmplZ", "&lt;no value&gt;", "%!", "NaN", "risk of", "<img")
	for i := range list.Rows {
		r := &list.Rows[i]
		if n := strings.Count(body, `class="row" href="/athletes/`+r.Athlete+`/course"`); n != 1 {
			t.Errorf("%s stands %d times on the list", r.Group, n)
		}
		if r.Due != nil && !strings.Contains(body, "re-screen "+day(r.Due.On)) {
			t.Errorf("no day for %s", r.Group)
		}
	}
	wants(t, p.get("/teams/"+emptyTeam+"/follow-up", http.StatusOK), "no athletes yet")
	p.get("/teams/nowhere/follow-up", http.StatusNotFound)
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestTakeWords(t *testing.T) {
	got := takeWords([]clinic.Taking{{Name: "Hip turn", Trials: 2}, {Name: "Lunge", Trials: 1}, {Name: "Arm turn", Trials: 2}})
	if want := "hip turn, arm turn (2 trials a side); lunge (1 trial a side)"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
