package store

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"evenhand/internal/screen"
)

func TestAddDayEntries(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutDay(dayOf("E", "T", "2026-02-11"), 0)) })
	first, then := dayEntries(0, 450), dayEntries(450, 3) // more than are written at once
	then[2].Received = time.Time{}
	for _, c := range []struct {
		list []screen.DayEntry
		last int
	}{{nil, 0}, {first, 450}, {then, 453}, {nil, 453}} {
		write(t, s, func(tx *Tx) error {
			last, err := tx.AddDayEntries("D", c.list)
			if last != c.last {
				t.Errorf("the last entry is %d, want %d", last, c.last)
			}
			return err
		})
	}
	if then[0].Seq != 451 || then[2].Seq != 453 || then[2].Received != start {
		t.Errorf("the slice has %+v", then)
	}
	elsewhere := dayEntries(900, 1)
	elsewhere[0].Day = "E"
	write(t, s, func(tx *Tx) error { return second(tx.AddDayEntries("E", elsewhere)) })
	read(t, s, func(tx *Tx) error {
		for after, want := range map[int]int{-1: 453, 0: 453, 1: 452, 450: 3, 452: 1, 453: 0, 900: 0} {
			list, err := tx.DayEntries("D", after)
			if err != nil || len(list) != want {
				t.Errorf("%d entries after %d (%v), want %d", len(list), after, err, want)
			}
			for i := range list {
				if list[i].Seq != max(after, 0)+1+i {
					t.Errorf("entry %d after %d is number %d", i, after, list[i].Seq)
				}
			}
		}
		for day, want := range map[string]int{"D": 453, "E": 1, "nowhere": 0} {
			if last, err := tx.LastDayEntry(day); err != nil || last != want {
				t.Errorf("the last entry of %s is %d (%v), want %d", day, last, err, want)
			}
		}
		got, err := tx.DayEntriesByID([]string{then[2].ID, "none", elsewhere[0].ID, first[0].ID})
		equal(t, "entries by id", got, []screen.DayEntry{then[2], elsewhere[0], first[0]})
		none, err2 := tx.DayEntriesByID(nil)
		if len(none) != 0 || err2 != nil {
			t.Errorf("no ids: %+v (%v)", none, err2)
		}
		d, err3 := tx.Day("D")
		if d.Revision != 2 {
			t.Errorf("the entries made the day %d", d.Revision)
		}
		return firstOf(err, err3)
	})
}

func firstOf(errs ...error) error {
	i := slices.IndexFunc(errs, func(err error) bool { return err != nil })
	if i < 0 {
		return nil
	}
	return errs[i]
}

// TestDayEntriesRefused adds what cannot be kept behind an entry that can: neither is there.
func TestDayEntriesRefused(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error {
		if err := second(tx.PutDay(dayOf("E", "T", "2026-02-11"), 0)); err != nil {
			return err
		}
		return second(tx.AddDayEntries("D", dayEntries(0, 1)))
	})
	for name, c := range map[string]struct {
		day    string
		change func(*screen.DayEntry)
		code   screen.Code
	}{
		"an id of the day":       {"D", func(e *screen.DayEntry) { e.ID = dayEntries(0, 1)[0].ID }, screen.Conflict},
		"an id of another day":   {"E", func(e *screen.DayEntry) { e.ID = dayEntries(0, 1)[0].ID }, screen.Conflict},
		"the id of the one next": {"D", func(e *screen.DayEntry) { e.ID = dayEntries(1, 1)[0].ID }, screen.Conflict},
		"no id":                  {"D", func(e *screen.DayEntry) { e.ID = "" }, screen.Invalid},
		"another day":            {"D", func(e *screen.DayEntry) { e.Day = "E" }, screen.Invalid},
		"a separator":            {"D", func(e *screen.DayEntry) { e.Examiner = "a" + unit }, screen.Invalid},
		"no such day":            {"nowhere", func(*screen.DayEntry) {}, screen.NotFound},
	} {
		list := dayEntries(1, 2)
		for i := range list {
			list[i].Day = c.day
		}
		c.change(&list[1])
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.AddDayEntries(c.day, list)) })
		})
		if list[0].Seq != 0 {
			t.Errorf("%s: the slice was numbered", name)
		}
	}
	read(t, s, func(tx *Tx) error {
		last, err := tx.LastDayEntry("D")
		if last != 1 {
			t.Errorf("the last entry is %d, want 1", last)
		}
		return err
	})
}

// TestRoundTripDayEntry draws entries with whatever may stand in them.
func TestRoundTripDayEntry(t *testing.T) {
	s := dayStore(t)
	seq := 0
	rapid.Check(t, func(rt *rapid.T) {
		d := drawn{rt}
		seq++
		want := screen.DayEntry{Day: "D", Seq: seq, ID: fmt.Sprintf("e%d", seq), Kind: pick(d, "kind", screen.DayReading, screen.DayUndo, ""),
			Athlete: d.text("athlete"), Screen: d.text("screen"), Station: d.text("station"), About: d.text("about"),
			Side: pick(d, "side", screen.Left, ""), Round: rapid.IntRange(0, 2).Draw(rt, "round"), Again: rapid.Bool().Draw(rt, "again"),
			Examiner: d.text("examiner"), Device: d.text("device"), Taken: d.time("taken"), At: d.time("at"), Received: start,
			Late: rapid.Bool().Draw(rt, "late"), Undoes: d.text("undoes"), Digest: d.text("digest"), Reason: screen.Reason(d.text("reason"))}
		must(rt, s.Write(t.Context(), func(tx *Tx) error {
			return second(tx.AddDayEntries("D", []screen.DayEntry{want}))
		}))
		must(rt, s.Read(t.Context(), func(tx *Tx) error {
			got, err := tx.DayEntries("D", seq-1)
			same(rt, "entries", got, []screen.DayEntry{want})
			return err
		}))
	})
}
