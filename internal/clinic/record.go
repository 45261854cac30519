package clinic

import (
	"context"
	"fmt"
	"math"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// maxPerCell is how many current readings one measure may have on one side at one screen.
const maxPerCell = 20

// Screens is a page of a team's screens, the newest first, or of an athlete's if athlete is given.
func (c *Clinic) Screens(ctx context.Context, who Person, team, athlete string, p Page) (out []screen.Screen, next string, err error) {
	about := gate.Team(team)
	if athlete != "" {
		about = gate.Athlete(athlete)
	}
	err = c.read(ctx, who, access.SeeRecords, about, func(tx *store.Tx) error {
		if athlete != "" {
			if _, err = tx.Athlete(athlete); err != nil {
				return err
			}
			out, next, err = tx.AthleteScreens(athlete, p)
			return err
		}
		if _, err = tx.Team(team); err != nil {
			return err
		}
		out, next, err = tx.TeamScreens(team, p)
		return err
	})
	return out, next, err
}

// PutScreen creates a screen (ifRevision 0) or changes the one at that revision. The athlete must
// belong to the team. Returns Faults, Conflict, NotFound, Stale or Invalid.
func (c *Clinic) PutScreen(ctx context.Context, who Person, s screen.Screen, ifRevision int) (screen.Screen, error) {
	if s.Protocol == "" {
		s.Protocol = c.Protocol().NameAndVersion()
	}
	about := gate.All(gate.If(ifRevision != 0, gate.Screen(s.ID)), gate.Made("screen", s.ID, s.Team), gate.Athlete(s.Athlete))
	err := c.write(ctx, who, access.Record, about, func(tx *store.Tx) error { return c.putScreen(tx, &s, ifRevision) })
	return s, err
}

func (c *Clinic) putScreen(tx *store.Tx, s *screen.Screen, ifRevision int) error {
	a, err := tx.Athlete(s.Athlete)
	if err != nil {
		return err
	}
	if err := screen.CheckScreen(s, &a, c.Today(), "").Err(); err != nil {
		return err
	}
	if _, err := tx.Team(s.Team); err != nil {
		return err
	}
	is, err := tx.IsMember(s.Team, s.Athlete)
	if err != nil {
		return err
	}
	if !is {
		return invalid("name the team of the athlete, or let the athlete join the team first", "the athlete does not belong to the team of the screen")
	}
	if err := c.needConsent(tx, s.Athlete, s.On); err != nil {
		return err
	}
	_, err = tx.PutScreen(s, ifRevision)
	return err
}

// Record is a screen with its athlete and all that was entered. It is shared: do not modify it.
// Returns NotFound.
func (c *Clinic) Record(ctx context.Context, who Person, id string) (out *screen.Record, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Screen(id), func(tx *store.Tx) error {
		out, err = tx.Record(id)
		return err
	})
	return out, err
}

// Entry is a reading as it was called out: with a sign word where the measure has them.
type Entry struct {
	screen.Reading
	Sign string
}

// Saved says what became of entries.
type Saved struct {
	Added     int               `json:"added"`
	Already   int               `json:"already_there" doc:"entries that were on record with the same content"`
	Revision  int               `json:"revision" doc:"revision of the screen afterwards"`
	Questions []screen.Question `json:"questions" doc:"accepted, but worth another look"`
}

// SaveReadings adds readings to a screen, all or none. The same reading sent twice is one reading.
// Returns Faults (each with its place in the list), NotFound, or Conflict if an id stands for another
// reading.
func (c *Clinic) SaveReadings(ctx context.Context, who Person, screenID string, entries []Entry) (out Saved, err error) {
	readings, err := c.checkEntries(screenID, entries)
	if err != nil {
		return out, err
	}
	for i := range readings {
		readings[i].EnteredBy = who.ID
	}
	err = c.write(ctx, who, access.Record, gate.Screen(screenID), func(tx *store.Tx) error {
		if err := c.needConsentAt(tx, screenID); err != nil {
			return err
		}
		added, err := tx.PutReadings(screenID, readings, c.digits)
		out.Added, out.Already = added, len(readings)-added
		if err != nil {
			return err
		}
		return c.afterSave(tx, screenID, &out)
	})
	return out, err
}

// checkEntries puts signs right and finds every fault of every entry, and ids that stand twice.
func (c *Clinic) checkEntries(screenID string, entries []Entry) ([]screen.Reading, error) {
	var f screen.Faults
	if len(entries) == 0 || len(entries) > screen.MaxReadings {
		f.Add("readings", fmt.Sprintf("1 to %d readings", screen.MaxReadings), "%d readings are given", len(entries))
		return nil, f
	}
	readings := make([]screen.Reading, len(entries))
	seen := make(map[string]int, len(entries))
	for i := range entries {
		where := fmt.Sprintf("readings[%d]", i)
		readings[i] = entries[i].Reading
		r := &readings[i]
		if r.Screen == "" {
			r.Screen = screenID
		}
		if m := c.Protocol().Measure(r.Measure); m != nil {
			var bad screen.Faults
			r.Trials, bad = m.ApplySign(r.Trials, entries[i].Sign, where)
			f = append(f, bad...)
		}
		f = append(f, c.Protocol().CheckReading(r, where)...)
		if k, twice := seen[r.ID]; twice {
			f.Add(where+".id", "an id of its own for each reading", "the id stands at readings[%d] too", k)
		}
		seen[r.ID] = i
		if len(f) > 100 {
			break
		}
	}
	return readings, f.Err()
}

// digits counts readings for heaping: those in degrees whose trials all end in 0 or 5.
func (c *Clinic) digits(r screen.Reading) (countable, onFive bool) {
	m := c.Protocol().Measure(r.Measure)
	if m == nil || m.Unit != "deg" {
		return false, false
	}
	for _, t := range r.Trials {
		if math.Mod(t, 5) != 0 {
			return true, false
		}
	}
	return true, true
}

// afterSave refuses an overfull cell and asks about what looks odd.
func (c *Clinic) afterSave(tx *store.Tx, screenID string, out *Saved) error {
	rec, err := tx.Record(screenID)
	if err != nil {
		return err
	}
	out.Revision = rec.Screen.Revision
	if err := overfull(rec); err != nil {
		return err
	}
	last, err := c.before(tx, rec)
	if err != nil {
		return err
	}
	out.Questions = c.Protocol().Questions(rec, last)
	return nil
}

// before is the athlete's record before the one given, nil if there is none.
func (c *Clinic) before(tx *store.Tx, rec *screen.Record) (*screen.Record, error) {
	list, _, err := tx.AthleteScreens(rec.Athlete.ID, Page{Limit: 20})
	if err != nil {
		return nil, err
	}
	for i := range list {
		if list[i].On < rec.Screen.On {
			return tx.Record(list[i].ID)
		}
	}
	return nil, nil
}

// Questions asks about what looks odd in a record.
func (c *Clinic) Questions(ctx context.Context, who Person, rec *screen.Record) (out []screen.Question, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Screen(rec.Screen.ID), func(tx *store.Tx) error {
		last, err := c.before(tx, rec)
		out = c.Protocol().Questions(rec, last)
		return err
	})
	return out, err
}

// Correct supersedes a reading by another one, with the reason. The earlier one stays on record.
// Returns Faults, NotFound, or Conflict if it was corrected already.
func (c *Clinic) Correct(ctx context.Context, who Person, id string, e Entry) (out screen.Reading, err error) {
	err = c.write(ctx, who, access.Record, gate.Reading(id), func(tx *store.Tx) error {
		old, err := tx.Reading(id)
		if err != nil {
			return err
		}
		if err := c.needConsentAt(tx, old.Screen); err != nil {
			return err
		}
		if e.ID == "" {
			e.ID = c.newID()
		}
		e.Measure, e.Side, e.Screen, e.EnteredBy = old.Measure, old.Side, old.Screen, who.ID
		readings, err := c.checkEntries(old.Screen, []Entry{e})
		if err != nil {
			return err
		}
		if readings[0].Why == "" {
			return screen.Faults{{Where: "why", Problem: "the reason is missing", Want: "say why the reading is corrected"}}
		}
		if _, err := tx.CorrectReading(id, readings[0], c.digits); err != nil {
			return err
		}
		out, err = tx.Reading(readings[0].ID)
		return err
	})
	return out, err
}

// SaveNotDone notes that measures were not taken, with the reasons.
func (c *Clinic) SaveNotDone(ctx context.Context, who Person, screenID string, list []screen.NotDone) (out Saved, err error) {
	return save(ctx, c, who, screenID, "not_done", list, (*screen.Protocol).CheckNotDone,
		func(x *screen.NotDone) { x.Screen = screenID }, (*store.Tx).PutNotDone)
}

// SaveChecklist notes answers to items of the throwing-mechanics checklist.
func (c *Clinic) SaveChecklist(ctx context.Context, who Person, screenID string, list []screen.ChecklistAnswer) (out Saved, err error) {
	return save(ctx, c, who, screenID, "checklist", list, (*screen.Protocol).CheckAnswer,
		func(x *screen.ChecklistAnswer) { x.Screen = screenID }, (*store.Tx).PutChecklist)
}

// SaveSymptoms notes symptoms.
func (c *Clinic) SaveSymptoms(ctx context.Context, who Person, screenID string, list []screen.Symptom) (out Saved, err error) {
	return save(ctx, c, who, screenID, "symptoms", list, (*screen.Protocol).CheckSymptom,
		func(x *screen.Symptom) { x.Screen = screenID }, (*store.Tx).PutSymptoms)
}

// WithdrawSymptom takes back an entry that does not hold, with the reason.
func (c *Clinic) WithdrawSymptom(ctx context.Context, who Person, id, why string) error {
	var f screen.Faults
	if why == "" {
		f.Add("why", "say why the entry does not hold", "the reason is missing")
	}
	if screen.CheckText(why, screen.MaxNoteLen, "why", &f); len(f) > 0 {
		return f
	}
	return c.write(ctx, who, access.Record, c.symptomToWithdraw(id), func(tx *store.Tx) error {
		_, err := tx.WithdrawSymptom(id, why)
		return err
	})
}

// save checks and writes one kind of entries at a screen, all or none.
func save[T any](ctx context.Context, c *Clinic, who Person, screenID, field string, list []T,
	check func(*screen.Protocol, *T, string) screen.Faults, place func(*T), put func(*store.Tx, string, []T) (int, error),
) (out Saved, err error) {
	var f screen.Faults
	if len(list) == 0 || len(list) > screen.MaxReadings {
		f.Add(field, fmt.Sprintf("1 to %d entries", screen.MaxReadings), "%d entries are given", len(list))
	}
	entries := make([]T, len(list))
	copy(entries, list)
	for i := range entries {
		place(&entries[i])
		f = append(f, check(c.Protocol(), &entries[i], fmt.Sprintf("%s[%d]", field, i))...)
	}
	if err := f.Err(); err != nil {
		return out, err
	}
	err = c.write(ctx, who, access.Record, gate.Screen(screenID), func(tx *store.Tx) error {
		if err := c.needConsentAt(tx, screenID); err != nil {
			return err
		}
		added, err := put(tx, screenID, entries)
		if err != nil {
			return err
		}
		out.Added, out.Already = added, len(entries)-added
		rec, err := tx.Record(screenID)
		if err == nil {
			out.Revision = rec.Screen.Revision
		}
		return err
	})
	return out, err
}
