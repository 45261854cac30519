package store

import (
	"testing"
	"time"

	"evenhand/internal/screen"
)

func TestPutParticipants(t *testing.T) {
	s := dayStore(t) // the list made the day 2
	put := func(list ...screen.Participant) (added int) {
		t.Helper()
		write(t, s, func(tx *Tx) (err error) { added, err = tx.PutParticipants("D", list); return err })
		return added
	}
	revision := func(want int) {
		t.Helper()
		read(t, s, func(tx *Tx) error {
			d, err := tx.Day("D")
			if d.Revision != want {
				t.Errorf("the day is at revision %d, want %d", d.Revision, want)
			}
			return err
		})
	}
	one, two, late := participant("D", 1), participant("D", 2), participant("D", 10)
	if n := put(one, two); n != 0 {
		t.Errorf("%d of those on the list are new", n)
	}
	revision(2)
	two.Twice, late.Added = true, start
	if n := put(one, two, late, late); n != 1 {
		t.Errorf("%d are new, want 1", n)
	}
	revision(3)
	again := late
	again.Added = start.Add(time.Hour) // sent again later
	if n := put(two, again); n != 0 {
		t.Errorf("%d are new", n)
	}
	revision(3)
	one.Twice, two.Twice = true, false
	if n := put(one, two); n != 0 {
		t.Errorf("%d are new", n)
	}
	revision(4)
	read(t, s, func(tx *Tx) error {
		got, err := tx.Participants("D")
		equal(t, "the list", got, []screen.Participant{one, two, participant("D", 3), late})
		none, e := tx.Participants("nowhere")
		if len(none) != 0 || e != nil {
			t.Errorf("on no day: %+v (%v)", none, e)
		}
		return err
	})
}

// TestParticipantsRefused puts what cannot go on the list behind somebody who can: neither is on it.
func TestParticipantsRefused(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutDay(dayOf("E", "T", "2026-02-11"), 0)) })
	for name, c := range map[string]struct {
		n      int
		change func(*screen.Participant)
		code   screen.Code
	}{
		"another number":             {1, func(p *screen.Participant) { p.Number = 9 }, screen.Conflict},
		"another code":               {1, func(p *screen.Participant) { p.Code = "9-abc" }, screen.Conflict},
		"another screen":             {1, func(p *screen.Participant) { p.Screen = "D-S9" }, screen.Conflict},
		"a number that is taken":     {5, func(p *screen.Participant) { p.Number = 1 }, screen.Conflict},
		"a code that is taken":       {5, func(p *screen.Participant) { p.Code = "1-xyz" }, screen.Conflict},
		"a screen that is taken":     {5, func(p *screen.Participant) { p.Screen = "D-S1" }, screen.Conflict},
		"the number of the one next": {5, func(p *screen.Participant) { p.Number = 4 }, screen.Conflict},
		"no number":                  {5, func(p *screen.Participant) { p.Number = 0 }, screen.Invalid},
		"no code":                    {5, func(p *screen.Participant) { p.Code = "" }, screen.Invalid},
		"no screen":                  {5, func(p *screen.Participant) { p.Screen = "" }, screen.Invalid},
		"another day":                {5, func(p *screen.Participant) { p.Day = "E" }, screen.Invalid},
		"nobody on record":           {5, func(p *screen.Participant) { p.Athlete = "X" }, screen.Invalid},
	} {
		p := participant("D", c.n)
		c.change(&p)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error {
				return second(tx.PutParticipants("D", []screen.Participant{participant("D", 4), p}))
			})
		})
	}
	writeFails(t, s, screen.NotFound, func(tx *Tx) error { return second(tx.PutParticipants("nowhere", nil)) })
	// Number and code are the day's own, the screen is not.
	other := participant("E", 1)
	write(t, s, func(tx *Tx) error { return second(tx.PutParticipants("E", []screen.Participant{other})) })
	other = participant("E", 2)
	other.Screen = "D-S1"
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutParticipants("E", []screen.Participant{other})) })
	read(t, s, func(tx *Tx) error {
		list, err := tx.Participants("D")
		if len(list) != 3 {
			t.Errorf("%d are on the list, want 3", len(list))
		}
		return err
	})
}

// TestKnownScreens asks for a participant's screen before and after it is made.
func TestKnownScreens(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error { return second(tx.PutScreen(screenOn("D-S2", "A2", "T", "2026-02-10"), 0)) })
	read(t, s, func(tx *Tx) error {
		got, err := tx.KnownScreens([]string{"D-S1", "D-S2"})
		equal(t, "known", got, map[string]bool{"D-S2": true})
		return err
	})
}
