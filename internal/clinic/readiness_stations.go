package clinic

import (
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// OpenStations are the stations of one day, by the codes that their pages have. There is nobody in it
// who is measured there.
type OpenStations struct {
	Team     string // its name
	On       screen.Date
	Stations []OpenStation // in the order of the plan
}

// OpenStation is a station to go to.
type OpenStation struct{ Code, Name string }

// OpenStations lists today's days that are not closed, of the teams for which who enters, with their
// stations.
func (c *Clinic) OpenStations(ctx context.Context, who Person) (out []OpenStations, err error) {
	err = c.readAny(ctx, who, access.Enter, func(tx *store.Tx, may func(string) bool) error {
		days, err := tx.DaysOn(c.Today())
		if err != nil {
			return err
		}
		for i := range days {
			d := &days[i]
			if !d.Closed.IsZero() || !may(d.Team) {
				continue
			}
			t, err := tx.Team(d.Team)
			if err != nil {
				return err
			}
			x := OpenStations{Team: t.Name, On: d.On}
			for _, st := range d.Stations {
				x.Stations = append(x.Stations, OpenStation{st.Code, st.Name})
			}
			out = append(out, x)
		}
		return nil
	})
	slices.SortStableFunc(out, func(a, b OpenStations) int { return strings.Compare(a.Team, b.Team) })
	return out, err
}
