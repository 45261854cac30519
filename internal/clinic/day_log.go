package clinic

import (
	"maps"
	"sync"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// dayLog is what the entries of a day say, put together: who entered what and where, and what was
// taken back. The records say what was measured.
type dayLog struct {
	rev     int // of the day: it changes when somebody is erased from the log
	rows    []screen.DayEntry
	byID    map[string]int    // place in rows
	undone  map[string]bool   // ids of entries taken back
	alias   map[string]string // id that a device made for a walk-on -> id on record
	checked map[string]string // athlete -> id of the check-in that holds
	skipped map[skipKey]skip  // what was not done of check-in and checklist, which the records do not hold
}

type skipKey struct{ athlete, about string }

// skip is the entry that says that something was not done, and why.
type skip struct {
	id     string
	reason screen.Reason
}

func newDayLog() *dayLog {
	return &dayLog{byID: map[string]int{}, undone: map[string]bool{}, alias: map[string]string{}, checked: map[string]string{}, skipped: map[skipKey]skip{}}
}

func (l *dayLog) add(rows []screen.DayEntry) {
	for _, r := range rows {
		l.byID[r.ID] = len(l.rows)
		l.rows = append(l.rows, r)
		switch r.Kind {
		case screen.DayUndo:
			l.undone[r.Undoes] = true
			if l.checked[r.Athlete] == r.Undoes {
				delete(l.checked, r.Athlete)
			}
			maps.DeleteFunc(l.skipped, func(k skipKey, s skip) bool { return k.athlete == r.Athlete && s.id == r.Undoes })
		case screen.DayNotDone:
			if r.Side == screen.NoSide {
				l.skipped[skipKey{r.Athlete, r.About}] = skip{r.ID, r.Reason}
			}
		case screen.DayWalkOn:
			l.alias[r.About] = r.Athlete
		case screen.DayCheckIn:
			l.checked[r.Athlete] = r.ID
		}
	}
}

// of is the entry with an id, nil if the day has none.
func (l *dayLog) of(id string) *screen.DayEntry {
	if i, ok := l.byID[id]; ok {
		return &l.rows[i]
	}
	return nil
}

// last is the number of the last entry.
func (l *dayLog) last() int {
	if len(l.rows) == 0 {
		return 0
	}
	return l.rows[len(l.rows)-1].Seq
}

// dayLogs keeps the logs of days at work: a day's entries come by the thousand, and each is read once.
type dayLogs struct {
	mu sync.Mutex
	of map[string]*dayLog
}

// maxLogs is how many days' logs are kept.
const maxLogs = 8

// read calls fn with the log of a day as the transaction sees it. A transaction that began before
// another one that read further must not see what came after: it reads all of its own. In a transaction
// that writes it is called before entries are added: those may yet be rolled back.
func (d *dayLogs) read(tx *store.Tx, day string, fn func(*dayLog) error) error {
	last, err := tx.LastDayEntry(day)
	if err != nil {
		return err
	}
	rev, err := tx.DayRevision(day)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	log := d.of[day]
	if log == nil || log.rev != rev || log.last() > last {
		log = newDayLog()
		log.rev = rev
	}
	if log.last() < last {
		rows, err := tx.DayEntries(day, log.last())
		if err != nil {
			return err
		}
		log.add(rows)
	}
	if kept := d.of[day]; kept == nil || kept.rev != log.rev || kept.last() <= log.last() {
		if d.of == nil || len(d.of) >= maxLogs && kept == nil {
			d.of = map[string]*dayLog{}
		}
		d.of[day] = log
	}
	return fn(log)
}

// copy is a log that does not grow with the one that it was taken from. What was read is shared.
func (l *dayLog) copy() *dayLog {
	return &dayLog{rev: l.rev, rows: l.rows[:len(l.rows):len(l.rows)], byID: maps.Clone(l.byID), undone: maps.Clone(l.undone),
		alias: maps.Clone(l.alias), checked: maps.Clone(l.checked), skipped: maps.Clone(l.skipped)}
}
