package main

import (
	"context"
	"crypto/tls"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/access"
	"evenhand/internal/store"
)

func (p *program) checkHeaders(what string, w *httptest.ResponseRecorder) {
	p.t.Helper()
	h := w.Header()
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Cross-Origin-Resource-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin"} {
		if h.Get(name) != want {
			p.t.Errorf("%s: %s %q", what, name, h.Get(name))
		}
	}
	csp := h.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action "} {
		if !strings.Contains(csp, want) {
			p.t.Errorf("%s: policy %q", what, csp)
		}
	}
	if strings.Contains(csp, "unsafe-inline") && !strings.Contains(csp, "style-src 'self'; style-src-attr 'unsafe-inline'") || strings.Contains(csp, "unsafe-eval") || strings.Contains(csp, "*") {
		p.t.Errorf("%s: policy %q", what, csp)
	}
	if r := h.Get("Referrer-Policy"); r != "same-origin" && r != "no-referrer" {
		p.t.Errorf("%s: referrer policy %q", what, r)
	}
	if !strings.Contains(h.Get("Permissions-Policy"), "publickey-credentials-get=(self)") || len(h.Get("X-Request-Id")) != 36 {
		p.t.Errorf("%s: %v", what, h)
	}
	kept := strings.Contains(what, "/assets/") || strings.HasSuffix(what, "/s/sw.js")
	if c := h.Get("Cache-Control"); c != "no-store" && !kept {
		p.t.Errorf("%s: may be kept: %q", what, c)
	}
	if h.Get("Access-Control-Allow-Origin") != "" || h.Get("Server") != "" || h.Get("X-Powered-By") != "" {
		p.t.Errorf("%s: %v", what, h)
	}
}

// Every route, whoever asks and whatever is answered, and what never reaches a route.
func TestEveryAnswerHasItsHeaders(t *testing.T) {
	for _, visited := range []bool{true, false} {
		p := newProgram(t, visited)
		seen := map[int]int{}
		for _, r := range p.routes {
			w := p.send(r.Method, p.at(r.Path), "{", "Content-Type", "application/json", "Sec-Fetch-Site", "same-origin")
			p.checkHeaders(r.Method+" "+r.Path, w)
			seen[w.Code/100]++
			if w.Code == http.StatusInternalServerError {
				t.Errorf("%s %s: %s", r.Method, r.Path, w.Body)
			}
		}
		if seen[2] == 0 || seen[4] == 0 {
			t.Errorf("statuses %v", seen)
		}
		for what, w := range map[string]*httptest.ResponseRecorder{
			"no page": p.send("GET", "/nothing", ""), "no answer": p.send("GET", "/api/v1/nothing", ""), "another method": p.send("DELETE", "/protocol", ""),
			"trailing slash": p.send("GET", "/protocol/", ""), "odd method": p.send("BREW", "/", ""),
			"compressed": p.send("POST", "/teams/new", "x", "Content-Encoding", "gzip"), "forwarded": p.send("GET", "/protocol/", "", "X-Forwarded-Prefix", "//stranger.test"),
			"other site": p.send("POST", "/teams/new", "", "Sec-Fetch-Site", "cross-site"),
		} {
			p.checkHeaders(what, w)
			if w.Code < 400 {
				t.Errorf("%s: %d", what, w.Code)
			}
		}
	}
}

// Strict-Transport-Security is sent over TLS only, and for names only.
func TestStrictTransport(t *testing.T) {
	p := newProgram(t, true)
	name, err := os.Hostname()
	if err != nil {
		t.Fatal(err)
	}
	for host, want := range map[string]string{name + ".local:8484": "max-age=31536000", "127.0.0.1:8484": "", "[::1]:8484": "", "192.168.7.9": "", "localhost:8484": ""} {
		for _, encrypted := range []bool{true, false} {
			r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
			r.Host = host
			if encrypted {
				r.TLS = &tls.ConnectionState{}
			}
			w := httptest.NewRecorder()
			p.handler.ServeHTTP(w, r)
			got := w.Header().Get("Strict-Transport-Security")
			if encrypted && got != want || !encrypted && got != "" {
				t.Errorf("%s, TLS %v: %q", host, encrypted, got)
			}
		}
	}
}

// A page of a stranger sends whatever a browser lets it send, with the rights of somebody who may do
// everything. Nothing is changed, and the refusal comes before anybody looks at the body.
func TestStrangersFormsChangeNothing(t *testing.T) {
	p := newProgram(t, true)
	before, tried := p.state(), 0
	bodies := map[string]string{
		"application/x-www-form-urlencoded":   "name=Changed&id=x&why=x",
		"multipart/form-data; boundary=x":     "--x\r\nContent-Disposition: form-data; name=\"name\"\r\n\r\nChanged\r\n--x--\r\n",
		"text/plain":                          `{"name":"Changed","sport":"baseball"}`,
		"application/json":                    `{"name":"Changed","sport":"baseball"}`,
		"":                                    `{"name":"Changed","sport":"baseball"}`,
		"application/json;text/plain;charset": `{"name":"Changed"}`,
	}
	origins := [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Sec-Fetch-Site", "same-site"}, {"Origin", "https://stranger.test"}, {"Origin", "null"},
		{"Origin", "http://127.0.0.1:9999"}, {"Origin", "http://127.0.0.1:8484.stranger.test"}, {"Sec-Fetch-Site", "cross-site", "Origin", "http://127.0.0.1:8484"}}
	for _, r := range p.routes {
		if r.Method == http.MethodGet || r.Method == http.MethodHead {
			continue
		}
		for kind, body := range bodies {
			for _, from := range origins {
				tried++
				headers := slices.Clone(from)
				if kind != "" {
					headers = append(headers, "Content-Type", kind)
				}
				if w := p.send(r.Method, p.at(r.Path), body, headers...); w.Code != http.StatusForbidden {
					t.Errorf("%s %s, %q from %v: %d", r.Method, r.Path, kind, from, w.Code)
				}
			}
		}
	}
	if p.state() != before || tried < 1000 {
		t.Errorf("the file changed, or too little was tried: %d", tried)
	}
	w := p.send("PUT", "/api/v1/teams/team-new", `{"name":"New","sport":"baseball"}`, "Content-Type", "application/json", "Sec-Fetch-Site", "same-origin")
	if w.Code != http.StatusCreated || p.state() == before {
		t.Errorf("our own page: %d %s", w.Code, w.Body)
	}
}

// A form whose origin nobody tells is refused; so is one from the unencrypted page of the same name.
func TestFormsOfUnknownOrigin(t *testing.T) {
	p := newProgram(t, true)
	before := p.state()
	for _, r := range p.routes {
		if r.Method == http.MethodPost && !strings.HasPrefix(r.Path, "/api/") {
			if w := p.send(r.Method, p.at(r.Path), "name=x", "Content-Type", "application/x-www-form-urlencoded"); w.Code != http.StatusForbidden {
				t.Errorf("%s: %d", r.Path, w.Code)
			}
		}
	}
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, "/teams/new", strings.NewReader("name=x"))
	r.Host, r.TLS = "127.0.0.1:8484", &tls.ConnectionState{}
	r.Header.Set("Origin", "http://127.0.0.1:8484")
	w := httptest.NewRecorder()
	if p.handler.ServeHTTP(w, r); w.Code != http.StatusForbidden || p.state() != before {
		t.Errorf("%d", w.Code)
	}
}

func TestCompressedBodiesAreRefused(t *testing.T) {
	p := newProgram(t, true)
	before := p.state()
	for _, r := range p.routes {
		if r.Method == http.MethodGet || r.Method == http.MethodHead {
			continue
		}
		for _, coding := range []string{"gzip", "deflate", "br", "identity, gzip", "x"} {
			w := p.send(r.Method, p.at(r.Path), "\x1f\x8b", "Content-Encoding", coding, "Sec-Fetch-Site", "same-origin")
			if w.Code != http.StatusUnsupportedMediaType {
				t.Errorf("%s %s, %s: %d", r.Method, r.Path, coding, w.Code)
			}
			if strings.HasPrefix(r.Path, "/api/") && (!json.Valid(w.Body.Bytes()) || w.Header().Get("Content-Type") != "application/problem+json") {
				t.Errorf("%s: %s", r.Path, w.Body)
			}
		}
	}
	if p.state() != before {
		t.Error("the file changed")
	}
}

func TestHostTricks(t *testing.T) {
	p := newProgram(t, true)
	for host, known := range map[string]bool{
		"127.0.0.1:8484": true, "localhost": true, "[::1]:8484": true, "192.168.7.9:8484": true, "LOCALHOST:1": true,
		"stranger.test": false, "stranger.test:8484": false, "127.0.0.1.stranger.test": false, "localhost.stranger.test": false, "": false, ":8484": false,
		"127.0.0.1:8484@stranger.test": false, "user@127.0.0.1": false, "user:secret@127.0.0.1:8484": false, "127.0.0.1:8484.stranger.test": false,
		"127.0.0.1:port": false, "[::1": false, "::1": false, "[::1]stranger.test": false, "127.0.0.1:8484:8484": false, "localhost/..": false,
		"127.0.0.1, stranger.test": false, "[fe80::1%25eth0]": false, "localhost:123456": false, "0x7f000001": false, "2130706433": false, "localhost.": false,
	} {
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/protocol", nil)
		r.Host = host
		r.Header.Set("X-Forwarded-Host", "127.0.0.1")
		w := httptest.NewRecorder()
		if p.handler.ServeHTTP(w, r); (w.Code == http.StatusOK) != known || !known && w.Code != http.StatusMisdirectedRequest {
			t.Errorf("%q: %d", host, w.Code)
		}
		if !known && host != "" && strings.Contains(w.Body.String(), host) {
			t.Errorf("%q comes back in %s", host, w.Body)
		}
	}
}

// walk enters an athlete, readings and a note, looks at everything, and gets some things wrong.
func (p *program) walk() {
	p.t.Helper()
	own := []string{"Content-Type", "application/json", "Sec-Fetch-Site", "same-origin"}
	body := `{"readings":[{"measure":"shoulder_internal_rotation","side":"left","trials":[` + oddValue + `],"examiner":"` + oddName + `"}]}`
	p.send("PUT", "/api/v1/screens/"+oddScreen+"/readings", body, own...)
	p.send("PUT", "/api/v1/athletes/"+oddPerson, `{"name":"`+oddName+`","x":`+oddValue+`}`, own...)
	p.send("POST", "/teams/new", "name="+oddName+"&id="+oddTeam, "Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin")
	for _, r := range p.routes {
		if r.Method == http.MethodGet && !strings.HasSuffix(r.Path, "/events") {
			p.send("GET", p.at(r.Path)+"?q="+strings.ReplaceAll(oddName, " ", "+"), "", "X-Request-Id", oddPerson, "User-Agent", oddName)
		}
	}
	p.send("GET", "/nothing/"+oddPerson, "")
	p.send(strings.ToUpper(strings.Fields(oddName)[0]), "/"+oddPerson, "")
}

// The log says what was asked for and how it ended, and nothing of anybody.
func TestTheLogNamesNobody(t *testing.T) {
	p := newProgram(t, true)
	p.walk()
	log := p.log.String()
	for _, secret := range []string{oddName, strings.Fields(oddName)[0], "ZYXQUIL", oddValue, oddTeam, oddPerson, oddScreen, "secret-31c4", "192.0.2.1", "q=", "2010-03-04"} {
		if strings.Contains(log, secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
	routes := map[string]bool{"none": true}
	for _, r := range p.routes {
		routes[r.Path] = true
	}
	lines := strings.Split(strings.TrimSpace(log), "\n")
	ids := map[string]bool{}
	for _, line := range lines {
		var x struct {
			Msg, ID, Method, Route string
			Status, Bytes          int
			MS                     *float64
		}
		if err := json.Unmarshal([]byte(line), &x); err != nil {
			t.Fatalf("%v in %s", err, line)
		}
		if x.Msg != "request" {
			continue
		}
		if !routes[x.Route] || x.Status == 0 || x.MS == nil || len(x.ID) != 36 || ids[x.ID] {
			t.Errorf("%s", line)
		}
		ids[x.ID] = true
	}
	if len(ids) < 80 {
		t.Errorf("%d requests in the log", len(ids))
	}
}

// No label of a counter holds an id, a name or a value: they come from the table of routes.
func TestCountersNameNobody(t *testing.T) {
	p := newProgram(t, true)
	p.walk()
	w := httptest.NewRecorder()
	p.counters.Handler().ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/metrics", nil))
	known := map[string]bool{"none": true}
	for _, r := range p.routes {
		known[r.Path] = true
	}
	counted := 0
	for line := range strings.Lines(w.Body.String()) {
		if !strings.HasPrefix(line, "evenhand_requests_total{") {
			continue
		}
		counted++
		labels := map[string]string{}
		for part := range strings.SplitSeq(line[strings.Index(line, "{")+1:strings.Index(line, "}")], ",") {
			name, value, _ := strings.Cut(part, "=")
			labels[name] = strings.Trim(value, `"`)
		}
		if !known[labels["route"]] || len(labels) != 3 || len(labels["status"]) != 3 {
			t.Errorf("%s", line)
		}
	}
	if counted < 60 {
		t.Errorf("%d lines", counted)
	}
	for _, secret := range []string{oddName, "ZYXQUIL", oddTeam, oddPerson, oddScreen, "secret-31c4"} {
		if strings.Contains(w.Body.String(), secret) {
			t.Errorf("the counters hold %q", secret)
		}
	}
}

// What is done is in the audit with the id that the answer and the log have.
func TestTheAuditHasTheRequest(t *testing.T) {
	p := newProgram(t, true)
	w := p.send("PUT", "/api/v1/teams/team-new", `{"name":"New","sport":"baseball"}`, "Content-Type", "application/json", "X-Request-Id", "chosen-by-the-client")
	last, err := lastEntry(t.Context(), p.o)
	if err != nil {
		t.Fatal(err)
	}
	id := w.Header().Get("X-Request-Id")
	if last.Request != id || last.Via != "PUT /api/v1/teams/:team" || !strings.Contains(p.log.String(), id) || id == "chosen-by-the-client" {
		t.Errorf("%+v, answer %q", last, id)
	}
}

func lastEntry(ctx context.Context, o *opened) (e *access.Entry, err error) {
	err = o.store.Read(ctx, func(tx *store.Tx) error {
		e, err = tx.LastAudit()
		return err
	})
	return e, err
}
