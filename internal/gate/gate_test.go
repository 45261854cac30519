package gate

import (
	"context"
	"errors"
	"path/filepath"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// place is a gate before a file with two teams, an athlete of the first and one who left it for the
// second, and a screen of each made in the first.
type place struct {
	*Gate
	t  *testing.T
	at time.Time
}

func newPlace(t *testing.T) *place {
	t.Helper()
	p := &place{t: t, at: time.Date(2026, 2, 10, 12, 0, 0, 0, time.UTC)}
	now := func() time.Time { return p.at }
	st, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "t.db"), store.Options{Now: now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = st.Close() })
	p.Gate = New(st, now)
	err = st.Write(t.Context(), func(tx *store.Tx) error {
		var errs []error
		note := func(_ bool, err error) { errs = append(errs, err) }
		for _, id := range []string{"t1", "t2"} {
			note(tx.PutTeam(&screen.Team{ID: id, Name: id, Sport: "baseball"}, 0))
		}
		for _, id := range []string{"stays", "left", "alone"} {
			note(tx.PutAthlete(&screen.Athlete{ID: id, Name: id, Born: "2011-01-01", Sex: screen.Male, Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}, 0))
		}
		note(tx.PutMembership(screen.Membership{ID: "m1", Team: "t1", Athlete: "stays"}, 0))
		note(tx.PutMembership(screen.Membership{ID: "m2", Team: "t1", Athlete: "left", To: "2026-01-31"}, 0))
		note(tx.PutMembership(screen.Membership{ID: "m3", Team: "t2", Athlete: "left", From: "2026-02-01"}, 0))
		note(tx.PutScreen(&screen.Screen{ID: "s-stays", Athlete: "stays", Team: "t1", On: "2026-01-05", Kind: screen.Preseason}, 0))
		note(tx.PutScreen(&screen.Screen{ID: "s-left", Athlete: "left", Team: "t1", On: "2026-01-05", Kind: screen.Preseason}, 0))
		note(tx.PutDay(&screen.Day{ID: "d", Team: "t1", On: "2026-02-01", Kind: screen.Preseason, SideOrder: screen.ThrowingFirst, Stations: []screen.Station{{Code: "CODE", Name: "One"}}}, 0))
		return errors.Join(errs...)
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func as(role access.Role, team string) access.Person {
	return access.Person{ID: string(role), Name: "Some " + string(role), Grants: []access.Grant{{Team: team, Role: role}}}
}

func (p *place) try(who access.Person, a access.Action, about About) error {
	return p.Read(p.t.Context(), who, a, about, func(*store.Tx) error { return nil })
}

func (p *place) audit() (out []access.Entry) {
	p.t.Helper()
	var chain access.Chain
	err := p.Store().Read(p.t.Context(), func(tx *store.Tx) error {
		return tx.EachAudit(func(e *access.Entry) error {
			out = append(out, *e)
			return chain.Next(e)
		})
	})
	if err != nil {
		p.t.Fatal(err)
	}
	return out
}

// Who is let in to whose records, and what the others are told.
func TestWhose(t *testing.T) {
	p := newPlace(t)
	station := access.Person{Station: "CODE", Link: "station 1"}
	family := access.Person{Athlete: "stays", Link: "family 1"}
	token := as(access.Trainer, "t1")
	token.Scopes = []access.Scope{access.ScopeEnter}
	for _, c := range []struct {
		name  string
		who   access.Person
		a     access.Action
		about About
		want  screen.Code // empty: let in
	}{
		{"own athlete", as(access.Trainer, "t1"), access.SeeRecords, Athlete("stays"), ""},
		{"of every team", as(access.Clinician, ""), access.SeeRecords, Athlete("stays"), ""},
		{"another team's athlete", as(access.Trainer, "t2"), access.SeeRecords, Athlete("stays"), screen.NotFound},
		{"no such athlete", as(access.Trainer, "t2"), access.SeeRecords, Athlete("nobody"), screen.NotFound},
		{"who left", as(access.Trainer, "t1"), access.SeeRecords, Athlete("left"), screen.NotFound},
		{"who came", as(access.Trainer, "t2"), access.SeeRecords, Athlete("left"), ""},
		{"a screen made before leaving", as(access.Trainer, "t1"), access.SeeRecords, Screen("s-left"), ""},
		{"that screen in the new team", as(access.Trainer, "t2"), access.SeeRecords, Screen("s-left"), ""},
		{"another team's screen", as(access.Trainer, "t2"), access.SeeRecords, Screen("s-stays"), screen.NotFound},
		{"an athlete of no team", as(access.Trainer, "t1"), access.SeeRecords, Athlete("alone"), screen.NotFound},
		{"an athlete of no team, by one of every team", as(access.Trainer, ""), access.SeeRecords, Athlete("alone"), ""},
		{"a coach and records", as(access.Coach, "t1"), access.SeeRecords, Athlete("stays"), screen.Forbidden},
		{"a coach and readiness", as(access.Coach, "t1"), access.SeeReadiness, Team("t1"), ""},
		{"a helper and records", as(access.Helper, "t1"), access.SeeRecords, Screen("s-stays"), screen.Forbidden},
		{"a helper and a station", as(access.Helper, "t1"), access.Enter, Station("CODE"), ""},
		{"a helper of another team", as(access.Helper, "t2"), access.Enter, Station("CODE"), screen.NotFound},
		{"an administrator and records", as(access.Administrator, ""), access.SeeRecords, Athlete("stays"), screen.Forbidden},
		{"a trainer and clearance", as(access.Trainer, "t1"), access.Clear, Athlete("stays"), screen.Forbidden},
		{"a clinician and clearance", as(access.Clinician, "t1"), access.Clear, Athlete("stays"), ""},
		{"a team's administrator and the programme", as(access.Administrator, "t1"), access.Operate, Programme(), screen.Forbidden},
		{"the programme's administrator", as(access.Administrator, ""), access.Operate, Programme(), ""},
		{"a station at its station", station, access.Enter, Station("CODE"), ""},
		{"a station at another", station, access.Enter, Station("OTHER"), screen.NotFound},
		{"a station reading", station, access.SeeRecords, Athlete("stays"), screen.NotFound},
		{"a station reading its team", station, access.SeeTeam, Team("t1"), screen.NotFound},
		{"a family and its own", family, access.SeeOwn, Athlete("stays"), ""},
		{"a family and another's", family, access.SeeOwn, Athlete("left"), screen.NotFound},
		{"a family and records", family, access.SeeRecords, Athlete("stays"), screen.Forbidden},
		{"a token beyond its scope", token, access.SeeRecords, Athlete("stays"), screen.Forbidden},
		{"a token within its scope", token, access.Record, Athlete("stays"), ""},
		{"nobody", access.Person{}, access.SeeTeam, Team("t1"), screen.Unknown},
		{"nobody, and what is not there", access.Person{}, access.SeeRecords, Screen("nothing"), screen.Unknown},
		{"an action that is in no table", as(access.Clinician, ""), "something else", Team("t1"), screen.Forbidden},
		{"one of two", as(access.Trainer, "t1"), access.Record, All(Team("t1"), Athlete("left")), screen.NotFound},
		{"the command line", access.Local, access.Erase, Programme(), ""},
	} {
		err := p.try(c.who, c.a, c.about)
		if c.want == "" && err != nil || c.want != "" && !screen.IsCode(err, c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// Another team's record and one that does not exist are told apart by nothing.
func TestNoOracle(t *testing.T) {
	p := newPlace(t)
	who := as(access.Clinician, "t2")
	for name, pair := range map[string][2]About{
		"athlete": {Athlete("stays"), Athlete("none")}, "screen": {Screen("s-stays"), Screen("none")}, "day": {Day("d"), Day("none")},
		"station": {Station("CODE"), Station("NONE")}, "team": {Team("t1"), Team("none")},
	} {
		a, b := p.try(who, access.SeeRecords, pair[0]), p.try(who, access.SeeRecords, pair[1])
		if a == nil || b == nil || a.Error() != b.Error() || !screen.IsCode(a, screen.NotFound) || !screen.IsCode(b, screen.NotFound) {
			t.Errorf("%s: %q and %q", name, a, b)
		}
	}
}

// A station's link ends two weeks after its day.
func TestStationLinkEnds(t *testing.T) {
	p := newPlace(t)
	link := access.Person{Station: "CODE"}
	p.at = time.Date(2026, 2, 15, 23, 0, 0, 0, time.UTC)
	if err := p.try(link, access.Enter, Station("CODE")); err != nil {
		t.Errorf("on the last day: %v", err)
	}
	p.at = time.Date(2026, 2, 16, 1, 0, 0, 0, time.UTC)
	if err := p.try(link, access.Enter, Station("CODE")); !screen.IsCode(err, screen.NotFound) {
		t.Errorf("the day after: %v", err)
	}
	if err := p.try(as(access.Helper, "t1"), access.Enter, Station("CODE")); err != nil {
		t.Errorf("a helper needs no link: %v", err)
	}
}

// The audit has who did what with whose records, and who was refused; the same look is one entry within
// a minute, and what changes nothing personal is none.
func TestAudit(t *testing.T) {
	p := newPlace(t)
	ctx := access.WithRequest(context.Background(), access.Request{ID: "req", Via: "GET /x/:id"})
	trainer, coach := as(access.Trainer, "t1"), as(access.Coach, "t1")
	see := func(who access.Person, about About) {
		_ = p.Read(ctx, who, access.SeeRecords, about, func(*store.Tx) error { return nil })
	}
	see(trainer, Athlete("stays"))
	see(trainer, Athlete("stays"))
	see(trainer, Screen("s-stays"))
	see(coach, Athlete("stays"))
	see(trainer, Athlete("nobody"))
	p.at = p.at.Add(time.Minute)
	see(trainer, Athlete("stays"))
	if err := p.try(trainer, access.SeeTeam, Team("t1")); err != nil {
		t.Fatal(err)
	}
	broken := errors.New("broken")
	if err := p.Write(ctx, trainer, access.Record, Athlete("stays"), func(*store.Tx) error { return broken }); !errors.Is(err, broken) {
		t.Fatal(err)
	}
	if err := p.Write(ctx, trainer, access.Record, Athlete("stays"), func(*store.Tx) error { return nil }); err != nil {
		t.Fatal(err)
	}
	if err := p.Write(ctx, trainer, access.Clear, Athlete("stays"), func(*store.Tx) error { t.Error("let in"); return nil }); !screen.IsCode(err, screen.Forbidden) {
		t.Fatal(err)
	}
	token := trainer
	token.Scopes, token.Token = access.Scopes, "tok"
	see(token, Athlete("stays"))
	see(access.Person{Station: "CODE", Link: "station 9"}, Athlete("stays"))
	see(access.Person{}, Athlete("stays"))
	want := []string{
		"trainer see records done athlete stays t1", "trainer see records done screen s-stays t1", "coach see records refused athlete stays t1",
		"trainer see records refused athlete nobody ", "trainer see records done athlete stays t1", "trainer enter", "trainer",
	}
	got := p.audit()
	lines := make([]string, len(got))
	for i, e := range got {
		lines[i] = e.Who + " " + string(e.Action) + " " + string(e.Outcome) + " " + e.Kind + " " + e.Subject + " " + e.Team
		if e.Request != "req" || e.Via != "GET /x/:id" {
			t.Errorf("%s: asked for by %q %q", lines[i], e.Request, e.Via)
		}
	}
	want = append(want[:5], "trainer record done athlete stays t1", "trainer record clearance refused athlete stays t1",
		"trainer by token tok see records done athlete stays t1", "station 9 see records refused athlete stays t1", "unknown see records refused athlete stays t1")
	if len(lines) != len(want) {
		t.Fatalf("%d entries: %q", len(lines), lines)
	}
	for i := range want {
		if lines[i] != want[i] {
			t.Errorf("entry %d: %q, want %q", i+1, lines[i], want[i])
		}
	}
}

// What cannot be put on record is not shown.
func TestLookThatCannotBeRecorded(t *testing.T) {
	p := newPlace(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := p.Read(ctx, as(access.Trainer, "t1"), access.SeeRecords, Athlete("stays"), func(*store.Tx) error { cancel(); return nil })
	if err == nil {
		t.Error("it was shown")
	}
	if n := len(p.audit()); n != 0 {
		t.Errorf("%d entries", n)
	}
	if err := p.try(as(access.Trainer, "t1"), access.SeeRecords, Athlete("stays")); err != nil {
		t.Error(err)
	}
	if n := len(p.audit()); n != 1 {
		t.Errorf("%d entries: the look that failed must not stand for the next one", n)
	}
}
