package store

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// clock is a clock that stands still unless it is moved.
type clock struct{ at time.Time }

func (c *clock) now() time.Time { return c.at }

// start is the moment at which tests begin.
var start = time.Date(2026, 2, 10, 8, 0, 0, 0, time.UTC)

// newStore opens a new store in a directory of the test's own, and closes it at the test's end.
func newStore(t testing.TB) *Store {
	t.Helper()
	return openAt(t, filepath.Join(t.TempDir(), "store.db"))
}

func openAt(t testing.TB, path string) *Store {
	t.Helper()
	c := &clock{start}
	s, err := Open(t.Context(), path, Options{Now: c.now})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// write and read run fn and end the test if it fails.
func write(t testing.TB, s *Store, fn func(*Tx) error) {
	t.Helper()
	if err := s.Write(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

func read(t testing.TB, s *Store, fn func(*Tx) error) {
	t.Helper()
	if err := s.Read(t.Context(), fn); err != nil {
		t.Fatal(err)
	}
}

// writeFails runs fn, which must fail with a Problem of the code given, and returns the Problem's text.
func writeFails(t testing.TB, s *Store, code screen.Code, fn func(*Tx) error) string {
	t.Helper()
	err := s.Write(t.Context(), fn)
	if !screen.IsCode(err, code) {
		t.Fatalf("the write returned %v, want a problem with code %s", err, code)
	}
	return err.Error()
}

func team(id string) *screen.Team { return &screen.Team{ID: id, Name: "Team " + id, Sport: "handball"} }

func athlete(id string) *screen.Athlete {
	return &screen.Athlete{ID: id, Name: "Athlete " + id, Born: "2012-03-04", Sex: screen.Female, Level: screen.Youth,
		Sport: "handball", Positions: []string{"left back"}, ExternalID: "N" + id,
		Hands: []screen.HandSince{{Hand: screen.RightHand}}}
}

func member(id, team, athlete string) screen.Membership {
	return screen.Membership{ID: id, Team: team, Athlete: athlete}
}

func screenOn(id, athlete, team string, on screen.Date) *screen.Screen {
	return &screen.Screen{ID: id, Athlete: athlete, Team: team, On: on, Kind: screen.Preseason, Examiner: "E1"}
}

// readings are n readings of a screen with ids of their own, as a station sends them.
func readings(screenID string, n int) []screen.Reading {
	out := make([]screen.Reading, n)
	for i := range out {
		out[i] = screen.Reading{ID: fmt.Sprintf("%s-r%03d", screenID, i), Screen: screenID,
			Measure: fmt.Sprintf("measure_%02d", i/2), Side: []screen.Side{screen.Left, screen.Right}[i%2],
			Trials: []float64{90 + float64(i), 91.5, 92}, Examiner: "E1", Instrument: "inclinometer",
			Position: "supine", Device: "D1", Taken: start.Add(time.Duration(i) * time.Second), EnteredBy: "U1"}
	}
	return out
}

// squad is a store with team T, athlete A who is its member, and screen S of A.
func squad(t testing.TB) *Store {
	t.Helper()
	s := newStore(t)
	fill(t, s)
	return s
}

func fill(t testing.TB, s *Store) {
	t.Helper()
	write(t, s, func(tx *Tx) error {
		if _, err := tx.PutTeam(team("T"), 0); err != nil {
			return err
		}
		if _, err := tx.PutAthlete(athlete("A"), 0); err != nil {
			return err
		}
		if _, err := tx.PutMembership(member("M", "T", "A"), 0); err != nil {
			return err
		}
		_, err := tx.PutScreen(screenOn("S", "A", "T", "2026-02-10"), 0)
		return err
	})
}

// record reads a record.
func record(t testing.TB, s *Store, id string) *screen.Record {
	t.Helper()
	var rec *screen.Record
	read(t, s, func(tx *Tx) (err error) { rec, err = tx.Record(id); return err })
	return rec
}

// onFives counts every reading, by its first trial.
func onFives(r screen.Reading) (countable, onFive bool) {
	return true, int(r.Trials[0])%5 == 0
}
