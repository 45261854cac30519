package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"
)

// BenchmarkBackup copies a file of 100,000 screens while a station sends a reading every few
// milliseconds, and says how long the longest and the middle one of these took to be on the disk:
// "writer" is a copy by the writer's own connection, "own" one by a connection of its own.
func BenchmarkBackup(b *testing.B) {
	path := filepath.Join(b.TempDir(), "big.db")
	copyBig(b, path)
	s := openAt(b, path)
	info, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	for _, c := range []struct {
		name string
		copy func(to string) error
	}{
		{"writer", func(to string) error {
			_, err := s.write.sql.ExecContext(b.Context(), "VACUUM INTO ?", to)
			return err
		}},
		{"own", func(to string) error { return s.Backup(b.Context(), to) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			var waits []time.Duration
			for b.Loop() {
				n++
				stop := startWriting(b, s, fmt.Sprint(n))
				if err := c.copy(filepath.Join(b.TempDir(), fmt.Sprintf("copy%d.db", n))); err != nil {
					b.Error(err)
				}
				waits = append(waits, stop()...)
			}
			slices.Sort(waits)
			b.ReportMetric(float64(info.Size())/1e6, "MB")
			b.ReportMetric(waits[len(waits)-1].Seconds()*1e3, "ms-longest-write")
			b.ReportMetric(waits[len(waits)/2].Seconds()*1e3, "ms-median-write")
		})
	}
}

// copyBig copies the benchmarks' shared file, which must stay as it is.
func copyBig(b *testing.B, to string) {
	b.Helper()
	s, err := Open(b.Context(), big(b), Options{})
	if err != nil {
		b.Fatal(err)
	}
	if err := s.Backup(b.Context(), to); err != nil {
		b.Fatal(err)
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
}

// startWriting writes one reading after the other; what it returns ends that and says how long each
// write took.
func startWriting(b *testing.B, s *Store, run string) (stop func() []time.Duration) {
	b.Helper()
	ctx, cancel := context.WithCancel(b.Context())
	done := make(chan []time.Duration)
	go func() {
		var waits []time.Duration
		for i := 0; ctx.Err() == nil; i++ {
			id := fmt.Sprintf("W%s-%d", run, i)
			begin := time.Now()
			err := s.Write(context.Background(), func(tx *Tx) error {
				if _, err := tx.PutScreen(screenOn(id, "A00000", "T000", "2026-02-11"), 0); err != nil {
					return err
				}
				_, err := tx.PutReadings(id, readings(id, 1), onFives)
				return err
			})
			if err != nil {
				b.Error(err)
			}
			waits = append(waits, time.Since(begin))
		}
		done <- waits
	}()
	return func() []time.Duration { cancel(); return <-done }
}

// BenchmarkScrub writes a file of 100,000 screens anew, as after an erasure.
func BenchmarkScrub(b *testing.B) {
	path := filepath.Join(b.TempDir(), "big.db")
	copyBig(b, path)
	s := openAt(b, path)
	for b.Loop() {
		if err := s.Scrub(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkCheck looks through a file of 100,000 screens.
func BenchmarkCheck(b *testing.B) {
	path := big(b)
	for b.Loop() {
		c, err := Check(b.Context(), path)
		if err == nil {
			err = c.Sound()
		}
		if err != nil {
			b.Fatal(err)
		}
	}
}
