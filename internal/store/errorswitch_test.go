package store

import (
	"fmt"
	"testing"
	"time"

	"evenhand/internal/screen"
)

func TestErrorSwitchRoundTrip(t *testing.T) {
	s := squad(t)
	w := filled[screen.ErrorSwitch](t)
	w.Team = "T"
	write(t, s, func(tx *Tx) error {
		return firstOf(second(tx.PutStudy(studyOf(w.Study, "T", 0))), second(tx.PutErrorSwitch(w)))
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.ErrorSwitches("T")
		equal(t, "in the list", list, []screen.ErrorSwitch{w})
		got, found, e2 := tx.ErrorInUse("T")
		if !found {
			t.Error("no switch is in use")
		}
		equal(t, "in use", got, w)
		return firstOf(err, e2)
	})
}

// TestErrorInUse switches to and fro: the newest switch of the team counts, of two of one moment the
// greater id; another team's do not.
func TestErrorInUse(t *testing.T) {
	s := league(t)
	write(t, s, func(tx *Tx) error {
		return firstOf(second(tx.PutStudy(studyOf("one", "T", 0))), second(tx.PutStudy(studyOf("two", "T", 0))))
	})
	for _, c := range []struct {
		put   screen.ErrorSwitch
		inUse string
	}{
		{screen.ErrorSwitch{ID: "a", Team: "T", Study: "one", At: start.Add(time.Hour), By: "U", Why: "first"}, "a"},
		{screen.ErrorSwitch{ID: "early", Team: "T", At: start, By: "U"}, "a"},
		{screen.ErrorSwitch{ID: "elsewhere", Team: "U", At: start.Add(9 * time.Hour), By: "U"}, "a"},
		{screen.ErrorSwitch{ID: "0", Team: "T", Study: "two", At: start.Add(time.Hour), By: "U"}, "a"},
		{screen.ErrorSwitch{ID: "b", Team: "T", Study: "two", At: start.Add(time.Hour), By: "U"}, "b"},
		{screen.ErrorSwitch{ID: "c", Team: "T", At: start.Add(2 * time.Hour), By: "U", Why: "back"}, "c"},
	} {
		write(t, s, func(tx *Tx) error {
			added, err := tx.PutErrorSwitch(c.put)
			if !added {
				t.Errorf("%s was not added", c.put.ID)
			}
			return err
		})
		read(t, s, func(tx *Tx) error {
			got, found, err := tx.ErrorInUse("T")
			if got.ID != c.inUse || !found {
				t.Errorf("after %s: in use is %+v, want %s", c.put.ID, got, c.inUse)
			}
			return err
		})
	}
	read(t, s, func(tx *Tx) error {
		list, err := tx.ErrorSwitches("T")
		got := ""
		for _, w := range list {
			got += w.ID + " "
		}
		if want := "c b a 0 early "; got != want {
			t.Errorf("the switches are %q, want %q", got, want)
		}
		none, found, e2 := tx.ErrorInUse("nowhere")
		if found || none != (screen.ErrorSwitch{}) {
			t.Errorf("in use in no team: %+v", none)
		}
		return firstOf(err, e2)
	})
}

func TestErrorSwitchesRefused(t *testing.T) {
	s := league(t)
	w := screen.ErrorSwitch{ID: "W", Team: "T", Study: "one", At: start, By: "Name", Why: "why"}
	write(t, s, func(tx *Tx) error {
		return firstOf(second(tx.PutStudy(studyOf("one", "T", 0))), second(tx.PutStudy(studyOf("other", "U", 0))), second(tx.PutErrorSwitch(w)))
	})
	for name, c := range map[string]struct {
		change func(*screen.ErrorSwitch)
		code   screen.Code
	}{
		"team":                    {func(w *screen.ErrorSwitch) { w.Team = "U" }, screen.Conflict},
		"study":                   {func(w *screen.ErrorSwitch) { w.Study = "" }, screen.Conflict},
		"by":                      {func(w *screen.ErrorSwitch) { w.By = "x" }, screen.Conflict},
		"why":                     {func(w *screen.ErrorSwitch) { w.Why = "x" }, screen.Conflict},
		"no id":                   {func(w *screen.ErrorSwitch) { w.ID = "" }, screen.Invalid},
		"unknown study":           {func(w *screen.ErrorSwitch) { w.ID, w.Study = "V", "x" }, screen.Invalid},
		"another team's study":    {func(w *screen.ErrorSwitch) { w.ID, w.Study = "V", "other" }, screen.Invalid},
		"unknown team":            {func(w *screen.ErrorSwitch) { w.ID, w.Team, w.Study = "V", "nowhere", "" }, screen.Invalid},
		"unknown team of a study": {func(w *screen.ErrorSwitch) { w.ID, w.Team = "V", "nowhere" }, screen.Invalid},
	} {
		x := w
		c.change(&x)
		t.Run(name, func(t *testing.T) {
			writeFails(t, s, c.code, func(tx *Tx) error { return second(tx.PutErrorSwitch(x)) })
		})
	}
	write(t, s, func(tx *Tx) error { // sent again, as by a device that missed the answer
		again := w
		again.At = start.Add(time.Hour)
		added, err := tx.PutErrorSwitch(again)
		if added {
			t.Error("the same was added again")
		}
		return err
	})
	read(t, s, func(tx *Tx) error {
		got, _, err := tx.ErrorInUse("T")
		equal(t, "in use", got, w)
		return err
	})
	checkIntegrity(t, s)
}

// TestMostSwitches lists the newest of very many.
func TestMostSwitches(t *testing.T) {
	s := squad(t)
	write(t, s, func(tx *Tx) error {
		for i := range mostSwitches + 1 {
			w := screen.ErrorSwitch{ID: fmt.Sprintf("W%d", i), Team: "T", At: start.Add(time.Duration(i) * time.Second)}
			if err := second(tx.PutErrorSwitch(w)); err != nil {
				return err
			}
		}
		return nil
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.ErrorSwitches("T")
		if len(list) != 200 || list[0].ID != "W200" || list[199].ID != "W1" {
			t.Errorf("%d switches", len(list))
		}
		return err
	})
}
