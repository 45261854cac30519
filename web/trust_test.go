package web

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"evenhand/internal/access"
)

var exampleTrust = &Trust{Certificate: []byte("-----BEGIN CERTIFICATE-----\n"), Fingerprint: strings.TrimSuffix(strings.Repeat("0A:", 32), ":"),
	Until: "2036-03-10", Base: "https://192.168.7.9:8484"}

// The page is for everybody: who asks does not trust this server yet and cannot sign in.
func TestTrustPage(t *testing.T) {
	p := newPlace(t, Options{Trust: exampleTrust})
	p.who = access.Person{}
	page := p.get("/trust", http.StatusOK)
	for _, want := range []string{strings.TrimSpace(strings.Repeat("0A ", 8)), "/trust/evenhand-ca.crt", "2036-03-10", exampleTrust.Base, "QR code", "iPad", "Android", "Windows", "macOS", "Linux"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q", want)
		}
	}
	if n := strings.Count(page, "<code>0A"); n != 4 {
		t.Errorf("the fingerprint has %d rows", n)
	}
	w := p.do(http.MethodGet, "/trust/evenhand-ca.crt", nil)
	if w.Header().Get("Content-Type") != "application/x-x509-ca-cert" || w.Body.String() != string(exampleTrust.Certificate) {
		t.Errorf("%v %s", w.Header(), w.Body)
	}
	q := newPlace(t, Options{})
	q.get("/trust", http.StatusNotFound)
	q.get("/trust/evenhand-ca.crt", http.StatusNotFound)
}

// What listens without TLS shows this page and nothing else.
func TestTrustRouterServesNothingElse(t *testing.T) {
	p := newPlace(t, Options{})
	r := NewRouter(RouterOptions{Hosts: []string{"example.com"}})
	p.must(RegisterTrust(r, p.clinic, Options{Trust: exampleTrust}))
	for _, route := range r.Routes() {
		if route.Method != http.MethodGet && route.Method != http.MethodHead || !strings.HasPrefix(route.Path, "/trust") && route.Path != "/" && route.Path != "/assets/*name" {
			t.Errorf("%s %s", route.Method, route.Path)
		}
	}
	w := httptest.NewRecorder()
	r.ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil))
	if w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/trust" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
}

func TestHealth(t *testing.T) {
	fault := error(nil)
	r := NewRouter(RouterOptions{})
	RegisterHealth(r, func(context.Context) error { return fault })
	ask := func(path string) (int, string) {
		q := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
		q.Host = "127.0.0.1"
		w := httptest.NewRecorder()
		r.ServeHTTP(w, q)
		return w.Code, w.Body.String()
	}
	if status, text := ask("/health/ready"); status != http.StatusOK || text != "ready\n" {
		t.Errorf("%d %s", status, text)
	}
	fault = errors.New("the disk of Invented Name is full")
	if status, text := ask("/health/ready"); status != http.StatusServiceUnavailable || text != "not ready\n" {
		t.Errorf("%d %s", status, text)
	}
	if status, text := ask("/health/live"); status != http.StatusOK || text != "running\n" {
		t.Errorf("%d %s", status, text)
	}
}
