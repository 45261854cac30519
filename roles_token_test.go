package main

import (
	"encoding/base64"
	"net/http"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
)

const tokenTarget = "/api/v1/screens/own-screen1"

// TestTokensThatDoNotWork: a token opens nothing if it is past, revoked, cut, changed, or put anywhere
// but into its header; and it is never helped by somebody else's cookie.
func TestTokensThatDoNotWork(t *testing.T) {
	s := sharedSite(t)
	token, trainer := s.tokens["read"], s.cookies["own trainer"]
	for _, x := range []struct {
		name, target string
		headers      map[string]string
		after        time.Duration
		status       int
	}{
		{name: "as it is", headers: bearer(token), status: 200},
		{name: "past", headers: bearer(token), after: 91 * 24 * time.Hour},
		{name: "truncated by one character", headers: bearer(token[:len(token)-1])},
		{name: "without its beginning", headers: bearer(strings.TrimPrefix(token, access.TokenPrefix))},
		{name: "with one bit changed", headers: bearer(oneBitOff(t, token))},
		{name: "with the spare bits changed", headers: bearer(spareBits(t, token))},
		{name: "in capital letters", headers: bearer(strings.ToUpper(token))},
		{name: "with a blank behind it", headers: bearer(token + " ")},
		{name: "twice", headers: bearer(token + "," + token)},
		{name: "empty", headers: bearer("")},
		{name: "of another scheme", headers: map[string]string{"Authorization": "Basic " + token}},
		{name: "in the query", target: "?access_token=" + token, headers: map[string]string{}, status: 422},
		{name: "as the cookie", headers: map[string]string{"Cookie": "evenhand=" + token}},
		{name: "a cookie's secret as the token", headers: bearer(access.TokenPrefix + trainer)},
		{name: "a token that does not work, with somebody's cookie", headers: map[string]string{"Authorization": "Bearer " + token[:len(token)-1], "Cookie": "evenhand=" + trainer}},
	} {
		if x.status == 0 {
			x.status = http.StatusUnauthorized
		}
		p := s.open(t, rolesNoon.Add(x.after))
		before := p.rows()
		a := p.sendAs("GET", tokenTarget+x.target, "", x.headers)
		if a.status != x.status {
			t.Errorf("%s: status %d, want %d: %s", x.name, a.status, x.status, a.brief())
		}
		if x.status != http.StatusOK {
			p.tellsNothing(x.name, &a, append(ownText.health(), ownText.name, token))
		}
		same(t, x.name, before, p.rows(), "")
		_ = p.opened.store.Close()
	}
}

// TestTokenWithSomebodyElsesCookie: a token that works counts, and not the cookie beside it.
func TestTokenWithSomebodyElsesCookie(t *testing.T) {
	s := sharedSite(t)
	p := s.open(t, rolesNoon)
	clinician := map[string]string{"Authorization": "Bearer " + s.tokens["enter"], "Cookie": "evenhand=" + s.cookies["own clinician"]}
	if a := p.sendAs("GET", tokenTarget, "", clinician); a.status != http.StatusForbidden {
		t.Errorf("a token to enter with a clinician's cookie: status %d: %s", a.status, a.brief())
	}
	coach := map[string]string{"Authorization": "Bearer " + s.tokens["read"], "Cookie": "evenhand=" + s.cookies["own coach"]}
	if a := p.sendAs("GET", tokenTarget, "", coach); a.status != http.StatusOK {
		t.Errorf("a token to read with a coach's cookie: status %d: %s", a.status, a.brief())
	}
}

// TestTokenAfterRevocation: a token is refused from the moment on at which it is revoked, and so are the
// tokens of an account that is closed.
func TestTokenAfterRevocation(t *testing.T) {
	s := sharedSite(t)
	for name, end := range map[string]func(p *premises) answer{
		"revoked": func(p *premises) answer {
			trainer := s.role(access.Trainer)
			own, err := p.opened.office.Own(t.Context(), trainer.person)
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range own.Tokens {
				if x.Name == "Token to read" {
					return p.send(&trainer, &sent{method: "POST", target: "/account/tokens/" + x.ID + "/revoke"})
				}
			}
			return answer{}
		},
		"account closed": func(p *premises) answer {
			chief := role{account: "chief"}
			return p.send(&chief, &sent{method: "POST", target: "/people/" + s.persons["own trainer"].ID + "/disable", body: "sure=yes",
				headers: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}})
		},
	} {
		p := s.open(t, rolesNoon)
		if a := p.sendAs("GET", tokenTarget, "", bearer(s.tokens["read"])); a.status != http.StatusOK {
			t.Fatalf("before: status %d: %s", a.status, a.brief())
		}
		if a := end(p); a.status != http.StatusSeeOther {
			t.Fatalf("%s: status %d: %s", name, a.status, a.brief())
		}
		if a := p.sendAs("GET", tokenTarget, "", bearer(s.tokens["read"])); a.status != http.StatusUnauthorized {
			t.Errorf("%s: status %d: %s", name, a.status, a.brief())
		}
	}
}

// TestSessionsThatDoNotWork: a cookie is refused that is cut, changed, past, idle for too long, of a
// session that was ended, or of an account that was closed.
func TestSessionsThatDoNotWork(t *testing.T) {
	s := sharedSite(t)
	cookie := s.cookies["own trainer"]
	for _, x := range []struct {
		name, value string
		after       time.Duration
		status      int
	}{
		{"as it is", cookie, 0, 200},
		{"an hour later", cookie, time.Hour, 200},
		{"idle", cookie, 2*time.Hour + time.Minute, 401},
		{"past", cookie, 13 * time.Hour, 401},
		{"truncated", cookie[:len(cookie)-1], 0, 401},
		{"one bit changed", oneBitOff(t, access.TokenPrefix+cookie)[len(access.TokenPrefix):], 0, 401},
		{"a token", s.tokens["read"], 0, 401},
		{"a family's link", s.names["family"], 0, 401},
		{"empty", "", 0, 401},
	} {
		p := s.open(t, rolesNoon.Add(x.after))
		a := p.sendAs("GET", tokenTarget, "", map[string]string{"Cookie": "evenhand=" + x.value})
		if a.status != x.status {
			t.Errorf("%s: status %d, want %d: %s", x.name, a.status, x.status, a.brief())
		}
		_ = p.opened.store.Close()
	}
	p, trainer := s.open(t, rolesNoon), s.role(access.Trainer)
	if a := p.send(&trainer, &sent{method: "POST", target: "/sign-out"}); a.status != http.StatusSeeOther {
		t.Fatalf("signing out: status %d: %s", a.status, a.brief())
	}
	if a := p.send(&trainer, &sent{method: "GET", target: tokenTarget}); a.status != http.StatusUnauthorized {
		t.Errorf("after signing out: status %d: %s", a.status, a.brief())
	}
}

func bearer(token string) map[string]string {
	return map[string]string{"Authorization": "Bearer " + token}
}

// changedSecret changes the bytes of a token, or the text behind them.
func changedSecret(t *testing.T, token string, change func(b []byte)) string {
	t.Helper()
	b, err := base64.RawURLEncoding.DecodeString(strings.TrimPrefix(token, access.TokenPrefix))
	if err != nil {
		t.Fatal(err)
	}
	change(b)
	return access.TokenPrefix + base64.RawURLEncoding.EncodeToString(b)
}

func oneBitOff(t *testing.T, token string) string {
	return changedSecret(t, token, func(b []byte) { b[7] ^= 16 })
}

// spareBits is another text of the same bytes: the last character of 43 has two bits to spare.
func spareBits(t *testing.T, token string) string {
	t.Helper()
	const letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	last := strings.IndexByte(letters, token[len(token)-1])
	out := token[:len(token)-1] + string(letters[last^1])
	if changedSecret(t, out, func([]byte) {}) != token {
		t.Fatal("these are other bytes")
	}
	return out
}
