package clinic

import (
	"context"
	"fmt"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// TeamConsents says of a team's members who has which consent today.
type TeamConsents struct {
	Team     screen.Team
	Majority int
	Members  []MemberConsents // by name
	Texts    []string         // versions of the text for screening, the newest first
}

// MemberConsents are the consents of a member that hold today.
type MemberConsents struct {
	Athlete screen.Athlete
	OfAge   bool
	Now     map[screen.Purpose]*screen.Consent // that holds today; nil: none
	Ended   map[screen.Purpose]screen.Date     // where none holds: when the last was withdrawn
}

// Without counts the members without a consent to a purpose.
func (t *TeamConsents) Without(p screen.Purpose) (n int) {
	for i := range t.Members {
		if t.Members[i].Now[p] == nil {
			n++
		}
	}
	return n
}

// TeamConsents says of those who are members of a team today, or will be, who has which consent.
// Returns NotFound.
func (c *Clinic) TeamConsents(ctx context.Context, who Person, team string) (out TeamConsents, err error) {
	err = c.read(ctx, who, access.ManageConsent, gate.Team(team), func(tx *store.Tx) error {
		out, err = c.teamConsents(tx, team)
		return err
	})
	return out, err
}

func (c *Clinic) teamConsents(tx *store.Tx, team string) (out TeamConsents, err error) {
	if out.Team, err = tx.Team(team); err != nil {
		return out, err
	}
	if out.Majority, err = majority(tx); err != nil {
		return out, err
	}
	texts, err := consentTexts(tx, screen.ForScreening)
	if err != nil {
		return out, err
	}
	for i := range texts {
		out.Texts = append(out.Texts, texts[i].Version)
	}
	people, err := c.membersNow(tx, team)
	if err != nil {
		return out, err
	}
	ids := make([]string, len(people))
	for i := range people {
		ids[i] = people[i].ID
	}
	of, err := tx.ConsentsOf(ids)
	for i := range people {
		out.Members = append(out.Members, c.memberConsents(people[i], of[people[i].ID], out.Majority))
	}
	return out, err
}

func (c *Clinic) memberConsents(a screen.Athlete, list []screen.Consent, majority int) MemberConsents {
	today := c.Today()
	m := MemberConsents{Athlete: a, OfAge: a.OfAge(today, majority), Now: map[screen.Purpose]*screen.Consent{}, Ended: map[screen.Purpose]screen.Date{}}
	for _, p := range screen.Purposes() {
		m.Now[p] = screen.ConsentOn(list, p, today)
	}
	for i := range list {
		if x := &list[i]; m.Now[x.Purpose] == nil {
			m.Ended[x.Purpose] = max(m.Ended[x.Purpose], x.WithdrawnOn)
		}
	}
	return m
}

// membersNow are those whose membership of a team is not over, by name.
func (c *Clinic) membersNow(tx *store.Tx, team string) (out []screen.Athlete, err error) {
	members, err := tx.Members(team)
	if err != nil {
		return nil, err
	}
	people, err := athletesOf(tx, team)
	seen := map[string]bool{}
	for _, m := range members {
		if a, ok := people[m.Athlete]; ok && !seen[m.Athlete] && (m.To == "" || m.To >= c.Today()) {
			seen[m.Athlete] = true
			out = append(out, a)
		}
	}
	return out, err
}

// RecordTeamConsents records a consent on paper for each of the athletes given, who belong to the team,
// all or none, and says how many there were; an athlete for whom a consent to a purpose of the same
// day is on record and holds gets no second one. Returns Faults with the place of the athlete in the
// list, or NotFound.
func (c *Clinic) RecordTeamConsents(ctx context.Context, who Person, team string, athletes []string, in ConsentToRecord) (n int, err error) {
	if len(athletes) == 0 {
		return 0, screen.Faults{{Where: "athletes", Problem: "nobody is chosen", Want: "tick the athletes whose consent was given"}}
	}
	if bad := checkGiven(in.On, c.Today()); len(bad) > 0 { // once, not for each of them
		return 0, bad
	}
	in.ID = ""
	var days []string
	err = c.write(ctx, who, access.ManageConsent, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		people, err := c.membersNow(tx, team)
		if err != nil {
			return err
		}
		by := make(map[string]*screen.Athlete, len(people))
		for i := range people {
			by[people[i].ID] = &people[i]
		}
		if n, err = c.recordFor(tx, who, athletes, by, in); err != nil {
			return err
		}
		days, err = c.touchDays(tx, athletes...)
		return err
	})
	c.tellAll(days, err)
	return n, err
}

// checkGiven says what is wrong with a day on which consents were given, whoever gave them.
func checkGiven(on, today screen.Date) screen.Faults {
	var f screen.Faults
	switch {
	case !on.Valid():
		f.Add("on", "a day such as 2026-02-10", "%q is not a day", string(on))
	case on > today:
		f.Add("on", "a day up to today, "+string(today), "%s is in the future", on)
	}
	return f
}

func (c *Clinic) recordFor(tx *store.Tx, who Person, athletes []string, by map[string]*screen.Athlete, in ConsentToRecord) (n int, err error) {
	var f screen.Faults
	for i, id := range athletes {
		where := fmt.Sprintf("athletes[%d]", i)
		a := by[id]
		if a == nil {
			f.Add(where, "a member of the team", "the athlete does not belong to this team")
			continue
		}
		one := in
		if one.Purposes, err = notYet(tx, id, in.Purposes, in.On); err != nil {
			return n, err
		}
		if len(one.Purposes) == 0 && len(in.Purposes) > 0 {
			continue
		}
		added, err := c.recordConsent(tx, who, a, &one, where)
		n += len(added)
		if bad, ok := err.(screen.Faults); ok { //nolint:errorlint // recordConsent gives them plain
			for _, x := range bad {
				x.Problem = a.Name + ": " + x.Problem
				f = append(f, x)
			}
			continue
		}
		if err != nil {
			return n, err
		}
	}
	return n, f.Err()
}

// notYet are the purposes for which no consent of that day is on record and holds.
func notYet(tx *store.Tx, athlete string, purposes []screen.Purpose, on screen.Date) (out []screen.Purpose, err error) {
	list, err := tx.Consents(athlete)
	for _, p := range purposes {
		if x := screen.ConsentOn(list, p, on); x == nil || x.On != on {
			out = append(out, p)
		}
	}
	return out, err
}
