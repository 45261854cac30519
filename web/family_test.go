package web

import (
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

var familyAddress = regexp.MustCompile(`<p class="joinlink"><a href="[^"]*(/f/[^"]+)">`)

// handedOut is a place with a trainer, and an athlete with a handout and something to work towards.
func handedOut(t *testing.T) (p *staffed, trainer *browser, athlete screen.Athlete) {
	t.Helper()
	p = newStaffed(t, Options{})
	v := squadDay(p.place)
	_, err := p.clinic.MakeHandouts(t.Context(), access.Local, v.Day.ID)
	p.must(err)
	all, err := p.clinic.Handouts(t.Context(), access.Local, v.Day.ID)
	p.must(err)
	for i := range all.Sheets {
		page, err := p.clinic.FamilyPage(t.Context(), access.Local, all.Sheets[i].Athlete)
		p.must(err)
		if len(page.Targets) > 1 && !page.Hold {
			athlete = all.Sheets[i].Person
		}
	}
	if athlete.ID == "" {
		t.Fatal("nobody in the demo has targets and is not on hold")
	}
	trainer, _ = p.account(p.chief(), "trainer", access.Grant{Team: v.Day.Team, Role: access.Trainer})
	return p, trainer, athlete
}

// linkFor makes a link by the page and gives the path behind it.
func linkFor(t *testing.T, b *browser, athlete string) string {
	t.Helper()
	body := b.fill("/athletes/"+athlete+"/links", http.StatusOK, "name", "mother "+hostile, "days", "30")
	wants(t, body, "The link is shown this once", "mother &lt;img", `class="qr"`)
	wantsNot(t, body, "<img")
	return found(t, familyAddress, body)
}

func TestFamilyLinkOpensTheHandout(t *testing.T) {
	p, trainer, athlete := handedOut(t)
	wants(t, trainer.see("/athletes/"+athlete.ID, http.StatusOK), `href="/athletes/`+athlete.ID+`/links"`)
	wants(t, trainer.see("/athletes/"+athlete.ID+"/links", http.StatusOK), "No link works at present", "Make a link")
	path := linkFor(t, trainer, athlete.ID)
	secret := strings.TrimPrefix(path, "/f/")
	again := trainer.see("/athletes/"+athlete.ID+"/links", http.StatusOK)
	wants(t, again, "1 link works at present", "mother &lt;img", "not opened yet")
	wantsNot(t, again, secret)

	family := p.browser() // without any cookie
	w := family.send(http.MethodGet, path, "", "")
	body := w.Body.String()
	if w.Code != http.StatusOK || w.Header().Get("Cache-Control") != "no-store" || w.Header().Get("X-Robots-Tag") != "noindex" || len(w.Result().Cookies()) > 0 {
		t.Fatalf("%d %v", w.Code, w.Header())
	}
	wants(t, body, "<h1>"+athlete.Name+"</h1>", "What to work towards", "When to measure again", "Stop throwing and see a licensed clinician",
		"What was measured", "Made on", "Do not work towards it by yourself")
	wantsNot(t, body, `href="/"`, `href="/protocol"`, "/teams/", "/athletes/", "sign-in", "%!", "NaN", "unsettled")
	for i := range p.scenario.Athletes {
		if name := p.scenario.Athletes[i].Name; name != athlete.Name {
			wantsNot(t, body, name)
		}
	}
	wants(t, trainer.see("/athletes/"+athlete.ID+"/links", http.StatusOK), "opened last on")
	for _, other := range []string{"/", "/teams/" + p.scenario.Teams[0].ID, "/athletes/" + athlete.ID, "/stations"} {
		if w := family.send(http.MethodGet, other, "", ""); w.Code != http.StatusSeeOther || !strings.HasPrefix(w.Header().Get("Location"), "/sign-in?next=") {
			t.Errorf("%s behind a family's link: %d %s", other, w.Code, w.Header().Get("Location"))
		}
	}
	// Whoever is signed in sees by a link what the family sees, and no more.
	wantsNot(t, trainer.see(path, http.StatusOK), `href="/"`, "/teams/")
	if strings.Contains(p.log.String(), secret) {
		t.Error("the secret is in the log")
	}
}

// A link that was taken back, has run out or never was says so in the same words.
func TestFamilyLinksEnd(t *testing.T) {
	p, trainer, athlete := handedOut(t)
	gone := func(path string) string {
		t.Helper()
		body := p.browser().see(path, http.StatusNotFound)
		wants(t, body, "This link does not work", "Ask the athletic trainer for a new one")
		wantsNot(t, body, athlete.Name, `href="/"`)
		return body
	}
	never := gone("/f/never-made")
	path := linkFor(t, trainer, athlete.ID)
	p.browser().see(path, http.StatusOK)
	links := trainer.see("/athletes/"+athlete.ID+"/links", http.StatusOK)
	revoke := found(t, regexp.MustCompile(`action="(/athletes/[^"]+/links/[^"]+/revoke)"`), links)
	stranger := p.browser()
	if w := stranger.send(http.MethodPost, revoke, "application/x-www-form-urlencoded", ""); w.Code != http.StatusUnauthorized {
		t.Errorf("a stranger takes a link back: %d", w.Code)
	}
	if to := trainer.fill(revoke, http.StatusSeeOther); to != "/athletes/"+athlete.ID+"/links" {
		t.Errorf("led to %s", to)
	}
	if gone(path) != never {
		t.Error("a link that was taken back looks other than one that never was")
	}
	wants(t, trainer.see("/athletes/"+athlete.ID+"/links", http.StatusOK), "taken back on 10 Mar 2026")
	path = linkFor(t, trainer, athlete.ID)
	p.now = noon.Add(31 * 24 * time.Hour)
	if gone(path) != never {
		t.Error("a link that has run out looks other than one that never was")
	}
}

func TestFamilyLinkForms(t *testing.T) {
	p, trainer, athlete := handedOut(t)
	address := "/athletes/" + athlete.ID + "/links"
	for _, x := range []struct{ name, days, want string }{
		{"", "30", "link-name"}, {"father", "many", "not a number of days"}, {"father", "0", "not a number of days"}, {"father", "181", "1 to 180"}, {"father", "-3", "1 to 180"},
	} {
		body := trainer.fill(address, http.StatusUnprocessableEntity, "name", x.name, "days", x.days)
		wants(t, body, x.want, "Not saved", `value="`+x.days+`"`, "aria-invalid")
		wantsNot(t, body, "/f/")
	}
	wants(t, trainer.see(address, http.StatusOK), "No link works at present")
	trainer.see("/athletes/nobody/links", http.StatusNotFound)
	team := p.scenario.Teams[0].ID
	for _, role := range []access.Role{access.Coach, access.Helper, access.Administrator} {
		b, _ := p.account(p.chiefAgain(), "some-"+strings.ReplaceAll(string(role), " ", "-"), access.Grant{Team: team, Role: role})
		b.see(address, http.StatusForbidden)
		b.fill(address, http.StatusForbidden, "name", "me", "days", "30")
	}
	other, _ := p.account(p.chiefAgain(), "elsewhere", access.Grant{Team: p.scenario.Teams[1].ID, Role: access.Trainer})
	other.see(address, http.StatusNotFound)
	other.fill(address, http.StatusNotFound, "name", "me", "days", "30")
}

// chiefAgain signs the first administrator in once more.
func (p *staffed) chiefAgain() *browser {
	p.t.Helper()
	b := p.browser()
	b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
	return b
}

// Without a handout the page says so and shows nothing else of the athlete; on hold a clinician comes first.
func TestFamilyPageWithoutAHandoutAndOnHold(t *testing.T) {
	p, trainer, athlete := handedOut(t)
	body := p.browser().see(linkFor(t, trainer, nobodyYet), http.StatusOK)
	wants(t, body, "There is no handout yet", "Stop throwing and see a licensed clinician", "&lt;img src=x")
	wantsNot(t, body, "What to work towards", "When to measure again", "<img")
	path := linkFor(t, trainer, athlete.ID)
	p.put(func(tx *store.Tx) error {
		_, err := tx.PutEvent(screen.Event{ID: "hurt", Athlete: athlete.ID, On: "2026-03-09", Kind: screen.EventInjury, Note: "a note for the staff"})
		return err
	})
	body = p.browser().see(path, http.StatusOK)
	wants(t, body, "Do not throw until a licensed clinician says that you may", "What was measured", "needs urgent")
	wantsNot(t, body, "What to work towards", "<h2>When to measure again", "a note for the staff")
}
