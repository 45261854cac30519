package main

import (
	"bufio"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// running is the program as the shell starts it.
type running struct {
	t    *testing.T
	said map[string]string // what it printed, by the words before the colon
	log  *syncLog
	stop context.CancelFunc
	code chan int
}

// start runs the program until it has printed a line that begins with last.
func start(t *testing.T, last string, args ...string) *running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	out, pw := io.Pipe()
	r := &running{t: t, said: map[string]string{}, log: &syncLog{}, stop: cancel, code: make(chan int, 1)}
	w := &world{in: strings.NewReader(""), out: pw, errs: r.log, now: time.Now, newID: newID, random: rand.Reader, log: slog.New(slog.NewTextHandler(r.log, nil))}
	go func() {
		code := run(ctx, args, w)
		_ = pw.Close() // whoever waits for a line that never came goes on
		r.code <- code
	}()
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		name, value, _ := strings.Cut(lines.Text(), ": ")
		if at, ok := strings.CutPrefix(lines.Text(), "evenhand serves at "); ok {
			name, value = "address", at
		}
		r.said[name] = value
		if name == last {
			go func() { _, _ = io.Copy(io.Discard, out) }()
			return r
		}
	}
	t.Fatalf("the program ended with %d before it said %q: %v\n%s", <-r.code, last, r.said, r.log)
	return nil
}

func (r *running) end() {
	r.t.Helper()
	r.stop()
	if code := <-r.code; code != 0 {
		r.t.Errorf("exit %d: %s", code, r.log)
	}
}

func (r *running) get(c *http.Client, url string) (int, string, http.Header) {
	r.t.Helper()
	req, err := http.NewRequestWithContext(r.t.Context(), http.MethodGet, url, nil)
	if err != nil {
		r.t.Fatal(err)
	}
	res, err := c.Do(req)
	if err != nil {
		r.t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil {
		r.t.Fatal(err)
	}
	return res.StatusCode, string(body), res.Header
}

// dial opens a connection to what listens at an address such as http://127.0.0.1:8484.
func (r *running) dial(url string) net.Conn {
	r.t.Helper()
	c, err := (&net.Dialer{}).DialContext(r.t.Context(), "tcp", strings.TrimPrefix(url, "http://"))
	if err != nil {
		r.t.Fatal(err)
	}
	r.t.Cleanup(func() { _ = c.Close() })
	return c
}

// A change that is on its way when the program is told to end is made, acknowledged and on file; streams
// end at once; the exit code is 0.
func TestTheEndLosesNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "kept.db")
	p := start(t, "screening day in progress", "demo", file, "--listen", "127.0.0.1:0")
	at := p.said["address"]
	day := strings.TrimPrefix(p.said["screening day in progress"], at+"/days/")

	stream := p.dial(at)
	fmt.Fprintf(stream, "GET /api/v1/days/%s/events HTTP/1.1\r\nHost: localhost\r\n\r\n", day)
	events := bufio.NewReader(stream)
	if line, err := events.ReadString('\n'); err != nil || !strings.Contains(line, "200") {
		t.Fatalf("%q %v", line, err)
	}

	put := p.dial(at)
	body := `{"name":"Written at the end","sport":"baseball"}`
	fmt.Fprintf(put, "PUT /api/v1/teams/team-at-the-end HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nContent-Length: %d\r\nExpect: 100-continue\r\n\r\n", len(body))
	answer := bufio.NewReader(put)
	if line, err := answer.ReadString('\n'); err != nil || !strings.Contains(line, "100") {
		t.Fatalf("%q %v", line, err) // from here on the handler waits for the body
	}
	p.stop()
	if _, err := io.Copy(io.Discard, events); err != nil {
		t.Errorf("the stream broke off: %v", err)
	}
	if _, err := io.WriteString(put, body); err != nil {
		t.Fatal(err)
	}
	_, _ = answer.ReadString('\n') // the rest of the 100
	res, err := http.ReadResponse(answer, nil)
	if err != nil {
		t.Fatal(err)
	}
	if text, err := io.ReadAll(res.Body); err != nil || res.StatusCode != http.StatusCreated {
		t.Errorf("%d %s %v", res.StatusCode, text, err)
	}
	_ = res.Body.Close()
	p.end()
	if code, out, errs := call(t, "", "export", "--db", file, "--team", "Written at the end", "--format", "json"); code != 0 {
		t.Errorf("the team is not on file: exit %d %s %s", code, out, errs)
	}
}

// What net/http answers by itself before a router sees it.
func TestOddRequests(t *testing.T) {
	p := start(t, "screening day in progress", "demo", "--listen", "127.0.0.1:0")
	defer p.end()
	for name, c := range map[string]struct{ request, status string }{
		"plain":                   {"GET /protocol HTTP/1.1\r\nHost: localhost\r\n\r\n", "200"},
		"two hosts":               {"GET /protocol HTTP/1.1\r\nHost: localhost\r\nHost: stranger.test\r\n\r\n", "400"},
		"no host":                 {"GET /protocol HTTP/1.1\r\n\r\n", "400"},
		"another host by address": {"GET http://stranger.test/protocol HTTP/1.1\r\nHost: localhost\r\n\r\n", "421"},
		"our host by address":     {"GET http://localhost/protocol HTTP/1.1\r\nHost: stranger.test\r\n\r\n", "200"},
		"userinfo":                {"GET http://localhost@stranger.test/protocol HTTP/1.1\r\nHost: localhost\r\n\r\n", "421"},
		"forwarded host":          {"GET /protocol HTTP/1.1\r\nHost: stranger.test\r\nX-Forwarded-Host: localhost\r\n\r\n", "421"},
		"two lengths":             {"POST /teams/new HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nx", "400"},
		"length and chunks":       {"POST /teams/new HTTP/1.1\r\nHost: localhost\r\nContent-Length: 4\r\nTransfer-Encoding: gzip, chunked\r\n\r\n0\r\n\r\n", "501"},
		"space before colon":      {"GET /protocol HTTP/1.1\r\nHost : localhost\r\n\r\n", "400"},
		"folded header":           {"GET /protocol HTTP/1.1\r\nHost: localhost\r\nX-A: b\r\n c\r\n: d\r\n\r\n", "400"},
		"nothing of HTTP":         {"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", "400"},
		"up the tree":             {"GET /assets/../../../../etc/passwd HTTP/1.1\r\nHost: localhost\r\n\r\n", "404"},
		"up the tree, encoded":    {"GET /assets/%2e%2e%2f%2e%2e%2fgo.mod HTTP/1.1\r\nHost: localhost\r\n\r\n", "404"},
	} {
		conn := p.dial(p.said["address"])
		if _, err := io.WriteString(conn, c.request); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(conn).ReadString('\n')
		if err != nil || !strings.Contains(line, " "+c.status+" ") {
			t.Errorf("%s: %q %v, want %s", name, line, err, c.status)
		}
	}
}

// A local authority vouches for the program; a second address tells devices how to trust it, and
// serves nothing else.
func TestLocalAuthorityServes(t *testing.T) {
	file := filepath.Join(t.TempDir(), "gym.db")
	p := start(t, "counters", "demo", file, "--listen", "127.0.0.1:0", "--tls-local", "--trust-listen", "127.0.0.1:0", "--metrics-listen", "127.0.0.1:0",
		"--host", "screen.example.org", "--log-format", "json")
	defer p.end()
	plain := strings.TrimSuffix(p.said["how to trust it on a device"], "/trust")
	status, page, h := p.get(http.DefaultClient, plain+"/trust")
	fingerprint := p.said["local authority, SHA-256"]
	if status != http.StatusOK || !strings.Contains(page, strings.ReplaceAll(fingerprint[:23], ":", " ")) || h.Get("X-Frame-Options") != "DENY" {
		t.Errorf("%d %.500s", status, page)
	}
	_, certificate, h := p.get(http.DefaultClient, plain+"/trust/evenhand-ca.crt")
	block, rest := pem.Decode([]byte(certificate))
	if block == nil || block.Type != "CERTIFICATE" || len(rest) > 0 || h.Get("Content-Type") != "application/x-x509-ca-cert" {
		t.Fatalf("%s %v", certificate, h)
	}
	if sum := fmt.Sprintf("%X", sha256.Sum256(block.Bytes)); sum != strings.ReplaceAll(fingerprint, ":", "") {
		t.Errorf("the certificate has %s, printed was %s", sum, fingerprint)
	}
	for _, path := range []string{"/teams", "/api/v1/teams", "/sign-in", "/health/ready", "/protocol", "/api/docs", "/metrics"} {
		if status, _, _ := p.get(http.DefaultClient, plain+path); status != http.StatusNotFound {
			t.Errorf("without TLS, %s: %d", path, status)
		}
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM([]byte(certificate))
	carrier := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12}, ForceAttemptHTTP2: true}
	defer carrier.CloseIdleConnections()
	trusting := &http.Client{Transport: carrier}
	at := p.said["address"]
	for path, says := range map[string]string{"/": "Demo", "/api/v1/teams": "items", "/health/ready": "ready", "/trust": "Compare"} {
		if status, body, _ := p.get(trusting, at+path); status != http.StatusOK || !strings.Contains(body, says) {
			t.Errorf("%s: %d %.200s", path, status, body)
		}
	}
	counters, figures, _ := p.get(http.DefaultClient, p.said["counters"])
	if counters != http.StatusOK || !strings.Contains(figures, "evenhand_store_bytes ") || !strings.Contains(figures, "evenhand_audit_entries ") {
		t.Errorf("%d %.300s", counters, figures)
	}
	ca := filepath.Join(filepath.Dir(file), "evenhand-tls", "evenhand-ca.crt")
	if code, out, errs := call(t, "", "health", at, "--ca", ca); code != 0 || out != "ready\n" {
		t.Errorf("health: %d %s %s", code, out, errs)
	}
	if code, _, errs := call(t, "", "health", at); code != 1 || !strings.Contains(errs, "certificate") {
		t.Errorf("health without the authority: %d %s", code, errs)
	}
	if line, _, _ := strings.Cut(p.log.String(), "\n"); !json.Valid([]byte(line)) {
		t.Errorf("the log is not JSON: %s", line)
	}
	// a name that the authority does not know of is not taken silently
	code, _, errs := call(t, "", "serve", "--db", file, "--listen", "127.0.0.1:0", "--tls-local", "--host", "later.example.org")
	if code != 1 || !strings.Contains(errs, "may not vouch for it") || !strings.Contains(errs, "later.example.org") {
		t.Errorf("exit %d: %s", code, errs)
	}
}

func TestFlagsThatDoNotGoTogether(t *testing.T) {
	db := filepath.Join(t.TempDir(), "a.db")
	for says, args := range map[string][]string{
		"--tls-local makes":         {"--tls-local", "--tls-cert", "x", "--tls-key", "y"},
		"give both":                 {"--trust-listen", "127.0.0.1:0"},
		"--tls-key":                 {"--tls-cert", "x"},
		"not the address":           {"--proxy", "proxy.example"},
		"certificate nothing.pem":   {"--tls-cert", "nothing.pem", "--tls-key", "nothing.pem"},
		"another address with --me": {"--metrics-listen", "256.0.0.1:1"},
		"must be one of":            {"--log-format", "xml"},
	} {
		code, _, errs := call(t, "", append([]string{"serve", "--db", db, "--listen", "127.0.0.1:0"}, args...)...)
		if code == 0 || !strings.Contains(errs, says) {
			t.Errorf("%v: exit %d, %s", args, code, errs)
		}
	}
}

// Without encryption and for other machines there is a warning; for this machine alone there is none.
func TestWarnings(t *testing.T) {
	for listen, warned := range map[string]bool{"0.0.0.0:0": true, "127.0.0.1:0": false} {
		p := start(t, "first administrator", "serve", "--db", filepath.Join(t.TempDir(), "a.db"), "--listen", listen)
		if strings.Contains(p.log.String(), "not encrypted") != warned {
			t.Errorf("%s: %s", listen, p.log)
		}
		p.end()
	}
}

// Ready says no when the program ends and when the file does not answer, once in the log.
func TestReadiness(t *testing.T) {
	p := newProgram(t, false)
	ready := func(r *readiness) error { return r.check(t.Context()) }
	log := &syncLog{}
	r := &readiness{store: p.o.store, file: p.o.file, log: slog.New(slog.NewTextHandler(log, nil))}
	if err := ready(r); err != nil {
		t.Error(err)
	}
	if w := p.send("GET", "/health/ready", ""); w.Code != http.StatusOK || w.Body.String() != "ready\n" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if w := p.send("GET", "/health/live", ""); w.Code != http.StatusOK || w.Body.String() != "running\n" {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	r.ending.Store(true)
	for range 2 {
		if ready(r) == nil || strings.Count(log.String(), "not ready") != 1 {
			t.Errorf("%s", log)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	r.ending.Store(false)
	if err := r.check(gone); err == nil || strings.Contains(log.String(), os.TempDir()) {
		t.Errorf("%v %s", err, log)
	}
}
