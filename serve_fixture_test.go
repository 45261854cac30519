package main

import (
	"bytes"
	"crypto/rand"
	"crypto/sha256"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/ops"
	"evenhand/internal/screen"
	"evenhand/web"
)

// Values that occur nowhere else, so that they can be looked for.
const (
	oddName   = "Zyxquil Ommerby"
	oddValue  = "43.7125"
	oddTeam   = "team-9d1fe2"
	oddPerson = "athlete-77ab0c"
	oddScreen = "screen-5e0cd1"
)

// program is all that is served over a file of its own, seen from inside.
type program struct {
	t        *testing.T
	o        *opened
	handler  http.Handler
	routes   gin.RoutesInfo
	log      *syncLog
	counters *ops.Metrics
}

type syncLog struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *syncLog) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *syncLog) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// newProgram serves a team with one athlete and a screen. Whoever comes may do everything if visited.
func newProgram(t *testing.T, visited bool) *program {
	t.Helper()
	p := &program{t: t, log: &syncLog{}}
	now := func() time.Time { return time.Date(2026, 2, 20, 9, 0, 0, 0, time.UTC) }
	w := &world{now: now, newID: newID, random: rand.Reader, log: slog.New(slog.NewJSONHandler(p.log, nil)), out: io.Discard, errs: io.Discard}
	var err error
	if p.o, err = w.openAll(t.Context(), filepath.Join(t.TempDir(), "a.db")); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := p.o.store.Close(); err != nil {
			t.Error(err)
		}
	})
	r := &readiness{store: p.o.store, file: p.o.file, log: w.log}
	p.counters = ops.New("test", r.sources())
	as := &serving{visited: visited, demo: visited, base: "http://127.0.0.1:8484", ready: r.check, begin: countWith(p.counters),
		trust: &web.Trust{Certificate: []byte("certificate"), Fingerprint: "AA:BB", Base: "https://127.0.0.1:8484"}}
	if p.handler, err = w.handler(p.o, as); err != nil {
		t.Fatal(err)
	}
	p.routes = p.handler.(*gin.Engine).Routes()
	if len(p.routes) < 100 {
		t.Fatalf("only %d routes", len(p.routes))
	}
	ctx, who := t.Context(), clinic.LocalAdministrator
	_, err = p.o.clinic.PutTeam(ctx, who, screen.Team{ID: oddTeam, Name: "Team of " + oddName, Sport: "baseball"}, 0)
	if err == nil {
		_, err = p.o.clinic.PutAthlete(ctx, who, screen.Athlete{ID: oddPerson, Name: oddName, Born: "2010-03-04", Sex: "male", Sport: "baseball", Level: "school",
			Hands: []screen.HandSince{{Hand: "right"}}}, oddTeam, 0)
	}
	if err == nil {
		_, err = p.o.clinic.RecordConsent(ctx, who, oddPerson, clinic.ConsentToRecord{Purposes: []screen.Purpose{screen.ForScreening}, On: "2026-01-02", GivenBy: screen.ByGuardian})
	}
	if err == nil {
		_, err = p.o.clinic.PutScreen(ctx, who, screen.Screen{ID: oddScreen, Athlete: oddPerson, Team: oddTeam, On: p.o.clinic.Today(), Kind: screen.Preseason}, 0)
	}
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// at fills in a route's parameters with what is on file.
func (p *program) at(path string) string {
	out := strings.Split(path, "/")
	for i, part := range out {
		switch part {
		case ":team":
			out[i] = oddTeam
		case ":athlete":
			out[i] = oddPerson
		case ":screen":
			out[i] = oddScreen
		case "*name":
			out[i] = "style.css"
		default:
			if strings.HasPrefix(part, ":") {
				out[i] = "secret-31c4"
			}
		}
	}
	return strings.Join(out, "/")
}

func (p *program) send(method, path, body string, headers ...string) *httptest.ResponseRecorder {
	p.t.Helper()
	r := httptest.NewRequestWithContext(p.t.Context(), method, path, strings.NewReader(body))
	r.Host = "127.0.0.1:8484"
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	p.handler.ServeHTTP(w, r)
	return w
}

// state is a sum of all bytes of the file and its log.
func (p *program) state() (sum [32]byte) {
	p.t.Helper()
	h := sha256.New()
	for _, name := range []string{p.o.file, p.o.file + "-wal"} {
		data, err := os.ReadFile(name)
		if err != nil {
			p.t.Fatal(err)
		}
		h.Write(data)
	}
	return [32]byte(h.Sum(nil))
}
