package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// preseasonOf is the date on which most athletes of the demo's first team have a preseason screen.
func (p *place) preseasonOf(team string) screen.Date {
	p.t.Helper()
	dates, err := p.clinic.SquadDates(p.t.Context(), clinic.LocalAdministrator, team)
	p.must(err)
	if len(dates) == 0 {
		p.t.Fatal("the demo has no date with preseason screens of five athletes")
	}
	return dates[0].On
}

func TestSquadPage(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	on, path := p.preseasonOf(team), "/teams/"+team+"/squad"
	wants(t, p.get("/teams/"+team, http.StatusOK), `href="`+path+`"`, "What is usual here")
	body := p.get(path, http.StatusOK)
	wants(t, body, "Nothing is worked out yet", "Work it out", `<option value="`+string(on)+`"`)
	wantsNot(t, body, "Athlete by athlete")

	w := p.post(path, url.Values{"on": {string(on)}})
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != path+"?on="+string(on) {
		t.Fatalf("%d %s", w.Code, w.Header().Get("Location"))
	}
	body = p.get(path+"?on="+string(on), http.StatusOK)
	wants(t, body, "Figures of "+day(on), "counted", "Athlete by athlete", "Drawn towards the squad", "Measure by measure", "The protocol says",
		"REML (shown, not used)", "used", "Work it out again", "spread", "\u00a0±\u00a0", `data-label="Plain"`)
	wantsNot(t, body, "NaN", "%!", "Inf", "&lt;no value&gt;", "ZgotmplZ", "-0.0", "−0.0")

	body = p.get(path+"?on="+string(on)+"&measure=grip_strength", http.StatusOK)
	wants(t, body, "Grip strength", `value="grip_strength" selected`)
	wants(t, p.get(path+"?on="+string(on)+"&measure=nothing", http.StatusOK), "Athlete by athlete")
	wants(t, p.get("/teams/"+emptyTeam+"/squad", http.StatusOK), "Nothing is worked out yet", "Closing a screening day works it out by itself")
	p.get("/teams/none/squad", http.StatusNotFound)
}

func TestSquadFormSaysWhatIsWrong(t *testing.T) {
	p := newPlace(t, Options{})
	path := "/teams/" + p.scenario.Teams[0].ID + "/squad"
	for on, want := range map[string]string{"2026-03-11": "is in the future", "2019-01-01": "no preseason screen", "soon": "is not a day"} {
		w := p.post(path, url.Values{"on": {on}})
		if w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", on, w.Code)
		}
		wants(t, w.Body.String(), want, "Right would be", `aria-describedby="fault-on"`, `value="`+on+`" selected`)
	}
	w := p.do(http.MethodPost, path, strings.NewReader("on=2026-03-01"), "Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "cross-site")
	if w.Code != http.StatusForbidden {
		t.Errorf("a form of another site: %d", w.Code)
	}
}

// A finding says what is most likely beside what was measured, and whose figures that rests on.
func TestFindingSaysWhatIsMostLikely(t *testing.T) {
	p := newPlace(t, Options{})
	team := p.scenario.Teams[0].ID
	on := p.preseasonOf(team)
	var rec *screen.Record
	for i := range p.scenario.Records {
		x := &p.scenario.Records[i]
		if x.Screen.On == on && x.Screen.Team == team && x.Athlete.HandOn(on) == screen.RightHand && len(x.Readings) > 20 {
			rec = x
			break
		}
	}
	path := "/athletes/" + rec.Screen.Athlete + "?screen=" + rec.Screen.ID
	body := p.get(path, http.StatusOK)
	wants(t, body, "Most likely", "plain ", "Such athletes have", "by the protocol.")
	wantsNot(t, body, "own figures of")
	_, err := p.clinic.WorkOutSquad(t.Context(), clinic.LocalAdministrator, team, on)
	p.must(err)
	wants(t, p.get(path, http.StatusOK), "Most likely", "Athletes of this squad have", "by the squad&#39;s own figures of "+day(on)+".")
}
