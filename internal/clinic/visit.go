package clinic

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Visit is one athlete measured on one day apart from a screening day: a second reading, a check in the
// season, a rehab visit. The id of its screen stands for the visit. Readings and symptoms may come
// without ids: they are derived from it, so that the same visit sent twice is one.
type Visit struct {
	Screen   screen.Screen
	Readings []Entry
	Symptoms []screen.Symptom
}

// SavedVisit is a visit on record.
type SavedVisit struct {
	Saved
	Screen string `json:"screen"`
}

// SaveVisit keeps a visit, all of it or nothing: its screen, and at least one reading or symptom. Sent
// twice it adds nothing. Returns Faults with their places ("on", "readings[0].trials[1]"), NotFound,
// Invalid if the athlete does not belong to the team, or Conflict if the visit is on record with another
// content.
func (c *Clinic) SaveVisit(ctx context.Context, who Person, v Visit) (out SavedVisit, err error) {
	c.complete(&v, who)
	out.Screen = v.Screen.ID
	err = c.write(ctx, who, access.Record, gate.All(gate.Made("screen", v.Screen.ID, v.Screen.Team), gate.Athlete(v.Screen.Athlete)), func(tx *store.Tx) error {
		a, err := tx.Athlete(v.Screen.Athlete)
		if err != nil {
			return err
		}
		readings, faults := c.visitFaults(&a, &v)
		if err := faults.Err(); err != nil {
			return err
		}
		if err := c.putScreen(tx, &v.Screen, 0); err != nil {
			return err
		}
		added, err := tx.PutReadings(v.Screen.ID, readings, c.digits)
		if err != nil {
			return err
		}
		signs, err := tx.PutSymptoms(v.Screen.ID, v.Symptoms)
		if err != nil {
			return err
		}
		out.Added, out.Already = added+signs, len(readings)+len(v.Symptoms)-added-signs
		return c.afterSave(tx, v.Screen.ID, &out.Saved)
	})
	return out, err
}

// CheckVisit finds all that is wrong with a visit of an athlete, and keeps nothing.
func (c *Clinic) CheckVisit(a *screen.Athlete, v Visit) screen.Faults {
	c.complete(&v, Person{})
	_, faults := c.visitFaults(a, &v)
	return faults
}

// complete fills in what follows from the screen; the lists that were given are not changed.
func (c *Clinic) complete(v *Visit, who Person) {
	if v.Screen.ID == "" {
		v.Screen.ID = c.newID()
	}
	if v.Screen.Protocol == "" {
		v.Screen.Protocol = c.Protocol().NameAndVersion()
	}
	v.Readings, v.Symptoms = slices.Clone(v.Readings), slices.Clone(v.Symptoms)
	times := map[[2]string]int{}
	for i := range v.Readings {
		r := &v.Readings[i]
		cell := [2]string{r.Measure, string(r.Side)}
		times[cell]++
		if r.ID == "" {
			r.ID = visitPart(v.Screen.ID, "reading", r.Measure, string(r.Side), strconv.Itoa(times[cell]))
		}
		if r.Examiner == "" {
			r.Examiner = v.Screen.Examiner
		}
		r.Screen, r.EnteredBy = v.Screen.ID, who.ID
	}
	for i := range v.Symptoms {
		s := &v.Symptoms[i]
		if s.ID == "" {
			s.ID = visitPart(v.Screen.ID, "symptom", s.Symptom)
		}
		s.Screen = v.Screen.ID
	}
}

// visitPart is the id of a part of a visit, the same one every time.
func visitPart(parts ...string) string {
	return uuid.NewSHA1(namespace, []byte("visit\x00"+strings.Join(parts, "\x00"))).String()
}

// visitFaults gives the readings with the protocol's signs, or what is wrong.
func (c *Clinic) visitFaults(a *screen.Athlete, v *Visit) (readings []screen.Reading, f screen.Faults) {
	// A screen may be dated a day ahead, for tablets; a visit is typed in where the clinic is.
	f = screen.CheckScreen(&v.Screen, a, c.Today().AddDays(-1), "")
	if len(v.Readings)+len(v.Symptoms) == 0 {
		f.Add("readings", "at least one value, or a symptom", "nothing was entered")
	}
	if len(v.Readings) > 0 {
		var err error
		var bad screen.Faults
		if readings, err = c.checkEntries(v.Screen.ID, v.Readings); errors.As(err, &bad) {
			f = append(f, bad...)
		}
	}
	for i := range v.Symptoms {
		f = append(f, c.Protocol().CheckSymptom(&v.Symptoms[i], fmt.Sprintf("symptoms[%d]", i))...)
	}
	return readings, f
}

// VisitPlan is what is known before a visit is entered.
type VisitPlan struct {
	CourseView
	Teams   []screen.Team // those that a visit can be entered for, the proposed one first
	Kind    screen.Kind   // as proposed
	Takings []Taking      // what the course asks for; empty if nothing is followed
	Last    map[VisitCell]LastRead
}

// VisitCell is a measure on a side.
type VisitCell struct {
	Measure string
	Side    screen.Side
}

// LastRead is what was read at the newest visit at which there was a reading that stands.
type LastRead struct {
	On       screen.Date
	Readings []screen.Reading
}

// PlanVisit is what a visit of an athlete begins with. Returns NotFound.
func (c *Clinic) PlanVisit(ctx context.Context, who Person, athlete string) (out VisitPlan, err error) {
	if out.CourseView, err = c.Course(ctx, who, athlete); err != nil {
		return out, err
	}
	out.Kind, out.Takings = visitKind(out.Course), []Taking{}
	if out.Due != nil {
		out.Takings = c.Takings(out.Due)
	}
	err = c.read(ctx, who, access.SeeRecords, gate.Athlete(athlete), func(tx *store.Tx) error {
		if out.Teams, err = c.teamsOf(tx, athlete, out.Team.ID); err != nil {
			return err
		}
		ids, err := tx.AthleteScreenIDs(athlete)
		if err != nil {
			return err
		}
		records, err := tx.Records(ids)
		out.Last = lastReads(records)
		return err
	})
	return out, err
}

// visitKind proposes a rehab visit after one, and while an injury stands without a clearance; the first
// screen of all is proposed as preseason, which a baseline has to be.
func visitKind(course *score.Course) screen.Kind {
	injured, cleared := lastOf(course.Events)
	n := len(course.Visits)
	switch {
	case n > 0 && course.Visits[n-1].Kind == screen.Rehab, injured != "" && cleared < injured:
		return screen.Rehab
	case n == 0:
		return screen.Preseason
	}
	return screen.InSeason
}

// lastReads are the newest readings of each cell.
func lastReads(records []*screen.Record) map[VisitCell]LastRead {
	out := map[VisitCell]LastRead{}
	for _, rec := range slices.Backward(screen.Occasions(records)) {
		for _, r := range rec.Current() {
			cell := VisitCell{r.Measure, r.Side}
			last, known := out[cell]
			if known && last.On != rec.Screen.On {
				continue
			}
			out[cell] = LastRead{rec.Screen.On, append(last.Readings, r)}
		}
	}
	return out
}

// membership is a team with how an athlete belongs to it.
type membership struct {
	team screen.Team
	now  bool // a member today
	from screen.Date
}

// teamsOf are the teams that an athlete belongs to or ever did: those of today first, of these the one
// joined last; where that does not decide, the team of the newest screen, then by name.
func (c *Clinic) teamsOf(tx *store.Tx, athlete, newest string) ([]screen.Team, error) {
	var list []membership
	for p := (Page{Limit: 500}); ; {
		teams, next, err := tx.Teams(p)
		if err != nil {
			return nil, err
		}
		for i := range teams {
			m, is, err := c.membershipOf(tx, &teams[i], athlete)
			if err != nil {
				return nil, err
			}
			if is {
				list = append(list, m)
			}
		}
		if p.After = next; next == "" {
			break
		}
	}
	first := func(x, y bool) int { // true before false
		switch {
		case x == y:
			return 0
		case x:
			return -1
		}
		return 1
	}
	slices.SortStableFunc(list, func(a, b membership) int {
		return cmp.Or(first(a.now, b.now), cmp.Compare(b.from, a.from), first(a.team.ID == newest, b.team.ID == newest), cmp.Compare(a.team.Name, b.team.Name))
	})
	out := make([]screen.Team, len(list))
	for i := range list {
		out[i] = list[i].team
	}
	return out, nil
}

func (c *Clinic) membershipOf(tx *store.Tx, t *screen.Team, athlete string) (out membership, is bool, err error) {
	if is, err = tx.IsMember(t.ID, athlete); err != nil || !is {
		return out, false, err
	}
	members, err := tx.Members(t.ID)
	out.team = *t
	for _, m := range members {
		if m.Athlete == athlete {
			out.from, out.now = max(out.from, m.From), out.now || m.To == "" || m.To >= c.Today()
		}
	}
	return out, true, err
}
