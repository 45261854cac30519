package clinic

import (
	"fmt"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// notCounted says of whom the records are and who does not count in what is usual on a date, with the
// reason: whoever is in pain, injured, or just back.
func (c *Clinic) notCounted(tx *store.Tx, records []*screen.Record, on screen.Date) (map[string]string, error) {
	ids := make([]string, len(records))
	for i, rec := range records {
		ids[i] = rec.Athlete.ID
	}
	events, err := tx.EventsOf(ids)
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	back := int(c.Protocol().FollowUp.BackDays.Value)
	for i, rec := range records {
		why := c.inPain(rec)
		if why == "" {
			why = injured(events[ids[i]], on, back)
		}
		if why != "" {
			out[ids[i]] = why
		}
	}
	return out, nil
}

// inPain says what of a record speaks of pain; "" if nothing does.
func (c *Clinic) inPain(rec *screen.Record) string {
	for i := range rec.Symptoms {
		x := &rec.Symptoms[i]
		if def := c.Protocol().Symptom(x.Symptom); x.Withdrawn == "" && def != nil && def.Referral {
			return "referral sign: " + lowered(def.Name)
		}
	}
	for i := range rec.NotDone {
		if x := &rec.NotDone[i]; x.Reason == screen.ReasonPain {
			name := x.Measure
			if m := c.Protocol().Measure(x.Measure); m != nil {
				name = lowered(m.Name)
			}
			return "not measured because of pain: " + name
		}
	}
	return ""
}

// injured says that an athlete was injured, or just back, on a day: by an injury that no clearance
// followed, or one that followed fewer than back days before. A clearance for one part of the body does
// not end an injury of another. "" if neither is so.
func injured(events []screen.Event, on screen.Date, back int) string {
	why := ""
	for i := range events {
		e := &events[i]
		if e.Kind != screen.EventInjury || !e.Stands() || e.On > on {
			continue
		}
		cleared := clearedOn(events, e, on)
		switch {
		case cleared == "":
			return fmt.Sprintf("injured on %s, not cleared", e.On)
		case cleared.AddDays(back) > on:
			why = fmt.Sprintf("just back from an injury: cleared on %s", cleared)
		}
	}
	return why
}

// clearedOn is the day of the first clearance that followed an injury, up to a day; "" if none did.
func clearedOn(events []screen.Event, injury *screen.Event, on screen.Date) (first screen.Date) {
	for i := range events {
		e := &events[i]
		same := e.Link == "" || injury.Link == "" || e.Link == injury.Link
		if e.Kind == screen.EventClearance && e.Stands() && same && e.On >= injury.On && e.On <= on && (first == "" || e.On < first) {
			first = e.On
		}
	}
	return first
}
