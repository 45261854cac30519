package web

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// as is somebody with one role in a team.
func as(role access.Role, team string) access.Person {
	return access.Person{ID: "p-" + string(role), Name: "P. " + string(role), Grants: []access.Grant{{Team: team, Role: role}}}
}

func (p *place) put(fn func(*store.Tx) error) {
	p.t.Helper()
	p.must(p.store.Write(p.t.Context(), fn))
}

// shares puts the consent to share with the coach on record for everybody in the demo squad.
func (p *place) shares() {
	p.t.Helper()
	p.put(func(tx *store.Tx) error {
		for i := range p.scenario.Athletes {
			id := p.scenario.Athletes[i].ID
			x := screen.Consent{ID: "shares-" + id, Athlete: id, Purpose: screen.ForCoach, On: "2025-01-01", Version: "example 1", GivenBy: screen.ByGuardian}
			if _, err := tx.PutConsent(x); err != nil {
				return err
			}
		}
		return nil
	})
}

// mainOf is what a page says between its head and its foot.
func mainOf(body string) string {
	_, rest, _ := strings.Cut(body, "<main")
	out, _, _ := strings.Cut(rest, "</main>")
	return out
}

const coachNote = "Dr. Noted found an apophysitis"

// told is the first team with a clearance with limits, an injury without one, and items that were not met.
func (p *place) told() (team string) {
	p.t.Helper()
	team = p.scenario.Teams[0].ID
	p.shares()
	seen, n := map[string]bool{}, 0
	p.put(func(tx *store.Tx) error {
		for i := len(p.scenario.Records) - 1; i >= 0; i-- {
			s := &p.scenario.Records[i].Screen
			if s.Team != team || seen[s.Athlete] {
				continue
			}
			seen[s.Athlete] = true
			var answers []screen.ChecklistAnswer
			for k, item := range []string{"leads_with_hips", "stride_foot_to_target"} {
				answers = append(answers, screen.ChecklistAnswer{ID: fmt.Sprint(s.ID, k), Screen: s.ID, Item: item, Answer: screen.NotMet})
			}
			if _, err := tx.PutChecklist(s.ID, answers); err != nil {
				return err
			}
			kind, limits := screen.EventClearance, "30 easy throws, <b>no pitching</b>"
			if n++; n%3 == 0 {
				kind, limits = screen.EventInjury, ""
			}
			if _, err := tx.PutEvent(screen.Event{ID: "told-" + s.Athlete, Athlete: s.Athlete, On: "2026-03-10", Kind: kind, Note: coachNote, Limits: limits}); err != nil {
				return err
			}
		}
		return nil
	})
	if n < 10 {
		p.t.Fatalf("%d athletes", n)
	}
	return team
}

func TestCoachPage(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.told()
	p.who = as(access.Coach, team)
	body := p.get("/teams/"+team+"/coach", http.StatusOK)
	wants(t, body, "Who may throw today", "Hold: waiting for clearance", "May throw with limits", "30 easy throws, &lt;b&gt;no pitching&lt;/b&gt;",
		"Ask the trainer", "Work in groups", "Leads with the hips", "with the trainer", "&lt;img src=x", "A screen is not a diagnosis")
	main := mainOf(body)
	for _, x := range p.measured(team) {
		if strings.Contains(main, x) {
			t.Errorf("%q is on the coach's page", x)
		}
	}
	wantsNot(t, strings.ToLower(main), "deficit", "unsettled", "verdict", "apophysitis", "noted", "symptom", "referral", "pain at", "tender", "<img", "in 100", "screened on")
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

// measured are the values, notes and signs in the records of a team, and the birth dates and sizes.
func (p *place) measured(team string) (out []string) {
	protocol := p.clinic.Protocol()
	for i := range p.scenario.Records {
		rec := &p.scenario.Records[i]
		if rec.Screen.Team != team {
			continue
		}
		out = append(out, rec.Screen.ID, day(rec.Screen.On), day(rec.Athlete.Born), string(rec.Athlete.Born))
		for k := range rec.Readings {
			m := protocol.Measure(rec.Readings[k].Measure)
			out = append(out, m.ID, m.Name)
			for _, x := range rec.Readings[k].Trials {
				if text := fmt.Sprint(x); strings.Contains(text, ".") {
					out = append(out, text)
				}
				if screen.UnitWords(m.Unit) != "" {
					out = append(out, withUnit(fmt.Sprint(x), m.Unit))
				}
			}
		}
		for k := range rec.Symptoms {
			out = append(out, protocol.Symptom(rec.Symptoms[k].Symptom).Name)
		}
	}
	return out
}

// A coach and a helper who open a team are led to what is theirs; nothing else of the team opens.
func TestRolesAreLedToTheirPages(t *testing.T) {
	p := newPlace(t, Options{})
	team, other := p.scenario.Teams[0].ID, p.scenario.Teams[1].ID
	athlete := p.scenario.Records[0].Screen.Athlete
	for _, x := range []struct {
		role access.Role
		to   string
	}{{access.Coach, "/teams/" + team + "/coach"}, {access.Helper, "/stations"}} {
		p.who = as(x.role, team)
		if w := p.do(http.MethodGet, "/teams/"+team, nil); w.Code != http.StatusSeeOther || w.Header().Get("Location") != x.to {
			t.Errorf("%s: %d %s", x.role, w.Code, w.Header().Get("Location"))
		}
		p.get(x.to, http.StatusOK)
		for _, path := range []string{"/teams/" + team + "/distribution", "/teams/" + team + "/follow-up", "/teams/" + team + "/squad",
			"/athletes/" + athlete, "/athletes/" + athlete + "/course", "/athletes/" + athlete + "/print", "/screens/" + p.scenario.Records[0].Screen.ID} {
			if w := p.do(http.MethodGet, path, nil); w.Code != http.StatusForbidden && w.Code != http.StatusNotFound {
				t.Errorf("%s at %s: %d", x.role, path, w.Code)
			}
		}
		wants(t, p.get("/teams/"+other+"/coach", http.StatusNotFound), "Not found")
		wants(t, p.get("/teams/"+other, http.StatusNotFound), "Not found")
	}
	p.who = as(access.Helper, team)
	wants(t, p.get("/teams/"+team+"/coach", http.StatusForbidden), "Not allowed")
	for _, role := range []access.Role{access.Trainer, access.Clinician} {
		p.who = as(role, team)
		wants(t, p.get("/teams/"+team, http.StatusOK), "By expected deficits")
		p.get("/teams/"+team+"/coach", http.StatusOK)
	}
}

func TestHelperSeesStationsOnly(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	p.who = as(access.Helper, team)
	wants(t, p.get("/stations", http.StatusOK), "No screening day is open today")
	p.who = access.Local
	d, err := p.clinic.PlanDay(t.Context(), p.who, team)
	p.must(err)
	d, err = p.clinic.PutDay(t.Context(), p.who, d, nil, 0)
	p.must(err)
	p.who = as(access.Helper, team)
	body := p.get("/stations", http.StatusOK)
	main := mainOf(body)
	if n := strings.Count(main, "<a class=\"button\""); n != len(d.Stations) || n < 3 {
		t.Errorf("%d buttons for %d stations", n, len(d.Stations))
	}
	for _, st := range d.Stations {
		wants(t, main, `href="/s/`+st.Code+`"`, st.Name)
		p.get("/s/"+st.Code, http.StatusOK)
	}
	for i := range p.scenario.Athletes {
		wantsNot(t, main, p.scenario.Athletes[i].Name)
	}
	wants(t, p.get("/days/"+d.ID, http.StatusForbidden), "Not allowed")
	wants(t, p.get("/days/"+d.ID+"/handouts", http.StatusForbidden), "Not allowed")
	p.who = as(access.Helper, p.scenario.Teams[1].ID)
	wantsNot(t, p.get("/stations", http.StatusOK), "/s/")
}
