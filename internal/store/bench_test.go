package store

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"evenhand/internal/screen"
)

// median runs fn b.N times and reports the median time of a run as ms-median, and runs per second.
func median(b *testing.B, unit string, fn func(i int)) {
	var took []time.Duration
	for i := 0; b.Loop(); i++ {
		begin := time.Now()
		fn(i)
		took = append(took, time.Since(begin))
	}
	slices.Sort(took)
	b.ReportMetric(took[len(took)/2].Seconds()*1e3, "ms-median")
	b.ReportMetric(float64(len(took))/b.Elapsed().Seconds(), unit+"/s")
}

// BenchmarkPutReadings is one station's 80 readings of one athlete, on the disk at the end.
func BenchmarkPutReadings(b *testing.B) {
	s := squad(b)
	median(b, "batches", func(i int) {
		id := fmt.Sprintf("S%06d", i)
		write(b, s, func(tx *Tx) error {
			if _, err := tx.PutScreen(screenOn(id, "A", "T", "2026-02-11"), 0); err != nil {
				return err
			}
			_, err := tx.PutReadings(id, readings(id, 80), onFives)
			return err
		})
	})
}

func BenchmarkRecord(b *testing.B) {
	s := squad(b)
	write(b, s, func(tx *Tx) error { _, err := tx.PutReadings("S", readings("S", 80), nil); return err })
	b.Run("uncached", func(b *testing.B) {
		median(b, "records", func(int) {
			s.cache = newCache(cacheSize)
			record(b, s, "S")
		})
	})
	b.Run("cached", func(b *testing.B) {
		record(b, s, "S")
		median(b, "records", func(int) { record(b, s, "S") })
	})
}

// BenchmarkTriage is a team of 60 in a file of 100,000 screens, the newest of each athlete with 80
// readings: which screen is each member's newest, and all of their records.
func BenchmarkTriage(b *testing.B) {
	s := openAt(b, big(b))
	triage := func() {
		read(b, s, func(tx *Tx) error {
			latest, err := tx.LatestScreens("T000", "2026-02-10")
			if err != nil {
				return err
			}
			ids := make([]string, len(latest))
			for i := range latest {
				ids[i] = latest[i].Screen.ID
			}
			recs, err := tx.Records(ids)
			if err == nil && (len(recs) != 60 || len(recs[59].Readings) != 80) {
				err = fmt.Errorf("%d records", len(recs))
			}
			return err
		})
	}
	b.Run("cold", func(b *testing.B) {
		median(b, "squads", func(int) { s.cache = newCache(cacheSize); triage() })
	})
	b.Run("warm", func(b *testing.B) {
		triage()
		median(b, "squads", func(int) { triage() })
	})
	b.Run("latest", func(b *testing.B) {
		median(b, "squads", func(int) {
			read(b, s, func(tx *Tx) error { _, err := tx.LatestScreens("T000", "2026-02-10"); return err })
		})
	})
}

// BenchmarkOpen opens a file of 100,000 screens that is up to date.
func BenchmarkOpen(b *testing.B) {
	path := big(b)
	median(b, "opens", func(int) {
		s, err := Open(b.Context(), path, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
	})
}

// bigDir holds the big file, which is made once per process: benchmarks are called several times.
// TestMain removes it.
var bigDir string

// big is a file of 1,200 athletes in 20 teams with 100,000 screens.
func big(b *testing.B) string {
	b.Helper()
	if bigDir != "" {
		return filepath.Join(bigDir, "big.db")
	}
	dir, err := os.MkdirTemp("", "store-bench")
	if err != nil {
		b.Fatal(err)
	}
	bigDir = dir
	path := filepath.Join(dir, "big.db")
	s, err := Open(b.Context(), path, Options{})
	if err != nil {
		b.Fatal(err)
	}
	const teams, squad, screens = 20, 60, 100_000
	write(b, s, func(tx *Tx) error {
		for t := range teams {
			if _, err := tx.PutTeam(team(fmt.Sprintf("T%03d", t)), 0); err != nil {
				return err
			}
		}
		for a := range teams * squad {
			if err := bigAthlete(tx, a, screens/(teams*squad)+1); err != nil {
				return err
			}
		}
		return nil
	})
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	return path
}

// bigAthlete writes athlete number a with n screens; 80 readings at the newest, one at the others.
func bigAthlete(tx *Tx, a, n int) error {
	id, teamID := fmt.Sprintf("A%05d", a), fmt.Sprintf("T%03d", a%20)
	if _, err := tx.PutAthlete(athlete(id), 0); err != nil {
		return err
	}
	if _, err := tx.PutMembership(member("M"+id, teamID, id), 0); err != nil {
		return err
	}
	for k := range n {
		sid := fmt.Sprintf("S%s-%03d-0123456789abcdef0123", id, k)
		if _, err := tx.PutScreen(screenOn(sid, id, teamID, screen.Date("2020-01-01").AddDays(k)), 0); err != nil {
			return err
		}
		count := 1
		if k == n-1 {
			count = 80
		}
		if _, err := tx.PutReadings(sid, readings(sid, count), onFives); err != nil {
			return err
		}
	}
	return nil
}
