package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"evenhand/internal/screen"
)

// TestPutDayRefused names what cannot be kept of a day, and leaves day D and its codes as they were.
func TestPutDayRefused(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error {
		if err := second(tx.PutTeam(team("U"), 0)); err != nil {
			return err
		}
		return second(tx.PutDay(dayOf("E", "T", "2026-02-10"), 0))
	})
	for name, c := range map[string]struct {
		change     func(*screen.Day)
		ifRevision int
		code       screen.Code
		text       string
	}{
		"a team that is not on record": {func(d *screen.Day) { d.ID, d.Team = "F", "X" }, 0, screen.Invalid, "the team that the screening day refers to"},
		"another team":                 {func(d *screen.Day) { d.Team = "U" }, 2, screen.Invalid, "keeps its team"},
		"another date":                 {func(d *screen.Day) { d.On = "2026-02-11" }, 2, screen.Invalid, "its date"},
		"another day's code":           {func(d *screen.Day) { d.Stations[1].Code = "E-one" }, 2, screen.Conflict, "the code E-one"},
		"a code twice":                 {func(d *screen.Day) { d.Stations[1].Code = "D-one" }, 2, screen.Invalid, "the code D-one"},
		"no code":                      {func(d *screen.Day) { d.Stations[1].Code = "" }, 2, screen.Invalid, "the id of the station"},
		"a long code":                  {func(d *screen.Day) { d.Stations[1].Code = strings.Repeat("c", 65) }, 2, screen.Invalid, "the id of the station"},
	} {
		d := dayOf("D", "T", "2026-02-10")
		d.Every = 3
		c.change(d)
		t.Run(name, func(t *testing.T) {
			text := writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutDay(d, c.ifRevision)) })
			if !strings.Contains(text, c.text) {
				t.Errorf("the problem says %q, want %q in it", text, c.text)
			}
		})
	}
	read(t, s, func(tx *Tx) error {
		d, err := tx.DayByStation("D-two")
		if d.Every != 5 || d.Revision != 2 {
			t.Errorf("the day is %+v", d)
		}
		return err
	})
}

// TestStationCodes drops a station and adds one: the code of the dropped one still leads to its day, and
// to no other.
func TestStationCodes(t *testing.T) {
	s := dayStore(t)
	d := dayOf("D", "T", "2026-02-10")
	d.Stations[0].Code = "new"
	write(t, s, func(tx *Tx) error {
		wrote, err := tx.PutDay(d, 2)
		if !wrote || d.Revision != 3 {
			t.Errorf("wrote %v at revision %d", wrote, d.Revision)
		}
		return err
	})
	other := dayOf("E", "T", "2026-02-11")
	other.Stations[0].Code = "D-one"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutDay(other, 0)) })
	read(t, s, func(tx *Tx) error {
		for code, want := range map[string]string{"new": "D", "D-two": "D", "D-one": "D"} {
			if d, err := tx.DayByStation(code); err != nil || d.ID != want {
				t.Errorf("%s leads to %q (%v), want %s", code, d.ID, err, want)
			}
		}
		if _, err := tx.DayByStation("E-one"); !screen.IsCode(err, screen.NotFound) {
			t.Errorf("a code that no station has: %v", err)
		}
		return nil
	})
}

// TestCloseDay closes a day and opens it again: the time goes to and fro, nothing else changes.
func TestCloseDay(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error {
		d, err := tx.Day("D")
		if err != nil {
			return err
		}
		before := d
		d.Closed = start
		if err := second(tx.PutDay(&d, 2)); err != nil {
			return err
		}
		if d.Closed != start || d.Revision != 3 {
			t.Errorf("closed, the day is %+v", d)
		}
		d.Closed = before.Closed
		err = second(tx.PutDay(&d, 3))
		before.Revision = 4
		equal(t, "open again", d, before)
		return err
	})
}

func TestDaysOn(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error {
		for i := range mostDays + 1 {
			if err := second(tx.PutDay(dayOf(fmt.Sprintf("X%03d", i), "T", "2026-03-01"), 0)); err != nil {
				return err
			}
		}
		return nil
	})
	read(t, s, func(tx *Tx) error {
		for on, want := range map[screen.Date]int{"2026-02-10": 1, "2026-03-01": 100, "2026-03-02": 0} {
			list, err := tx.DaysOn(on)
			if err != nil || len(list) != want {
				t.Errorf("%s: %d days (%v), want %d", on, len(list), err, want)
			}
			if !slices.IsSortedFunc(list, func(a, b screen.Day) int { return strings.Compare(a.ID, b.ID) }) {
				t.Errorf("%s: not by id", on)
			}
		}
		return nil
	})
}

// TestDayAllOrNothing undoes a write that touched every table of a screening day.
func TestDayAllOrNothing(t *testing.T) {
	s := dayStore(t)
	dayScreens(t, s, 1)
	broken := errors.New("broken")
	err := s.Write(t.Context(), func(tx *Tx) error {
		d := dayOf("D", "T", "2026-02-10")
		d.Stations = d.Stations[:1]
		for _, err := range []error{
			second(tx.PutDay(d, 2)),
			second(tx.PutDay(dayOf("E", "T", "2026-02-10"), 0)),
			second(tx.PutParticipants("D", []screen.Participant{participant("D", 4)})),
			second(tx.PutReadings("S1", readings("S1", 1), onFives)),
			second(tx.WithdrawReading("S1-r000", "typo")),
			second(tx.AddDayEntries("D", dayEntries(0, 3))),
			second(tx.PutHandouts([]screen.Handout{{ID: "H", Day: "D", Athlete: "A1"}})),
		} {
			if err != nil {
				t.Error(err)
			}
		}
		return broken
	})
	if !errors.Is(err, broken) {
		t.Fatal(err)
	}
	for table, want := range map[string]int{"days": 1, "stations": 2, "participants": 3, "readings": 0, "day_entries": 0, "handouts": 0} {
		var n int
		if err := s.read.sql.QueryRowContext(t.Context(), "SELECT count(*) FROM "+table).Scan(&n); err != nil || n != want {
			t.Errorf("%d rows in %s (%v), want %d", n, table, err, want)
		}
	}
	checkIntegrity(t, s)
	write(t, s, func(tx *Tx) error { // numbers and codes are free again
		last, err := tx.AddDayEntries("D", dayEntries(0, 2))
		if err != nil || last != 2 {
			t.Errorf("the last entry is %d (%v), want 2", last, err)
		}
		return second(tx.PutDay(dayOf("E", "T", "2026-02-10"), 0))
	})
}

// checkIntegrity asks the engine whether the file is whole and every reference holds.
func checkIntegrity(t *testing.T, s *Store) {
	t.Helper()
	var whole string
	if err := s.read.sql.QueryRowContext(t.Context(), "PRAGMA integrity_check").Scan(&whole); err != nil || whole != "ok" {
		t.Errorf("the integrity check says %q (%v)", whole, err)
	}
	var lost int
	if err := s.read.sql.QueryRowContext(t.Context(), "SELECT count(*) FROM pragma_foreign_key_check").Scan(&lost); err != nil || lost != 0 {
		t.Errorf("%d references lead nowhere (%v)", lost, err)
	}
}
