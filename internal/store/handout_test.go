package store

import (
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// TestHandouts gives the newest of each athlete, by number, and keeps the older ones.
func TestHandouts(t *testing.T) {
	s := dayStore(t)
	made := func(id, athlete string, after time.Duration) screen.Handout {
		return screen.Handout{ID: id, Day: "D", Athlete: athlete, Screen: "D-S" + athlete[1:], Revision: 3, Protocol: "p 1",
			Hash: "abc", Made: start.Add(after), By: "U1", Body: []byte(`{"of":"` + id + `"}`)}
	}
	write(t, s, func(tx *Tx) error { return second(tx.PutParticipants("D", []screen.Participant{participant("D", 10)})) })
	list := []screen.Handout{made("d", "A10", 0), made("z-old", "A3", 0), made("a-new", "A3", time.Hour), made("b", "A1", 0), made("c", "A1", 0)}
	put := func(list ...screen.Handout) (added int) {
		t.Helper()
		write(t, s, func(tx *Tx) (err error) { added, err = tx.PutHandouts(list); return err })
		return added
	}
	if n := put(list...); n != 5 {
		t.Errorf("%d are new, want 5", n)
	}
	if n := put(list[1]); n != 0 {
		t.Errorf("%d are new the second time", n)
	}
	if n := put(); n != 0 {
		t.Errorf("%d are new of none", n)
	}
	read(t, s, func(tx *Tx) error {
		got, err := tx.Handouts("D")
		equal(t, "handouts", got, []screen.Handout{list[4], list[2], list[0]}) // of two of one moment the greater id
		for _, h := range list {
			one, e := tx.Handout(h.ID)
			equal(t, h.ID, one, h)
			err = firstOf(err, e)
		}
		none, e := tx.Handouts("nowhere")
		if len(none) != 0 {
			t.Errorf("on no day: %+v", none)
		}
		return firstOf(err, e)
	})
}

func TestHandoutsRefused(t *testing.T) {
	s := dayStore(t)
	h := screen.Handout{ID: "H", Day: "D", Athlete: "A1", Body: []byte("{}")}
	write(t, s, func(tx *Tx) error { return second(tx.PutHandouts([]screen.Handout{h})) })
	for name, c := range map[string]struct {
		change func(*screen.Handout)
		code   screen.Code
	}{
		"day":                         {func(h *screen.Handout) { h.Day = "E" }, screen.Conflict},
		"athlete":                     {func(h *screen.Handout) { h.Athlete = "A2" }, screen.Conflict},
		"screen":                      {func(h *screen.Handout) { h.Screen = "x" }, screen.Conflict},
		"revision":                    {func(h *screen.Handout) { h.Revision = 9 }, screen.Conflict},
		"protocol":                    {func(h *screen.Handout) { h.Protocol = "x" }, screen.Conflict},
		"hash":                        {func(h *screen.Handout) { h.Hash = "x" }, screen.Conflict},
		"by":                          {func(h *screen.Handout) { h.By = "x" }, screen.Conflict},
		"body":                        {func(h *screen.Handout) { h.Body = []byte("{} ") }, screen.Conflict},
		"no id":                       {func(h *screen.Handout) { h.ID = "" }, screen.Invalid},
		"an athlete not on the list":  {func(h *screen.Handout) { h.ID, h.Athlete = "H2", "A9" }, screen.Invalid},
		"a day that is not on record": {func(h *screen.Handout) { h.ID, h.Day = "H2", "E" }, screen.Invalid},
	} {
		x := h
		x.Body = slices.Clone(h.Body)
		c.change(&x)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutHandouts([]screen.Handout{x})) })
		})
	}
	twins := []screen.Handout{{ID: "H3", Day: "D", Athlete: "A1"}, {ID: "H3", Day: "D", Athlete: "A2"}}
	writeFails(t, s, screen.Conflict, func(tx *Tx) error { return second(tx.PutHandouts(twins)) })
}
