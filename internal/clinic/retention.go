package clinic

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// retentionSetting is the name under which Retention is kept.
const retentionSetting = "retention"

// Retention is how long the programme keeps records. Where both rules are set, the later day counts;
// where none is, nothing falls due. Local rules decide what is right.
type Retention struct {
	Years    int `json:"years" doc:"years after the last record of an athlete; 0: not set"`
	UntilAge int `json:"until_age" doc:"at least until the athlete has this age; 0: not set"`
}

// The longest times that can be set. Assumed: longer than any rule that we know of.
const (
	mostRetentionYears = 50
	mostRetentionAge   = 99
)

// Set reports whether anything can fall due.
func (r *Retention) Set() bool { return r.Years > 0 || r.UntilAge > 0 }

// dueOn is the day from which records need not be kept, of somebody born on one day with the last
// record of another; "" if none is set.
func (r *Retention) dueOn(born, last screen.Date) screen.Date {
	if !r.Set() {
		return ""
	}
	due := last
	if r.UntilAge > 0 && born.Valid() {
		due = max(due, addYears(born, r.UntilAge))
	}
	if r.Years > 0 {
		due = max(due, addYears(last, r.Years))
	}
	return due
}

// addYears is the same day some years later; of a 29 February the 1 March.
func addYears(d screen.Date, years int) screen.Date {
	return screen.DateOf(d.Time().AddDate(years, 0, 0))
}

// FallsDue is an athlete whose records need not be kept any more from a day on.
type FallsDue struct {
	Athlete screen.Athlete
	Teams   []string // names of the teams that the athlete is looked after by
	Last    screen.Date
	Due     screen.Date
	Member  bool                 // still on a team's list
	Hold    *store.RetentionHold // why the records are kept all the same
}

// RetentionList is what falls due, by day.
type RetentionList struct {
	Retention
	Today screen.Date
	Due   []FallsDue // by now, held ones included
	Soon  []FallsDue // within a year
	Held  int        // of those due
}

// retentionSoon is how many days ahead RetentionList looks.
const retentionSoon = 366

// RetentionList lists whose records fall due. Nothing is erased by itself.
func (c *Clinic) RetentionList(ctx context.Context, who Person) (out RetentionList, err error) {
	out.Today = c.Today()
	err = c.read(ctx, who, access.Erase, gate.Programme(), func(tx *store.Tx) error {
		if _, err := tx.Setting(retentionSetting, &out.Retention); err != nil || !out.Set() {
			return err
		}
		for p := (Page{Limit: 500}); ; {
			list, next, err := tx.Athletes("", p)
			if err != nil {
				return err
			}
			if err := c.fallDue(tx, list, &out); err != nil {
				return err
			}
			if p.After = next; next == "" {
				break
			}
		}
		return nil
	})
	for _, list := range [][]FallsDue{out.Due, out.Soon} {
		slices.SortFunc(list, func(a, b FallsDue) int {
			return cmp.Or(cmp.Compare(a.Due, b.Due), cmp.Compare(a.Athlete.Name, b.Athlete.Name), cmp.Compare(a.Athlete.ID, b.Athlete.ID))
		})
	}
	return out, err
}

// fallDue adds those of some athletes whose records fall due by now or soon.
func (c *Clinic) fallDue(tx *store.Tx, people []screen.Athlete, out *RetentionList) error {
	ids := make([]string, len(people))
	for i := range people {
		ids[i] = people[i].ID
	}
	last, err := tx.LastDays(ids)
	if err != nil {
		return err
	}
	holds, err := tx.RetentionHolds(ids)
	if err != nil {
		return err
	}
	for i := range people {
		x := FallsDue{Athlete: people[i], Last: lastRecord(&people[i], last[ids[i]])}
		x.Due, x.Member = out.dueOn(x.Athlete.Born, x.Last), last[ids[i]].Member
		if x.Due > out.Today.AddDays(retentionSoon) {
			continue
		}
		if h, ok := holds[ids[i]]; ok {
			x.Hold = &h
		}
		if x.Teams, err = teamNames(tx, ids[i], out.Today); err != nil {
			return err
		}
		if x.Due > out.Today {
			out.Soon = append(out.Soon, x)
			continue
		}
		out.Due = append(out.Due, x)
		if x.Hold != nil {
			out.Held++
		}
	}
	return nil
}

// lastRecord is the day of an athlete's last record; of somebody without any, when the athlete was
// entered or changed last.
func lastRecord(a *screen.Athlete, last store.LastDays) screen.Date {
	if d := last.Newest(); d != "" {
		return d
	}
	return screen.DateOf(a.Changed)
}

func teamNames(tx *store.Tx, athlete string, today screen.Date) (out []string, err error) {
	ids, err := tx.TeamsOf(athlete, today)
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		t, err := tx.Team(id)
		if err != nil {
			return nil, err
		}
		out = append(out, t.Name)
	}
	return out, nil
}

// SetRetention keeps how long the programme keeps records. Returns Faults.
func (c *Clinic) SetRetention(ctx context.Context, who Person, r Retention) error {
	var f screen.Faults
	if r.Years < 0 || r.Years > mostRetentionYears {
		f.Add("years", fmt.Sprintf("whole years up to %d, or nothing", mostRetentionYears), "%d years cannot be set", r.Years)
	}
	if r.UntilAge < 0 || r.UntilAge > mostRetentionAge {
		f.Add("until_age", fmt.Sprintf("an age up to %d, or nothing", mostRetentionAge), "the age of %d cannot be set", r.UntilAge)
	}
	if err := f.Err(); err != nil {
		return err
	}
	return c.write(ctx, who, access.Erase, gate.Programme(), func(tx *store.Tx) error {
		return tx.PutSetting(retentionSetting, r, who.ID)
	})
}

// HoldRetention keeps an athlete's records although they fall due, with the reason, or ends that with
// an empty reason. Returns Faults or NotFound.
func (c *Clinic) HoldRetention(ctx context.Context, who Person, athlete, why string) error {
	why = strings.TrimSpace(why)
	var f screen.Faults
	screen.CheckText(why, screen.MaxNoteLen, "why", &f)
	if err := f.Err(); err != nil {
		return err
	}
	return c.write(ctx, who, access.Erase, aboutErasing(athlete), func(tx *store.Tx) error {
		if _, err := tx.Athlete(athlete); err != nil {
			return err
		}
		return tx.PutRetentionHold(athlete, why, who.ID)
	})
}
