package web

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/storetest"
)

var noon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

const hostile = `<img src=x onerror="alert(1)">`

// place is a router with the pages over a store with the demo squad, and what else the tests look at.
type place struct {
	t        testing.TB
	router   *gin.Engine
	clinic   *clinic.Clinic
	store    *store.Store
	scenario demo.Scenario
	file     string
	log      *bytes.Buffer
	who      access.Person // who sends the requests
}

const (
	emptyTeam    = "team-empty"
	nobodyYet    = "athlete-nobody"
	switchHitter = "athlete-switch"
	switchScreen = "screen-switch"
)

// seeded is the file that every place starts from: filling it takes longer than most tests.
var seeded struct {
	once     sync.Once
	file     []byte
	ids      int // given out while it was filled
	scenario demo.Scenario
}

func newPlace(t testing.TB, opt Options) *place {
	t.Helper()
	seeded.once.Do(func() {
		file := filepath.Join(t.TempDir(), "seed.db")
		p := openPlace(t, file, Options{}, &seeded.ids)
		p.scenario = demo.Squad(p.clinic.Protocol(), 1, p.clinic.Today())
		p.seed(file)
		p.must(p.store.Close())
		var err error
		seeded.file, err = os.ReadFile(file)
		p.must(err)
		seeded.scenario = p.scenario
	})
	file, ids := filepath.Join(t.TempDir(), "test.db"), seeded.ids
	if err := os.WriteFile(file, seeded.file, 0o600); err != nil {
		t.Fatal(err)
	}
	p := openPlace(t, file, opt, &ids)
	p.scenario, p.file = seeded.scenario, file
	return p
}

func openPlace(t testing.TB, file string, opt Options, ids *int) *place {
	t.Helper()
	gin.SetMode(gin.TestMode)
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(t.Context(), file, store.Options{Now: func() time.Time { return noon }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	c := clinic.New(st, score.New(p), func() time.Time { return noon }, func() string {
		*ids++
		return fmt.Sprintf("new-%d", *ids)
	})
	out := &place{t: t, router: gin.New(), clinic: c, store: st, log: &bytes.Buffer{}, who: access.Local}
	out.router.Use(func(ctx *gin.Context) {
		ctx.Request = ctx.Request.WithContext(access.With(ctx.Request.Context(), out.who))
	})
	opt.Log = slog.New(slog.NewTextHandler(out.log, nil))
	if err := Register(out.router, c, opt); err != nil {
		t.Fatal(err)
	}
	return out
}

func (p *place) seed(file string) {
	p.t.Helper()
	s := &p.scenario
	p.must(p.clinic.Seed(p.t.Context(), clinic.LocalAdministrator, s.Teams, s.Seasons, s.Athletes, s.Memberships, s.Consents, s.Records))
	storetest.Consent(p.t, file)
	who := clinic.LocalAdministrator
	_, err := p.clinic.PutTeam(p.t.Context(), who, screen.Team{ID: emptyTeam, Name: "Empty", Sport: "baseball"}, 0)
	p.must(err)
	a := s.Athletes[0]
	a.ID, a.Name, a.ExternalID, a.Revision = nobodyYet, hostile, "", 0
	_, err = p.clinic.PutAthlete(p.t.Context(), who, a, s.Teams[0].ID, 0)
	p.must(err)
	a.ID, a.Name, a.Hands = switchHitter, "Both Hands", []screen.HandSince{{Hand: screen.BothHands}}
	_, err = p.clinic.PutAthlete(p.t.Context(), who, a, s.Teams[0].ID, 0)
	p.must(err)
	_, err = p.clinic.PutScreen(p.t.Context(), who, screen.Screen{ID: switchScreen, Athlete: switchHitter, Team: s.Teams[0].ID, On: "2026-03-01", Kind: screen.Preseason}, 0)
	p.must(err)
	var entries []clinic.Entry
	for i, r := range s.Records[0].Current() {
		r.ID, r.Screen, r.Supersedes = fmt.Sprintf("switch-%d", i), switchScreen, ""
		entries = append(entries, clinic.Entry{Reading: r, Sign: "as_written"})
	}
	_, err = p.clinic.SaveReadings(p.t.Context(), who, switchScreen, entries)
	p.must(err)
}

func (p *place) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

func (p *place) do(method, path string, body io.Reader, headers ...string) *httptest.ResponseRecorder {
	p.t.Helper()
	r := httptest.NewRequestWithContext(p.t.Context(), method, path, body)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	p.router.ServeHTTP(w, r)
	return w
}

func (p *place) get(path string, status int) string {
	p.t.Helper()
	w := p.do(http.MethodGet, path, nil)
	if w.Code != status {
		p.t.Fatalf("GET %s: %d, want %d\n%s", path, w.Code, status, p.log)
	}
	return w.Body.String()
}

// post sends a form as a page of our own would.
func (p *place) post(path string, form url.Values) *httptest.ResponseRecorder {
	p.t.Helper()
	return p.do(http.MethodPost, path, strings.NewReader(form.Encode()),
		"Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "same-origin")
}

// referred is an athlete with a referral sign at the newest screen.
func (p *place) referred() string {
	p.t.Helper()
	for _, t := range p.scenario.Teams {
		squad, err := p.clinic.Triage(p.t.Context(), clinic.LocalAdministrator, t.ID)
		p.must(err)
		for _, r := range squad.Rows {
			if r.Group == score.GroupReferral {
				return r.Athlete
			}
		}
	}
	p.t.Fatal("the demo has nobody with a referral sign")
	return ""
}

// aReading is the last screen of the demo with its first reading that is in use and read in degrees.
func (p *place) aReading() (screenID string, r screen.Reading) {
	p.t.Helper()
	for i := len(p.scenario.Records) - 1; i >= 0; i-- {
		for _, r := range p.scenario.Records[i].Current() {
			if m := p.clinic.Protocol().Measure(r.Measure); m.Unit == "deg" && m.SignWords == nil {
				return p.scenario.Records[i].Screen.ID, r
			}
		}
	}
	p.t.Fatal("no reading in the demo")
	return "", screen.Reading{}
}

func wants(t testing.TB, text string, parts ...string) {
	t.Helper()
	for _, x := range parts {
		if !strings.Contains(text, x) {
			t.Errorf("%q is missing in\n%s", x, clipped(text))
		}
	}
}

func wantsNot(t testing.TB, text string, parts ...string) {
	t.Helper()
	for _, x := range parts {
		if strings.Contains(text, x) {
			t.Errorf("%q should not be in\n%s", x, clipped(text))
		}
	}
}

func clipped(s string) string {
	if len(s) > 3000 {
		return s[:3000] + "…"
	}
	return s
}
