package web

import (
	"crypto/hmac"
	"crypto/sha1" //nolint:gosec // RFC 6238 as apps speak it
	"encoding/base32"
	"encoding/binary"
	"fmt"
	"html"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/office"
)

const (
	goodPassword  = "seven quiet herons wade at dusk"
	otherPassword = "nine brass kettles under snow"
)

// staffed is a place behind its door, with accounts.
type staffed struct {
	*place
	office *office.Office
	now    time.Time
}

func newStaffed(t testing.TB, opt Options) *staffed {
	t.Helper()
	p := &staffed{place: newPlace(t, Options{}), now: noon}
	clock, n := func() time.Time { return p.now }, 0
	p.office = office.New(p.store, office.Options{Now: clock, Cost: office.Cost{Time: 1, Memory: 64, Threads: 1},
		NewID: func() string { n++; return fmt.Sprintf("made-%d", n) }})
	p.router = NewRouter(RouterOptions{Hosts: []string{"example.com"}})
	door := &Door{Office: p.office, Now: clock}
	if opt.Demo {
		door.Visitor = DemoVisitor
	}
	p.router.Use(door.Admit)
	opt.Office, opt.Log = p.office, slog.New(slog.NewTextHandler(p.log, nil))
	p.must(Register(p.router, p.clinic, opt))
	return p
}

// browser keeps cookies as one does, and sends forms as our own pages do.
type browser struct {
	*staffed
	cookies map[string]string
	address string
	agent   string
}

func (p *staffed) browser() *browser {
	return &browser{staffed: p, cookies: map[string]string{}, address: "192.0.2.7:4711",
		agent: "Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0"}
}

func (b *browser) send(method, path, contentType, body string) *httptest.ResponseRecorder {
	b.t.Helper()
	r := httptest.NewRequestWithContext(b.t.Context(), method, path, strings.NewReader(body))
	r.RemoteAddr = b.address
	r.Header.Set("User-Agent", b.agent)
	if method == http.MethodPost {
		r.Header.Set("Content-Type", contentType)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	for name, value := range b.cookies {
		r.AddCookie(&http.Cookie{Name: name, Value: value})
	}
	w := httptest.NewRecorder()
	b.router.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		if c.MaxAge < 0 {
			delete(b.cookies, c.Name)
		} else {
			b.cookies[c.Name] = c.Value
		}
	}
	return w
}

// see opens a page that has to be there.
func (b *browser) see(path string, status int) string {
	b.t.Helper()
	w := b.send(http.MethodGet, path, "", "")
	if w.Code != status {
		b.t.Fatalf("GET %s: %d, want %d\n%s\n%s", path, w.Code, status, clipped(w.Body.String()), b.log)
	}
	return w.Body.String()
}

// fill sends a form and gives the page, or the address that it led to.
func (b *browser) fill(path string, status int, fields ...string) string {
	b.t.Helper()
	form := url.Values{}
	for i := 0; i+1 < len(fields); i += 2 {
		form.Add(fields[i], fields[i+1])
	}
	w := b.send(http.MethodPost, path, "application/x-www-form-urlencoded", form.Encode())
	if w.Code != status {
		b.t.Fatalf("POST %s: %d, want %d\n%s\n%s", path, w.Code, status, clipped(w.Body.String()), b.log)
	}
	if w.Code == http.StatusSeeOther {
		return w.Header().Get("Location")
	}
	return w.Body.String()
}

// chief makes the first administrator and is signed in as them.
func (p *staffed) chief() *browser {
	p.t.Helper()
	secret, needed, err := p.office.Setup(p.t.Context())
	p.must(err)
	if !needed {
		p.t.Fatal("there is an account already")
	}
	b := p.browser()
	b.fill("/setup/"+secret, http.StatusSeeOther, "login", "chief", "name", "Chief "+hostile, "password", goodPassword, "again", goodPassword, "looks_after", "yes")
	return b
}

// account makes one by an invitation and is signed in as them; id is the account's.
func (p *staffed) account(chief *browser, login string, grants ...access.Grant) (b *browser, id string) {
	p.t.Helper()
	who := chief.signedInAs()
	secret, err := p.office.Invite(p.t.Context(), who, "Somebody "+login, grants)
	p.must(err)
	b = p.browser()
	b.fill("/invitation/"+secret, http.StatusSeeOther, "login", login, "name", "Somebody "+login, "password", goodPassword, "again", goodPassword)
	return b, b.signedInAs().ID
}

// signedInAs is whom the browser's cookie stands for.
func (b *browser) signedInAs() access.Person {
	b.t.Helper()
	who, err := b.office.BySession(b.t.Context(), b.cookies["evenhand"])
	b.must(err)
	return who
}

// totp is the code of RFC 6238 with SHA-1, 30 s and six digits, worked out apart from the library that
// the program uses.
func totp(t testing.TB, secret string, at time.Time) string {
	t.Helper()
	key, err := base32.StdEncoding.WithPadding(base32.NoPadding).DecodeString(strings.ToUpper(secret))
	if err != nil {
		t.Fatal(err)
	}
	var counter [8]byte
	binary.BigEndian.PutUint64(counter[:], uint64(at.Unix()/30))
	mac := hmac.New(sha1.New, key)
	mac.Write(counter[:])
	sum := mac.Sum(nil)
	at4 := sum[len(sum)-1] & 0xf
	return fmt.Sprintf("%06d", (binary.BigEndian.Uint32(sum[at4:])&0x7fffffff)%1_000_000)
}

var hiddenSecret = regexp.MustCompile(`name="secret" value="([^"]+)"`)

// found is the first group of the first match.
func found(t testing.TB, re *regexp.Regexp, text string) string {
	t.Helper()
	m := re.FindStringSubmatch(text)
	if m == nil {
		t.Fatalf("no %s in\n%s", re, clipped(text))
	}
	return html.UnescapeString(m[1])
}
