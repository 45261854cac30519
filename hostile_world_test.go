package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"go.yaml.in/yaml/v3"

	"evenhand/internal/access"
	"evenhand/internal/office"
)

// hostileTexts are what is typed where text may be typed, each followed by a mark of its own. All are
// short enough for the shortest field, 40 characters.
var hostileTexts = []string{
	`<img src=x onerror=alert(1)>`,
	`"'><script>alert(1)</script>`,
	`</textarea></script>{{.}}<b>`,
	`javascript:alert(1)//`,
	`" onmouseover="alert(1)`,
	`=HYPERLINK("http://x.test")`,
	`+1+1;=2+2`,
	`-2+3|cmd`,
	`@SUM(1)`,
	"\t=1+1",
	`'=1+1`,
	"x\nBEGIN:VEVENT\nATTENDEE:y",
	"../../etc/passwd",
	"\U0001D518\U0001F91A{a|b}{c}\u2028%s",
	"x SURROGATE y", // sent as half of a UTF-16 pair, which is no character
}

// rounds is in how many rounds everything is typed: in as many as there are texts. The race detector
// sees in three what it would see in all.
var rounds = map[bool]int{false: len(hostileTexts), true: 3}[racing]

// hostileList is testdata/hostile.yaml.
type hostileList struct {
	Fixed   map[string]string
	Unread  []string
	Unseen  map[string]string
	Steps   []hostileStep
	Params  map[string][]string
	Queries map[string][]string
	Absent  map[string]string
	Streams []string
}

// hostileStep is a request that stores text.
type hostileStep struct {
	Do, Put, Post string
	JSON          any
}

func readHostileList(t *testing.T) (out hostileList) {
	t.Helper()
	data, err := os.ReadFile("testdata/hostile.yaml")
	if err != nil {
		t.Fatal(err)
	}
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	if err := d.Decode(&out); err != nil {
		t.Fatal(err)
	}
	return out
}

// hostileWorld is the program with a file of its own, and somebody who is signed in.
type hostileWorld struct {
	t       *testing.T
	file    string
	opened  *opened
	now     time.Time
	world   *world
	router  *gin.Engine
	list    hostileList
	cookie  string
	login   string
	log     *bytes.Buffer
	secrets map[string]string // of links, by the route that they lead to
	n       int               // marks given out
	sent    int               // requests

	foreign map[int]string         // who was imported, by round
	typed   map[string]typedText   // by its mark
	seen    map[string]bool        // marks that were shown
	forms   map[string]hostileForm // by route
	links   map[string]string      // an address of each route and set of query parameters
}

// typedText is a hostile text and where it was typed.
type typedText struct{ field, text string }

const hostilePassword = "four calm herons wade"

func newHostileWorld(t *testing.T) *hostileWorld {
	t.Helper()
	h := &hostileWorld{t: t, file: filepath.Join(t.TempDir(), "hostile.db"), list: readHostileList(t), log: &bytes.Buffer{},
		typed: map[string]typedText{}, seen: map[string]bool{}, forms: map[string]hostileForm{}, links: map[string]string{}, secrets: map[string]string{}, foreign: map[int]string{}}
	h.now = time.Date(2026, 2, 20, 6, 0, 0, 0, time.UTC)
	h.world = &world{out: io.Discard, errs: io.Discard, now: func() time.Time { return h.now }, newID: newID,
		log: slog.New(slog.NewTextHandler(h.log, nil))}
	var err error
	h.opened, err = h.world.openAll(t.Context(), h.file)
	h.must(err)
	t.Cleanup(func() { _ = h.opened.store.Close() })
	// A password costs next to nothing here: what is looked at is not how it is kept.
	h.opened.office = office.New(h.opened.store, office.Options{Now: h.world.now, NewID: newID, Cost: access.Cost{Time: 1, Memory: 64, Threads: 1}})
	all, err := h.world.handler(h.opened, &serving{base: "http://127.0.0.1:8484"})
	h.must(err)
	h.router = all.(*gin.Engine)
	secret, _, err := h.opened.office.Setup(t.Context())
	h.must(err)
	h.login = "administrator"
	in, err := h.opened.office.TakeSetup(t.Context(), secret, office.NewAccount{Login: h.login, Name: "A. Administrator",
		Password: hostilePassword, LooksAfter: true, Device: h.text("session.device", 0, 0)})
	h.must(err)
	h.cookie = in.Cookie
	return h
}

func (h *hostileWorld) must(err error) {
	h.t.Helper()
	if err != nil {
		h.t.Fatal(err)
	}
}

// who is the person who is signed in.
func (h *hostileWorld) who() access.Person {
	h.t.Helper()
	p, err := h.opened.office.BySession(h.t.Context(), h.cookie)
	h.must(err)
	return p
}

// signIn begins a new session: some of what is sent ends the one that there is. By then it is so much
// later that nobody has to wait for having tried wrong passwords.
func (h *hostileWorld) signIn() {
	h.t.Helper()
	h.now = h.now.Add(16 * time.Minute)
	in, err := h.opened.office.SignIn(h.t.Context(), office.Attempt{Login: h.login, Password: hostilePassword, Address: "192.0.2.1", Device: "a browser"})
	h.must(err)
	h.cookie = in.Cookie
}

// send sends a request as a page of our own would, and looks at the answer.
func (h *hostileWorld) send(method, path, contentType string, body []byte) *httptest.ResponseRecorder {
	h.t.Helper()
	r := httptest.NewRequestWithContext(h.t.Context(), method, "http://127.0.0.1:8484"+path, bytes.NewReader(body))
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.Header.Set("User-Agent", "Browser <img src=x onerror=alert(1)> =1+1")
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	r.AddCookie(&http.Cookie{Name: "evenhand", Value: h.cookie})
	w := httptest.NewRecorder()
	h.router.ServeHTTP(w, r)
	h.check(method+" "+path, w)
	return w
}

func (h *hostileWorld) get(path string) *httptest.ResponseRecorder {
	h.t.Helper()
	return h.send(http.MethodGet, path, "", nil)
}

// text is the hostile text for a field: another kind each round, with a new mark.
func (h *hostileWorld) text(field string, place, round int) string {
	h.n++
	mark := fmt.Sprintf("q%04dq", h.n)
	kind := hostileTexts[(place+round)%len(hostileTexts)]
	h.typed[mark] = typedText{field, kind + mark}
	return kind + mark
}

// inRound fills in what the list leaves open.
func (h *hostileWorld) inRound(s string, round int) string {
	return strings.NewReplacer("$n", strconv.Itoa(round), "$d", strconv.Itoa(1+round%9), "$i", strconv.Itoa(h.sent)).Replace(s)
}

// leaf is a string in the body of a step.
type leaf struct{ path, value string }

// leaves lists the strings of a body, and each calls change for a new value.
func leaves(v any, path string, change func(leaf) any) any {
	switch x := v.(type) {
	case map[string]any:
		out := map[string]any{}
		for _, k := range sortedOf(x) {
			out[k] = leaves(x[k], strings.TrimPrefix(path+"."+k, "."), change)
		}
		return out
	case []any:
		out := make([]any, len(x))
		for i := range x {
			out[i] = leaves(x[i], path, change)
		}
		return out
	case string:
		return change(leaf{path, x})
	}
	return v
}

func sortedOf(m map[string]any) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// fill is the body of a step in a round.
func (h *hostileWorld) fill(s *hostileStep, round int) any {
	place, same := 0, map[string]string{}
	return leaves(s.JSON, "", func(l leaf) any {
		if !strings.HasPrefix(l.value, "TEXT") {
			return h.inRound(l.value, round)
		}
		place++
		if x, again := same[l.value]; again {
			return x
		}
		x := h.text(s.Do+"."+l.path, place, round)
		if l.value != "TEXT" {
			same[l.value] = x
		}
		return x
	})
}

// do sends a step with a body.
func (h *hostileWorld) do(s *hostileStep, round int, body any) *httptest.ResponseRecorder {
	h.t.Helper()
	h.sent++
	method, path := http.MethodPut, s.Put
	if s.Post != "" {
		method, path = http.MethodPost, s.Post
	}
	data, err := json.Marshal(body)
	h.must(err)
	data = bytes.ReplaceAll(data, []byte("SURROGATE"), []byte(`\ud83d`))
	return h.send(method, h.inRound(path, round), "application/json", data)
}

// enter takes all steps of all rounds.
func (h *hostileWorld) enter() {
	h.t.Helper()
	for round := range rounds {
		for i := range h.list.Steps {
			s := &h.list.Steps[i]
			if w := h.do(s, round, h.fill(s, round)); w.Code >= http.StatusMultipleChoices || strings.Contains(w.Body.String(), `"refused"`) {
				h.t.Fatalf("%s, round %d: %d %s", s.Do, round, w.Code, w.Body)
			}
		}
	}
}

// notTaken are texts that no field takes.
var notTaken = map[string]string{"NUL": "a\x00b", "an escape": "a\x1b[31mb", "a C1 control": "a\u009b31mb", "a turned direction": "a\u202eb",
	"20,001 characters": strings.Repeat("long ", 4000) + "x"}

// refuse sends every step with one of its strings after the other made into something that is not to
// be taken, and then as it should be.
func (h *hostileWorld) refuse() {
	h.t.Helper()
	for i := range h.list.Steps {
		s := &h.list.Steps[i]
		all := 0
		leaves(s.JSON, "", func(leaf) any { all++; return nil })
		for at := range all {
			if h.plain(s, at, "").free {
				for name, bad := range notTaken {
					h.refused(s, at, name, bad)
				}
			} else {
				h.refused(s, at, "markup", "<img src=x onerror=alert(1)>")
			}
		}
		if w := h.do(s, 0, h.plain(s, -1, "").body); w.Code >= http.StatusMultipleChoices || strings.Contains(w.Body.String(), `"refused"`) {
			h.t.Fatalf("%s: %d %s", s.Do, w.Code, w.Body)
		}
	}
}

// plainBody is the body of a step with plain text, and what is said of the one string that is not.
type plainBody struct {
	body  any
	field string
	free  bool
}

// plain is the body of a step with plain text, but for the string at a place.
func (h *hostileWorld) plain(s *hostileStep, at int, bad string) (out plainBody) {
	n := -1
	out.body = leaves(s.JSON, "", func(l leaf) any {
		n++
		free := strings.HasPrefix(l.value, "TEXT")
		switch {
		case n == at:
			out.field, out.free = s.Do+"."+l.path, free
			return bad
		case free:
			if same := strings.TrimPrefix(l.value, "TEXT"); same != "" {
				return "plain " + same
			}
			return fmt.Sprintf("plain %s %d", s.Do, n)
		}
		return h.inRound(l.value, 0)
	})
	if m := out.body.(map[string]any); s.Do == "put-entries" && bad != "" { // the others would be taken
		m["entries"] = slices.DeleteFunc(m["entries"].([]any), func(e any) bool {
			sound := true
			leaves(e, "", func(l leaf) any { sound = sound && l.value != bad; return nil })
			return sound && m["device"] != bad
		})
	}
	return out
}

func (h *hostileWorld) refused(s *hostileStep, at int, name, bad string) {
	h.t.Helper()
	x := h.plain(s, at, bad)
	if slices.Contains(h.list.Unread, x.field) {
		return
	}
	w := h.do(s, 0, x.body)
	said, last := w.Body.String(), x.field[strings.LastIndex(x.field, ".")+1:]
	switch {
	case (w.Code < 400 || w.Code >= 500) && !strings.Contains(said, `"refused"`):
		h.t.Errorf("%s with %s in it: %d %.200s", x.field, name, w.Code, said)
	case x.free && !strings.Contains(said, last), x.free && len(bad) > 1000 && !strings.Contains(said, "at most"):
		h.t.Errorf("%s with %s in it is refused without saying why: %.300s", x.field, name, said)
	}
}
