package store

import (
	"testing"
	"time"

	"evenhand/internal/screen"
)

// TestEventRoundTrip writes an event with a value in every field and reads it back by both ways.
func TestEventRoundTrip(t *testing.T) {
	s := squad(t)
	e := filled[screen.Event](t)
	e.Athlete = "A"
	write(t, s, func(tx *Tx) error { return second(tx.PutEvent(e)) })
	read(t, s, func(tx *Tx) error {
		got, err := tx.Events("A")
		equal(t, "of the athlete", got, []screen.Event{e})
		of, e2 := tx.EventsOf([]string{"nobody", "A", "A"})
		equal(t, "of several", of, map[string][]screen.Event{"A": {e}})
		return firstOf(err, e2)
	})
}

// eventOn is an injury of an athlete on a day.
func eventOn(id, athlete string, on screen.Date) screen.Event {
	return screen.Event{ID: id, Athlete: athlete, On: on, Kind: screen.EventInjury, Link: "shoulder", Side: screen.Left,
		Note: "note", Entered: start.Add(time.Minute), EnteredBy: "U1"}
}

// TestEvents lists events by day and id, whenever they were entered, and each athlete's apart.
func TestEvents(t *testing.T) {
	s := dayStore(t)
	ids := func(list []screen.Event) (out string) {
		for _, e := range list {
			out += e.ID
		}
		return out
	}
	write(t, s, func(tx *Tx) error {
		for _, e := range []screen.Event{eventOn("d", "A2", "2026-01-05"), eventOn("c", "A1", "2026-01-05"), eventOn("b", "A1", "2026-01-05"),
			eventOn("e", "A1", "2025-12-31"), eventOn("a", "A1", "2026-01-06")} {
			if added, err := tx.PutEvent(e); err != nil || !added {
				t.Errorf("%s: added %v (%v)", e.ID, added, err)
			}
		}
		return tx.WithdrawEvent("c", "typo")
	})
	read(t, s, func(tx *Tx) error {
		one, err := tx.Events("A1")
		if ids(one) != "ebca" || one[2].Withdrawn != "typo" || one[2].Stands() || !one[1].Stands() {
			t.Errorf("of one athlete: %+v", one)
		}
		of, e2 := tx.EventsOf([]string{"A2", "A3", "A1"})
		if len(of) != 2 || ids(of["A1"]) != "ebca" || ids(of["A2"]) != "d" {
			t.Errorf("of several athletes: %+v", of)
		}
		none, e3 := tx.EventsOf(nil)
		nobody, e4 := tx.Events("nobody")
		if len(none)+len(nobody) != 0 {
			t.Errorf("of nobody: %+v, %+v", none, nobody)
		}
		return firstOf(err, e2, e3, e4)
	})
}

// TestEventAgain sends an event again, as by a device that missed the answer, also after it was
// withdrawn, and without saying when it was entered.
func TestEventAgain(t *testing.T) {
	s := squad(t)
	e := eventOn("X", "A", "2026-01-05")
	e.Entered = time.Time{}
	for i, added := range []bool{true, false, false} {
		write(t, s, func(tx *Tx) error {
			got, err := tx.PutEvent(e)
			if got != added {
				t.Errorf("put %d: added %v, want %v", i, got, added)
			}
			return firstOf(err, tx.WithdrawEvent("X", "typo"))
		})
		e.Entered, e.EnteredBy = start.Add(time.Hour), "U2"
	}
	want := eventOn("X", "A", "2026-01-05")
	want.Entered, want.Withdrawn = start, "typo"
	read(t, s, func(tx *Tx) error {
		got, err := tx.Events("A")
		equal(t, "the event", got, []screen.Event{want})
		return err
	})
}

func TestEventsRefused(t *testing.T) {
	s := squad(t)
	e := eventOn("X", "A", "2026-01-05")
	write(t, s, func(tx *Tx) error {
		return firstOf(second(tx.PutAthlete(athlete("B"), 0)), second(tx.PutEvent(e)))
	})
	for name, c := range map[string]struct {
		change func(*screen.Event)
		code   screen.Code
	}{
		"athlete":         {func(e *screen.Event) { e.Athlete = "B" }, screen.Conflict},
		"day":             {func(e *screen.Event) { e.On = "2026-01-06" }, screen.Conflict},
		"kind":            {func(e *screen.Event) { e.Kind = screen.EventTraining }, screen.Conflict},
		"link":            {func(e *screen.Event) { e.Link = "" }, screen.Conflict},
		"side":            {func(e *screen.Event) { e.Side = screen.Right }, screen.Conflict},
		"note":            {func(e *screen.Event) { e.Note = "note " }, screen.Conflict},
		"limits":          {func(e *screen.Event) { e.Limits = "no pitching" }, screen.Conflict},
		"no id":           {func(e *screen.Event) { e.ID = "" }, screen.Invalid},
		"unknown athlete": {func(e *screen.Event) { e.ID, e.Athlete = "Y", "nobody" }, screen.Invalid},
	} {
		x := e
		c.change(&x)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutEvent(x)) })
		})
	}
	read(t, s, func(tx *Tx) error {
		got, err := tx.Events("A")
		equal(t, "what is on file", got, []screen.Event{e})
		return err
	})
}

// TestWithdrawEvent takes an event back: once, again for the same reason, for another one, for none,
// and one that is not there.
func TestWithdrawEvent(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutEvent(eventOn("X", "A", "2026-01-05"))) })
	for _, c := range []struct {
		id, why string
		code    screen.Code
	}{
		{"X", "", screen.Invalid}, {"Y", "typo", screen.NotFound},
		{"X", "wrong athlete", ""}, {"X", "wrong athlete", ""}, {"X", "typo", screen.Conflict},
	} {
		err := s.Write(t.Context(), func(tx *Tx) error { return tx.WithdrawEvent(c.id, c.why) })
		if (c.code == "") != (err == nil) || (c.code != "" && !screen.IsCode(err, c.code)) {
			t.Errorf("%s for %q: %v, want %q", c.id, c.why, err, c.code)
		}
	}
	read(t, s, func(tx *Tx) error {
		got, err := tx.Events("A")
		if len(got) != 1 || got[0].Withdrawn != "wrong athlete" {
			t.Errorf("the events are %+v", got)
		}
		return err
	})
	checkIntegrity(t, s)
}
