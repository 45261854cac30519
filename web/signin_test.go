package web

import (
	"crypto/tls"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/office"
)

// RFC 6238, appendix B: SHA-1, the last six of the eight digits at 59 s and at 1111111109 s.
func TestTOTPOfTheTests(t *testing.T) {
	secret := "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ" // "12345678901234567890"
	for at, want := range map[int64]string{59: "287082", 1111111109: "081804"} {
		if got := totp(t, secret, time.Unix(at, 0)); got != want {
			t.Errorf("at %d s: %s, want %s", at, got, want)
		}
	}
}

// What a browser takes for another host is no path to go on to: WHATWG URL takes "\" for "/" and leaves
// out tabs and line ends.
func TestNextPath(t *testing.T) {
	for _, ok := range []string{"/", "/teams/a?x=1&y=%2F", "/athletes/a%20b#links", "/audit?who=a%0Ab"} {
		if got := nextPath(ok); got != ok {
			t.Errorf("%q became %q", ok, got)
		}
	}
	for _, bad := range []string{"", "teams", "//evil.test", "///evil.test", `/\evil.test`, `\\evil.test`, `/\/evil.test`, "/\t/evil.test", "/\n/evil.test",
		"/\r/evil.test", "/ /evil.test", "http://evil.test", "https:evil.test", "javascript:alert(1)", "data:text/html,x", " //evil.test", "/\x00/evil.test", "/%", "/%2F/evil.test",
		"/%2f%2fevil.test", "/sign-in", "/sign-in?next=/", "/" + strings.Repeat("a", 2000)} {
		if got := nextPath(bad); got != "/" {
			t.Errorf("%q is gone on to as %q", bad, got)
		}
	}
}

func TestSignInNeverLeadsElsewhere(t *testing.T) {
	p := newStaffed(t, Options{})
	p.chief()
	for _, next := range []string{"//evil.test", `/\evil.test`, "http://evil.test", "/\t/evil.test"} {
		b := p.browser()
		if to := b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword, "next", next); to != "/" {
			t.Errorf("next %q leads to %q", next, to)
		}
		if w := b.send(http.MethodGet, "/sign-in?next="+strings.NewReplacer("\t", "%09", `\`, "%5C").Replace(next), "", ""); w.Header().Get("Location") != "/" {
			t.Errorf("signed in, next %q leads to %q", next, w.Header().Get("Location"))
		}
	}
	b := p.browser()
	if to := b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword, "next", "/teams/"+emptyTeam+"?x=1"); to != "/teams/"+emptyTeam+"?x=1" {
		t.Errorf("a path of this server leads to %q", to)
	}
}

func TestSignInAndOut(t *testing.T) {
	p := newStaffed(t, Options{})
	wants(t, p.browser().see("/sign-in", http.StatusOK), "Nobody has an account here yet", "first administrator")
	p.chief()
	b := p.browser()
	if w := b.send(http.MethodGet, "/people?x=1", "", ""); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/sign-in?next=%2Fpeople%3Fx%3D1" {
		t.Errorf("not signed in: %d %s", w.Code, w.Header().Get("Location"))
	}
	form := b.see("/sign-in?next=/people", http.StatusOK)
	wants(t, form, `autocomplete="username"`, `autocomplete="current-password"`, `autocomplete="one-time-code"`, `value="/people"`, "passkey.")
	wantsNot(t, form, "Nobody has an account", `href="/protocol">Protocol</a></nav>`)
	b.fill("/sign-in", http.StatusSeeOther, "login", " Chief ", "password", goodPassword)
	page := b.see("/", http.StatusOK)
	wants(t, page, `<span class="selfname">Chief &lt;img`, "Sign out", `<a href="/people">People</a>`, `<a href="/audit">Audit</a>`)
	old := b.cookies["evenhand"]
	if to := b.fill("/sign-out", http.StatusSeeOther); to != "/sign-in" {
		t.Errorf("signing out leads to %s", to)
	}
	if b.cookies["evenhand"] != "" {
		t.Error("the cookie stayed")
	}
	b.cookies["evenhand"] = old
	if w := b.send(http.MethodGet, "/", "", ""); w.Code != http.StatusSeeOther {
		t.Errorf("the old cookie still opens the door: %d", w.Code)
	}
}

// Whatever is wrong, the page is the same to the letter but for the login that was typed.
func TestWrongSignInSaysTheSame(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	_, id := p.account(chief, "gone", access.Grant{Team: emptyTeam, Role: access.Coach})
	p.must(p.office.Disable(t.Context(), chief.signedInAs(), id, true))
	var first string
	for i, x := range [][2]string{{"chief", "wrong"}, {"nobody", goodPassword}, {"gone", goodPassword}, {"", ""}, {hostile, hostile}} {
		b := p.browser()
		page := b.fill("/sign-in", http.StatusUnauthorized, "login", x[0], "password", x[1])
		wantsNot(t, page, goodPassword, "<img")
		page = strings.Replace(page, ` name="login" value="`+strings.NewReplacer("<", "&lt;", ">", "&gt;", `"`, "&#34;").Replace(x[0])+`"`, "", 1)
		if i == 0 {
			first = page
			wants(t, page, "That does not fit")
		} else if page != first {
			t.Errorf("%q: another page than for a wrong password", x[0])
		}
		if len(b.cookies) > 0 {
			t.Errorf("%q: a cookie was set", x[0])
		}
	}
}

func TestThrottledSignInSaysHowLong(t *testing.T) {
	p := newStaffed(t, Options{})
	p.chief()
	b := p.browser()
	for range 40 {
		w := b.send(http.MethodPost, "/sign-in", "application/x-www-form-urlencoded", "login=chief&password=x")
		if w.Code == http.StatusTooManyRequests {
			wants(t, w.Body.String(), "There were too many tries", "Wait ", "Nothing is locked for good")
			if w.Header().Get("Retry-After") == "" || w.Header().Get("Retry-After") == "0" {
				t.Errorf("Retry-After is %q", w.Header().Get("Retry-After"))
			}
			return
		}
	}
	t.Error("40 wrong passwords in one moment were all looked at")
}

func TestWaitWords(t *testing.T) {
	for d, want := range map[time.Duration]string{0: "1 second", time.Second: "1 second", 1500 * time.Millisecond: "2 seconds", 90 * time.Second: "90 seconds",
		91 * time.Second: "2 minutes", 15 * time.Minute: "15 minutes"} {
		if got := waitWords(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

// A cookie from outside is never taken over, and signing in twice makes two sessions.
func TestSessionIsNotFixed(t *testing.T) {
	p := newStaffed(t, Options{})
	p.chief()
	b := p.browser()
	b.cookies["evenhand"] = "planted"
	b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
	first := b.cookies["evenhand"]
	b.fill("/sign-in", http.StatusSeeOther, "login", "chief", "password", goodPassword)
	if first == "planted" || len(first) < 43 || b.cookies["evenhand"] == first {
		t.Errorf("cookies %q, then %q", first, b.cookies["evenhand"])
	}
}

// RFC 6265bis, section 4.1.3.2: __Host- asks for Secure, the path / and no domain.
func TestCookies(t *testing.T) {
	gin.SetMode(gin.TestMode)
	for _, x := range []struct {
		tls  *tls.ConnectionState
		want string
	}{
		{nil, "evenhand=abc; Path=/; Expires=Tue, 10 Mar 2026 12:00:00 GMT; HttpOnly; SameSite=Lax"},
		{&tls.ConnectionState{}, "__Host-evenhand=abc; Path=/; Expires=Tue, 10 Mar 2026 12:00:00 GMT; HttpOnly; Secure; SameSite=Lax"},
	} {
		w := httptest.NewRecorder()
		ctx, _ := gin.CreateTestContext(w)
		ctx.Request = httptest.NewRequest(http.MethodPost, "/", nil)
		ctx.Request.TLS = x.tls
		setSession(ctx, office.SignedIn{Cookie: "abc", Expires: noon})
		if got := w.Header().Get("Set-Cookie"); got != x.want {
			t.Errorf("set: %s, want %s", got, x.want)
		}
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.TLS = x.tls
		r.AddCookie(w.Result().Cookies()[0])
		if sessionCookie(r) != "abc" {
			t.Error("the cookie is not found again")
		}
		if r.TLS == nil {
			r.TLS = &tls.ConnectionState{}
		} else {
			r.TLS = nil
		}
		if sessionCookie(r) != "" {
			t.Error("the cookie of the other way in is taken")
		}
		w.Header().Del("Set-Cookie")
		clearSession(ctx)
		if got := w.Header().Get("Set-Cookie"); !strings.Contains(got, "=; Path=/; Max-Age=0; HttpOnly") {
			t.Errorf("cleared: %s", got)
		}
	}
}

func TestDeviceOf(t *testing.T) {
	for says, want := range map[string]string{
		"Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36 Edg/140.0.0.0":           "Edge on Windows",
		"Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.0 Mobile/15E148 Safari/604.1": "Safari on iPhone",
		"Mozilla/5.0 (Linux; Android 15) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Mobile Safari/537.36":                            "Chrome on Android",
		"Mozilla/5.0 (Macintosh; Intel Mac OS X 10.15; rv:140.0) Gecko/20100101 Firefox/140.0":                                                    "Firefox on macOS",
		"": "a browser on an unknown system", hostile: "a browser on an unknown system",
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Header.Set("User-Agent", says)
		if got := deviceOf(r); got != want {
			t.Errorf("%q: %q, want %q", says, got, want)
		}
	}
}

func TestSetupLink(t *testing.T) {
	p := newStaffed(t, Options{})
	secret, needed, err := p.office.Setup(t.Context())
	p.must(err)
	if !needed {
		t.Fatal("an empty file needs a first administrator")
	}
	b, path := p.browser(), "/setup/"+secret
	for range 3 { // looking does not use it up
		wants(t, b.see(path, http.StatusOK), "I also look after athletes here", `value="yes" checked`, "Adds the role of clinician in every team")
	}
	page := b.fill(path, http.StatusUnprocessableEntity, "login", "Chief", "name", hostile, "password", goodPassword, "again", "another one that is long")
	wants(t, page, "The two passwords are not the same", `value="Chief"`, "&lt;img", `aria-invalid="true"`)
	wantsNot(t, page, goodPassword, "<img", `value="yes" checked`)
	page = b.fill(path, http.StatusUnprocessableEntity, "login", "c", "name", "", "password", "short", "again", "short")
	wants(t, page, "Not saved", `id="fault-name"`, `id="fault-login"`, `id="fault-password"`)
	if len(b.cookies) > 0 {
		t.Error("a refused form signed somebody in")
	}
	if to := b.fill(path, http.StatusSeeOther, "login", "chief", "name", "Chief", "password", goodPassword, "again", goodPassword); to != "/" {
		t.Errorf("it leads to %s", to)
	}
	if who := b.signedInAs(); len(who.Grants) != 1 {
		t.Errorf("without the tick the roles are %v", who.Grants)
	}
	used := p.browser().see(path, http.StatusNotFound)
	for _, other := range []string{"/setup/" + strings.Repeat("A", 43), "/setup/x", "/invitation/" + secret, "/reset/" + secret} {
		if got := p.browser().see(other, http.StatusNotFound); got != used {
			t.Errorf("%s: another page than for a used link", other)
		}
	}
	wants(t, used, "This link does not work")
	stranger := p.browser()
	for i := range 100 {
		w := stranger.send(http.MethodGet, "/setup/"+strings.Repeat("B", 43), "", "")
		if w.Code == http.StatusTooManyRequests {
			wants(t, w.Body.String(), "Too many tries", "Wait ")
			if w.Header().Get("Retry-After") == "" {
				t.Error("no Retry-After")
			}
			break
		}
		if i == 99 {
			t.Error("a hundred links were tried in one moment")
		}
	}
	p.now = p.now.Add(time.Hour)
	p.browser().fill(path, http.StatusNotFound, "login", "second", "name", "Second", "password", goodPassword, "again", goodPassword)
}

func TestInvitationAndReset(t *testing.T) {
	p := newStaffed(t, Options{})
	chief := p.chief()
	page := chief.fill("/people", http.StatusOK, "name", "Coach "+hostile, "role", "coach", "team", emptyTeam, "role", "", "team", "every", "role", "helper", "team", emptyTeam)
	wants(t, page, "it is shown only once", "for 7 days", "Coach and helper in Empty", "<svg", "&lt;img")
	link := strings.TrimPrefix(found(t, linkField, page), "http://example.com")
	guest := p.browser()
	wants(t, guest.see(link, http.StatusOK), "Coach and helper in Empty", "For Coach &lt;img")
	wants(t, chief.see("/people", http.StatusOK), "Invitations that are open", "Coach &lt;img", "Coach and helper in Empty")
	guest.fill(link, http.StatusSeeOther, "login", "coach", "name", "Coach", "password", goodPassword, "again", goodPassword)
	if got := guest.signedInAs().Grants; len(got) != 2 || got[0].Team != emptyTeam {
		t.Errorf("the roles are %v", got)
	}
	guest.see(link, http.StatusNotFound)
	wants(t, guest.see("/people", http.StatusForbidden), "Not allowed")
	wantsNot(t, guest.see("/account", http.StatusOK), `href="/people"`, `href="/audit"`)

	id := guest.signedInAs().ID
	page = chief.fill("/people/"+id+"/reset", http.StatusOK)
	wants(t, page, "for 24 hours", "It sets a new password")
	link = strings.TrimPrefix(found(t, linkField, page), "http://example.com")
	other := p.browser()
	wantsNot(t, other.see(link, http.StatusOK), `name="login"`, `name="name"`)
	wants(t, other.fill(link, http.StatusUnprocessableEntity, "password", "short", "again", "short"), `id="fault-password"`)
	other.fill(link, http.StatusSeeOther, "password", otherPassword, "again", otherPassword)
	if w := guest.send(http.MethodGet, "/account", "", ""); w.Code != http.StatusSeeOther {
		t.Errorf("after a reset another place is still signed in: %d", w.Code)
	}
	other.see("/account", http.StatusOK)
}
