package office

import (
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// note puts n entries for each of the teams given on record.
func (h *house) note(t *testing.T, n int, teams ...string) {
	t.Helper()
	h.write(t, func(tx *store.Tx) error {
		for i := range n {
			for _, team := range teams {
				err := tx.AppendAudit(access.Entry{Who: "w" + team, Action: access.Record, Outcome: access.Done, Kind: "screen", Subject: fmt.Sprint("s", i), Team: team})
				if err != nil {
					return err
				}
			}
		}
		return nil
	})
}

// TestAuditPages goes through all of it, page by page: everything once, the newest first.
func TestAuditPages(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	several := s.join(t, s.chief, "several", role("T", access.Administrator), role("U", access.Administrator))
	s.note(t, 700, "T", "U", "V", "")
	for name, c := range map[string]struct {
		who   access.Person
		q     AuditQuery
		teams string // of the noted entries
		each  int
	}{
		"every team":      {s.chief, AuditQuery{Action: access.Record}, "T U V", 700},
		"command line":    {access.Local, AuditQuery{Action: access.Record}, "T U V", 700},
		"T":               {s.adminT, AuditQuery{Action: access.Record}, "T", 700},
		"T, asked for":    {s.adminT, AuditQuery{Action: access.Record, Team: "T"}, "T", 700},
		"one of every":    {s.chief, AuditQuery{Action: access.Record, Team: "V"}, "V", 700},
		"T and U":         {several, AuditQuery{Action: access.Record}, "T U", 700},
		"U of T and U":    {several, AuditQuery{Action: access.Record, Team: "U"}, "U", 700},
		"by somebody":     {several, AuditQuery{Who: "wU"}, "U", 700},
		"by another one":  {several, AuditQuery{Who: "wV"}, "", 0},
		"about something": {several, AuditQuery{Subject: "s7"}, "T U", 1},
	} {
		count := map[string]int{}
		last := int64(1) << 60
		use := func(e *access.Entry) {
			count[e.Team]++
			if e.Seq >= last {
				t.Fatalf("%s: entry %d after entry %d", name, e.Seq, last)
			}
			last = e.Seq
		}
		pages := 0
		for before := int64(0); ; {
			list, next, err := s.Audit(ctx, c.who, c.q, before, 300)
			ok(t, err)
			for i := range list {
				use(&list[i])
			}
			pages++
			if before = next; next == 0 {
				break
			}
		}
		check := func(how string) {
			t.Helper()
			all := 0
			for _, team := range strings.Fields(c.teams) {
				if count[team] != c.each {
					t.Errorf("%s, %s: %d entries of %s, want %d", name, how, count[team], team, c.each)
				}
				all += count[team]
			}
			if n := count["T"] + count["U"] + count["V"]; n != all {
				t.Errorf("%s, %s: entries of other teams: %v", name, how, count)
			}
		}
		check("by page")
		clear(count)
		last = 1 << 60
		ok(t, s.EachAudit(ctx, c.who, c.q, func(e *access.Entry) error { use(e); return nil }))
		check("each")
	}
	stop := errors.New("enough")
	if err := s.EachAudit(ctx, s.chief, AuditQuery{}, func(*access.Entry) error { return stop }); !errors.Is(err, stop) {
		t.Errorf("the reader's error is lost: %v", err)
	}
}

func TestAuditLimits(t *testing.T) {
	s := newStaff(t)
	s.note(t, 600, "T")
	for limit, want := range map[int]int{-1: 50, 0: 50, 1: 1, 500: 500, 501: 500} {
		list, next, err := s.Audit(t.Context(), s.adminT, AuditQuery{}, 0, limit)
		if err != nil || len(list) != want || next != list[want-1].Seq {
			t.Errorf("limit %d: %d entries, next %d (%v)", limit, len(list), next, err)
		}
	}
}

// TestAuditFinds what is asked for, and that somebody looked.
func TestAuditFinds(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	s.wait(time.Hour)
	_, err := s.SignIn(ctx, from("coach-t", other, ""))
	is(t, "a wrong password", err, screen.Unknown, "do not fit")
	list, _, err := s.Audit(ctx, s.adminT, AuditQuery{Action: access.SignIn, Outcome: access.Refused, From: start.Add(time.Hour), Before: start.Add(2 * time.Hour)}, 0, 0)
	if err != nil || len(list) != 1 || list[0].Subject != s.coachT.ID || list[0].Team != "T" {
		t.Errorf("%+v (%v)", list, err)
	}
	if got, want := s.last(t), s.adminT.ID+": see audit done audit "; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	if list, _, err = s.Audit(ctx, s.adminU, AuditQuery{Action: access.SignIn, Outcome: access.Refused}, 0, 0); err != nil || len(list) != 0 {
		t.Errorf("of another team: %+v (%v)", list, err)
	}
}

func TestAuditRefused(t *testing.T) {
	s := newStaff(t)
	ctx := t.Context()
	for name, c := range map[string]struct {
		who   access.Person
		q     AuditQuery
		code  screen.Code
		words string
	}{
		"coach":          {s.coachT, AuditQuery{}, screen.Forbidden, "with your role"},
		"coach, his":     {s.coachT, AuditQuery{Team: "T"}, screen.Forbidden, "with your role"},
		"another team":   {s.adminT, AuditQuery{Team: "U"}, screen.NotFound, "there is no such team"},
		"nobody":         {access.Person{}, AuditQuery{}, screen.Unknown, "nobody is signed in"},
		"family":         {access.Person{Athlete: "A", Link: "x"}, AuditQuery{}, screen.Forbidden, "with your role"},
		"without a role": {access.Person{ID: "x"}, AuditQuery{}, screen.Forbidden, "with your role"},
	} {
		_, _, err := s.Audit(ctx, c.who, c.q, 0, 0)
		is(t, name, err, c.code, c.words)
		is(t, name, s.EachAudit(ctx, c.who, c.q, func(*access.Entry) error { t.Error("an entry was given out"); return nil }), c.code, c.words)
	}
	for _, who := range []access.Person{s.adminT, s.coachT, s.both} {
		_, _, err := s.VerifyAudit(ctx, who)
		is(t, "check of the chain", err, screen.Forbidden, "with your role")
	}
}

// TestVerifyAudit finds an entry that was changed, left out or put in past the program.
func TestVerifyAudit(t *testing.T) {
	for name, c := range map[string]struct{ change, broken string }{
		"nothing":  {"", ""},
		"changed":  {"UPDATE audit SET subject = 'other' WHERE seq = 40", "entry 40 was changed"},
		"left out": {"DELETE FROM audit WHERE seq = 40", "entry 40 is missing"},
		"put in":   {"INSERT INTO audit SELECT 1000000, at, who, name, action, outcome, kind, subject, team, via, request, prev, hash FROM audit WHERE seq = 40", "is missing"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newStaff(t)
			s.note(t, 1200, "T")
			db, err := sql.Open("sqlite", s.path)
			ok(t, err)
			_, e1 := db.ExecContext(t.Context(), "DROP TRIGGER audit_stays; DROP TRIGGER audit_is_kept; "+c.change)
			ok(t, errors.Join(e1, db.Close()))
			head, broken, err := s.VerifyAudit(t.Context(), s.chief)
			ok(t, err)
			list := s.entries(t)
			switch {
			case c.broken == "" && (broken != nil || head == nil || head.Seq != list[len(list)-2].Seq): // the last one is that of the check
				t.Errorf("the head is %+v, broken is %v", head, broken)
			case c.broken != "" && (broken == nil || !strings.Contains(broken.Error(), c.broken)):
				t.Errorf("broken is %v, want %q", broken, c.broken)
			case name == "changed" && head.Seq != 39:
				t.Errorf("the last entry that fits is %d", head.Seq)
			}
		})
	}
	h := newHouse(t)
	head, broken, err := h.VerifyAudit(t.Context(), access.Local)
	if head != nil || broken != nil || err != nil {
		t.Errorf("an empty audit: %+v, %v (%v)", head, broken, err)
	}
}
