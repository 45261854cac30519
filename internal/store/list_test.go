package store

import (
	"fmt"
	"slices"
	"testing"

	"evenhand/internal/screen"
)

// pages reads a list to its end in pages of n, and gives the ids in order.
func pages[T any](t *testing.T, s *Store, n int, fn func(*Tx, Page) ([]T, string, error), id func(T) string) []string {
	t.Helper()
	var got []string
	p := Page{Limit: n}
	for {
		var list []T
		read(t, s, func(tx *Tx) (err error) { list, p.After, err = fn(tx, p); return err })
		if len(list) > n || (p.After != "" && len(list) < n) {
			t.Fatalf("a page of %d, asked for %d", len(list), n)
		}
		for _, x := range list {
			got = append(got, id(x))
		}
		if p.After == "" {
			return got
		}
	}
}

// TestPages reads every list in pages of every size: each entry once, in order. Some names and days are
// the same, so that the id decides.
func TestPages(t *testing.T) {
	s := newStore(t)
	write(t, s, func(tx *Tx) error {
		for i := range 7 {
			x := team(fmt.Sprintf("T%d", i))
			x.Name = []string{"", "B", "A\x00", "B", "É", "b", "B"}[i]
			if _, err := tx.PutTeam(x, 0); err != nil {
				return err
			}
			a := athlete(fmt.Sprintf("A%d", i))
			a.Name = x.Name
			if _, err := tx.PutAthlete(a, 0); err != nil {
				return err
			}
			for k := range 2 { // twice in the team, listed once
				if _, err := tx.PutMembership(member(fmt.Sprintf("M%d%d", i, k), "T0", a.ID), 0); err != nil {
					return err
				}
			}
			on := screen.Date([]string{"", "2026-01-02", "2026-01-01", "2026-01-02", "2026-01-03", "2026-01-02", "2025-12-31"}[i])
			if _, err := tx.PutScreen(screenOn(fmt.Sprintf("S%d", i), "A0", "T0", on), 0); err != nil {
				return err
			}
			if _, err := tx.PutDay(dayOf(fmt.Sprintf("S%d", i), "T0", on), 0); err != nil {
				return err
			}
		}
		return second(tx.PutAthlete(athlete("elsewhere"), 0))
	})
	byName := func(p string) []string {
		return []string{p + "0", p + "2", p + "1", p + "3", p + "6", p + "5", p + "4"}
	}
	newest := []string{"S4", "S5", "S3", "S1", "S2", "S6", "S0"}
	teamID := func(x screen.Team) string { return x.ID }
	athleteID := func(x screen.Athlete) string { return x.ID }
	screenID := func(x screen.Screen) string { return x.ID }
	dayID := func(x screen.Day) string { return x.ID }
	everybody := slices.Insert(byName("A"), 2, "elsewhere") // "Athlete elsewhere" stands before "B"
	for n := range 9 {
		n++
		for what, c := range map[string]struct{ got, want []string }{
			"teams":             {pages(t, s, n, (*Tx).Teams, teamID), byName("T")},
			"athletes":          {pages(t, s, n, athletesOf(""), athleteID), everybody},
			"a team's athletes": {pages(t, s, n, athletesOf("T0"), athleteID), byName("A")},
			"no athletes":       {pages(t, s, n, athletesOf("T1"), athleteID), nil},
			"a team's screens": {pages(t, s, n, func(tx *Tx, p Page) ([]screen.Screen, string, error) {
				return tx.TeamScreens("T0", p)
			}, screenID), newest},
			"a team's days": {pages(t, s, n, func(tx *Tx, p Page) ([]screen.Day, string, error) {
				return tx.TeamDays("T0", p)
			}, dayID), newest},
			"an athlete's screens": {pages(t, s, n, func(tx *Tx, p Page) ([]screen.Screen, string, error) {
				return tx.AthleteScreens("A0", p)
			}, screenID), newest},
		} {
			if !slices.Equal(c.got, c.want) {
				t.Errorf("%s by %d: %q\nwant %q", what, n, c.got, c.want)
			}
		}
	}
}

func athletesOf(team string) func(*Tx, Page) ([]screen.Athlete, string, error) {
	return func(tx *Tx, p Page) ([]screen.Athlete, string, error) { return tx.Athletes(team, p) }
}

func TestPageMark(t *testing.T) {
	s := squad(t)
	for _, mark := range []string{"%", "bm8gemVybw"} {
		err := s.Read(t.Context(), func(tx *Tx) error { _, _, err := tx.Teams(Page{After: mark}); return err })
		if !screen.IsCode(err, screen.Invalid) {
			t.Errorf("%q: %v", mark, err)
		}
	}
	for limit, want := range map[int]int{-1: 50, 0: 50, 7: 7, 500: 500, 501: 500} {
		if got := (Page{Limit: limit}).limit(); got != want {
			t.Errorf("limit %d: %d, want %d", limit, got, want)
		}
	}
}

// TestRename moves an athlete in the team's list as well.
func TestRename(t *testing.T) {
	s := league(t)
	a := athlete("A0")
	a.Name = "Zoe"
	write(t, s, func(tx *Tx) error { return second(tx.PutAthlete(a, 1)) })
	got := pages(t, s, 2, athletesOf("T"), func(x screen.Athlete) string { return x.ID })
	if want := []string{"A1", "A2", "A3", "A4", "A0"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}

func TestFindAthlete(t *testing.T) {
	s := twins(t)
	read(t, s, func(tx *Tx) error {
		for _, c := range []struct {
			name string
			born screen.Date
			want []string
		}{
			{"Athlete A1", "2012-03-04", []string{"A1", "twin"}},
			{" athlete a1", "2012-03-04", []string{"A1", "twin"}},
			{"Athlete A1", "", []string{"unknown"}},
			{"Athlete A1", "2012-03-05", nil},
			{"Athlete", "2012-03-04", nil},
		} {
			list, err := tx.FindAthlete(c.name, c.born)
			var got []string
			for _, a := range list {
				got = append(got, a.ID)
			}
			if err != nil || !slices.Equal(got, c.want) {
				t.Errorf("%q born %q: %q (%v), want %q", c.name, c.born, got, err, c.want)
			}
		}
		return nil
	})
}

// twins is the league with an athlete who may be A1 and has A2's number, and a namesake of A1.
func twins(t *testing.T) *Store {
	t.Helper()
	s := league(t)
	write(t, s, func(tx *Tx) error {
		twin := athlete("twin")
		twin.Name, twin.ExternalID = "ATHLETE   a1 ", "NA2"
		if _, err := tx.PutAthlete(twin, 0); err != nil {
			return err
		}
		unknown := athlete("unknown")
		unknown.Name, unknown.Born, unknown.ExternalID = "Athlete A1", "", ""
		return second(tx.PutAthlete(unknown, 0))
	})
	return s
}

func TestAthleteByExternal(t *testing.T) {
	s := twins(t)
	read(t, s, func(tx *Tx) error {
		for _, c := range []struct {
			team, number string
			want         string
			code         screen.Code
		}{
			{"", "NA1", "A1", ""}, {"T", "NA1", "A1", ""}, {"U", "NA1", "", screen.NotFound},
			{"", "NA2", "", screen.Invalid}, {"T", "NA2", "A2", ""},
			{"", "", "", screen.NotFound}, {"", "N9", "", screen.NotFound},
		} {
			a, err := tx.AthleteByExternal(c.team, c.number)
			if a.ID != c.want || (c.code == "") != (err == nil) || (c.code != "" && !screen.IsCode(err, c.code)) {
				t.Errorf("%q in %q: %q (%v), want %q %s", c.number, c.team, a.ID, err, c.want, c.code)
			}
		}
		return nil
	})
}

func TestIsMember(t *testing.T) {
	s := league(t)
	read(t, s, func(tx *Tx) error {
		for _, c := range []struct {
			team, athlete string
			want          bool
		}{{"T", "A4", true}, {"U", "A4", true}, {"U", "A0", false}, {"X", "A0", false}, {"T", "", false}} {
			if got, err := tx.IsMember(c.team, c.athlete); err != nil || got != c.want {
				t.Errorf("%s in %s: %v (%v)", c.athlete, c.team, got, err)
			}
		}
		return nil
	})
}

func TestNotFound(t *testing.T) {
	read(t, squad(t), func(tx *Tx) error {
		for what, err := range map[string]error{
			"team": second(tx.Team("x")), "athlete": second(tx.Athlete("x")), "screen": second(tx.Screen("x")),
			"reading": second(tx.Reading("x")), "symptom": second(tx.Symptom("x")),
			"screening day": second(tx.Day("x")), "station": second(tx.DayByStation("x")), "handout": second(tx.Handout("x")),
		} {
			if !screen.IsCode(err, screen.NotFound) {
				t.Errorf("no such %s: %v", what, err)
			}
		}
		return nil
	})
}
