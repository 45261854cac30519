package clinic

import (
	"context"
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// ConsentAtDesk records that somebody saw a consent for screening on paper at the desk of a screening
// day, given by today, and lets the stations know. Whoever has one that holds gets no second one.
// Returns NotFound if there is no such day or the athlete is not on its list, or Invalid after the day.
func (c *Clinic) ConsentAtDesk(ctx context.Context, who Person, day, athlete string) error {
	var days []string
	err := c.write(ctx, who, access.ManageConsent, gate.All(gate.Athlete(athlete), gate.Day(day)), func(tx *store.Tx) (err error) {
		if err := c.consentAtDesk(tx, who, day, athlete); err != nil {
			return err
		}
		days, err = c.touchDays(tx, athlete)
		return err
	})
	c.tellAll(days, err)
	return err
}

// touchDays makes the stations of today's open days that have one of the athletes on their list read
// them again, and gives those days.
func (c *Clinic) touchDays(tx *store.Tx, athletes ...string) (out []string, err error) {
	days, err := tx.DaysOn(c.Today())
	if err != nil {
		return nil, err
	}
	for i := range days {
		if !days[i].Closed.IsZero() {
			continue
		}
		list, err := tx.Participants(days[i].ID)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(list, func(p screen.Participant) bool { return slices.Contains(athletes, p.Athlete) }) {
			out = append(out, days[i].ID)
			if err := tx.BumpDay(days[i].ID); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}

// tellAll tells those who watch some days, unless nothing was written.
func (c *Clinic) tellAll(days []string, err error) {
	if err != nil {
		return
	}
	for _, d := range days {
		c.watch.tell(d)
	}
}

func (c *Clinic) consentAtDesk(tx *store.Tx, who Person, day, athlete string) error {
	d, err := tx.Day(day)
	if err != nil {
		return err
	}
	list, err := tx.Participants(day)
	if err != nil {
		return err
	}
	if _, err := onList(list, athlete); err != nil {
		return err
	}
	if d.On < c.Today() {
		return invalid("record it with its own date on the athlete's page", "the day was on %s: a consent of today does not hold for it", d.On)
	}
	a, err := tx.Athlete(athlete)
	if err != nil {
		return err
	}
	has, err := tx.Consents(athlete)
	if err != nil || c.mayScreen(has, d.On) {
		return err
	}
	of, err := majority(tx)
	if err != nil {
		return err
	}
	in := ConsentToRecord{Purposes: []screen.Purpose{screen.ForScreening}, On: c.Today(), GivenBy: giverOf(&a, c.Today(), of)}
	_, err = c.recordConsent(tx, who, &a, &in, "")
	return err
}
