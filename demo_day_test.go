package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/demo"
	"evenhand/internal/screen"
)

// board is the board of the demo's screening day for a seed, as it stands at now.
func board(t *testing.T, seed uint64, now time.Time) clinic.Board {
	t.Helper()
	ctx := context.Background()
	w := &world{now: func() time.Time { return now }, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	cl, closeStore, err := w.clinic(ctx, filepath.Join(t.TempDir(), "demo.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := closeStore(); err != nil {
			t.Error(err)
		}
	}()
	s := demo.Squad(cl.Protocol(), seed, cl.Today())
	if err := cl.Seed(ctx, clinic.LocalAdministrator, s.Teams, s.Seasons, s.Athletes, s.Memberships, s.Consents, s.Records); err != nil {
		t.Fatal(err)
	}
	id, err := w.demoDay(ctx, cl, &s, cl.Today())
	if err != nil {
		t.Fatal(err)
	}
	b, err := cl.Board(ctx, clinic.LocalAdministrator, id)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// What the board of the demo's day was promised to show, on several seeds and just after midnight.
func TestDemoDay(t *testing.T) {
	for seed := range uint64(4) {
		now := time.Date(2026, 2, 20, 0, 20, 0, 0, time.UTC).Add(time.Duration(seed) * 5 * time.Hour)
		t.Run(fmt.Sprint(seed), func(t *testing.T) { checkBoard(t, board(t, seed, now), now) })
	}
}

func checkBoard(t *testing.T, b clinic.Board, now time.Time) {
	t.Helper()
	paced, partly, twice := 0, 0, 0
	for _, s := range b.Stations {
		if s.PerHour > 0 && s.End.After(now) {
			paced++
		}
		if s.Filled == 0 || s.Last.After(now) || now.Sub(s.Last) > demo.DayLasts {
			t.Errorf("%s: %d filled, the last at %s", s.Name, s.Filled, s.Last)
		}
	}
	for _, r := range b.Rows {
		through, missing := 0, 0
		for _, c := range r.Cells {
			twice += c.Second
			missing += c.Missing
			if c.Missing == 0 {
				through++
			}
		}
		if missing > 0 && through > 0 {
			partly++
		}
	}
	asked := map[string]int{}
	for _, q := range b.Again {
		asked[q.Kind]++
	}
	if paced < 2 || partly < 5 || twice == 0 || b.Complete < 3 || b.Complete > 16 {
		t.Errorf("%d stations with a pace, %d athletes on the way, %d measured twice, %d complete", paced, partly, twice, b.Complete)
	}
	if len(b.Holds) != 1 || len(b.Conflicts) != 1 || len(b.Changes) != 1 || len(b.Late) != 0 || len(b.Unlisted) != 0 {
		t.Errorf("holds %v, conflicts %v, changes %v, late %v, unlisted %d", b.Holds, b.Conflicts, b.Changes, b.Late, len(b.Unlisted))
	}
	if asked["digits_swapped"] < 1 || asked["digits_swapped"] > 3 || asked["unsettled"] < 1 || asked["unsettled"] > 12 {
		t.Errorf("asked %v", asked)
	}
	if b.Team.Name != "Demo Lantern Hill" || len(b.Rows) != 23 || b.Rows[22].Added.IsZero() {
		t.Errorf("%q with %d on the list", b.Team.Name, len(b.Rows))
	}
}

// Where the stations that are proposed are at fault, here strength before range at one station, there is
// no day, and the demo goes on.
func TestDemoWithoutDay(t *testing.T) {
	ctx := context.Background()
	w := &world{now: time.Now, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	cl, closeStore, err := w.clinic(ctx, filepath.Join(t.TempDir(), "demo.db"))
	if err != nil {
		t.Fatal(err)
	}
	p := cl.Protocol()
	proposed := p.Stations
	defer func() { p.Stations = proposed }() // the protocol is shared
	p.Stations = []screen.PlanStation{{Name: "All", Takes: []string{"grip_strength", "elbow_flexion"}}}
	s := demo.Squad(cl.Protocol(), 1, cl.Today())
	err = cl.Seed(ctx, clinic.LocalAdministrator, s.Teams, s.Seasons, s.Athletes, s.Memberships, s.Consents, s.Records)
	if id, dayErr := w.demoDay(ctx, cl, &s, cl.Today()); err != nil || dayErr != nil || id != "" {
		t.Errorf("day %q: %v %v", id, err, dayErr)
	}
	if err := closeStore(); err != nil {
		t.Error(err)
	}
}
