package web

import (
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/storetest"
)

// withdrawn is the athlete of the demo who withdrew, with the team.
func (p *place) withdrawn() (athlete, team string) {
	p.t.Helper()
	i := slices.IndexFunc(p.scenario.Consents, func(c screen.Consent) bool { return c.WithdrawnOn != "" })
	if i < 0 {
		p.t.Fatal("nobody of the demo withdrew")
	}
	athlete = p.scenario.Consents[i].Athlete
	k := slices.IndexFunc(p.scenario.Memberships, func(m screen.Membership) bool { return m.Athlete == athlete })
	return athlete, p.scenario.Memberships[k].Team
}

func TestPrivacyPagesRender(t *testing.T) {
	p := newPlace(t, Options{Demo: true})
	athlete, team := p.withdrawn()
	for path, says := range map[string][]string{
		"/privacy":                           {p.scenario.Teams[0].Name, "/teams/" + team + "/consents", "Retention and what was erased"},
		"/privacy/texts":                     {"EXAMPLE. Check this text", "example 1", "Age of majority", `value="18"`},
		"/privacy/retention":                 {"No time is set: nothing falls due.", "Local rules decide", "until the age of 21 or 22", "Nobody."},
		"/teams/" + team + "/consents":       {"1 member has no consent for screening", "withdrawn 5 Mar 2026", "Record consents on paper"},
		"/athletes/" + athlete + "/consents": {"Screening: withdrawn on 5 Mar 2026", "the guardian asked for it by letter", "No consent for screening: nothing measured is stored.", "/held", "/erase"},
		"/athletes/" + athlete + "/erase":    {"What goes", "Screens: ", "Backups that were made before still hold the athlete", "This cannot be undone."},
	} {
		body := p.get(path, http.StatusOK)
		wants(t, body, append(says, "<h1>", "</html>")...)
		wantsNot(t, body, "ZgotmplZ", "%!", "&lt;no value&gt;", "<script>", "style=")
	}
	p.get("/athletes/none/consents", http.StatusNotFound)
	p.get("/athletes/none/erase", http.StatusNotFound)
	p.get("/teams/none/consents", http.StatusNotFound)
}

func TestRecordAndWithdrawOnPages(t *testing.T) {
	p := newPlace(t, Options{})
	athlete, team := p.withdrawn()
	path := "/athletes/" + athlete + "/consents"
	form := url.Values{"id": {"paper-1"}, "purpose": {"screening", "coach"}, "on": {"2026-03-20"}, "given_by": {"guardian"}, "giver": {hostile}}
	w := p.post(path, form)
	if w.Code != http.StatusUnprocessableEntity {
		t.Fatalf("a consent of next week: %d", w.Code)
	}
	wants(t, w.Body.String(), "is in the future", `value="2026-03-20"`, `aria-invalid="true"`, "&lt;img")
	wantsNot(t, w.Body.String(), hostile)
	form.Set("on", "2026-03-09")
	p.seeOther(p.post(path, form))
	body := p.get(path, http.StatusOK)
	wants(t, body, "Screening: given on 9 Mar 2026", "Sharing with the coach: given on 9 Mar 2026", "text example 1")
	w = p.post(path+"/paper-1/withdraw", url.Values{"on": {"2026-03-10"}, "why": {" "}})
	if wants(t, w.Body.String(), "The reason is missing"); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("without a reason: %d", w.Code)
	}
	p.seeOther(p.post(path+"/paper-1/withdraw", url.Values{"on": {"2026-03-10"}, "why": {"the father asked for it"}}))
	wants(t, p.get(path, http.StatusOK), "Screening: withdrawn on 10 Mar 2026", "Sharing with the coach: given on 9 Mar 2026")
	if w := p.post(path+"/none/withdraw", url.Values{"on": {"2026-03-10"}, "why": {"x"}}); w.Code != http.StatusNotFound {
		t.Errorf("no such consent: %d", w.Code)
	}
	many := url.Values{"purpose": {"screening"}, "on": {"2026-03-10"}, "given_by": {"guardian"}}
	w = p.post("/teams/"+team+"/consents", many)
	if wants(t, w.Body.String(), "Nobody is chosen"); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("nobody: %d", w.Code)
	}
	many.Set("athlete", athlete)
	p.seeOther(p.post("/teams/"+team+"/consents", many))
	wants(t, p.get("/teams/"+team+"/consents", http.StatusOK), "10 Mar 2026", "Every member has a consent for screening.")
}

func TestTextsAndMajorityOnPages(t *testing.T) {
	p := newPlace(t, Options{})
	form := url.Values{"id": {"text-1"}, "purpose": {"coach"}, "version": {"example 1"}, "body": {"I agree.\r\n<b>Date</b>"}}
	if w := p.post("/privacy/texts", form); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("the example's version: %d", w.Code)
	}
	form.Set("version", "2026-03")
	p.seeOther(p.post("/privacy/texts", form))
	form.Set("id", "text-2")
	w := p.post("/privacy/texts", form)
	if wants(t, w.Body.String(), "There is a text of this version already"); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("twice: %d", w.Code)
	}
	wants(t, p.get("/privacy/texts", http.StatusOK), "I agree.\n&lt;b&gt;Date", "added on 10 Mar 2026")
	w = p.post("/privacy/majority", url.Values{"majority": {"eighteen"}})
	if wants(t, w.Body.String(), "no age of majority", `value="eighteen"`); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("no number: %d", w.Code)
	}
	p.seeOther(p.post("/privacy/majority", url.Values{"majority": {"16"}}))
	wants(t, p.get("/privacy/texts", http.StatusOK), `value="16"`)
	p.who = as(access.Trainer, p.scenario.Teams[0].ID)
	wantsNot(t, p.get("/privacy/texts", http.StatusOK), "Add a version")
	p.get("/privacy/retention", http.StatusForbidden)
	if w := p.post("/privacy/majority", url.Values{"majority": {"15"}}); w.Code != http.StatusForbidden {
		t.Errorf("a trainer sets the age: %d", w.Code)
	}
}

func TestRetentionAndErasureOnPages(t *testing.T) {
	p := newPlace(t, Options{})
	athlete, _ := p.withdrawn()
	name := ""
	for _, a := range p.scenario.Athletes {
		if a.ID == athlete {
			name = a.Name
		}
	}
	w := p.post("/privacy/retention", url.Values{"years": {"seven"}, "until_age": {""}})
	if wants(t, w.Body.String(), "is no such number", `value="seven"`); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("no number: %d", w.Code)
	}
	p.seeOther(p.post("/privacy/retention", url.Values{"years": {"1"}, "until_age": {""}}))
	wants(t, p.get("/privacy/retention", http.StatusOK), "Due within a year", name)
	held := p.do(http.MethodGet, "/athletes/"+athlete+"/held", nil)
	if held.Code != http.StatusOK || !strings.Contains(held.Header().Get("Content-Disposition"), "attachment") || held.Header().Get("Cache-Control") != "no-store" {
		t.Errorf("%d, %v", held.Code, held.Header())
	}
	wants(t, held.Body.String(), name, `"consents": [`, `"audit": [`)
	p.seeOther(p.post("/athletes/"+athlete+"/hold", url.Values{"why": {"a claim is open"}}))
	wants(t, p.get("/athletes/"+athlete+"/erase", http.StatusOK), "a claim is open", "cannot be erased until the hold is ended")
	wantsNot(t, p.get("/athletes/"+athlete+"/erase", http.StatusOK), "Erase for good")
	p.seeOther(p.post("/athletes/"+athlete+"/hold", url.Values{"why": {""}}))
	w = p.post("/athletes/"+athlete+"/erase", url.Values{"confirm": {"somebody"}, "why": {"asked for"}})
	if wants(t, w.Body.String(), "The name is another one", `value="somebody"`); w.Code != http.StatusUnprocessableEntity {
		t.Errorf("another name: %d", w.Code)
	}
	w = p.post("/athletes/"+athlete+"/erase", url.Values{"confirm": {name}, "why": {"asked for"}})
	if wants(t, w.Body.String(), "The athlete is erased.", "screens: ", "stays on record, without the name"); w.Code != http.StatusOK {
		t.Errorf("erased: %d", w.Code)
	}
	wantsNot(t, w.Body.String(), name)
	p.get("/athletes/"+athlete, http.StatusNotFound)
	body := p.get("/privacy/retention", http.StatusOK)
	wants(t, body, "asked for", "10 Mar 2026")
	wantsNot(t, body, name)
}

// The board names who is not to be measured, and the desk records what was seen on paper.
func TestBoardWithoutConsent(t *testing.T) {
	p := newPlace(t, Options{})
	id, _ := p.setUp()
	walk := url.Values{"id": {"walk-1"}, "name": {"Walter Onlooker"}, "born": {"2012-05-06"}, "sex": {"male"}, "hand": {"right"}, "level": {"school"}}
	storetest.NoConsent(t, p.file)
	p.seeOther(p.post("/days/"+id+"/walk-on", walk))
	body := p.get("/days/"+id, http.StatusOK)
	wants(t, body, "No consent: do not measure", "Walter Onlooker", "Consent on paper was seen", "without consent: not to be measured.")
	p.seeOther(p.post("/days/"+id+"/consent", url.Values{"athlete": {"walk-1"}}))
	got := p.get("/athletes/walk-1/consents", http.StatusOK)
	wants(t, got, "Screening: given on 10 Mar 2026 by a guardian")
	walk.Set("id", "walk-2")
	walk.Set("name", "Wanda Onlooker")
	walk.Set("consent", "yes")
	p.seeOther(p.post("/days/"+id+"/walk-on", walk))
	wants(t, p.get("/athletes/walk-2/consents", http.StatusOK), "Screening: given on 10 Mar 2026")
	if w := p.post("/days/"+id+"/consent", url.Values{"athlete": {"none"}}); w.Code != http.StatusNotFound && w.Code != http.StatusUnprocessableEntity {
		t.Errorf("nobody: %d", w.Code)
	}
}

func TestImportFormAsksForConsent(t *testing.T) {
	p := newPlace(t, Options{})
	athlete, team := p.withdrawn()
	text := "athlete,date,measure,side,trial1\n" + athlete + ",2026-03-09,shoulder_internal_rotation,left,40\n"
	w := p.post("/teams/"+team+"/import", url.Values{"text": {text}})
	wants(t, w.Body.String(), "There is no consent for screening on record for this athlete", `data-label="Row">2<`)
	w = p.post("/teams/"+team+"/import", url.Values{"text": {text}, "consent": {"yes"}, "consent_on": {"2026-03-08"}})
	wants(t, w.Body.String(), "1 reading, 1 consent.")
}
