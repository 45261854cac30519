package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Every screen of this file is a whole one: both sides of every measure, two trials each.
const (
	rescoreTeams   = 100
	rescoreScreens = 1000 // a team
)

// BenchmarkRescore scores 100,000 whole screens that are on file, and reports the memory that stays in
// use while it runs.
func BenchmarkRescore(b *testing.B) {
	w := &world{now: time.Now, newID: newID, log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	ctx, file := context.Background(), filepath.Join(b.TempDir(), "whole.db")
	st, err := store.Open(ctx, file, store.Options{Now: w.now})
	if err != nil {
		b.Fatal(err)
	}
	for team := range rescoreTeams {
		if err := st.Write(ctx, func(tx *store.Tx) error { return wholeTeam(tx, fmt.Sprintf("T%02d", team)) }); err != nil {
			b.Fatal(err)
		}
	}
	if err := st.Close(); err != nil {
		b.Fatal(err)
	}
	cl, closeStore, err := w.clinic(ctx, file)
	if err != nil {
		b.Fatal(err)
	}
	defer closeStore() //nolint:errcheck // it was only read
	for b.Loop() {
		out, err := cl.Rescore(ctx, clinic.LocalAdministrator, nil)
		if err != nil || out.Screens != rescoreTeams*rescoreScreens {
			b.Fatal(out.Screens, err)
		}
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/(1<<20), "MB-of-the-system")
}

func wholeTeam(tx *store.Tx, team string) error {
	if _, err := tx.PutTeam(&screen.Team{ID: team, Name: "Bench " + team, Sport: "baseball"}, 0); err != nil {
		return err
	}
	for i := range 50 {
		a := screen.Athlete{ID: fmt.Sprintf("%s-A%02d", team, i), Name: fmt.Sprintf("Bench %02d", i), Born: "2010-06-01", Sex: screen.Male,
			Sport: "baseball", Level: screen.School, Hands: []screen.HandSince{{Hand: screen.RightHand}}}
		if _, err := tx.PutAthlete(&a, 0); err != nil {
			return err
		}
		for k := range rescoreScreens / 50 {
			s := screen.Screen{ID: fmt.Sprintf("%s-%02d", a.ID, k), Athlete: a.ID, Team: team, Kind: screen.InSeason, On: screen.Date("2024-01-01").AddDays(30 * k)}
			if _, err := tx.PutScreen(&s, 0); err != nil {
				return err
			}
			list := benchReadings(s.ID, 48)
			for i := range list {
				list[i].Trials = list[i].Trials[:2]
			}
			if _, err := tx.PutReadings(s.ID, list, nil); err != nil {
				return err
			}
		}
	}
	return nil
}
