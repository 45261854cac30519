package office

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// clock is a clock that stands still unless it is moved.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) wait(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

var start = time.Date(2026, 2, 10, 8, 0, 0, 0, time.UTC)

// cheap is a cost at which tests are fast.
var cheap = Cost{Time: 1, Memory: 8, Threads: 1}

const (
	good  = "three tall trees fell" // passwords that are taken
	other = "a quiet keeper waits"
)

// house is an office with its outside.
type house struct {
	*Office
	*clock
	store *store.Store
	path  string
}

// newHouse is an office on a new file with teams T and U, and athletes A of T and B of U.
func newHouse(t testing.TB) *house {
	t.Helper()
	c := &clock{at: start}
	path := filepath.Join(t.TempDir(), "store.db")
	st, err := store.Open(t.Context(), path, store.Options{Now: c.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	var n atomic.Int64
	o := New(st, Options{Now: c.now, NewID: func() string { return fmt.Sprintf("id%03d", n.Add(1)) }, Random: rand.NewChaCha8([32]byte{7}), Cost: cheap})
	h := &house{o, c, st, path}
	h.write(t, func(tx *store.Tx) error {
		for _, x := range [][2]string{{"T", "A"}, {"U", "B"}} {
			_, e1 := tx.PutTeam(&screen.Team{ID: x[0], Name: "Team " + x[0], Sport: "handball"}, 0)
			_, e2 := tx.PutAthlete(&screen.Athlete{ID: x[1], Name: "Athlete " + x[1], Born: "2012-03-04", Sex: screen.Female, Level: screen.Youth, Sport: "handball"}, 0)
			_, e3 := tx.PutMembership(screen.Membership{ID: "M" + x[0], Team: x[0], Athlete: x[1]}, 0)
			if err := errors.Join(e1, e2, e3); err != nil {
				return err
			}
		}
		return nil
	})
	return h
}

func (h *house) write(t testing.TB, fn func(*store.Tx) error) {
	t.Helper()
	if err := h.store.Write(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

// ok ends the test if there is an error.
func ok(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// is fails unless err is a problem of the code given, whose words hold what is given too.
func is(t testing.TB, what string, err error, code screen.Code, words string) {
	t.Helper()
	if !screen.IsCode(err, code) || !strings.Contains(err.Error(), words) {
		t.Errorf("%s: %v, want a problem of code %s with %q", what, err, code, words)
	}
}

// faults fails unless err are faults at the places given.
func faults(t testing.TB, what string, err error, where ...string) {
	t.Helper()
	var f screen.Faults
	if !errors.As(err, &f) {
		t.Errorf("%s: %v, want faults at %v", what, err, where)
		return
	}
	var got []string
	for _, x := range f {
		got = append(got, x.Where)
		if x.Problem == "" || x.Want == "" {
			t.Errorf("%s: %+v does not say what is wrong and what would be right", what, x)
		}
	}
	if strings.Join(got, " ") != strings.Join(where, " ") {
		t.Errorf("%s: faults at %v, want %v\n%v", what, got, where, f)
	}
}

// first makes the first administrator, "chief", who is administrator and clinician of every team.
func (h *house) first(t testing.TB) access.Person {
	t.Helper()
	secret, needed, err := h.Setup(t.Context())
	if err != nil || !needed {
		t.Fatalf("no setup: %v", err)
	}
	in, err := h.TakeSetup(t.Context(), secret, NewAccount{Login: "chief", Name: "Uma Chief", Password: good, LooksAfter: true})
	ok(t, err)
	return in.Person
}

// join makes an account by an invitation of by.
func (h *house) join(t testing.TB, by access.Person, login string, grants ...access.Grant) access.Person {
	t.Helper()
	secret, err := h.Invite(t.Context(), by, "Name of "+login, grants)
	ok(t, err)
	in, err := h.TakeInvitation(t.Context(), secret, NewAccount{Login: login, Name: "Name of " + login, Password: good})
	ok(t, err)
	return in.Person
}

func role(team string, r access.Role) access.Grant { return access.Grant{Team: team, Role: r} }

// from is an attempt from an address of documentation (RFC 5737).
func from(login, password, code string) Attempt {
	return Attempt{Login: login, Password: password, Code: code, Address: "192.0.2.1", Device: "browser on system"}
}

// entries are all entries of the audit, the first one first.
func (h *house) entries(t testing.TB) (out []access.Entry) {
	t.Helper()
	ok(t, h.store.Read(context.WithoutCancel(t.Context()), func(tx *store.Tx) error {
		return tx.EachAudit(func(e *access.Entry) error { out = append(out, *e); return nil })
	}))
	return out
}

// last is the last entry of the audit, in short.
func (h *house) last(t testing.TB) string {
	t.Helper()
	list := h.entries(t)
	e := list[len(list)-1]
	return fmt.Sprintf("%s: %s %s %s %s", e.Who, e.Action, e.Outcome, e.Kind, e.Subject)
}
