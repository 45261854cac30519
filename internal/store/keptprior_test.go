package store

import (
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// keptPrior is what was usual in team T on a day, made some time after the start.
func keptPrior(id string, on screen.Date, after time.Duration) screen.KeptPrior {
	return screen.KeptPrior{ID: id, Team: "T", On: on, Protocol: "p 1", Hash: "abc", Made: start.Add(after), By: "U1",
		Body: []byte(`{"of":"` + id + `"}`)}
}

func TestKeptPriorRoundTrip(t *testing.T) {
	s := squad(t)
	p := filled[screen.KeptPrior](t)
	p.Team = "T"
	write(t, s, func(tx *Tx) error { return second(tx.PutKeptPrior(p)) })
	read(t, s, func(tx *Tx) error {
		list, err := tx.KeptPriors("T")
		equal(t, "in the list", list, []screen.KeptPrior{head(p)})
		got, e2 := tx.KeptPrior(p.ID)
		equal(t, "kept", got, p)
		_, e3 := tx.KeptPrior("nowhere")
		if !screen.IsCode(e3, screen.NotFound) {
			t.Errorf("an unknown one: %v", e3)
		}
		return firstOf(err, e2)
	})
}

// head is what a list says of p.
func head(p screen.KeptPrior) screen.KeptPrior {
	p.Body = nil
	return p
}

// TestKeptPriors gives the one made last of each day, the newest day first, whatever the order in which
// they came in.
func TestKeptPriors(t *testing.T) {
	s := league(t)
	list := []screen.KeptPrior{keptPrior("new", "2026-02-10", time.Hour), keptPrior("z-old", "2026-02-10", 0), keptPrior("a", "2025-09-01", 2*time.Hour),
		keptPrior("b", "2026-03-01", 0), keptPrior("c", "2026-03-01", 0), keptPrior("other", "2026-02-10", 3*time.Hour)}
	list[5].Team = "U"
	write(t, s, func(tx *Tx) error {
		for _, p := range list {
			if added, err := tx.PutKeptPrior(p); err != nil || !added {
				t.Errorf("%s: added %v (%v)", p.ID, added, err)
			}
		}
		again := list[0]
		again.Made = start.Add(9 * time.Hour)
		added, err := tx.PutKeptPrior(again)
		if added {
			t.Error("the same was added again")
		}
		return err
	})
	read(t, s, func(tx *Tx) error {
		got, err := tx.KeptPriors("T")
		equal(t, "of the team", got, []screen.KeptPrior{head(list[4]), head(list[0]), head(list[2])}) // of two of one moment the greater id
		other, e2 := tx.KeptPriors("U")
		equal(t, "of the other team", other, []screen.KeptPrior{head(list[5])})
		none, e3 := tx.KeptPriors("nowhere")
		if len(none) != 0 {
			t.Errorf("of no team: %+v", none)
		}
		return firstOf(err, e2, e3)
	})
}

func TestKeptPriorsRefused(t *testing.T) {
	s := league(t)
	p := keptPrior("P", "2026-02-10", 0)
	write(t, s, func(tx *Tx) error { return second(tx.PutKeptPrior(p)) })
	for name, c := range map[string]struct {
		change func(*screen.KeptPrior)
		code   screen.Code
	}{
		"team":         {func(p *screen.KeptPrior) { p.Team = "U" }, screen.Conflict},
		"day":          {func(p *screen.KeptPrior) { p.On = "2026-02-11" }, screen.Conflict},
		"protocol":     {func(p *screen.KeptPrior) { p.Protocol = "x" }, screen.Conflict},
		"hash":         {func(p *screen.KeptPrior) { p.Hash = "x" }, screen.Conflict},
		"by":           {func(p *screen.KeptPrior) { p.By = "x" }, screen.Conflict},
		"body":         {func(p *screen.KeptPrior) { p.Body = append(p.Body, ' ') }, screen.Conflict},
		"no id":        {func(p *screen.KeptPrior) { p.ID = "" }, screen.Invalid},
		"unknown team": {func(p *screen.KeptPrior) { p.ID, p.Team = "Q", "nowhere" }, screen.Invalid},
	} {
		x := p
		x.Body = slices.Clone(p.Body)
		c.change(&x)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutKeptPrior(x)) })
		})
	}
}

// TestLeastKept keeps things with as little in them as can be: the clock is filled in, and no body is
// an empty one.
func TestLeastKept(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		for i, added := range []bool{true, false} {
			p, e1 := tx.PutKeptPrior(screen.KeptPrior{ID: "X", Team: "T"})
			x, e2 := tx.PutStudy(screen.KeptStudy{ID: "X", Team: "T"})
			w, e3 := tx.PutErrorSwitch(screen.ErrorSwitch{ID: "X", Team: "T"})
			if err := firstOf(e1, e2, e3); err != nil || p != added || x != added || w != added {
				t.Errorf("put %d: added %v, %v, %v (%v), want %v", i, p, x, w, err, added)
			}
		}
		return nil
	})
	read(t, s, func(tx *Tx) error {
		p, e1 := tx.KeptPriors("T")
		x, e2 := tx.Study("X")
		w, _, e3 := tx.ErrorInUse("T")
		if err := firstOf(e1, e2, e3); err != nil || p[0].Made != start || x.Made != start || w.At != start || len(p[0].Body)+len(x.Body)+len(x.Data) != 0 {
			t.Errorf("kept are %+v, %+v, %+v (%v)", p, x, w, err)
		}
		return nil
	})
}
