package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// bigFile is a file of 100,000 screens in 100 teams; the newest screen of each of the 60 athletes of
// team T00 has 80 readings of 3 trials.
func bigFile(b *testing.B, w *world) *opened {
	b.Helper()
	ctx, file := context.Background(), filepath.Join(b.TempDir(), "big.db")
	st, err := store.Open(ctx, file, store.Options{Now: w.now})
	if err != nil {
		b.Fatal(err)
	}
	for team := range 100 {
		if err := st.Write(ctx, func(tx *store.Tx) error { return bigTeam(tx, fmt.Sprintf("T%02d", team), team == 0) }); err != nil {
			b.Fatal(err)
		}
	}
	if err := st.Close(); err != nil {
		b.Fatal(err)
	}
	o, err := w.openAll(ctx, file)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		if err := o.store.Close(); err != nil {
			b.Error(err)
		}
	})
	return o
}

// bigTeam is 60 athletes with 16 or 17 screens each, 1000 in all.
func bigTeam(tx *store.Tx, team string, full bool) error {
	if _, err := tx.PutTeam(&screen.Team{ID: team, Name: "Bench " + team, Sport: "baseball"}, 0); err != nil {
		return err
	}
	for i := range 60 {
		a := screen.Athlete{ID: fmt.Sprintf("%s-A%02d", team, i), Name: fmt.Sprintf("Bench %02d", i), Born: "2010-06-01", Sex: screen.Male,
			Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		if _, err := tx.PutAthlete(&a, 0); err != nil {
			return err
		}
		if _, err := tx.PutMembership(screen.Membership{ID: "M" + a.ID, Team: team, Athlete: a.ID}, 0); err != nil {
			return err
		}
		for k := range 17 {
			if 17*i+k >= 1000 && k < 16 {
				break
			}
			s := screen.Screen{ID: fmt.Sprintf("%s-%02d", a.ID, k), Athlete: a.ID, Team: team, Kind: screen.InSeason, On: screen.Date("2024-01-01").AddDays(40 * k)}
			if _, err := tx.PutScreen(&s, 0); err != nil {
				return err
			}
			n := 2
			if full && k == 16 {
				n = 80
			}
			if _, err := tx.PutReadings(s.ID, benchReadings(s.ID, n), nil); err != nil {
				return err
			}
		}
	}
	return nil
}

// benchReadings are both sides of measures of the default protocol, some twice, by two examiners.
func benchReadings(id string, n int) []screen.Reading {
	p, err := screen.Default()
	if err != nil {
		panic(err)
	}
	var out []screen.Reading
	for round := 0; len(out) < n; round++ {
		for i := range p.Measures {
			m := &p.Measures[i]
			if m.Derived != nil || m.Typical == nil {
				continue
			}
			for k, side := range []screen.Side{screen.Left, screen.Right} {
				if len(out) < n {
					v := m.Typical[0] + (m.Typical[1]-m.Typical[0])*(0.5-0.06*float64(k))
					out = append(out, screen.Reading{ID: fmt.Sprintf("%s-%d", id, len(out)), Screen: id, Measure: m.ID, Side: side,
						Trials: []float64{v, v + m.Step, v - m.Step}, Examiner: string(rune('k' + round))})
				}
			}
		}
	}
	return out
}

// BenchmarkTriagePage is the page of a 60-athlete team, rendered whole, with 100,000 screens on file.
func BenchmarkTriagePage(b *testing.B) {
	w := &world{now: time.Now, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	h, err := w.handler(bigFile(b, w), &serving{visited: true})
	if err != nil {
		b.Fatal(err)
	}
	for _, path := range []string{"/teams/T00", "/api/v1/teams/T00/triage", "/athletes/T00-A07"} {
		b.Run(path, func(b *testing.B) {
			var took []time.Duration
			for b.Loop() {
				begin := time.Now()
				rec := httptest.NewRecorder()
				h.ServeHTTP(rec, httptest.NewRequestWithContext(b.Context(), http.MethodGet, "http://localhost"+path, nil))
				if rec.Code != http.StatusOK {
					b.Fatalf("%d: %s", rec.Code, rec.Body)
				}
				took = append(took, time.Since(begin))
			}
			slices.Sort(took)
			b.ReportMetric(took[len(took)/2].Seconds()*1e3, "ms-median")
			b.ReportMetric(took[len(took)-1].Seconds()*1e3, "ms-most")
		})
	}
}
