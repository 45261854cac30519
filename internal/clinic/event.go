package clinic

import (
	"context"
	"slices"
	"strings"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Events lists what happened to an athlete besides screens, the oldest first, withdrawn ones included.
// Returns NotFound.
func (c *Clinic) Events(ctx context.Context, who Person, athlete string) (out []screen.Event, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Athlete(athlete), func(tx *store.Tx) error {
		if _, err := tx.Athlete(athlete); err != nil {
			return err
		}
		out, err = tx.Events(athlete)
		return err
	})
	return out, err
}

// PutEvent keeps an event of an athlete and gives it as it is on file. The same event sent twice is one;
// added is false for the second. When it was entered, by whom, and whether it was withdrawn is not taken
// from e. Returns Faults, NotFound if there is no such athlete, or Conflict if the id stands for another
// event.
func (c *Clinic) PutEvent(ctx context.Context, who Person, e screen.Event) (out screen.Event, added bool, err error) {
	e.Note, e.Limits = strings.TrimSpace(e.Note), strings.TrimSpace(e.Limits)
	if e.Side == screen.NoSide {
		e.Side = ""
	}
	e.Entered, e.EnteredBy, e.Withdrawn = c.now(), who.ID, ""
	if err := c.Protocol().CheckEvent(&e, c.Today(), "").Err(); err != nil {
		return e, false, err
	}
	what := access.Record
	if e.Kind == screen.EventClearance {
		what = access.Clear
	}
	err = c.write(ctx, who, what, gate.Athlete(e.Athlete), func(tx *store.Tx) error {
		a, err := tx.Athlete(e.Athlete)
		if err != nil {
			return err
		}
		if e.On < a.Born {
			return screen.Faults{{Where: "on", Problem: string(e.On) + " lies before the athlete's birth", Want: "a day from " + string(a.Born) + " on"}}
		}
		if added, err = tx.PutEvent(e); err != nil {
			return err
		}
		list, err := tx.Events(e.Athlete)
		if i := slices.IndexFunc(list, func(x screen.Event) bool { return x.ID == e.ID }); i >= 0 {
			out = list[i]
		}
		return err
	})
	return out, added, err
}

// WithdrawEvent takes back an event that does not hold, with the reason; it stays on record. Returns
// Faults without a reason, NotFound, or Conflict if it was withdrawn for another one.
func (c *Clinic) WithdrawEvent(ctx context.Context, who Person, id, why string) error {
	why = strings.TrimSpace(why)
	var f screen.Faults
	if why == "" {
		f.Add("why", "say why the event does not hold", "the reason is missing")
	}
	screen.CheckText(why, screen.MaxNoteLen, "why", &f)
	if err := f.Err(); err != nil {
		return err
	}
	return c.write(ctx, who, access.Record, eventToWithdraw(id), func(tx *store.Tx) error { return tx.WithdrawEvent(id, why) })
}
