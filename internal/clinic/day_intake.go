package clinic

import (
	"fmt"
	"time"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// intake takes in entries of one station in one transaction. What goes to one screen is gathered and
// written at once; the log is written at the end, in the order of the entries.
type intake struct {
	c       *Clinic
	tx      *store.Tx
	who     Person
	day     *screen.Day
	code    string
	batch   *Batch
	people  map[string]*listed // by the id that the device knows
	list    []screen.Participant
	open    []*listed // those with something not yet written
	results []EntryResult
	rows    []screen.DayEntry
	now     time.Time
}

// listed is an athlete on the list, with what is to be written to the screen.
type listed struct {
	screen.Participant
	made     bool // the screen is on record
	readings []screen.Reading
	notDone  []screen.NotDone
	answers  []screen.ChecklistAnswer
	symptoms []screen.Symptom
}

func (in *intake) all(entries []StationEntry) error {
	if err := in.prepare(); err != nil {
		return err
	}
	ids := make([]string, len(entries))
	for i := range entries {
		ids[i] = entries[i].ID
	}
	old, err := in.tx.DayEntriesByID(ids)
	if err != nil {
		return err
	}
	known := make(map[string]screen.DayEntry, len(old))
	for _, o := range old {
		known[o.ID] = o
	}
	for i := range entries {
		e := &entries[i]
		res := EntryResult{ID: e.ID, Status: EntryAdded}
		sum := digest(e)
		if o, there := known[e.ID]; there {
			res = repeated(&o, in.day.ID, sum)
		} else if f := in.c.checkEntry(e); len(f) > 0 {
			res = refusal(e.ID, f)
		} else if err := in.entry(e, sum); err != nil {
			return err
		}
		in.results = append(in.results, res)
	}
	if err := in.flush(); err != nil {
		return err
	}
	if len(in.rows) == 0 {
		return nil
	}
	_, err = in.tx.AddDayEntries(in.day.ID, in.rows)
	return err
}

func repeated(old *screen.DayEntry, day, sum string) EntryResult {
	if old.Day == day && old.Digest == sum {
		return EntryResult{ID: old.ID, Status: EntryAlready}
	}
	return EntryResult{ID: old.ID, Status: EntryRefused, Where: "id", Problem: "the id is taken by an entry that says something else",
		Want: "enter it once more"}
}

func (in *intake) prepare() (err error) {
	if in.list, err = in.tx.Participants(in.day.ID); err != nil {
		return err
	}
	for _, p := range in.list {
		in.people[p.Athlete] = &listed{Participant: p}
	}
	return in.c.logs.read(in.tx, in.day.ID, func(l *dayLog) error {
		for from, to := range l.alias {
			if p, ok := in.people[to]; ok {
				in.people[from] = p
			}
		}
		return nil
	})
}

// entry takes one entry. What it gathers is written by flush.
func (in *intake) entry(e *StationEntry, sum string) error {
	if e.Kind == screen.DayWalkOn {
		return in.walkOn(e, sum)
	}
	p, ok := in.people[e.Athlete]
	if !ok {
		return invalid("add the athlete to the list of the day first", "the athlete is not on the list of this day")
	}
	row := in.row(e, p, sum)
	switch e.Kind {
	case screen.DayReading:
		r := e.reading(p.Screen, in.batch.Device)
		r.EnteredBy = in.who.ID
		in.gather(p)
		p.readings = append(p.readings, r)
	case screen.DayNotDone:
		if in.c.logOnly(e.About) {
			row.Side = screen.NoSide
			break
		}
		in.gather(p)
		p.notDone = append(p.notDone, screen.NotDone{ID: e.ID, Screen: p.Screen, Measure: e.About, Side: e.Side, Reason: e.Reason})
	case screen.DayAnswer:
		in.gather(p)
		p.answers = append(p.answers, screen.ChecklistAnswer{ID: e.ID, Screen: p.Screen, Item: e.About, Answer: e.Answer, Examiner: e.Examiner})
	case screen.DaySymptom:
		in.gather(p)
		p.symptoms = append(p.symptoms, e.symptom(p.Screen))
	case screen.DayCheckIn:
		if err := in.checkIn(e, p, &row); err != nil {
			return err
		}
	case screen.DayUndo:
		if err := in.undo(e, p); err != nil {
			return err
		}
	}
	in.rows = append(in.rows, row)
	return nil
}

func (in *intake) row(e *StationEntry, p *listed, sum string) screen.DayEntry {
	return screen.DayEntry{Day: in.day.ID, ID: e.ID, Kind: e.Kind, Athlete: p.Athlete, Screen: p.Screen, Station: in.code,
		About: e.About, Side: e.Side, Round: max(1, e.Round), Again: e.Again, Examiner: e.Examiner, Device: in.batch.Device,
		Taken: e.Taken, At: in.batch.takenAt(e, in.now), Received: in.now, Late: !in.day.Closed.IsZero(), Reason: e.Reason, Undoes: e.Undoes, Digest: sum}
}

func (in *intake) gather(p *listed) {
	if len(p.readings)+len(p.notDone)+len(p.answers)+len(p.symptoms) == 0 {
		in.open = append(in.open, p)
	}
}

// flush writes what was gathered.
func (in *intake) flush() error {
	for _, p := range in.open {
		if err := in.write(p); err != nil {
			return err
		}
		p.readings, p.notDone, p.answers, p.symptoms = nil, nil, nil, nil
	}
	in.open = in.open[:0]
	return nil
}

func (in *intake) write(p *listed) error {
	if err := in.make(p); err != nil {
		return err
	}
	if err := in.c.needConsent(in.tx, p.Athlete, in.day.On); err != nil {
		return err
	}
	if len(p.readings) > 0 {
		if _, err := in.tx.PutReadings(p.Screen, p.readings, in.c.digits); err != nil {
			return err
		}
	}
	if len(p.notDone) > 0 {
		if _, err := in.tx.PutNotDone(p.Screen, p.notDone); err != nil {
			return err
		}
	}
	if len(p.answers) > 0 {
		if _, err := in.tx.PutChecklist(p.Screen, p.answers); err != nil {
			return err
		}
	}
	if len(p.symptoms) > 0 {
		if _, err := in.tx.PutSymptoms(p.Screen, p.symptoms); err != nil {
			return err
		}
	}
	if len(p.readings) == 0 {
		return nil
	}
	rec, err := in.tx.Record(p.Screen)
	if err != nil {
		return err
	}
	return overfull(rec)
}

// make puts the athlete's screen of the day on record, unless it is.
func (in *intake) make(p *listed) error {
	if p.made {
		return nil
	}
	_, _, err := in.tx.ScreenRevision(p.Screen)
	if screen.IsCode(err, screen.NotFound) {
		s := screen.Screen{ID: p.Screen, Athlete: p.Athlete, Team: in.day.Team, On: in.day.On, Kind: in.day.Kind, Protocol: in.c.Protocol().NameAndVersion()}
		if today := in.c.Today(); in.day.On > today {
			return invalid("enter on the day itself; a day with the wrong date is closed and set up anew", "the screening day is on %s, and today is %s", in.day.On, today)
		}
		err = in.c.putScreen(in.tx, &s, 0)
	}
	p.made = err == nil
	return err
}

// overfull refuses a cell with more readings than anybody takes: a device that repeats itself.
func overfull(rec *screen.Record) error {
	cells := make(map[[2]string]int, len(rec.Readings))
	for i := range rec.Readings {
		if r := &rec.Readings[i]; r.Stands() {
			k := [2]string{r.Measure, string(r.Side)}
			if cells[k]++; cells[k] > maxPerCell {
				return invalid(fmt.Sprintf("at most %d readings", maxPerCell), "%s, %s has too many readings at this screen", r.Measure, r.Side)
			}
		}
	}
	return nil
}
