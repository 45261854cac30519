package clinic

import (
	"context"
	"testing"
	"time"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Unsettled by the score is asked about, once, and no more after it was measured again.
func TestUnsettledIsAskedAgain(t *testing.T) {
	r := newDay(t, 1)
	ctx := context.Background()
	r.added("SHOULDER", r.reading("a01", erID, screen.Left, 110, 110), r.reading("a01", erID, screen.Right, 110, 110))
	var asked *DayQuestion
	for d := 5.0; d < 25 && asked == nil; d++ { // how large an unsettled difference is, is the protocol's
		left, right := r.reading("a01", irID, screen.Left, 60-d, 60-d), r.reading("a01", irID, screen.Right, 60, 60)
		for _, q := range r.added("SHOULDER", left, right).Questions {
			if q.Kind == unsettledKind && q.Measure == irID {
				asked = &q
			}
		}
		if asked == nil {
			for _, e := range []StationEntry{left, right} {
				u := r.entry(screen.DayUndo, "a01", "")
				u.Undoes = e.ID
				r.added("SHOULDER", u)
			}
		}
	}
	if asked == nil {
		t.Fatal("no difference is unsettled")
	}
	rep := must[Assessment](t)(r.Score(ctx, boss, asked.Screen)).Report
	found := false
	for _, f := range rep.Findings {
		found = found || f.Measure == irID && f.Verdict == score.Unsettled && f.Chance != nil && f.Chance.NewPlacing >= settles
	}
	if !found || asked.Station != "SHOULDER" || asked.Side != screen.NoSide {
		t.Errorf("%+v, but the score does not say so", asked)
	}
	if b := r.board(); len(b.Again) != 1 || b.Again[0].Text != asked.Text {
		t.Errorf("board: %+v", b.Again)
	}
	l, g := r.reading("a01", irID, screen.Left, 48), r.reading("a01", irID, screen.Right, 60)
	l.Again, g.Again = true, true
	if q := r.added("SHOULDER", l, g).Questions; len(q) != 0 {
		t.Errorf("asked again: %+v", q)
	}
}

// What looks odd against the screen before is asked by the server; what the station can see by itself
// is not asked twice, but stands on the board.
func TestQuestionsAgainstTheLastScreen(t *testing.T) {
	r := newDay(t, 1)
	ctx := context.Background()
	must[screen.Screen](t)(r.PutScreen(ctx, boss, screen.Screen{ID: "old", Athlete: "a01", Team: "t1", On: "2025-02-10", Kind: screen.Preseason}, 0))
	must[Saved](t)(r.SaveReadings(ctx, boss, "old", []Entry{ir("o1", screen.Left, 48)}))
	out := r.added("SHOULDER", r.reading("a01", irID, screen.Left, 84)) // digits exchanged, and unusual
	if len(out.Questions) != 1 || out.Questions[0].Kind != "digits_swapped" {
		t.Errorf("%+v", out.Questions)
	}
	kinds := map[string]int{}
	for _, q := range r.board().Again {
		kinds[q.Kind]++
	}
	if kinds["digits_swapped"] != 1 || kinds["unusual"] != 1 {
		t.Errorf("%v", kinds)
	}
}

// Ten athletes, six minutes each: ten an hour, and four more take 24 minutes.
func TestPace(t *testing.T) {
	at := func(m int) time.Time { return time.Date(2026, 2, 10, 9, m, 0, 0, time.UTC) }
	per, end := pace([]time.Time{at(12), at(0), at(6), at(18)}, 4, at(20))
	if per != 10 || !end.Equal(at(44)) {
		t.Errorf("%g an hour, until %v", per, end)
	}
	for name, c := range map[string]struct {
		t   []time.Time
		now time.Time
	}{
		"two are not enough":         {[]time.Time{at(0), at(6)}, at(7)},
		"all kept, then all at once": {[]time.Time{at(5), at(5), at(5), at(5)}, at(6)},
		"long ago":                   {[]time.Time{at(0), at(6), at(12)}, at(59)},
	} {
		if per, end := pace(c.t, 3, c.now); per != 0 || !end.IsZero() {
			t.Errorf("%s: %g, %v", name, per, end)
		}
	}
	if _, end := pace([]time.Time{at(0), at(6), at(12)}, 0, at(13)); !end.IsZero() {
		t.Error("nobody is left, but it ends at", end)
	}
}

func TestWatch(t *testing.T) {
	r := newDay(t, 1)
	changed, stop := r.WatchDay("d1")
	other, stopOther := r.WatchDay("d9")
	defer stopOther()
	r.added("SHOULDER", r.reading("a01", irID, screen.Left, 52))
	r.added("SHOULDER", r.reading("a01", irID, screen.Right, 52))
	select {
	case <-changed:
	default:
		t.Error("not told")
	}
	select {
	case <-other:
		t.Error("told of another day")
	default:
	}
	stop()
	r.added("SHOULDER", r.reading("a01", erID, screen.Right, 102))
	select {
	case <-changed:
		t.Error("told after the end")
	default:
	}
}
