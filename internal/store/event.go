package store

import (
	"slices"

	"evenhand/internal/screen"
)

const (
	eventCols = "id, athlete_id, on_day, kind, link, side, note, limits, entered, entered_by, withdrawn"
	qEvents   = "SELECT " + eventCols + " FROM events WHERE athlete_id = ? ORDER BY on_day, id"
	// The index by athlete, day and id gives them in order within each athlete.
	qEventsIn = "SELECT e.id, e.athlete_id, e.on_day, e.kind, e.link, e.side, e.note, e.limits, e.entered, e.entered_by, e.withdrawn" +
		" FROM json_each(?) j CROSS JOIN events e ON e.athlete_id = j.value"
	qEvent         = "SELECT " + eventCols + " FROM events WHERE id = ?"
	qEventWithdraw = "UPDATE events SET withdrawn = ? WHERE id = ? AND withdrawn = ''"
)

// limitsInNote is what migration 4 wrote as the limits of clearances that were entered before.
const limitsInNote = "Ask the trainer what the clinician allows."

type eventRow struct {
	ID        string
	AthleteID string
	On        string `gorm:"column:on_day"`
	Kind      string
	Link      string
	Side      string
	Note      string
	Limits    string
	Entered   int64
	EnteredBy string
	Withdrawn string
}

// TableName is the table of events.
func (eventRow) TableName() string { return "events" }

func (r *eventRow) dest() []any {
	return []any{&r.ID, &r.AthleteID, &r.On, &r.Kind, &r.Link, &r.Side, &r.Note, &r.Limits, &r.Entered, &r.EnteredBy, &r.Withdrawn}
}

// content leaves Withdrawn out: an event that is sent again after it was withdrawn is still the same.
func (r eventRow) content() eventRow {
	r.Entered, r.EnteredBy, r.Withdrawn = 0, "", ""
	return r
}

func eventRowOf(e *screen.Event, now int64) eventRow {
	r := eventRow{ID: e.ID, AthleteID: e.Athlete, On: string(e.On), Kind: string(e.Kind), Link: e.Link, Side: string(e.Side),
		Note: e.Note, Limits: e.Limits, Entered: micros(e.Entered), EnteredBy: e.EnteredBy, Withdrawn: e.Withdrawn}
	if r.Entered == 0 {
		r.Entered = now
	}
	return r
}

func (r *eventRow) event() screen.Event {
	return screen.Event{ID: r.ID, Athlete: r.AthleteID, On: screen.Date(r.On), Kind: screen.EventKind(r.Kind), Link: r.Link,
		Side: screen.Side(r.Side), Note: r.Note, Limits: r.Limits, Entered: instant(r.Entered), EnteredBy: r.EnteredBy, Withdrawn: r.Withdrawn}
}

// Events are the events of an athlete by day, withdrawn ones included. None for an unknown athlete.
func (tx *Tx) Events(athlete string) ([]screen.Event, error) {
	rows, err := all[eventRow](tx, qEvents, athlete)
	return convert(rows, (*eventRow).event), err
}

// Event is the event with the id given, also if it was withdrawn. Returns NotFound if there is none.
func (tx *Tx) Event(id string) (screen.Event, error) {
	r, found, err := one[eventRow](tx, qEvent, id)
	if err == nil && !found {
		err = notFound("event")
	}
	if err != nil {
		return screen.Event{}, err
	}
	return r.event(), nil
}

// EventsOf are the events of several athletes, of each by day, withdrawn ones included. Athletes
// without events are not in the map.
func (tx *Tx) EventsOf(athletes []string) (map[string][]screen.Event, error) {
	ids := slices.Clone(athletes)
	slices.Sort(ids) // an athlete may be asked for twice
	out := make(map[string][]screen.Event)
	err := each(tx, qEventsIn, func(r *eventRow) error {
		out[r.AthleteID] = append(out[r.AthleteID], r.event())
		return nil
	}, idList(slices.Compact(ids)))
	return out, err
}

// PutEvent keeps an event and reports whether it was new; one that is on file with the same content is
// left alone, also if it was withdrawn since. Entered is set to now where it is zero. Returns Conflict
// if the id is taken by another event, Invalid for an id that cannot be kept or an athlete who is not
// on record.
func (tx *Tx) PutEvent(e screen.Event) (added bool, err error) {
	defer tx.fail(&err)
	if err := checkID("event", e.ID); err != nil {
		return false, err
	}
	r := eventRowOf(&e, tx.now())
	old, found, err := one[eventRow](tx, qEvent, e.ID)
	if err != nil {
		return false, err
	}
	if found {
		if r.Limits == "" && old.Limits == limitsInNote {
			r.Limits = old.Limits // sent as it was before limits had a field of their own
		}
		return false, takenUnless(old.content() == r.content(), "event")
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return false, tx.refused(err, "event", ref{"athlete", qAthleteExists, e.Athlete})
	}
	return true, nil
}

// takenUnless is Conflict unless what is on file with the id of a record is the same.
func takenUnless(same bool, kind string) error {
	if same {
		return nil
	}
	return taken(kind)
}

// WithdrawEvent says why an event does not hold; the event is kept. To say so again for the same
// reason changes nothing. Returns NotFound if there is no such event, Conflict if it was withdrawn for
// another reason, Invalid if why is empty.
func (tx *Tx) WithdrawEvent(id, why string) (err error) {
	defer tx.fail(&err)
	if why == "" {
		return &screen.Problem{Code: screen.Invalid,
			Text: "withdrawing an event needs a reason", Want: "say why the event does not hold"}
	}
	old, found, err := one[eventRow](tx, qEvent, id)
	switch {
	case err != nil:
		return err
	case !found:
		return notFound("event")
	case old.Withdrawn == why:
		return nil
	case old.Withdrawn != "":
		return &screen.Problem{Code: screen.Conflict,
			Text: "the event was withdrawn already, for another reason", Want: "read the athlete's events again"}
	}
	return tx.exec(qEventWithdraw, why, id)
}
