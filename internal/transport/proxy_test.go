package transport

import (
	"net/http"
	"net/http/httptest"
	"testing"
)

func TestProxies(t *testing.T) {
	p, err := ParseProxies([]string{"127.0.0.1", "10.0.3.0/24"})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		from, forwarded, proto string
		want                   string
		tls                    bool
	}{
		"named proxy":            {"127.0.0.1:999", "203.0.113.7", "https", "203.0.113.7:0", true},
		"chain of two":           {"10.0.3.8:999", "203.0.113.7, 10.0.3.4", "https", "203.0.113.7:0", true},
		"made up before it":      {"127.0.0.1:999", "198.51.100.1, 203.0.113.7", "http", "203.0.113.7:0", false},
		"a stranger":             {"203.0.113.9:999", "127.0.0.1", "https", "203.0.113.9:999", false},
		"nonsense":               {"127.0.0.1:999", "not an address", "", "127.0.0.1:999", false},
		"said nothing":           {"127.0.0.1:999", "", "", "127.0.0.1:999", false},
		"version 6":              {"127.0.0.1:999", "2001:db8::1", "https", "[2001:db8::1]:0", true},
		"mapped as of version 6": {"[::ffff:127.0.0.1]:999", "203.0.113.7", "HTTPS", "203.0.113.7:0", true},
	} {
		var got *http.Request
		h := p.Behind(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { got = r }))
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/", nil)
		r.RemoteAddr = c.from
		r.Header.Set("X-Forwarded-For", c.forwarded)
		r.Header.Set("X-Forwarded-Proto", c.proto)
		r.Header.Set("X-Forwarded-Host", "stranger.test")
		h.ServeHTTP(httptest.NewRecorder(), r)
		if got.RemoteAddr != c.want || (got.TLS != nil) != c.tls || len(got.Header) != 0 {
			t.Errorf("%s: %s, https %v, %v", name, got.RemoteAddr, got.TLS != nil, got.Header)
		}
	}
	for _, s := range []string{"", "proxy.example", "10.0.0.0/33"} {
		if _, err := ParseProxies([]string{s}); err == nil {
			t.Errorf("%q was taken", s)
		}
	}
}
