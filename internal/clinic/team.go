package clinic

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Teams is a page of the teams that who has something to do with by name, and the mark of the next page.
func (c *Clinic) Teams(ctx context.Context, who Person, p Page) (out []screen.Team, next string, err error) {
	if p.Limit <= 0 {
		p.Limit = 50
	}
	err = c.readAny(ctx, who, access.SeeTeam, func(tx *store.Tx, may func(string) bool) error {
		for next = p.After; ; {
			list, more, err := tx.Teams(Page{After: next, Limit: p.Limit - len(out)})
			if err != nil {
				return err
			}
			for i := range list {
				if may(list[i].ID) {
					out = append(out, list[i])
				}
			}
			if next = more; next == "" || len(out) >= p.Limit {
				return nil
			}
		}
	})
	return out, next, err
}

// Team is one team. Returns NotFound.
func (c *Clinic) Team(ctx context.Context, who Person, id string) (out screen.Team, err error) {
	err = c.read(ctx, who, access.SeeTeam, gate.Team(id), func(tx *store.Tx) error {
		out, err = tx.Team(id)
		return err
	})
	return out, err
}

// PutTeam creates a team (ifRevision 0) or changes the one at that revision. Returns Faults, Conflict,
// NotFound or Stale.
func (c *Clinic) PutTeam(ctx context.Context, who Person, t screen.Team, ifRevision int) (screen.Team, error) {
	if err := c.checkTeam(&t).Err(); err != nil {
		return t, err
	}
	what, about := access.ManageTeam, gate.Team(t.ID)
	if ifRevision == 0 {
		what, about = access.Operate, gate.Programme()
	}
	err := c.write(ctx, who, what, about, func(tx *store.Tx) error {
		_, err := tx.PutTeam(&t, ifRevision)
		return err
	})
	return t, err
}

func (c *Clinic) checkTeam(t *screen.Team) screen.Faults {
	var f screen.Faults
	screen.CheckID(t.ID, "id", &f)
	if strings.TrimSpace(t.Name) == "" {
		f.Add("name", "the name of the team", "the name is missing")
	}
	screen.CheckText(t.Name, screen.MaxNameLen, "name", &f)
	if c.Protocol().Sport(t.Sport) == nil {
		f.Add("sport", "one of: "+strings.Join(c.Protocol().SportIDs(), ", "), "unknown sport %q", t.Sport)
	}
	return f
}

// Seasons lists the seasons of a team, the first one first.
func (c *Clinic) Seasons(ctx context.Context, who Person, team string) (out []screen.Season, err error) {
	err = c.read(ctx, who, access.SeeTeam, gate.Team(team), func(tx *store.Tx) error {
		if _, err = tx.Team(team); err != nil {
			return err
		}
		out, err = tx.Seasons(team)
		return err
	})
	return out, err
}

// PutSeason creates a season (ifTeamRevision 0), or writes it if the team is at that revision.
func (c *Clinic) PutSeason(ctx context.Context, who Person, s screen.Season, ifTeamRevision int) error {
	var f screen.Faults
	screen.CheckID(s.ID, "id", &f)
	if strings.TrimSpace(s.Name) == "" {
		f.Add("name", "the name of the season", "the name is missing")
	}
	screen.CheckText(s.Name, screen.MaxNameLen, "name", &f)
	checkSpan(s.From, s.To, true, &f)
	if err := f.Err(); err != nil {
		return err
	}
	return c.write(ctx, who, access.ManageTeam, gate.Team(s.Team), func(tx *store.Tx) error {
		if _, err := tx.Team(s.Team); err != nil {
			return err
		}
		_, err := tx.PutSeason(s, ifTeamRevision)
		return err
	})
}

func checkSpan(from, to screen.Date, required bool, f *screen.Faults) {
	for i, d := range []screen.Date{from, to} {
		field := [...]string{"from", "to"}[i]
		if (d != "" || required) && !d.Valid() {
			f.Add(field, "a day such as 2026-02-10", "%q is not a day", string(d))
		}
	}
	if from.Valid() && to.Valid() && to < from {
		f.Add("to", "a day on or after "+string(from), "it ends on %s, before it begins", to)
	}
}

// Members lists the memberships of a team, by the athlete's name.
func (c *Clinic) Members(ctx context.Context, who Person, team string) (out []screen.Membership, err error) {
	err = c.read(ctx, who, access.SeeRoster, gate.Team(team), func(tx *store.Tx) error {
		if _, err = tx.Team(team); err != nil {
			return err
		}
		out, err = tx.Members(team)
		return err
	})
	return out, err
}

// PutMembership lets an athlete join a team, or changes a membership if the team is at ifTeamRevision.
func (c *Clinic) PutMembership(ctx context.Context, who Person, m screen.Membership, ifTeamRevision int) error {
	var f screen.Faults
	screen.CheckID(m.ID, "id", &f)
	checkSpan(m.From, m.To, false, &f)
	if err := f.Err(); err != nil {
		return err
	}
	return c.write(ctx, who, access.ManageRoster, gate.All(gate.Team(m.Team), gate.KnownAthlete(m.Athlete)), func(tx *store.Tx) error {
		if err := seasonOf(tx, m.Team, m.Season); err != nil {
			return err
		}
		if _, err := tx.Athlete(m.Athlete); err != nil { // as the gate says of an athlete of another team
			return err
		}
		_, err := tx.PutMembership(m, ifTeamRevision)
		return err
	})
}

// seasonOf refuses a season that is not one of the team's.
func seasonOf(tx *store.Tx, team, season string) error {
	if season == "" {
		return nil
	}
	list, err := tx.Seasons(team)
	if err != nil || slices.ContainsFunc(list, func(s screen.Season) bool { return s.ID == season }) {
		return err
	}
	return invalid("enter the season first", "the team has no such season")
}

// Athletes is a page of a team's athletes by name, or of all athletes if team is empty.
func (c *Clinic) Athletes(ctx context.Context, who Person, team string, p Page) (out []screen.Athlete, next string, err error) {
	err = c.read(ctx, who, access.SeeRoster, teamOrAll(team), func(tx *store.Tx) error {
		if team != "" {
			if _, err = tx.Team(team); err != nil {
				return err
			}
		}
		if out, next, err = tx.Athletes(team, p); err != nil {
			return err
		}
		out, err = c.lookedAfter(tx, who, access.SeeRoster, team, out)
		return err
	})
	return out, next, err
}

// Athlete is one athlete. Returns NotFound.
func (c *Clinic) Athlete(ctx context.Context, who Person, id string) (out screen.Athlete, err error) {
	err = c.read(ctx, who, access.SeeRoster, gate.Athlete(id), func(tx *store.Tx) error {
		out, err = tx.Athlete(id)
		return err
	})
	return out, err
}

// PutAthlete creates an athlete (ifRevision 0), a member of the team if one is named, or changes the
// one at that revision. Returns Faults, Conflict, NotFound or Stale.
func (c *Clinic) PutAthlete(ctx context.Context, who Person, a screen.Athlete, team string, ifRevision int) (screen.Athlete, error) {
	if err := c.Protocol().CheckAthlete(&a, c.Today(), "").Err(); err != nil {
		return a, err
	}
	err := c.write(ctx, who, access.ManageRoster, athleteToPut(a.ID, team, ifRevision), func(tx *store.Tx) error {
		if _, err := tx.PutAthlete(&a, ifRevision); err != nil {
			return err
		}
		return c.join(tx, who, team, a.ID)
	})
	return a, err
}

func invalid(want, text string, args ...any) error {
	return &screen.Problem{Code: screen.Invalid, Text: fmt.Sprintf(text, args...), Want: want}
}
