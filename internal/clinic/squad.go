package clinic

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// SquadPriorView is what was usual in a team's athletes on one day, as it was kept.
type SquadPriorView struct {
	ID      string
	On      screen.Date
	Made    time.Time
	By      string // id of who closed the day or worked it out
	Current bool   // made by the protocol in use: scores rest on it
	Prior   *score.SquadPrior
}

// SquadPriors are what was usual in a team on each of its days, as worked out last, the newest day
// first. Do not modify the priors: they are shared. Returns NotFound.
func (c *Clinic) SquadPriors(ctx context.Context, who Person, team string) (out []SquadPriorView, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		kept, err := tx.KeptPriors(team)
		if err != nil {
			return err
		}
		for i := range kept {
			v, err := c.squadView(tx, &kept[i])
			if err != nil {
				return err
			}
			out = append(out, v)
		}
		return nil
	})
	return out, err
}

func (c *Clinic) squadView(tx *store.Tx, k *screen.KeptPrior) (SquadPriorView, error) {
	p, err := c.prior(tx, k.ID)
	return SquadPriorView{ID: k.ID, On: k.On, Made: k.Made, By: k.By, Current: k.Hash == c.Protocol().Hash, Prior: p}, err
}

// SquadDate is a date on which enough athletes of a team were screened before the season.
type SquadDate struct {
	On       screen.Date
	Athletes int
}

// squadFrom is from how many athletes with a preseason screen on a date it is offered for a squad's
// figures; on fewer no measure reaches the number that is asked for.
const squadFrom = 5

// SquadDates are the dates for which a team's figures can be worked out: those with five athletes or more
// who have a preseason screen, newest first. Returns NotFound.
func (c *Clinic) SquadDates(ctx context.Context, who Person, team string) (out []SquadDate, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		athletes := map[screen.Date]map[string]bool{}
		p := Page{Limit: 500}
		for {
			list, next, err := tx.TeamScreens(team, p)
			if err != nil {
				return err
			}
			for i := range list {
				x := &list[i]
				if athletes[x.On] == nil {
					athletes[x.On] = map[string]bool{}
				}
				athletes[x.On][x.Athlete] = athletes[x.On][x.Athlete] || x.Kind == screen.Preseason
			}
			if next == "" {
				break
			}
			p.After = next
		}
		out = datesWith(athletes, squadFrom)
		return nil
	})
	return out, err
}

func datesWith(athletes map[screen.Date]map[string]bool, least int) (out []SquadDate) {
	for on, who := range athletes {
		d := SquadDate{On: on}
		for _, yes := range who {
			if yes {
				d.Athletes++
			}
		}
		if d.Athletes >= least {
			out = append(out, d)
		}
	}
	slices.SortFunc(out, func(a, b SquadDate) int { return strings.Compare(string(b.On), string(a.On)) })
	return out
}

// WorkOutSquad works out what was usual in a team on a date and keeps it; scores of that date, and of
// later visits, rest on it from then on. For a date with a closed screening day it counts the day's list,
// else the preseason screens of exactly that date. Returns Faults if the date is in the future, without
// screens, or its screening day is still open; NotFound.
func (c *Clinic) WorkOutSquad(ctx context.Context, who Person, team string, on screen.Date) (out SquadPriorView, err error) {
	var f screen.Faults
	switch {
	case !on.Valid():
		f.Add("on", "a day such as 2026-02-10", "%q is not a day", string(on))
	case on > c.Today():
		f.Add("on", "a day up to today, "+string(c.Today()), "%s is in the future", on)
	}
	if err := f.Err(); err != nil {
		return out, err
	}
	err = c.write(ctx, who, access.ManageMethod, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		day, records, err := c.squadRecords(tx, team, on)
		switch {
		case err != nil:
			return err
		case day != nil && day.Closed.IsZero():
			f.Add("on", "close the day: that works it out", "the screening day of %s is still open", on)
		case len(records) == 0 && day != nil:
			f.Add("on", "a day on which the team was screened", "nothing was measured on the screening day of %s", on)
		case len(records) == 0:
			f.Add("on", "a day on which the team was screened", "there is no preseason screen of this team on %s", on)
		}
		if err := f.Err(); err != nil {
			return err
		}
		kept, err := c.keepSquad(tx, who, team, on, records)
		if err != nil {
			return err
		}
		out, err = c.squadView(tx, &kept)
		return err
	})
	return out, err
}

// keepSquad works out what is usual from records of one date and keeps it.
func (c *Clinic) keepSquad(tx *store.Tx, who Person, team string, on screen.Date, records []*screen.Record) (kept screen.KeptPrior, err error) {
	by, err := c.scoring(tx, team)
	if err != nil {
		return kept, err
	}
	out, err := c.notCounted(tx, records, on)
	if err != nil {
		return kept, err
	}
	prior := by.SquadPrior(team, on, records, score.Options{Heaped: by.heaped}, out)
	body, err := json.Marshal(prior)
	if err != nil {
		return kept, fmt.Errorf("clinic: write what is usual in a squad: %w", err)
	}
	kept = screen.KeptPrior{ID: c.newID(), Team: team, On: on, Protocol: prior.Protocol, Hash: prior.Hash, Made: c.now().UTC(), By: who.ID, Body: body}
	_, err = tx.PutKeptPrior(kept)
	return kept, err
}

// squadOfDay keeps what is usual on a screening day that is being closed. Of a day without any record
// there is nothing to keep.
func (c *Clinic) squadOfDay(tx *store.Tx, who Person, d *screen.Day) error {
	records, err := c.listRecords(tx, d.ID)
	if err != nil || len(records) == 0 {
		return err
	}
	_, err = c.keepSquad(tx, who, d.Team, d.On, records)
	return err
}

// squadRecords are the records that a team's figures of a date are worked out from, one an athlete: of
// its screening day's list, else of the preseason screens of that date. day is nil without a screening
// day.
func (c *Clinic) squadRecords(tx *store.Tx, team string, on screen.Date) (day *screen.Day, out []*screen.Record, err error) {
	days, err := tx.DaysOn(on)
	if err != nil {
		return nil, nil, err
	}
	if i := slices.IndexFunc(days, func(d screen.Day) bool { return d.Team == team }); i >= 0 {
		out, err = c.listRecords(tx, days[i].ID)
		return &days[i], out, err
	}
	ids, err := tx.TeamScreensBetween(team, on, on)
	if err != nil {
		return nil, nil, err
	}
	all, err := tx.Records(ids)
	if err != nil {
		return nil, nil, err
	}
	of := map[string][]*screen.Record{}
	var order []string
	for _, rec := range all {
		if rec.Screen.Kind == screen.Preseason && anyEntry(rec) {
			if of[rec.Athlete.ID] == nil {
				order = append(order, rec.Athlete.ID)
			}
			of[rec.Athlete.ID] = append(of[rec.Athlete.ID], rec)
		}
	}
	for _, id := range order {
		out = append(out, screen.Occasions(of[id])...)
	}
	return nil, out, nil
}

// listRecords are the records of a day's list, in its order.
func (c *Clinic) listRecords(tx *store.Tx, day string) (out []*screen.Record, err error) {
	view, records, err := c.dayRecords(tx, day)
	for i := range view.Athletes {
		if rec := records[view.Athletes[i].Athlete]; rec != nil {
			out = append(out, rec)
		}
	}
	return out, err
}

// SquadMember is one athlete's difference in one measure, plain and drawn towards what is usual.
type SquadMember struct {
	score.SquadEstimate
	Name string
	Out  string // why the athlete is not counted; empty: counted
}

// SquadMembers are the athletes of a kept prior with their differences in a measure as they are on record
// now, by name. Returns NotFound if nothing is kept for that date or there is no such measure.
func (c *Clinic) SquadMembers(ctx context.Context, who Person, team string, on screen.Date, measure string) (out []SquadMember, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		kept, err := tx.KeptPriors(team)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(kept, func(k screen.KeptPrior) bool { return k.On == on })
		if i < 0 || c.Protocol().Measure(measure) == nil {
			return &screen.Problem{Code: screen.NotFound, Text: "there are no such figures of this team", Want: "choose one of the days and measures on the page of what is usual in the squad"}
		}
		prior, err := c.prior(tx, kept[i].ID)
		if err != nil {
			return err
		}
		out, err = c.squadMembers(tx, prior, measure)
		return err
	})
	return out, err
}

func (c *Clinic) squadMembers(tx *store.Tx, prior *score.SquadPrior, measure string) ([]SquadMember, error) {
	_, records, err := c.squadRecords(tx, prior.Team, prior.On)
	if err != nil {
		return nil, err
	}
	by, err := c.scoring(tx, prior.Team)
	if err != nil {
		return nil, err
	}
	names, why := map[string]string{}, map[string]string{}
	for _, rec := range records {
		names[rec.Athlete.ID] = rec.Athlete.Name
	}
	for _, x := range prior.LeftOut {
		why[x.Athlete] = x.Why
	}
	list := by.SquadEstimates(measure, records, score.Options{Heaped: by.heaped, Squad: prior})
	out := make([]SquadMember, len(list))
	for i := range list {
		out[i] = SquadMember{list[i], names[list[i].Athlete], why[list[i].Athlete]}
	}
	slices.SortStableFunc(out, func(a, b SquadMember) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}
