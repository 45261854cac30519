package clinic

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"evenhand/internal/exchange"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// Now is the clinic's own time.
func (c *Clinic) Now() time.Time { return c.now() }

// FollowUpDays are the days on which re-screens of a team are due, as entries of a calendar: one a day
// with the number of athletes or, with names, one an athlete. A calendar is often shared and lies on
// phones, so it says what to measure, and nothing of what was found. Returns NotFound.
func (c *Clinic) FollowUpDays(ctx context.Context, who Person, team string, names bool) ([]exchange.CalendarDay, screen.Team, error) {
	list, err := c.FollowUp(ctx, who, team)
	if err != nil {
		return nil, list.Team, err
	}
	if names {
		return c.namedDays(team, list.Rows), list.Team, nil
	}
	return countedDays(&list), list.Team, nil
}

func (c *Clinic) namedDays(team string, rows []FollowRow) (out []exchange.CalendarDay) {
	for i := range rows {
		if r := &rows[i]; r.Due != nil {
			out = append(out, exchange.CalendarDay{Key: team + "/" + r.Athlete, On: r.Due.On, Private: true,
				Summary: "Re-screen: " + r.Name, Text: "To measure: " + c.takingWords(r.Due) + "."})
		}
	}
	return out
}

func countedDays(list *FollowList) (out []exchange.CalendarDay) {
	due := map[screen.Date]int{}
	for i := range list.Rows {
		if d := list.Rows[i].Due; d != nil {
			due[d.On]++
		}
	}
	for _, on := range slices.Sorted(maps.Keys(due)) {
		out = append(out, exchange.CalendarDay{Key: list.Team.ID + "/" + string(on), On: on,
			Summary: fmt.Sprintf("Re-screens due, %s: %d", list.Team.Name, due[on]),
			Text:    "Who, and what to measure, is on the follow-up list of the team."})
	}
	return out
}

// Taking is a measure to take at a re-screen, with trials on each side.
type Taking struct {
	Measure string `json:"measure"`
	Name    string `json:"name"`
	Trials  int    `json:"trials"`
}

// Takings are what is read at a re-screen: for a computed measure, what it is computed from; each once,
// in the order of the protocol. They name measures and not findings.
func (c *Clinic) Takings(d *score.Due) []Taking {
	p, trials := c.Protocol(), map[string]int{}
	var read func(id string, n int)
	read = func(id string, n int) {
		m := p.Measure(id)
		switch {
		case m == nil:
		case m.Derived == nil:
			trials[id] = max(trials[id], n)
		default:
			for _, parts := range []map[string]float64{m.Derived.Sum, m.Derived.Per} {
				for part := range parts {
					read(part, n)
				}
			}
		}
	}
	for i := range d.Measures {
		read(d.Measures[i].Measure, d.Measures[i].Trials)
	}
	out := []Taking{}
	for i := range p.Measures {
		if n := trials[p.Measures[i].ID]; n > 0 {
			out = append(out, Taking{p.Measures[i].ID, p.Measures[i].Name, n})
		}
	}
	return out
}

func (c *Clinic) takingWords(d *score.Due) string {
	var out []string
	for _, x := range c.Takings(d) {
		out = append(out, fmt.Sprintf("%s, %d on each side", x.Name, x.Trials))
	}
	return strings.Join(out, "; ")
}
