package store

import (
	"strings"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// TestPutRevisions goes through what can become of a put, for each kind of record with a revision.
func TestPutRevisions(t *testing.T) {
	s := squad(t)
	puts := map[string]func(tx *Tx, id, text string, ifRevision int) (bool, int, error){
		"team": func(tx *Tx, id, text string, rev int) (bool, int, error) {
			x := team(id)
			x.Sport = text
			wrote, err := tx.PutTeam(x, rev)
			return wrote, x.Revision, err
		},
		"athlete": func(tx *Tx, id, text string, rev int) (bool, int, error) {
			x := athlete(id)
			x.Sport = text
			wrote, err := tx.PutAthlete(x, rev)
			return wrote, x.Revision, err
		},
		"screen": func(tx *Tx, id, text string, rev int) (bool, int, error) {
			x := screenOn(id, "A", "T", "2026-02-10")
			x.Note = text
			wrote, err := tx.PutScreen(x, rev)
			return wrote, x.Revision, err
		},
		"day": func(tx *Tx, id, text string, rev int) (bool, int, error) {
			x := dayOf("D", "T", "2026-02-10")
			x.ID, x.Kind = id, screen.Kind(text)
			x.Stations[0].Code, x.Stations[1].Code = "1"+id[min(1, len(id)):], "2"+id[min(1, len(id)):]
			wrote, err := tx.PutDay(x, rev)
			return wrote, x.Revision, err
		},
	}
	for kind, put := range puts {
		for _, c := range []struct {
			what, id, text string
			ifRevision     int
			code           screen.Code // "": no error
			wrote          bool
			revision       int
		}{
			{"new", "X", "one", 0, "", true, 1},
			{"new again", "X", "one", 0, "", false, 1},
			{"another with its id", "X", "two", 0, screen.Conflict, false, 0},
			{"over it", "X", "two", 1, "", true, 2},
			{"over it again, as after a lost answer", "X", "two", 1, "", false, 2},
			{"emptied", "X", "", 2, "", true, 3},
			{"over an old revision", "X", "four", 2, screen.Stale, false, 0},
			{"over nothing", "Y", "one", 1, screen.NotFound, false, 0},
			{"without an id", "", "one", 0, screen.Invalid, false, 0},
			{"with a long id", strings.Repeat("x", 65), "one", 0, screen.Invalid, false, 0},
			{"with a control character", "a\x00b", "one", 0, screen.Invalid, false, 0},
			{"with the longest id", strings.Repeat("x", 64), "one", 0, "", true, 1},
		} {
			var wrote bool
			var revision int
			err := s.Write(t.Context(), func(tx *Tx) (err error) {
				wrote, revision, err = put(tx, c.id, c.text, c.ifRevision)
				return err
			})
			if c.code != "" {
				if !screen.IsCode(err, c.code) {
					t.Errorf("%s, %s: %v, want %s", kind, c.what, err, c.code)
				}
			} else if err != nil || wrote != c.wrote || revision != c.revision {
				t.Errorf("%s, %s: wrote %v at revision %d (%v), want %v at %d", kind, c.what, wrote, revision, err, c.wrote, c.revision)
			}
		}
	}
}

// TestForeignKeys names what is missing, and no SQL.
func TestForeignKeys(t *testing.T) {
	s := squad(t)
	for want, fn := range map[string]func(*Tx) error{
		"the team that the season refers to": func(tx *Tx) error {
			return second(tx.PutSeason(screen.Season{ID: "Z", Team: "nowhere"}, 0))
		},
		"the team that the membership refers to":    func(tx *Tx) error { return second(tx.PutMembership(member("Z", "nowhere", "A"), 0)) },
		"the athlete that the membership refers to": func(tx *Tx) error { return second(tx.PutMembership(member("Z", "T", "nobody"), 0)) },
		"the season that the membership refers to": func(tx *Tx) error {
			m := member("Z", "T", "A")
			m.Season = "never"
			return second(tx.PutMembership(m, 0))
		},
		"the athlete that the screen refers to": func(tx *Tx) error { return second(tx.PutScreen(screenOn("Z", "nobody", "T", "2026-02-10"), 0)) },
		"the team that the screen refers to":    func(tx *Tx) error { return second(tx.PutScreen(screenOn("Z", "A", "nowhere", "2026-02-10"), 0)) },
	} {
		text := writeFails(t, s, screen.Invalid, fn)
		if !strings.Contains(text, want) || strings.Contains(text, "constraint") {
			t.Errorf("the problem says %q, want %q in it", text, want)
		}
	}
	for kind, fn := range map[string]func(*Tx) error{
		"readings":  func(tx *Tx) error { return second(tx.PutReadings("nowhere", readings("nowhere", 1), nil)) },
		"not done":  func(tx *Tx) error { return second(tx.PutNotDone("nowhere", nil)) },
		"checklist": func(tx *Tx) error { return second(tx.PutChecklist("nowhere", nil)) },
		"symptoms":  func(tx *Tx) error { return second(tx.PutSymptoms("nowhere", nil)) },
		"withdraw":  func(tx *Tx) error { return second(tx.WithdrawSymptom("nowhere", "typo")) },
		"take back": func(tx *Tx) error { return second(tx.WithdrawReading("nowhere", "typo")) },
		"correct":   func(tx *Tx) error { return second(tx.CorrectReading("nowhere", screen.Reading{}, nil)) },
	} {
		if text := writeFails(t, s, screen.NotFound, fn); !strings.HasPrefix(text, "there is no such ") {
			t.Errorf("%s: the problem says %q", kind, text)
		}
	}
}

// TestRefused maps the engine's own refusals, which the look-ups before a write leave to races only.
func TestRefused(t *testing.T) {
	s := squad(t)
	twice := func(tx *Tx) error {
		r := teamRow{ID: "T", Name: "x"}
		return tx.refused(tx.put(false, &r), "team")
	}
	if text := writeFails(t, s, screen.Conflict, twice); strings.Contains(text, "teams") {
		t.Errorf("the problem says %q", text)
	}
	again := func(tx *Tx) error {
		r := readingRowOf(&readings("S", 1)[0], 1)
		if err := tx.put(false, &r); err != nil {
			return err
		}
		r.Seq = 2
		return tx.refused(tx.put(false, &r), "reading")
	}
	writeFails(t, s, screen.Conflict, again)
	lost := func(tx *Tx) error {
		r := readingRowOf(&readings("S", 1)[0], 1)
		r.Supersedes = maybe("nothing")
		return tx.refused(tx.put(false, &r), "reading", ref{"screen", qScreenExists, "S"})
	}
	writeFails(t, s, screen.Invalid, lost)
}

// TestTeamRevision bumps a team by its seasons and memberships, and guards both by it.
func TestTeamRevision(t *testing.T) {
	s := squad(t) // the membership made it 2
	season := screen.Season{ID: "Z", Team: "T", Name: "2026", From: "2026-01-01", To: "2026-06-30"}
	write(t, s, func(tx *Tx) error { return second(tx.PutSeason(season, 0)) })
	checkTeamRevision(t, s, 3)
	write(t, s, func(tx *Tx) error { return second(tx.PutSeason(season, 0)) })
	checkTeamRevision(t, s, 3)
	longer := season
	longer.To = "2026-07-31"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutSeason(longer, 0)) })
	writeFails(t, s, screen.Stale, func(tx *Tx) error { return second(tx.PutSeason(longer, 2)) })
	write(t, s, func(tx *Tx) error { return second(tx.PutSeason(longer, 3)) })
	checkTeamRevision(t, s, 4)
	elsewhere := longer
	elsewhere.Team = "T2"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutSeason(elsewhere, 4)) })

	m := member("M", "T", "A")
	m.Season, m.To = "Z", "2026-03-01"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutMembership(m, 0)) })
	write(t, s, func(tx *Tx) error { return second(tx.PutMembership(m, 4)) })
	write(t, s, func(tx *Tx) error { return second(tx.PutMembership(m, 4)) }) // the answer was lost
	checkTeamRevision(t, s, 5)
	m.Athlete = "B"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutMembership(m, 5)) })
	m.ID, m.Team, m.Athlete = "M9", "T9", "A"
	writeFails(t, s, screen.NotFound, func(tx *Tx) error { return second(tx.PutMembership(m, 1)) })
	read(t, s, func(tx *Tx) error {
		seasons, err := tx.Seasons("T")
		if err != nil || len(seasons) != 1 || seasons[0] != longer {
			t.Errorf("seasons %+v (%v)", seasons, err)
		}
		members, err := tx.Members("T")
		if err != nil || len(members) != 1 || members[0].To != "2026-03-01" {
			t.Errorf("members %+v (%v)", members, err)
		}
		return err
	})
}

func checkTeamRevision(t *testing.T, s *Store, want int) {
	t.Helper()
	read(t, s, func(tx *Tx) error {
		x, err := tx.Team("T")
		if x.Revision != want {
			t.Errorf("the team is at revision %d, want %d", x.Revision, want)
		}
		return err
	})
}

// TestScreenRevision bumps a screen by whatever is new at it and by nothing else.
func TestScreenRevision(t *testing.T) {
	s := squad(t)
	notDone := []screen.NotDone{{ID: "N", Screen: "S", Measure: "m", Side: screen.Left, Reason: screen.ReasonPain}}
	checklist := []screen.ChecklistAnswer{{ID: "C", Screen: "S", Item: "i", Answer: screen.Met}}
	symptoms := []screen.Symptom{{ID: "Y", Screen: "S", Symptom: "pain_at_rest"}}
	for i, fn := range []func(*Tx) error{
		func(tx *Tx) error { return second(tx.PutReadings("S", readings("S", 4), nil)) },
		func(tx *Tx) error { return second(tx.PutNotDone("S", notDone)) },
		func(tx *Tx) error { return second(tx.PutChecklist("S", checklist)) },
		func(tx *Tx) error { return second(tx.PutSymptoms("S", symptoms)) },
		func(tx *Tx) error { return second(tx.WithdrawSymptom("Y", "typed at the wrong athlete")) },
	} {
		for range 2 { // the second time nothing is new
			write(t, s, fn)
			read(t, s, func(tx *Tx) error {
				ofScreen, ofAthlete, err := tx.ScreenRevision("S")
				if ofScreen != 2+i || ofAthlete != 1 {
					t.Errorf("step %d: revisions %d and %d, want %d and 1", i, ofScreen, ofAthlete, 2+i)
				}
				return err
			})
		}
	}
	read(t, s, func(tx *Tx) error {
		if _, _, err := tx.ScreenRevision("nowhere"); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("the revision of no screen: %v", err)
		}
		return nil
	})
}

func TestScreenKeepsAthlete(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutAthlete(athlete("B"), 0)) })
	writeFails(t, s, screen.Invalid, func(tx *Tx) error {
		return second(tx.PutScreen(screenOn("S", "B", "T", "2026-02-10"), 1))
	})
}

func TestTwoHandsOnADay(t *testing.T) {
	a := athlete("B")
	a.Hands = append(a.Hands, screen.HandSince{Hand: screen.LeftHand})
	writeFails(t, newStore(t), screen.Invalid, func(tx *Tx) error { return second(tx.PutAthlete(a, 0)) })
}

// TestClock takes the times from the clock, in UTC, and leaves those that were given.
func TestClock(t *testing.T) {
	c := &clock{start.In(time.FixedZone("east", 3*3600))}
	s, err := Open(t.Context(), t.TempDir()+"/store.db", Options{Now: c.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	fill(t, s)
	c.at = c.at.Add(time.Hour)
	rs := readings("S", 2)
	rs[1].Entered = start.Add(-time.Hour)
	write(t, s, func(tx *Tx) error { return second(tx.PutReadings("S", rs, nil)) })
	rec := record(t, s, "S")
	if got := rec.Screen.Changed; got != start.Add(time.Hour) {
		t.Errorf("changed %v", got)
	}
	if a, b := rec.Readings[0].Entered, rec.Readings[1].Entered; a != start.Add(time.Hour) || b != start.Add(-time.Hour) {
		t.Errorf("entered %v and %v", a, b)
	}
}
