package clinic

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// maxBatch is how many entries a station sends at once.
const maxBatch = 500

// SaveEntries takes in what a station sends. Each entry is added, already there, or refused with what
// is wrong with it; a refused one does not hold up the others. The same batch twice adds nothing.
// Returns NotFound if there is no such station, Faults if the batch itself is at fault.
func (c *Clinic) SaveEntries(ctx context.Context, who Person, code string, b Batch) (out BatchResult, err error) {
	if err := c.checkBatch(&b).Err(); err != nil {
		return out, err
	}
	day, err := c.take(ctx, who, code, &b, b.Entries, &out)
	if userFault(err) && day != "" {
		// One of them does not go together with what is on record. Each by itself: the others must not wait.
		out = BatchResult{}
		for i := range b.Entries {
			if err = c.takeOne(ctx, who, code, &b, i, &out); err != nil {
				break
			}
		}
	}
	if day != "" {
		c.watch.tell(day)
	}
	if err != nil {
		return out, err
	}
	out.Questions, err = c.askNow(ctx, who, day, code, b.Entries)
	return out, err
}

func (c *Clinic) takeOne(ctx context.Context, who Person, code string, b *Batch, i int, out *BatchResult) error {
	var one BatchResult
	_, err := c.take(ctx, who, code, b, b.Entries[i:i+1], &one)
	if userFault(err) {
		one.Results, err = []EntryResult{refusal(b.Entries[i].ID, err)}, nil
	}
	out.Results = append(out.Results, one.Results...)
	if one.Seq > 0 {
		out.Seq, out.Late = one.Seq, one.Late
	}
	return err
}

func (c *Clinic) checkBatch(b *Batch) screen.Faults {
	var f screen.Faults
	if len(b.Entries) == 0 || len(b.Entries) > maxBatch {
		f.Add("entries", fmt.Sprintf("1 to %d entries", maxBatch), "%d are given", len(b.Entries))
	}
	screen.CheckID(b.Device, "device", &f)
	seen := make(map[string]int, len(b.Entries))
	for i := range b.Entries {
		id := b.Entries[i].ID
		screen.CheckID(id, fmt.Sprintf("entries[%d].id", i), &f)
		if k, twice := seen[id]; twice {
			f.Add(fmt.Sprintf("entries[%d].id", i), "an id of its own for each entry", "the id stands at entries[%d] too", k)
		}
		seen[id] = i
	}
	return f
}

// userFault says of an error that it is about what was sent.
func userFault(err error) bool {
	var f screen.Faults
	var p *screen.Problem
	return errors.As(err, &f) || errors.As(err, &p)
}

// refusal says why an entry was not taken.
func refusal(id string, err error) EntryResult {
	var f screen.Faults
	var p *screen.Problem
	switch {
	case errors.As(err, &f) && len(f) > 0:
		return EntryResult{ID: id, Status: EntryRefused, Where: f[0].Where, Problem: f[0].Problem, Want: f[0].Want}
	case errors.As(err, &p):
		return EntryResult{ID: id, Status: EntryRefused, Problem: p.Text, Want: p.Want}
	}
	return EntryResult{ID: id, Status: EntryRefused}
}

// take takes entries in one transaction; day is empty if there is no such station.
func (c *Clinic) take(ctx context.Context, who Person, code string, b *Batch, entries []StationEntry, out *BatchResult) (day string, err error) {
	err = c.write(ctx, who, access.Enter, gate.Station(code), func(tx *store.Tx) error {
		d, err := tx.DayByStation(code)
		if err != nil {
			return err
		}
		day = d.ID
		in := intake{c: c, tx: tx, who: who, day: &d, code: code, batch: b, now: c.now().UTC(), people: map[string]*listed{}}
		if err := in.all(entries); err != nil {
			return err
		}
		out.Results, out.Late = in.results, !d.Closed.IsZero()
		out.Seq, err = daySeq(tx, d.ID)
		return err
	})
	return day, err
}

// daySeq grows with everything that changes about a day: its entries, its plan and its list.
func daySeq(tx *store.Tx, day string) (int, error) {
	d, err := tx.Day(day)
	if err != nil {
		return 0, err
	}
	last, err := tx.LastDayEntry(day)
	return last + d.Revision, err
}

// digest tells a repetition of an entry from another entry with its id.
func digest(e *StationEntry) string {
	text, err := json.Marshal(e)
	if err != nil { // numbers that JSON cannot hold are refused by the checks
		text = []byte(err.Error())
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:12])
}

// takenAt is when an entry was made by the server's clock: what the device's clock says of how long ago
// that was holds even if it is wrong about the day.
func (b *Batch) takenAt(e *StationEntry, now time.Time) time.Time {
	if e.Taken.IsZero() || b.Sent.IsZero() || e.Taken.After(b.Sent) {
		return now
	}
	return now.Add(-b.Sent.Sub(e.Taken)).UTC()
}

// checkEntry says what is wrong with an entry by itself.
func (c *Clinic) checkEntry(e *StationEntry) screen.Faults {
	var f screen.Faults
	p := c.Protocol()
	if strings.TrimSpace(e.Examiner) == "" {
		f.Add("examiner", "name or initials of who is entering", "nobody is named")
	}
	screen.CheckText(e.Examiner, screen.MaxNameLen, "examiner", &f)
	screen.CheckID(e.Athlete, "athlete", &f)
	if e.Round < 0 || e.Round > 2 {
		f.Add("round", "1 or 2", "there is no round %d", e.Round)
	}
	if y := e.Taken.UTC().Year(); !e.Taken.IsZero() && (y < 1901 || y > 9998) {
		f.Add("taken", "a time such as 2026-02-10T16:20:00Z", "no entry can have been made in the year %d", y)
	}
	switch e.Kind {
	case screen.DayReading:
		f = append(f, p.CheckReading(new(e.reading("", "")), "")...)
	case screen.DayNotDone:
		if c.logOnly(e.About) {
			checkSkip(e, &f)
			break
		}
		f = append(f, p.CheckNotDone(&screen.NotDone{ID: e.ID, Measure: e.About, Side: e.Side, Reason: e.Reason}, "")...)
	case screen.DayAnswer:
		f = append(f, p.CheckAnswer(&screen.ChecklistAnswer{ID: e.ID, Item: e.About, Answer: e.Answer, Examiner: e.Examiner}, "")...)
	case screen.DaySymptom:
		f = append(f, p.CheckSymptom(new(e.symptom("")), "")...)
	case screen.DayCheckIn:
		if e.Hand != "" && !e.Hand.Valid() {
			f.Add("hand", "left, right or both", "unknown throwing hand %q", string(e.Hand))
		}
	case screen.DayUndo:
		screen.CheckID(e.Undoes, "undoes", &f)
	case screen.DayWalkOn:
		if e.Person == nil {
			f.Add("person", "name, birth date, sex, throwing hand and level", "the athlete's data are missing")
		}
	default:
		f.Add("kind", "reading, not_done, answer, symptom, check_in, walk_on or undo", "unknown kind of entry %q", string(e.Kind))
	}
	return f
}

// logOnly says of a check-in and of checklist items that a record has no place for their not being done:
// the day's log is enough to know that nobody has to wait for them.
func (c *Clinic) logOnly(about string) bool {
	return about == screen.CheckInCell || c.Protocol().Item(about) != nil
}

func checkSkip(e *StationEntry, f *screen.Faults) {
	if !e.Reason.Valid() {
		f.Add("reason", "pain, refused, absent or no_time", "unknown reason %q", string(e.Reason))
	}
	if e.About == screen.CheckInCell && e.Reason == screen.ReasonPain {
		f.Add("reason", "note the pain among the symptoms", "pain is what a check-in asks about")
	}
	if e.Side != screen.NoSide && e.Side != "" {
		f.Add("side", "none", "%s has no sides", e.About)
	}
}

func (e *StationEntry) reading(screenID, device string) screen.Reading {
	return screen.Reading{ID: e.ID, Screen: screenID, Measure: e.About, Side: e.Side, Trials: e.Trials, Examiner: e.Examiner, Device: device, Taken: e.Taken}
}

func (e *StationEntry) symptom(screenID string) screen.Symptom {
	return screen.Symptom{ID: e.ID, Screen: screenID, Symptom: e.About, Side: e.Side, Note: e.Note}
}
