package store

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"evenhand/internal/screen"
)

// league is two teams: T with athletes A0 to A4, U with A4 and A5; athlete Ai has i screens in T (in U
// for A5), on the days from 2026-01-01 on, each with i readings.
func league(t *testing.T) *Store {
	t.Helper()
	s := newStore(t)
	write(t, s, func(tx *Tx) error {
		for _, id := range []string{"T", "U"} {
			if _, err := tx.PutTeam(team(id), 0); err != nil {
				return err
			}
		}
		for i := range 6 {
			if err := leagueAthlete(tx, i); err != nil {
				return err
			}
		}
		return second(tx.PutMembership(member("MU4", "U", "A4"), 0))
	})
	return s
}

func leagueAthlete(tx *Tx, i int) error {
	id, teamID := fmt.Sprintf("A%d", i), "T"
	if i == 5 {
		teamID = "U"
	}
	if _, err := tx.PutAthlete(athlete(id), 0); err != nil {
		return err
	}
	if _, err := tx.PutMembership(member("M"+id, teamID, id), 0); err != nil {
		return err
	}
	for k := range i {
		sid := fmt.Sprintf("S%d%d", i, k)
		if _, err := tx.PutScreen(screenOn(sid, id, teamID, screen.Date("2026-01-01").AddDays(k)), 0); err != nil {
			return err
		}
		if _, err := tx.PutReadings(sid, readings(sid, i), nil); err != nil {
			return err
		}
	}
	return nil
}

func TestLatestScreens(t *testing.T) {
	s := league(t)
	write(t, s, func(tx *Tx) error {
		first := member("ML1", "T", "A1") // a second membership of the same athlete
		first.From = "2026-01-01"
		if _, err := tx.PutMembership(first, 0); err != nil {
			return err
		}
		past := member("MA0", "T", "A0")
		past.To = "2026-01-31"
		team, err := tx.Team("T")
		if err != nil {
			return err
		}
		_, err = tx.PutMembership(past, team.Revision)
		return err
	})
	for _, c := range []struct {
		team string
		on   screen.Date
		want string
	}{
		{"T", "2026-01-31", "A0:- A1:S10@2 A2:S21@2 A3:S32@2 A4:S43@2"},
		{"T", "2026-02-01", "A1:S10@2 A2:S21@2 A3:S32@2 A4:S43@2"},
		{"T", "", "A1:S10@2 A2:S21@2 A3:S32@2 A4:S43@2"},
		{"U", "", "A4:S43@2 A5:S54@2"}, // A4's was made in the other team
		{"X", "", ""},
	} {
		var got string
		read(t, s, func(tx *Tx) error {
			list, err := tx.LatestScreens(c.team, c.on)
			for _, l := range list {
				if got != "" {
					got += " "
				}
				got += l.Athlete + ":"
				if l.Screen == nil {
					got += "-"
				} else {
					got += fmt.Sprintf("%s@%d", l.Screen.ID, l.Screen.Revision)
				}
				if l.Name != "Athlete "+l.Athlete {
					t.Errorf("%s is called %q", l.Athlete, l.Name)
				}
			}
			return err
		})
		if got != c.want {
			t.Errorf("%s on %q: %s\nwant %s", c.team, c.on, got, c.want)
		}
	}
}

func TestRecords(t *testing.T) {
	s := league(t)
	ids := []string{"S43", "S10", "S54", "S40", "S43"}
	for _, pass := range []string{"uncached", "cached"} {
		read(t, s, func(tx *Tx) error {
			recs, err := tx.Records(ids)
			for i, rec := range recs {
				n := int(ids[i][1] - '0')
				if rec.Screen.ID != ids[i] || rec.Athlete.ID != fmt.Sprintf("A%d", n) || len(rec.Readings) != n ||
					len(rec.Athlete.Hands) != 1 || len(rec.Athlete.Positions) != 1 {
					t.Errorf("%s: record %d is %+v", pass, i, rec)
				}
				for k, r := range rec.Readings {
					if r.ID != fmt.Sprintf("%s-r%03d", ids[i], k) || r.Screen != ids[i] {
						t.Errorf("reading %d of %s is %+v", k, ids[i], r)
					}
				}
				one, err := tx.Record(ids[i])
				if err != nil || one != rec {
					t.Errorf("Record gives another one than Records (%v)", err)
				}
			}
			return err
		})
	}
	read(t, s, func(tx *Tx) error {
		if recs, err := tx.Records(nil); err != nil || len(recs) != 0 {
			t.Errorf("no ids: %v, %v", recs, err)
		}
		for _, ids := range [][]string{{"nowhere"}, {"S10", ""}} {
			if _, err := tx.Records(ids); !screen.IsCode(err, screen.NotFound) {
				t.Errorf("%q: %v", ids, err)
			}
		}
		if _, err := tx.Record("nowhere"); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("Record: %v", err)
		}
		return nil
	})
}

// TestCacheCoherent changes a record through another store on the same file, as another process does.
func TestCacheCoherent(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s, other := openAt(t, path), openAt(t, path)
	fill(t, s)
	first := record(t, s, "S")
	if record(t, s, "S") != first {
		t.Error("the record was read again although nothing changed")
	}
	write(t, other, func(tx *Tx) error { return second(tx.PutReadings("S", readings("S", 2), nil)) })
	then := record(t, s, "S")
	if len(then.Readings) != 2 || len(first.Readings) != 0 {
		t.Errorf("%d readings, and %d in the record given out before", len(then.Readings), len(first.Readings))
	}
	renamed := athlete("A")
	renamed.Name = "Athlete B"
	write(t, other, func(tx *Tx) error { return second(tx.PutAthlete(renamed, 1)) })
	if rec := record(t, s, "S"); rec.Athlete.Name != "Athlete B" || rec.Athlete.Revision != 2 {
		t.Errorf("the athlete is %+v", rec.Athlete)
	}
}

// TestCacheAfterRollback reads a record in a write that is then undone, and another one takes its revision.
func TestCacheAfterRollback(t *testing.T) {
	s := squad(t)
	undo := errors.New("undo")
	err := s.Write(t.Context(), func(tx *Tx) error {
		if _, err := tx.PutReadings("S", readings("S", 5), nil); err != nil {
			return err
		}
		rec, err := tx.Record("S")
		if err != nil || len(rec.Readings) != 5 {
			t.Errorf("the write does not see its own readings (%v)", err)
		}
		recs, err := tx.Records([]string{"S"})
		if err != nil || len(recs[0].Readings) != 5 {
			t.Errorf("the write does not see its own readings (%v)", err)
		}
		return undo
	})
	if !errors.Is(err, undo) {
		t.Fatal(err)
	}
	write(t, s, func(tx *Tx) error { return second(tx.PutReadings("S", readings("S", 2), nil)) })
	if n := len(record(t, s, "S").Readings); n != 2 {
		t.Errorf("%d readings, want 2", n)
	}
}

func TestCacheIsBounded(t *testing.T) {
	c := newCache(3)
	rev := func(i int) revisionRow { return revisionRow{ID: fmt.Sprint(i), Screen: 1, Athlete: 1} }
	for i := range 5 {
		c.put(rev(i), &screen.Record{})
		if i == 3 && c.get(rev(1)) == nil { // used again: 2 is now the oldest
			t.Error("1 was dropped")
		}
	}
	var kept []int
	for i := range 5 {
		if c.get(rev(i)) != nil {
			kept = append(kept, i)
		}
	}
	if !slices.Equal(kept, []int{1, 3, 4}) || len(c.byID) != 3 || c.order.Len() != 3 {
		t.Errorf("kept %v", kept)
	}
	newer := rev(4)
	newer.Athlete = 2
	if c.get(newer) != nil {
		t.Error("a record of another revision was given")
	}
	c.put(newer, &screen.Record{})
	if c.get(rev(4)) != nil || c.get(newer) == nil || c.order.Len() != 3 {
		t.Error("the newer record did not take the older one's place")
	}
}

func TestBaseline(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		for id, on := range map[string]screen.Date{"P1": "2025-01-10", "P2": "2025-07-10"} {
			if _, err := tx.PutScreen(screenOn(id, "A", "T", on), 0); err != nil {
				return err
			}
		}
		x := screenOn("I1", "A", "T", "2025-09-10")
		x.Kind = screen.InSeason
		if _, err := tx.PutScreen(x, 0); err != nil {
			return err
		}
		return second(tx.PutSymptoms("P2", []screen.Symptom{{ID: "Y", Screen: "P2", Symptom: "night_pain"}}))
	})
	check := func(before screen.Date, want string) {
		t.Helper()
		read(t, s, func(tx *Tx) error {
			got, found, err := tx.Baseline("A", before)
			if got.ID != want || found != (want != "") {
				t.Errorf("before %s: %q, want %q", before, got.ID, want)
			}
			return err
		})
	}
	check("2025-01-09", "")
	check("2025-01-10", "P1")
	check("2026-02-09", "P1") // P2 had a symptom, I1 was in season
	write(t, s, func(tx *Tx) error { return second(tx.WithdrawSymptom("Y", "typo")) })
	check("2026-02-09", "P2")
	check("2026-02-10", "S")
}

func TestEachRecord(t *testing.T) {
	s := league(t)
	write(t, s, func(tx *Tx) error { // more than fit in one batch
		for i := range 2 * exportBatch {
			id := fmt.Sprintf("X%03d", i)
			if _, err := tx.PutScreen(screenOn(id, "A5", "U", "2026-03-01"), 0); err != nil {
				return err
			}
		}
		return nil
	})
	for team, want := range map[string]int{"": 15 + 2*exportBatch, "T": 10, "U": 5 + 2*exportBatch, "X": 0} {
		seen, last := map[string]bool{}, ""
		read(t, s, func(tx *Tx) error {
			return tx.EachRecord(team, func(rec *screen.Record) error {
				seen[rec.Screen.ID] = true
				if team != "" && string(rec.Screen.On) < last {
					t.Errorf("%s: %s comes after %s", team, rec.Screen.On, last)
				}
				last = string(rec.Screen.On)
				if rec.Athlete.ID != rec.Screen.Athlete {
					t.Errorf("the athlete of %s is %q", rec.Screen.ID, rec.Athlete.ID)
				}
				return nil
			})
		})
		if len(seen) != want {
			t.Errorf("%q: %d records, want %d", team, len(seen), want)
		}
	}
	if n := s.cache.order.Len(); n != 0 {
		t.Errorf("an export left %d records in memory", n)
	}
	stop := errors.New("stop")
	err := s.Read(t.Context(), func(tx *Tx) error { return tx.EachRecord("", func(*screen.Record) error { return stop }) })
	if !errors.Is(err, stop) {
		t.Errorf("EachRecord returned %v", err)
	}
}
