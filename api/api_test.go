package api

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humagin"

	"evenhand/internal/screen"
)

// endless is a body that never ends and counts what was read of it.
type endless struct{ read int64 }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = ' '
	}
	e.read += int64(len(p))
	return len(p), nil
}

func TestLargeBodies(t *testing.T) {
	r := newRig(t).squad()
	for _, c := range []struct {
		method, path string
		limit        int64
	}{
		{"PUT", "/api/v1/screens/S/readings", maxBody}, {"PUT", "/api/v1/teams/T", maxBody},
		{"POST", "/api/v1/teams/T/import", maxImportBody}, {"POST", "/api/v1/score", maxImportBody},
	} {
		says := fmt.Sprintf("at most %d MiB", c.limit>>20)
		// said to be 50 MB: not a byte is read
		body := &endless{}
		r.send(c.method, c.path, &sized{io.LimitReader(body, 50_000_000)}).fault(413, "", says)
		if body.read != 0 {
			t.Errorf("%s: %d bytes were read of a body that is too large", c.path, body.read)
		}
		// of a size that is not said: no more is read than is allowed
		body = &endless{}
		r.send(c.method, c.path, io.LimitReader(body, 50_000_000)).fault(413, "", says)
		if body.read > c.limit+1<<20 {
			t.Errorf("%s: %d bytes were read, %d are allowed", c.path, body.read, c.limit)
		}
	}
	// as many bytes as are allowed are read
	body := teamBody + strings.Repeat(" ", maxBody-len(teamBody))
	r.do("PUT", "/api/v1/teams/T9", body).is(201)
	r.do("PUT", "/api/v1/teams/T10", body+" ").fault(413, "", "at most 8 MiB")
}

// sized makes send say that the body has 50 MB.
type sized struct{ io.Reader }

func TestLargeBodyOverTheWire(t *testing.T) {
	r := newRig(t).squad()
	srv := httptest.NewServer(r.router)
	defer srv.Close()
	req, err := http.NewRequestWithContext(t.Context(), http.MethodPut, srv.URL+"/api/v1/teams/T", io.LimitReader(&endless{}, 50_000_000))
	if err != nil {
		t.Fatal(err)
	}
	req.ContentLength = 50_000_000
	req.Header.Set("Content-Type", "application/json")
	req.Header.Set("Expect", "100-continue") // the client waits to be asked for the body
	client := &http.Client{Transport: &http.Transport{ExpectContinueTimeout: time.Minute}}
	defer client.CloseIdleConnections()
	resp, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("status %d", resp.StatusCode)
	}
}

func TestMediaTypes(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody, "Content-Type", "text/plain").fault(415, "", "application/json")
	r.do("PUT", "/api/v1/teams/T", teamBody, "Content-Type", "application/json; charset=utf-8", "Accept", "text/html").is(201)
	r.do("GET", "/api/v1/nothing", "").fault(404, "", "nothing at this address")
}

// A page of another site must not write here with the browser of somebody who may.
func TestCrossOrigin(t *testing.T) {
	r := newRig(t)
	r.do("PUT", "/api/v1/teams/T", teamBody, "Sec-Fetch-Site", "cross-site").fault(403, "", "another site")
	r.do("PUT", "/api/v1/teams/T", teamBody, "Origin", "https://elsewhere.example").fault(403, "", "another site")
	r.do("PUT", "/api/v1/teams/T", teamBody, "Sec-Fetch-Site", "same-origin").is(201)
	a := r.do("GET", "/api/v1/teams/T", "", "Sec-Fetch-Site", "cross-site").is(200)
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store", "Referrer-Policy": "no-referrer", "Link": ""} {
		if got := a.header.Get(name); got != want {
			t.Errorf("%s: %q", name, got)
		}
	}
	if strings.Contains(string(a.body), "$schema") {
		t.Errorf("a $schema in %s", a.body)
	}
}

const secret = "A. Example has 40 degrees"

// failing registers an operation that fails in the way of fn.
func failing(t *testing.T, fn func() (float64, error)) (*server, *rig) {
	t.Helper()
	r := newRig(t)
	s := &server{clinic: r.clinic, log: slog.New(slog.NewTextHandler(r.log, nil))}
	s.api = humagin.NewWithGroup(r.router, r.router.Group("/", s.guard), config("test"))
	type answer struct {
		Body struct {
			X    float64            `json:"x"`
			Y    *float64           `json:"y"`
			List []float64          `json:"list"`
			Map  map[string]float64 `json:"map,omitempty"`
			Any  any                `json:"any"`
		}
	}
	add(s, route{method: http.MethodGet, path: "/test/{screen}", id: "test", tag: "test"}, func(context.Context, *ScreenPath) (*answer, error) {
		x, err := fn()
		var out answer
		out.Body.X, out.Body.Y, out.Body.List, out.Body.Map = x, &x, []float64{1, x}, map[string]float64{"a": x}
		out.Body.Any = []any{x, "text", nil}
		return &out, err
	})
	return s, r
}

func TestInternalErrorsDoNotLeak(t *testing.T) {
	for name, fn := range map[string]func() (float64, error){
		"error":           func() (float64, error) { return 0, fmt.Errorf("write: %w", errors.New(secret)) },
		"joined":          func() (float64, error) { return 0, errors.Join(errors.New(secret), io.EOF) },
		"unknown problem": func() (float64, error) { return 0, &screen.Problem{Code: "odd", Text: secret} },
		"panic":           func() (float64, error) { panic(secret) },
		"panic of error":  func() (float64, error) { panic(errors.New(secret)) },
	} {
		t.Run(name, func(t *testing.T) {
			_, r := failing(t, fn)
			w := httptest.NewRecorder()
			r.router.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/api/v1/test/A?", nil))
			a := &answered{t, w.Code, w.Header(), w.Body.Bytes()}
			a.fault(500, "", "went wrong inside")
			var p Problem
			a.into(&p)
			log := r.log.String()
			if strings.Contains(string(a.body), "degrees") || strings.Contains(log, "degrees") || strings.Contains(log, "Example") {
				t.Errorf("the error leaks: answer %s, log %s", a.body, log)
			}
			if p.Request == "" || !strings.Contains(log, p.Request) || !strings.Contains(log, "method=GET") || !strings.Contains(log, "/test/") || strings.Contains(log, "/test/A") {
				t.Errorf("request %q, log %s", p.Request, log)
			}
		})
	}
}

func TestNumbersThatJSONCannotHold(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		_, r := failing(t, func() (float64, error) { return x, nil })
		w := httptest.NewRecorder()
		r.router.ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/api/v1/test/A", nil))
		want := `{"x":null,"y":null,"list":[1,null],"map":{"a":null},"any":[null,"text",null]}`
		if w.Code != 200 || strings.TrimSpace(w.Body.String()) != want {
			t.Errorf("%g: status %d, %s", x, w.Code, w.Body.String())
		}
	}
}

func TestProblemOfHuma(t *testing.T) {
	for _, c := range []struct {
		status int
		msg    string
		errs   []error
		want   string
	}{
		{500, "cannot read request body", []error{errors.New(secret)}, "could not be read"},
		{500, "odd", []error{errors.New(secret)}, "inside evenhand"},
		{404, "odd", nil, "Not Found"},
		{422, "validation failed", []error{&huma.ErrorDetail{Location: "path.x", Message: "expected length >= 3", Value: "x"}}, "does not fit"},
	} {
		p := requestProblem(nil, c.status, c.msg, c.errs)
		if !strings.Contains(p.Detail, c.want) || strings.Contains(fmt.Sprint(p), secret) {
			t.Errorf("%d %s: %+v", c.status, c.msg, p)
		}
	}
	many := make([]error, 500)
	for i := range many {
		many[i] = &huma.ErrorDetail{Location: fmt.Sprintf("body.x[%d]", i), Message: "expected number", Value: "x"}
	}
	p := requestProblem(nil, 422, "validation failed", many)
	if len(p.Errors) != maxFaults+1 || p.Errors[2].Location != "body.x[2]" || p.Errors[maxFaults].Message != "and 400 more" {
		t.Errorf("%d faults, the last %+v", len(p.Errors), p.Errors[len(p.Errors)-1])
	}
}
