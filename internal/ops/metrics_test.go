package ops

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus/testutil/promlint"
)

func shown(t *testing.T, m *Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusOK {
		t.Fatal(w.Code, w.Body)
	}
	return w.Body.String()
}

func TestMetrics(t *testing.T) {
	ready := error(nil)
	m := New("1.2", Sources{StoreBytes: func() (float64, error) { return 4096, nil }, AuditEntries: func() (float64, error) { return 0, errors.New("closed") },
		Ready: func() error { return ready }})
	end := m.Begin()
	m.Begin()("/teams/:team", http.MethodGet, http.StatusOK, 30*time.Millisecond)
	m.Begin()("/teams/:team", http.MethodGet, http.StatusNotFound, time.Millisecond)
	m.Begin()("/sign-in", http.MethodPost, http.StatusUnauthorized, time.Millisecond)
	text := shown(t, m)
	for _, line := range []string{
		`evenhand_requests_total{method="GET",route="/teams/:team",status="2xx"} 1`,
		`evenhand_requests_total{method="GET",route="/teams/:team",status="4xx"} 1`,
		`evenhand_request_seconds_count{method="GET",route="/teams/:team"} 2`,
		`evenhand_request_seconds_bucket{method="GET",route="/teams/:team",le="0.02"} 1`,
		`evenhand_refused_total{route="/sign-in",status="401"} 1`,
		`evenhand_requests_running 1`, `evenhand_store_bytes 4096`, `evenhand_ready 1`, `evenhand_build_info{version="1.2"} 1`, `go_goroutines `,
	} {
		if !strings.Contains(text, "\n"+line) {
			t.Errorf("no %q in\n%s", line, text)
		}
	}
	if strings.Contains(text, "evenhand_audit_entries") {
		t.Error("a figure that is not known is shown")
	}
	ready = errors.New("ending")
	end("/", http.MethodGet, http.StatusOK, time.Second)
	if text := shown(t, m); !strings.Contains(text, "\nevenhand_ready 0") || !strings.Contains(text, "\nevenhand_requests_running 0") {
		t.Error(text)
	}
	// the rules of the format, by the linter of its makers
	problems, err := promlint.New(strings.NewReader(text)).Lint()
	if err != nil || len(problems) > 0 {
		t.Error(problems, err)
	}
	for path, status := range map[string]int{"/": http.StatusNotFound, "/debug/pprof/": http.StatusNotFound} {
		w := httptest.NewRecorder()
		m.Handler().ServeHTTP(w, httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil))
		if w.Code != status {
			t.Errorf("%s: %d", path, w.Code)
		}
	}
}
