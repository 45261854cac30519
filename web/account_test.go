package web

import (
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
)

var (
	linkField  = regexp.MustCompile(`id="link" class="copy" value="([^"]+)"`)
	tokenField = regexp.MustCompile(`id="token" class="copy" value="([^"]+)"`)
	sessionEnd = regexp.MustCompile(`action="(/account/sessions/[^"]+/end)"`)
	tokenEnd   = regexp.MustCompile(`action="(/account/tokens/[^"]+/revoke)"`)
	oneCode    = regexp.MustCompile(`<ul class="secrets"><li>([^<]+)</li>`)
	nextPart   = regexp.MustCompile(`href="(/audit\?[^"]*before=[^"]*)"`)
)

func TestAccountPage(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	page := b.see("/account", http.StatusOK)
	wants(t, page, "A password alone opens this account", "Administrator and clinician in every team", "Firefox on Linux</b> (this one)", "10 Mar 2026 12:00 UTC",
		"Read: see what you may see", "Chief &lt;img")
	wantsNot(t, page, "<img", "NaN", "ZgotmplZ", goodPassword)

	wants(t, b.fill("/account/password", http.StatusUnprocessableEntity, "old", "wrong", "password", otherPassword, "again", otherPassword), "fault-password-old", "The password was not changed")
	wants(t, b.fill("/account/password", http.StatusUnprocessableEntity, "old", goodPassword, "password", otherPassword, "again", "x"), "fault-password-again")
	second := p.browser()
	second.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
	to := b.fill("/account/password", http.StatusSeeOther, "old", goodPassword, "password", otherPassword, "again", otherPassword)
	wants(t, b.see(to, http.StatusOK), "The new password holds")
	if w := second.send(http.MethodGet, "/account", "", ""); w.Code != http.StatusSeeOther {
		t.Errorf("the other place is still signed in: %d", w.Code)
	}
	second.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", otherPassword)
}

func TestSessionsEnd(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	sign := func() *browser {
		x := p.browser()
		x.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
		return x
	}
	out := func(x *browser) bool { return x.send(http.MethodGet, "/account", "", "").Code == http.StatusSeeOther }
	second := sign()
	end := found(t, sessionEnd, b.see("/account", http.StatusOK))
	wants(t, b.see(b.fill(end, http.StatusSeeOther), http.StatusOK), "That place is signed out")
	if !out(second) || out(b) {
		t.Error("ending a session ends that one alone")
	}
	stranger, _ := p.account(b, "stranger", access.Grant{Team: emptyTeam, Role: access.Helper})
	third := sign()
	stranger.fill(found(t, sessionEnd, b.see("/account", http.StatusOK)), http.StatusNotFound)
	if out(third) {
		t.Error("somebody else ended a session")
	}
	b.fill("/account/sign-out-everywhere", http.StatusSeeOther, "keep", "yes")
	if !out(third) || out(b) {
		t.Error("signing out all others keeps this one alone")
	}
	fourth := sign()
	if to := b.fill("/account/sign-out-everywhere", http.StatusSeeOther); to != "/sign-in" || !out(fourth) || !out(b) {
		t.Errorf("signing out everywhere leads to %s", to)
	}
}

func TestSecondFactor(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	page := b.see("/account/second-factor", http.StatusOK)
	secret := found(t, hiddenSecret, page)
	wants(t, page, inFours(secret), `class="qr"`)
	page = b.fill("/account/second-factor", http.StatusUnprocessableEntity, "secret", secret, "code", "000000", "password", goodPassword)
	if found(t, hiddenSecret, page) != secret {
		t.Error("after a wrong code another secret is offered")
	}
	wants(t, page, `id="fault-code"`)
	b.fill("/account/second-factor", http.StatusUnprocessableEntity, "secret", strings.Repeat("A", 5000), "code", "000000", "password", goodPassword)
	wants(t, b.fill("/account/second-factor", http.StatusUnprocessableEntity, "secret", secret, "code", totp(t, secret, p.now), "password", "wrong"), `id="fault-password"`)
	page = b.fill("/account/second-factor", http.StatusOK, "secret", secret, "code", totp(t, secret, p.now), "password", goodPassword)
	wants(t, page, "they are shown only now", "login chief")
	recovery := found(t, oneCode, page)
	wants(t, b.see("/account", http.StatusOK), "10 recovery codes are left", "Remove the second factor")

	p.now = p.now.Add(time.Hour)
	x := p.browser()
	wants(t, x.fill("/sign-in", http.StatusUnauthorized, "login", "chief", "password", goodPassword), "This account has a second factor")
	wants(t, x.fill("/sign-in", http.StatusUnauthorized, "login", "chief", "password", "wrong"), "That does not fit")
	code := totp(t, secret, p.now)
	x.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword, "code", code)
	p.browser().fill("/sign-in", http.StatusUnauthorized, "login", "chief", "password", goodPassword, "code", code)
	p.browser().fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword, "code", recovery)
	p.browser().fill("/sign-in", http.StatusUnauthorized, "login", "chief", "password", goodPassword, "code", recovery)

	wants(t, x.fill("/account/second-factor/remove", http.StatusUnprocessableEntity, "password", "wrong"), "fault-factor-password", "The second factor was not removed")
	wants(t, x.see(x.fill("/account/second-factor/remove", http.StatusSeeOther, "password", goodPassword), http.StatusOK), "The second factor is removed", "Set up a second factor")
}

func TestTokens(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	page := b.fill("/account/tokens", http.StatusUnprocessableEntity, "name", hostile, "team", emptyTeam, "days", "abc", "scopes", "enter")
	wants(t, page, "fault-token-days", "No token was made", "&lt;img", `value="enter" checked`, `value="abc"`, `value="team-empty" selected`)
	wantsNot(t, page, "<img", `value="read" checked`)
	b.fill("/account/tokens", http.StatusUnprocessableEntity, "name", "x", "days", "10")
	b.fill("/account/tokens", http.StatusUnprocessableEntity, "name", "x", "days", "366", "scopes", "read")
	page = b.fill("/account/tokens", http.StatusOK, "name", hostile, "team", emptyTeam, "days", "30", "scopes", "read", "scopes", "enter")
	token := found(t, tokenField, page)
	wants(t, page, "shown only once", "It may read and enter in Empty, for 30 days", "&lt;img")
	who, err := p.office.ByToken(t.Context(), token, "192.0.2.9")
	p.must(err)
	if !who.May(access.SeeRecords, &access.Subject{Teams: []string{emptyTeam}}) || who.May(access.ManageDays, &access.Subject{Teams: []string{emptyTeam}}) ||
		who.May(access.SeeRecords, &access.Subject{Teams: []string{p.scenario.Teams[0].ID}}) {
		t.Errorf("the token gives %+v", who)
	}
	page = b.see("/account", http.StatusOK)
	wants(t, page, "may read and enter in Empty", "last used 10 Mar 2026", "works until 9 Apr 2026")
	wantsNot(t, page, token)
	stranger, _ := p.account(b, "stranger", access.Grant{Team: emptyTeam, Role: access.Helper})
	end := found(t, tokenEnd, page)
	stranger.fill(end, http.StatusNotFound)
	wants(t, b.see(b.fill(end, http.StatusSeeOther), http.StatusOK), "The token does not work any more", "revoked on 10 Mar 2026")
	if _, err := p.office.ByToken(t.Context(), token, "192.0.2.9"); err == nil {
		t.Error("a revoked token still works")
	}
}

// Every form of an account refuses what was not sent from a page of our own, and changes nothing.
func TestAccountFormsAreOurOwn(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	for _, route := range p.ginRoutes() {
		if route.Method != http.MethodPost {
			continue
		}
		path := regexp.MustCompile(`:\w+`).ReplaceAllString(route.Path, "x")
		for _, headers := range [][2]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "http://evil.test"}, {"Origin", "null"}, {"X-None", ""}} {
			r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, path, strings.NewReader("name=x"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			r.Header.Set(headers[0], headers[1])
			r.AddCookie(&http.Cookie{Name: "evenhand", Value: b.cookies["evenhand"]})
			w := httptest.NewRecorder()
			p.router.ServeHTTP(w, r)
			if w.Code != http.StatusForbidden {
				t.Errorf("POST %s with %s: %s gives %d", path, headers[0], headers[1], w.Code)
			}
		}
	}
	b.see("/account", http.StatusOK)
}

func TestPasskeyScriptsAreAnsweredInWords(t *testing.T) {
	p := newStaffed(t, Options{})
	b := p.chief()
	for _, x := range []struct {
		path, contentType, body string
		status                  int
	}{
		{"/account/passkeys/finish", "application/json", `{"ceremony":"x","name":"y","response":{}}`, 0},
		{"/account/passkeys/finish", "application/json", `not json`, http.StatusUnprocessableEntity},
		{"/account/passkeys/finish", "text/plain", `{}`, http.StatusUnprocessableEntity},
		{"/account/passkeys/finish", "application/json", `{"name":"` + strings.Repeat("a", 1<<20) + `"}`, http.StatusUnprocessableEntity},
		{"/sign-in/passkey/finish", "application/json", `{"ceremony":"x","response":{}}`, 0},
		{"/sign-in/passkey/finish", "application/json", `[]`, http.StatusUnprocessableEntity},
	} {
		w := b.send(http.MethodPost, x.path, x.contentType, x.body)
		if x.status != 0 && w.Code != x.status || w.Code < 400 || w.Code >= 500 {
			t.Errorf("%s %.40s: %d", x.path, x.body, w.Code)
		}
		if got := w.Header().Get("Content-Type"); !strings.HasPrefix(got, "application/json") || !strings.Contains(w.Body.String(), `"text":"`) {
			t.Errorf("%s %.40s: %s %s", x.path, x.body, got, w.Body)
		}
	}
	if p.log.Len() > 0 {
		t.Error(p.log)
	}
}

func TestOriginOf(t *testing.T) {
	for _, x := range [][3]string{
		{"evenhand.local:8484", "https://evenhand.local:8484", "https://evenhand.local:8484"},
		{"evenhand.local:8484", "http://evenhand.local:8484", "http://evenhand.local:8484"},
		{"evenhand.local", "https://evil.test", "http://evenhand.local"},
		{"evenhand.local", "null", "http://evenhand.local"},
		{"evenhand.local", "ftp://evenhand.local", "http://evenhand.local"},
		{"evenhand.local", "", "http://evenhand.local"},
	} {
		r := httptest.NewRequest(http.MethodPost, "/", nil)
		r.Host = x[0]
		r.Header.Set("Origin", x[1])
		if got := originOf(r); got != x[2] {
			t.Errorf("host %s, origin %s: %s, want %s", x[0], x[1], got, x[2])
		}
	}
}
