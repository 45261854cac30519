package clinic

import (
	"context"
	"encoding/json"
	"fmt"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// FamilyPage is what an athlete or a guardian sees by a link: the newest handout as it was made, and what
// became of its targets since. It is about one athlete and names nobody else.
type FamilyPage struct {
	Name    string
	Handout *FamilyHandout // nil: none was made yet, and nothing else is shown
	Hold    bool           // a referral sign or an injury, and no clearance since: neither targets nor a date
	Targets []FamilyTarget // at most mostTargets
	More    int            // targets that are not on the page
	Asof    screen.Date    // day of the newest measurement, which the targets rest on
	Next    *FamilyNext    // nil: the trainer says when
	Doctor  []string       // signs that mean: stop throwing, see a licensed clinician
}

// FamilyHandout is a handout as it was made.
type FamilyHandout struct {
	Handout screen.Handout
	Text    HandoutText
}

// FamilyTarget is a value to reach, in plain sentences.
type FamilyTarget struct {
	What string // what is measured, and on which side
	Goal string
	Once bool // the newest measurement alone reached it
}

// FamilyNext is when to measure again.
type FamilyNext struct {
	On      screen.Date
	Overdue bool
}

// FamilyPage is one athlete's own page. Returns NotFound.
func (c *Clinic) FamilyPage(ctx context.Context, who Person, athlete string) (out FamilyPage, err error) {
	err = c.read(ctx, who, access.SeeOwn, gate.Athlete(athlete), func(tx *store.Tx) error {
		a, err := tx.Athlete(athlete)
		if err != nil {
			return err
		}
		out.Name = a.Name
		for i := range c.Protocol().Symptoms {
			if x := &c.Protocol().Symptoms[i]; x.Referral {
				out.Doctor = append(out.Doctor, symptomWords(x))
			}
		}
		h, ok, err := tx.NewestHandout(athlete)
		if err != nil || !ok {
			return err
		}
		out.Handout = &FamilyHandout{Handout: h}
		if err := json.Unmarshal(h.Body, &out.Handout.Text); err != nil {
			return fmt.Errorf("read handout %s: %w", h.ID, err)
		}
		courses, err := c.courses(tx, []string{athlete})
		if err != nil {
			return err
		}
		out.since(c.scorer, courses[athlete])
		return nil
	})
	return out, err
}

// since adds what the course says to whoever has a handout.
func (f *FamilyPage) since(s *score.Scorer, course *score.Course) {
	if course == nil || len(course.Visits) == 0 {
		return
	}
	f.Asof, f.Hold = course.Visits[len(course.Visits)-1].On, onHold(course)
	if f.Hold {
		return
	}
	f.Targets = familyTargets(s, course)
	f.More = max(0, len(f.Targets)-mostTargets)
	f.Targets = f.Targets[:len(f.Targets)-f.More]
	if course.Due != nil {
		f.Next = &FamilyNext{course.Due.On, course.Due.Overdue}
	}
}
