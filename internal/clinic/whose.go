package clinic

import (
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// teamOrAll is a team, or all of them if none is named.
func teamOrAll(team string) gate.About {
	if team == "" {
		return gate.Programme()
	}
	return gate.Team(team)
}

// athleteToPut is an athlete who is made for a team, or changed, in the name of a team or of none. Only
// who may do it in every team makes one who is in none.
func athleteToPut(id, team string, ifRevision int) gate.About {
	switch {
	case team != "":
		return gate.All(gate.Made("athlete", id, team), gate.KnownAthlete(id))
	case ifRevision != 0:
		return gate.Athlete(id)
	}
	return gate.All(gate.KnownAthlete(id), gate.Programme())
}

// eventToWithdraw is an event. Whoever takes an injury back lifts the hold that came with it, which is
// for those who may clear.
func eventToWithdraw(id string) gate.About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		out, err := gate.Event(id)(tx, today)
		if err != nil {
			return out, err
		}
		e, err := tx.Event(id)
		if e.Kind == screen.EventInjury {
			out[0].Needs = access.Clear
		}
		return out, err
	}
}

// symptomToWithdraw is a symptom; that of a referral sign lifts a hold, as above.
func (c *Clinic) symptomToWithdraw(id string) gate.About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		out, err := gate.Symptom(id)(tx, today)
		if err != nil {
			return out, err
		}
		s, err := tx.Symptom(id)
		if c.refers(s.Symptom) {
			out[0].Needs = access.Clear
		}
		return out, err
	}
}

// looksAfter reports whether who may do a with an athlete: as one of the people of the athlete's teams.
func (c *Clinic) looksAfter(tx *store.Tx, who *Person, a access.Action, athlete string) (bool, error) {
	teams, err := tx.TeamsOf(athlete, c.Today())
	return err == nil && who.May(a, &access.Subject{Teams: teams}), err
}

// lookedAfter leaves of a team's athletes those whom its people look after: who left for another team
// is now that team's. Those who may do a with every team see everybody.
func (c *Clinic) lookedAfter(tx *store.Tx, who Person, a access.Action, team string, list []screen.Athlete) ([]screen.Athlete, error) {
	if who.May(a, &access.Subject{Every: true}) {
		return list, nil
	}
	var failed error
	list = slices.DeleteFunc(list, func(x screen.Athlete) bool {
		teams, err := tx.TeamsOf(x.ID, c.Today())
		if err != nil {
			failed = err
		}
		return !slices.Contains(teams, team)
	})
	return list, failed
}

// ofTeamOr reports whether an athlete may be found by somebody who enters a roster, a file or a late
// comer for a team: a member of the team, or one whom who looks after elsewhere. To find anybody else
// by name and birth date would let people into records of other teams.
func (c *Clinic) ofTeamOr(tx *store.Tx, who *Person, team, athlete string) (bool, error) {
	is, err := tx.IsMember(team, athlete)
	if err != nil || is {
		return is, err
	}
	return c.looksAfter(tx, who, access.ManageRoster, athlete)
}

// knownAthlete is the athlete with an id, if who may find her or him for the team. Returns NotFound.
func (c *Clinic) knownAthlete(tx *store.Tx, who Person, team, id string) (screen.Athlete, error) {
	a, err := tx.Athlete(id)
	if err != nil {
		return a, err
	}
	may, err := c.ofTeamOr(tx, &who, team, id)
	if err == nil && !may {
		return screen.Athlete{}, &screen.Problem{Code: screen.NotFound, Text: "there is no such athlete"}
	}
	return a, err
}

// namesakes are the athletes with a name and birth date whom who may find for the team.
func (c *Clinic) namesakes(tx *store.Tx, who Person, team, name string, born screen.Date) ([]screen.Athlete, error) {
	list, err := tx.FindAthlete(name, born)
	if err != nil {
		return nil, err
	}
	var failed error
	list = slices.DeleteFunc(list, func(a screen.Athlete) bool {
		may, err := c.ofTeamOr(tx, &who, team, a.ID)
		if err != nil {
			failed = err
		}
		return !may
	})
	return list, failed
}

// join makes an athlete a member of the team, unless that is so or no team is named. An athlete of
// another team joins only by those who look after her or him there. Returns Conflict.
func (c *Clinic) join(tx *store.Tx, who Person, team, athlete string) error {
	if team == "" {
		return nil
	}
	if _, err := tx.Team(team); err != nil {
		return err
	}
	is, err := tx.IsMember(team, athlete)
	if err != nil || is {
		return err
	}
	if others, err := tx.TeamsOf(athlete, c.Today()); err != nil || len(others) > 0 && !who.May(access.ManageRoster, &access.Subject{Teams: others}) {
		if err == nil {
			err = &screen.Problem{Code: screen.Conflict, Text: "the id of the athlete is taken by another one, which says something else", Want: "give what is new an id of its own"}
		}
		return err
	}
	_, err = tx.PutMembership(screen.Membership{ID: c.newID(), Team: team, Athlete: athlete}, 0)
	return err
}
