package api

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/storetest"
)

// noon is the moment at which every test takes place.
var noon = time.Date(2026, 2, 10, 12, 0, 0, 0, time.UTC)

// rig is an API on a store of its own.
type rig struct {
	t      testing.TB
	router *gin.Engine
	clinic *clinic.Clinic
	store  *store.Store
	log    *syncBuffer
	doc    *openapi3.T
	who    access.Person // who sends the requests
}

type syncBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *syncBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *syncBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

func newRig(t testing.TB) *rig {
	t.Helper()
	p, err := screen.Default()
	if err != nil {
		t.Fatal(err)
	}
	return newRigWith(t, p)
}

func newRigWith(t testing.TB, p *screen.Protocol) *rig {
	t.Helper()
	now := func() time.Time { return noon }
	path := filepath.Join(t.TempDir(), "store.db")
	st, err := store.Open(t.Context(), path, store.Options{Now: now})
	if err != nil {
		t.Fatal(err)
	}
	storetest.Consent(t, path)
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	var mu sync.Mutex
	n := 0
	newID := func() string {
		mu.Lock()
		defer mu.Unlock()
		n++
		return fmt.Sprintf("made-%d", n)
	}
	gin.SetMode(gin.ReleaseMode)
	r := &rig{t: t, router: gin.New(), clinic: clinic.New(st, score.New(p), now, newID), store: st, log: &syncBuffer{}}
	r.who = access.Local
	r.router.Use(func(ctx *gin.Context) {
		ctx.Request = ctx.Request.WithContext(access.With(ctx.Request.Context(), r.who))
	})
	Register(r.router, r.clinic, "test", slog.New(slog.NewTextHandler(r.log, nil)))
	r.router.NoRoute(NotFound)
	shared.once.Do(func() { shared.doc = loadDoc(t, r.router) })
	if r.doc = shared.doc; r.doc == nil {
		t.Fatal("no OpenAPI document")
	}
	return r
}

// shared is the OpenAPI document, the same for every rig.
var shared struct {
	once sync.Once
	doc  *openapi3.T
}

func loadDoc(t testing.TB, router *gin.Engine) *openapi3.T {
	t.Helper()
	w := httptest.NewRecorder()
	router.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/api/openapi.json", nil))
	if w.Code != http.StatusOK {
		t.Fatalf("the OpenAPI document: status %d", w.Code)
	}
	doc, err := openapi3.NewLoader().LoadFromData(w.Body.Bytes())
	if err != nil {
		t.Fatalf("the OpenAPI document: %v", err)
	}
	return doc
}

// answered is an answer with what is often asked of it.
type answered struct {
	t      testing.TB
	status int
	header http.Header
	body   []byte
}

// do sends a request with headers as name, value pairs, and holds the answer against the OpenAPI
// document.
func (r *rig) do(method, path, body string, headers ...string) *answered {
	r.t.Helper()
	var reader io.Reader
	if body != "" {
		reader = strings.NewReader(body)
	}
	return r.send(method, path, reader, headers...)
}

func (r *rig) send(method, path string, body io.Reader, headers ...string) *answered {
	r.t.Helper()
	req := httptest.NewRequest(method, path, body)
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i+1 < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	if _, ok := body.(*sized); ok {
		req.ContentLength = 50_000_000
	}
	w := httptest.NewRecorder()
	r.router.ServeHTTP(w, req)
	out := &answered{r.t, w.Code, w.Header(), w.Body.Bytes()}
	r.conforms(req, out)
	return out
}

// conforms holds an answer against the OpenAPI document.
func (r *rig) conforms(req *http.Request, a *answered) {
	r.t.Helper()
	route, params := r.find(req)
	if route == nil {
		return
	}
	in := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: req, PathParams: params, Route: route},
		Status:                 a.status, Header: a.header,
		Body:    io.NopCloser(bytes.NewReader(a.body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true, MultiError: true},
	}
	if strings.HasPrefix(a.header.Get("Content-Type"), "text/csv") {
		in.Options.ExcludeResponseBody = true // the validator reads CSV as rows and would want a schema of them
	}
	if err := openapi3filter.ValidateResponse(context.Background(), in); err != nil {
		r.t.Errorf("%s %s: the answer is not as the OpenAPI document says: %.2000v", req.Method, req.URL.Path, err)
	}
}

// find is the operation that a request is for.
func (r *rig) find(req *http.Request) (*routers.Route, map[string]string) {
	parts := strings.Split(req.URL.Path, "/")
	for path, item := range r.doc.Paths.Map() {
		want := strings.Split(path, "/")
		op := item.GetOperation(req.Method)
		if op == nil || len(want) != len(parts) {
			continue
		}
		params, fits := map[string]string{}, true
		for i := range want {
			if strings.HasPrefix(want[i], "{") {
				params[strings.Trim(want[i], "{}")] = parts[i]
			} else if want[i] != parts[i] {
				fits = false
			}
		}
		if fits {
			return &routers.Route{Spec: r.doc, Path: path, PathItem: item, Method: req.Method, Operation: op}, params
		}
	}
	return nil, nil
}

// is ends the test if the status is another one.
func (a *answered) is(status int) *answered {
	a.t.Helper()
	if a.status != status {
		a.t.Fatalf("status %d, want %d: %.1000s", a.status, status, a.body)
	}
	return a
}

func (a *answered) tag(want string) *answered {
	a.t.Helper()
	if got := a.header.Get("ETag"); got != want {
		a.t.Fatalf("ETag %s, want %s", got, want)
	}
	return a
}

// into decodes the body.
func (a *answered) into(v any) *answered {
	a.t.Helper()
	if err := json.Unmarshal(a.body, v); err != nil {
		a.t.Fatalf("%v in %.500s", err, a.body)
	}
	return a
}

// fault ends the test unless the answer is a problem document with a fault at the place that says
// what is expected.
func (a *answered) fault(status int, location, says string) {
	a.t.Helper()
	a.is(status)
	if got := a.header.Get("Content-Type"); got != "application/problem+json" {
		a.t.Fatalf("content type %q", got)
	}
	var p Problem
	a.into(&p)
	if p.Status != status || p.Type != "about:blank" || p.Title == "" || p.Detail == "" || p.Code == "" {
		a.t.Errorf("the problem is not whole: %+v", p)
	}
	if location == "" {
		if !strings.Contains(p.Detail+" | "+p.Want, says) {
			a.t.Errorf("the problem does not say %q: %s", says, a.body)
		}
		return
	}
	for _, f := range p.Errors {
		if f.Location == location && strings.Contains(f.Message+" | "+f.Want, says) {
			return
		}
	}
	a.t.Errorf("no fault at %s that says %q in %.1500s", location, says, a.body)
}

// items is a page of a list of things with ids.
type items struct {
	Items []struct {
		ID   string `json:"id"`
		Name string `json:"name"`
	} `json:"items"`
	Next string `json:"next"`
}

const (
	teamBody    = `{"name":"Blue","sport":"baseball"}`
	athleteBody = `{"name":"A. Example","born":"2011-04-02","sex":"male","hands":[{"hand":"right"}],"sport":"baseball","positions":["pitcher"],"level":"school","height_cm":170,"mass_kg":60}`
	screenBody  = `{"athlete":"A","team":"T","on":"2026-02-09","kind":"preseason"}`
)

// squad gives the rig team T with athlete A and screen S.
func (r *rig) squad() *rig {
	r.t.Helper()
	r.do("PUT", "/api/v1/teams/T", teamBody).is(201)
	r.do("PUT", "/api/v1/athletes/A?team=T", athleteBody).is(201)
	r.do("PUT", "/api/v1/screens/S", screenBody).is(201)
	return r
}

// reading is a reading of the shoulder as JSON.
func reading(id, measure, side string, trials ...float64) string {
	b, err := json.Marshal(trials)
	if err != nil {
		panic(err)
	}
	return fmt.Sprintf(`{"id":%q,"measure":%q,"side":%q,"trials":%s}`, id, measure, side, b)
}

func readingsBody(list ...string) string { return `{"readings":[` + strings.Join(list, ",") + `]}` }

// measured gives screen S readings of the shoulder on both sides.
func (r *rig) measured() *rig {
	r.t.Helper()
	r.squad()
	r.do("PUT", "/api/v1/screens/S/readings", shoulder).is(200)
	return r
}

var shoulder = readingsBody(
	reading("r1", "shoulder_internal_rotation", "right", 40, 41, 42), reading("r2", "shoulder_internal_rotation", "left", 62, 63, 61),
	reading("r3", "shoulder_external_rotation", "right", 110, 111, 112), reading("r4", "shoulder_external_rotation", "left", 100, 101, 100))

// counts is how many readings are on record at screen S, and at which revision it is.
func (r *rig) counts() (readings, revision int) {
	r.t.Helper()
	rec, err := r.clinic.Record(r.t.Context(), clinic.LocalAdministrator, "S")
	if err != nil {
		r.t.Fatal(err)
	}
	return len(rec.Readings), rec.Screen.Revision
}
