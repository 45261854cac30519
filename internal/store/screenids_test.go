package store

import (
	"slices"
	"testing"

	"evenhand/internal/screen"
)

// TestScreenIDs lists a team's screens between two days, both included, and those of an athlete in both
// teams.
func TestScreenIDs(t *testing.T) {
	s := dayStore(t)
	write(t, s, func(tx *Tx) error {
		errs := []error{second(tx.PutTeam(team("U"), 0))}
		for _, x := range []*screen.Screen{screenOn("z", "A1", "T", "2026-01-02"), screenOn("d", "A1", "T", "2026-01-03"),
			screenOn("c", "A2", "T", "2026-01-03"), screenOn("b", "A1", "U", "2026-01-03"), screenOn("a", "A1", "T", "2026-01-04"),
			screenOn("undated", "A1", "T", "")} {
			errs = append(errs, second(tx.PutScreen(x, 0)))
		}
		return firstOf(errs...)
	})
	read(t, s, func(tx *Tx) error {
		for _, c := range []struct {
			team     string
			from, to screen.Date
			want     []string
		}{
			{"T", "2026-01-02", "2026-01-04", []string{"z", "c", "d", "a"}},
			{"T", "2026-01-03", "2026-01-03", []string{"c", "d"}},
			{"T", "2026-01-04", "2026-01-02", nil},
			{"U", "2026-01-01", "2026-12-31", []string{"b"}},
			{"nowhere", "2026-01-01", "2026-12-31", nil},
		} {
			if got, err := tx.TeamScreensBetween(c.team, c.from, c.to); err != nil || !slices.Equal(got, c.want) {
				t.Errorf("of %s from %s to %s: %q (%v), want %q", c.team, c.from, c.to, got, err, c.want)
			}
		}
		for athlete, want := range map[string][]string{"A1": {"undated", "z", "b", "d", "a"}, "A2": {"c"}, "nobody": nil} {
			if got, err := tx.AthleteScreenIDs(athlete); err != nil || !slices.Equal(got, want) {
				t.Errorf("of %s: %q (%v), want %q", athlete, got, err, want)
			}
		}
		return nil
	})
}
