package store

import (
	"path/filepath"
	"testing"

	"evenhand/internal/screen"
)

// TestMigrateThirdLimits opens a file of the third version with clearances, whose limits stand in their
// notes: none reads as one without limits, and it can be sent once more as it was.
func TestMigrateThirdLimits(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	if err := migrate(t.Context(), path, stepsTo(t, 3)); err != nil {
		t.Fatal(err)
	}
	change(t, path, `
INSERT INTO athletes VALUES ('A', 'Athlete A', 'athlete a', '2012-03-04', 'female', 'handball', '', 'youth', 0, 0, '', 1, 5);
INSERT INTO events VALUES ('E1', 'A', '2025-02-01', 'injury', 'elbow', 'left', 'n', 6, 'U1', '');
INSERT INTO events VALUES ('E2', 'A', '2025-03-01', 'clearance', 'elbow', 'left', 'Dr. A, no pitching', 6, 'U1', '');`)
	s := openAt(t, path)
	injury := screen.Event{ID: "E1", Athlete: "A", On: "2025-02-01", Kind: screen.EventInjury, Link: "elbow", Side: screen.Left, Note: "n", Entered: instant(6), EnteredBy: "U1"}
	clearance := screen.Event{ID: "E2", Athlete: "A", On: "2025-03-01", Kind: screen.EventClearance, Link: "elbow", Side: screen.Left, Note: "Dr. A, no pitching", Limits: limitsInNote, Entered: instant(6), EnteredBy: "U1"}
	read(t, s, func(tx *Tx) error {
		got, err := tx.Events("A")
		equal(t, "events", got, []screen.Event{injury, clearance})
		return err
	})
	as := clearance
	as.Limits = ""
	write(t, s, func(tx *Tx) error {
		added, err := tx.PutEvent(as)
		if added {
			t.Error("the same clearance was added twice")
		}
		return err
	})
	as.Limits = "no pitching"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutEvent(as)) })
}

// TestNewestHandout finds an athlete's newest handout over all days; of those made at one moment, the one
// with the last id.
func TestNewestHandout(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		var list []screen.Handout
		for _, d := range []string{"D1", "D2"} {
			day := dayOf(d, "T", screen.Date("2026-02-1"+d[1:]))
			if err := firstOf(second(tx.PutDay(day, 0)), second(tx.PutParticipants(d, []screen.Participant{
				{Day: d, Athlete: "A", Number: 1, Code: "1-" + d, Screen: d + "-S1"}}))); err != nil {
				return err
			}
		}
		for i, h := range []screen.Handout{{ID: "H2", Day: "D2"}, {ID: "H1", Day: "D1"}, {ID: "H0", Day: "D1"}} {
			h.Athlete, h.Made, h.Body = "A", start.AddDate(0, 0, min(i, 1)), []byte("{}")
			list = append(list, h)
		}
		return second(tx.PutHandouts(list))
	})
	read(t, s, func(tx *Tx) error {
		h, ok, err := tx.NewestHandout("A")
		if !ok || h.ID != "H1" || h.Day != "D1" {
			t.Errorf("%+v %v", h, ok)
		}
		_, none, e2 := tx.NewestHandout("nobody")
		if none {
			t.Error("somebody without a handout has one")
		}
		return firstOf(err, e2)
	})
}
