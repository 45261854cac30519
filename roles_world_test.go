package main

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/office"
	"evenhand/internal/score"
	"evenhand/internal/store"
	"evenhand/web"
)

// rolesNoon is when every test of roles takes place, unless it says otherwise.
var rolesNoon = time.Date(2026, 3, 10, 12, 0, 0, 0, time.UTC)

// site is a file with two teams and people of every role, and the names by which the tests speak of
// what is in it: "athlete" is of the team own, "other.athlete" of the other team, and "none.athlete" is
// of no team at all. Ids and secrets of no team are as long as those of a team.
type site struct {
	file    []byte
	names   map[string]string
	cookies map[string]string        // by account
	persons map[string]access.Person // by account
	tokens  map[string]string        // by scope, all of the trainer of own
}

// theSite is built once: hashing passwords and scoring take longer than most of the tests.
var theSite struct {
	once sync.Once
	site *site
}

func sharedSite(t testing.TB) *site {
	t.Helper()
	theSite.once.Do(func() { theSite.site = buildSite(t) })
	if theSite.site == nil {
		t.Fatal("the file with the two teams could not be built")
	}
	return theSite.site
}

// premises is a running program on a copy of a site's file.
type premises struct {
	t       testing.TB
	site    *site
	opened  *opened
	engine  *gin.Engine
	handler http.Handler
	path    string
	log     *bytes.Buffer
	heads   map[string]bool // routes that answer HEAD
}

var (
	rolesIDs   atomic.Int64 // ids and secrets that are given out in any copy differ from all others
	rolesSeeds atomic.Uint64
	rolesFrom  atomic.Uint32 // each request comes from an address of its own, so that none is slowed down
)

// open runs the program on a copy of the file at a time.
func (s *site) open(t testing.TB, at time.Time) *premises {
	t.Helper()
	path := filepath.Join(t.TempDir(), "copy.db")
	if err := os.WriteFile(path, s.file, 0o600); err != nil {
		t.Fatal(err)
	}
	return openPremises(t, s, path, at)
}

func openPremises(t testing.TB, s *site, path string, at time.Time) *premises {
	t.Helper()
	var seed [32]byte
	copy(seed[:], fmt.Sprintf("roles %d", rolesSeeds.Add(1)))
	p := &premises{t: t, site: s, path: path, log: &bytes.Buffer{}}
	w := &world{out: io.Discard, errs: io.Discard, now: func() time.Time { return at }, random: rand.NewChaCha8(seed),
		newID: func() string { return fmt.Sprintf("new-%07d", rolesIDs.Add(1)) }, log: slog.New(slog.NewTextHandler(p.log, &slog.HandlerOptions{Level: slog.LevelWarn}))}
	by, err := w.scorer()
	if err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(t.Context(), path, store.Options{Now: w.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	p.opened = &opened{file: path, store: st, clinic: sharedClinic(st, by, w), office: office.New(st, office.Options{Now: w.now, NewID: w.newID,
		Random: w.random, Cost: office.Cost{Time: 1, Memory: 64, Threads: 1}})} // what a password costs is no matter here
	as := &serving{base: rolesBase, ready: func(context.Context) error { return nil },
		trust: &web.Trust{Certificate: []byte("a certificate"), Fingerprint: strings.Repeat("00", 32), Until: "2036-03-10", Base: rolesBase}}
	if p.handler, err = w.handler(p.opened, as); err != nil {
		t.Fatal(err)
	}
	p.engine, p.heads = p.handler.(*gin.Engine), map[string]bool{}
	for _, r := range p.engine.Routes() {
		p.heads[r.Path] = p.heads[r.Path] || r.Method == http.MethodHead
	}
	return p
}

const rolesBase = "http://localhost:8484"

func sharedClinic(st *store.Store, by *score.Scorer, w *world) *clinic.Clinic {
	return clinic.New(st, by, w.now, w.newID)
}

// sent is a request as the tests make it.
type sent struct {
	method, target, body string
	headers              map[string]string
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   string
}

// flushed is a recorder that ends the request when something was sent ahead of the end, as event
// streams do, which would go on for ever.
type flushed struct {
	*httptest.ResponseRecorder
	end context.CancelFunc
}

func (f *flushed) Flush() {
	f.ResponseRecorder.Flush()
	f.end()
}

// send sends a request as somebody.
func (p *premises) send(who *role, r *sent) answer {
	p.t.Helper()
	ctx, cancel := context.WithCancel(p.t.Context())
	defer cancel()
	req := httptest.NewRequestWithContext(ctx, r.method, rolesBase+r.target, strings.NewReader(r.body))
	n := rolesFrom.Add(1)
	req.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:4000", n>>16&255, n>>8&255, n&255)
	if r.method != http.MethodGet && r.method != http.MethodHead {
		req.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	if c := p.site.cookies[who.account]; c != "" && who.token == "" {
		req.Header.Set("Cookie", "evenhand="+c)
	}
	if who.token != "" {
		req.Header.Set("Authorization", "Bearer "+p.site.tokens[who.token])
	}
	for k, v := range r.headers {
		req.Header.Set(k, v)
	}
	w := &flushed{httptest.NewRecorder(), cancel}
	p.handler.ServeHTTP(w, req)
	res := w.Result()
	return answer{w.Code, res.Header, w.Body.String()}
}

// all is everything that a client gets, in one text.
func (a *answer) all() string {
	var b strings.Builder
	fmt.Fprintln(&b, a.status, http.StatusText(a.status))
	for _, k := range sortedKeys(a.header) {
		if k != "X-Request-Id" {
			fmt.Fprintln(&b, k, a.header[k])
		}
	}
	return b.String() + a.body
}

var tags = regexp.MustCompile(`<[^>]*>|\s+`)

// brief is what is told of an answer that is not as it should be.
func (a *answer) brief() string {
	text := a.body
	if _, main, ok := strings.Cut(text, "<main"); ok {
		text = "<main" + main
	}
	return fmt.Sprintf("%.300s", strings.Join(strings.Fields(tags.ReplaceAllString(text, " ")), " "))
}

func sortedKeys[V any](m map[string]V) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// untold are the columns that say when something was used last, and tables that are written whatever
// is asked for.
var untold = map[string]bool{"audit": true, "sessions.used": true, "tokens.used": true, "links.used": true}

// rows are the rows of all tables as text, but for what is in untold.
func (p *premises) rows() map[string][]string {
	p.t.Helper()
	db, err := sql.Open("sqlite", "file:"+p.path+"?mode=ro")
	if err != nil {
		p.t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	out := map[string][]string{}
	for _, table := range columnOf(p.t, db, "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name") {
		if untold[table] {
			continue
		}
		var cols []string
		for _, c := range columnOf(p.t, db, "SELECT name FROM pragma_table_info('"+table+"')") {
			if !untold[table+"."+c] {
				cols = append(cols, "quote("+c+")")
			}
		}
		out[table] = columnOf(p.t, db, "SELECT "+strings.Join(cols, " || '|' || ")+" AS row FROM "+table+" ORDER BY row")
	}
	if len(out) < 20 {
		p.t.Fatalf("only %d tables were looked at", len(out))
	}
	return out
}

func columnOf(t testing.TB, db *sql.DB, query string) (out []string) {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), query)
	if err != nil {
		t.Fatalf("%s: %v", query, err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var x string
		if err := rows.Scan(&x); err != nil {
			t.Fatal(err)
		}
		out = append(out, x)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

// same fails if any row is not what it was; of limits it to the rows that hold a text.
func same(t testing.TB, what string, before, after map[string][]string, of string) {
	t.Helper()
	count := func(list []string) map[string]int {
		n := map[string]int{}
		for _, x := range list {
			if strings.Contains(x, of) {
				n[x]++
			}
		}
		return n
	}
	for table := range after {
		was, is := count(before[table]), count(after[table])
		for x, n := range is {
			if was[x] != n {
				t.Errorf("%s: the table %s has a row that was not there: %.300s", what, table, x)
			}
		}
		for x, n := range was {
			if is[x] != n {
				t.Errorf("%s: the table %s lacks a row: %.300s", what, table, x)
			}
		}
	}
}
