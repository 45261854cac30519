package clinic

import (
	"context"
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// PlanDay is a new screening day for a team as the protocol proposes it, with ids and station codes;
// it is not on record yet. Returns NotFound.
func (c *Clinic) PlanDay(ctx context.Context, who Person, team string) (out screen.Day, err error) {
	err = c.read(ctx, who, access.ManageDays, gate.Team(team), func(tx *store.Tx) error {
		_, err := tx.Team(team)
		return err
	})
	if err != nil {
		return out, err
	}
	out = c.Protocol().NewDay()
	out.ID, out.Team, out.On = c.newID(), team, c.Today()
	c.giveCodes(&out)
	return out, nil
}

// giveCodes gives a code to each station that has none: eight letters and digits of an alphabet without
// look-alikes, 40 bits, so that a link cannot be guessed and can still be typed.
func (c *Clinic) giveCodes(d *screen.Day) {
	for i := range d.Stations {
		if d.Stations[i].Code == "" {
			d.Stations[i].Code = letters(c.newID(), 8)
		}
	}
}

var codeAlphabet = base32.NewEncoding("ABCDEFGHJKMNPQRSTUVWXYZ23456789_").WithPadding(base32.NoPadding)

// letters is n capital letters and digits, none of which looks like another, that belong to a text.
func letters(of string, n int) string {
	sum := sha256.Sum256([]byte(of))
	return strings.ReplaceAll(codeAlphabet.EncodeToString(sum[:]), "_", "4")[:n]
}

// PutDay creates a screening day (ifRevision 0) or changes the one at that revision. A new day's list
// is the team's members on that date, numbered by name. twice names athletes who are measured twice
// besides every nth; nil leaves those of an existing day as they are. Stations without a code get one.
// Returns Faults, Conflict, NotFound, Stale or Invalid.
func (c *Clinic) PutDay(ctx context.Context, who Person, d screen.Day, twice []string, ifRevision int) (screen.Day, error) {
	d.Stations = slices.Clone(d.Stations)
	c.giveCodes(&d)
	if err := c.Protocol().CheckDay(&d, "").Err(); err != nil {
		return d, err
	}
	err := c.write(ctx, who, access.ManageDays, gate.All(gate.If(ifRevision != 0, gate.Day(d.ID)), gate.Made("day", d.ID, d.Team)), func(tx *store.Tx) error {
		if _, err := tx.Team(d.Team); err != nil {
			return err
		}
		if ifRevision != 0 {
			old, err := tx.Day(d.ID)
			if err != nil {
				return err
			}
			d.Closed = old.Closed
		} else if err := onlyDay(tx, &d); err != nil {
			return err
		}
		if _, err := tx.PutDay(&d, ifRevision); err != nil {
			return err
		}
		if err := c.listFor(tx, &d, twice); err != nil {
			return err
		}
		on, err := tx.Day(d.ID)
		d = on
		return err
	})
	if err == nil {
		c.watch.tell(d.ID)
	}
	return d, err
}

// RenewStation gives a station of a day a new code: its link and what was made of it, on paper or on a
// device, lead nowhere from then on. Returns NotFound or Stale.
func (c *Clinic) RenewStation(ctx context.Context, who Person, day, code string, ifRevision int) (out screen.Day, err error) {
	err = c.write(ctx, who, access.ManageDays, gate.Day(day), func(tx *store.Tx) error {
		if out, err = tx.Day(day); err != nil {
			return err
		}
		at := slices.IndexFunc(out.Stations, func(s screen.Station) bool { return s.Code == code })
		if at < 0 {
			return &screen.Problem{Code: screen.NotFound, Text: "there is no such station"}
		}
		out.Stations = slices.Clone(out.Stations)
		out.Stations[at].Code = ""
		c.giveCodes(&out)
		if _, err := tx.PutDay(&out, ifRevision); err != nil {
			return err
		}
		return tx.DropStation(code)
	})
	if err == nil {
		c.watch.tell(day)
	}
	return out, err
}

// onlyDay refuses a second day of a team on one date: an athlete has one screen of it.
func onlyDay(tx *store.Tx, d *screen.Day) error {
	days, err := tx.DaysOn(d.On)
	if err != nil {
		return err
	}
	for i := range days {
		if days[i].Team == d.Team && days[i].ID != d.ID {
			return screen.Faults{{Where: "on", Problem: "the team has a screening day on this date already", Want: "open that day and change it, or choose another date"}}
		}
	}
	return nil
}

// listFor makes the list of a new day, or says anew who is measured twice.
func (c *Clinic) listFor(tx *store.Tx, d *screen.Day, twice []string) error {
	list, err := tx.Participants(d.ID)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		if list, err = c.newList(tx, d); err != nil {
			return err
		}
	} else if twice == nil {
		return nil
	}
	for i := range list {
		list[i].Twice = nth(d, list[i].Number) || slices.Contains(twice, list[i].Athlete)
	}
	_, err = tx.PutParticipants(d.ID, list)
	return err
}

func nth(d *screen.Day, number int) bool { return d.Every > 0 && number%d.Every == 0 }

func (c *Clinic) newList(tx *store.Tx, d *screen.Day) ([]screen.Participant, error) {
	members, err := tx.LatestScreens(d.Team, d.On)
	if err != nil {
		return nil, err
	}
	if len(members) > screen.MaxParticipants {
		return nil, invalid(fmt.Sprintf("at most %d: divide the team", screen.MaxParticipants), "the team has %d members", len(members))
	}
	list := make([]screen.Participant, len(members))
	for i := range members {
		list[i] = c.participant(d, members[i].Athlete, i+1)
		if list[i].Screen, err = c.screenOn(tx, d, &list[i]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// screenOn is the id of the screen that the day's entries go to: what is on record of that date already
// belongs to it, otherwise it is a new one.
func (c *Clinic) screenOn(tx *store.Tx, d *screen.Day, p *screen.Participant) (string, error) {
	list, _, err := tx.AthleteScreens(p.Athlete, Page{Limit: 200})
	if err != nil {
		return "", err
	}
	for i := range list {
		if list[i].On == d.On && list[i].Team == d.Team {
			return list[i].ID, nil
		}
	}
	return p.Screen, nil
}

// participant is a place on the list with a sheet code and the id of a screen to come.
func (c *Clinic) participant(d *screen.Day, athlete string, number int) screen.Participant {
	return screen.Participant{Day: d.ID, Athlete: athlete, Number: number, Screen: c.newID(),
		Code: fmt.Sprintf("%d-%s", number, letters(d.ID+athlete, 3)), Twice: nth(d, number)}
}

// Day is a screening day with its list. Returns NotFound.
func (c *Clinic) Day(ctx context.Context, who Person, id string) (out DayView, err error) {
	err = c.read(ctx, who, access.ManageDays, gate.Day(id), func(tx *store.Tx) error {
		out, err = c.dayView(tx, id)
		return err
	})
	return out, err
}

func (c *Clinic) dayView(tx *store.Tx, id string) (DayView, error) {
	return c.viewOf(tx, id, nil)
}

// viewOf is a day with its list, or with those of the list who are wanted.
func (c *Clinic) viewOf(tx *store.Tx, id string, wanted func(athlete string) bool) (out DayView, err error) {
	if out.Day, err = tx.Day(id); err != nil {
		return out, err
	}
	if out.Team, err = tx.Team(out.Day.Team); err != nil {
		return out, err
	}
	list, err := tx.Participants(id)
	if err != nil {
		return out, err
	}
	var people map[string]screen.Athlete
	if wanted != nil {
		list = slices.DeleteFunc(list, func(p screen.Participant) bool { return !wanted(p.Athlete) })
	} else if people, err = athletesOf(tx, out.Day.Team); err != nil {
		return out, err
	}
	listed := make(map[string]bool, len(list))
	for _, p := range list {
		listed[p.Athlete] = true
		a, ok := people[p.Athlete]
		if !ok {
			if a, err = tx.Athlete(p.Athlete); err != nil {
				return out, err
			}
		}
		out.Athletes = append(out.Athletes, DayAthlete{Participant: p, Person: a, Hand: a.HandOn(out.Day.On), Throws: c.throws(&a)})
	}
	if wanted != nil {
		return out, nil
	}
	members, err := tx.LatestScreens(out.Day.Team, out.Day.On)
	for _, m := range members {
		if a, ok := people[m.Athlete]; ok && !listed[m.Athlete] {
			out.Unlisted = append(out.Unlisted, a)
		}
	}
	return out, err
}

// throws says whether in the athlete's sport one arm throws.
func (c *Clinic) throws(a *screen.Athlete) bool {
	s := c.Protocol().Sport(a.Sport)
	return s != nil && s.Throws
}

// athletesOf are all who belong to a team or ever did, by id.
func athletesOf(tx *store.Tx, team string) (map[string]screen.Athlete, error) {
	out := map[string]screen.Athlete{}
	p := Page{Limit: 500}
	for {
		list, next, err := tx.Athletes(team, p)
		if err != nil {
			return nil, err
		}
		for i := range list {
			out[list[i].ID] = list[i]
		}
		if next == "" {
			return out, nil
		}
		p.After = next
	}
}

// Days is a page of a team's screening days, the newest first.
func (c *Clinic) Days(ctx context.Context, who Person, team string, p Page) (out []screen.Day, next string, err error) {
	err = c.read(ctx, who, access.ManageDays, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		out, next, err = tx.TeamDays(team, p)
		return err
	})
	return out, next, err
}

// OpenDays lists the days that are dated today and not closed, of the teams whose days who manages.
func (c *Clinic) OpenDays(ctx context.Context, who Person) (out []DayRef, err error) {
	err = c.readAny(ctx, who, access.ManageDays, func(tx *store.Tx, may func(string) bool) error {
		days, err := tx.DaysOn(c.Today())
		if err != nil {
			return err
		}
		for _, d := range days {
			if !d.Closed.IsZero() || !may(d.Team) {
				continue
			}
			t, err := tx.Team(d.Team)
			if err != nil {
				return err
			}
			list, err := tx.Participants(d.ID)
			if err != nil {
				return err
			}
			out = append(out, DayRef{Day: d, TeamName: t.Name, Listed: len(list)})
		}
		return nil
	})
	return out, err
}

// CloseDay closes a day, or opens it again. Entries that come in for a closed day are taken and marked
// late. With every closing what is usual in the squad is worked out and kept; the scores of the day rest
// on it from then on. Returns NotFound or Stale.
func (c *Clinic) CloseDay(ctx context.Context, who Person, id string, closed bool, ifRevision int) (out screen.Day, err error) {
	err = c.write(ctx, who, access.ManageDays, gate.Day(id), func(tx *store.Tx) error {
		if out, err = tx.Day(id); err != nil || out.Closed.IsZero() != closed {
			return err
		}
		out.Closed = time.Time{}
		if closed {
			out.Closed = c.now().UTC()
		}
		if _, err = tx.PutDay(&out, ifRevision); err != nil || !closed {
			return err
		}
		return c.squadOfDay(tx, who, &out)
	})
	if err == nil {
		c.watch.tell(id)
	}
	return out, err
}
