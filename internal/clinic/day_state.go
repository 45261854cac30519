package clinic

import (
	"slices"
	"time"

	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// dayState is a day with what is on record of it: what is there is read from the records, so that a
// correction counts wherever it was made; the log adds where, by whom and in which round.
type dayState struct {
	p       *screen.Protocol
	view    DayView
	records []*screen.Record // by place in view.Athletes; nil: nothing yet
	cells   []map[cellKey]*cellState
	log     *dayLog
	checks  bool                    // some station checks in
	consent map[string]bool         // by athlete: may be screened
	ended   map[string]screen.Date  // by athlete: when a consent for screening was withdrawn last
	finish  map[[2]string]time.Time // when the last entry of an athlete at a station was made
}

type cellKey struct {
	about string
	side  screen.Side
}

// cellState is what stands of one cell.
type cellState struct {
	first, second []*screen.Reading
	notDone       [3]screen.Reason // by round
	answered      bool
}

// dayState reads a day. What it holds is of one transaction, but for the log, which only grows.
func (c *Clinic) dayState(tx *store.Tx, id string) (*dayState, error) {
	view, err := c.dayView(tx, id)
	if err != nil {
		return nil, err
	}
	s := &dayState{p: c.Protocol(), view: view}
	err = c.logs.read(tx, id, func(l *dayLog) error {
		s.log = l.copy()
		return nil
	})
	if err != nil {
		return nil, err
	}
	ids := make([]string, len(view.Athletes))
	for i := range view.Athletes {
		ids[i] = view.Athletes[i].Athlete
	}
	of, err := tx.ConsentsOf(ids)
	if err != nil {
		return nil, err
	}
	s.consent, s.ended = make(map[string]bool, len(ids)), map[string]screen.Date{}
	for _, id := range ids {
		s.consent[id] = c.mayScreen(of[id], view.Day.On)
		for i := range of[id] {
			if x := &of[id][i]; x.Purpose == screen.ForScreening {
				s.ended[id] = max(s.ended[id], x.WithdrawnOn)
			}
		}
	}
	return s, s.read(tx)
}

// read reads the records of those in view.
func (s *dayState) read(tx *store.Tx) (err error) {
	view := &s.view
	for i := range view.Day.Stations {
		s.checks = s.checks || slices.ContainsFunc(view.Day.Stations[i].Steps, func(x screen.Step) bool { return x.Kind == screen.StepCheckIn })
	}
	if s.records, err = recordsOf(tx, view.Athletes); err != nil {
		return err
	}
	s.cells = make([]map[cellKey]*cellState, len(view.Athletes))
	for i := range s.cells {
		s.cells[i] = s.cellsOf(s.records[i])
	}
	return nil
}

// recordsOf are the records of those who have one, by their places.
func recordsOf(tx *store.Tx, list []DayAthlete) ([]*screen.Record, error) {
	ids := make([]string, len(list))
	for i := range list {
		ids[i] = list[i].Screen
	}
	there, err := tx.KnownScreens(ids)
	if err != nil {
		return nil, err
	}
	known, at := make([]string, 0, len(ids)), make([]int, 0, len(ids))
	for i, id := range ids {
		if there[id] {
			known, at = append(known, id), append(at, i)
		}
	}
	records, err := tx.Records(known)
	if err != nil {
		return nil, err
	}
	out := make([]*screen.Record, len(list))
	for i, r := range records {
		out[at[i]] = r
	}
	return out, nil
}

func (s *dayState) cellsOf(rec *screen.Record) map[cellKey]*cellState {
	out := map[cellKey]*cellState{}
	if rec == nil {
		return out
	}
	cell := func(about string, side screen.Side) *cellState {
		k := cellKey{about, side}
		if out[k] == nil {
			out[k] = &cellState{}
		}
		return out[k]
	}
	for i := range rec.Readings {
		r := &rec.Readings[i]
		if !r.Stands() {
			continue
		}
		x := cell(r.Measure, r.Side)
		if s.round(rec, r) == 2 {
			x.second = append(x.second, r)
		} else {
			x.first = append(x.first, r)
		}
	}
	for _, n := range rec.NotDone {
		round := 1
		if row := s.log.of(n.ID); row != nil {
			round = row.Round
		}
		cell(n.Measure, n.Side).notDone[round] = n.Reason
	}
	for _, a := range rec.Checklist {
		cell(a.Item, screen.NoSide).answered = true
	}
	return out
}

// round of a reading; a correction is of the round of what it corrects.
func (s *dayState) round(rec *screen.Record, r *screen.Reading) int {
	for r != nil {
		if row := s.log.of(r.ID); row != nil {
			return row.Round
		}
		old := r.Supersedes
		if r = nil; old != "" {
			if at := slices.IndexFunc(rec.Readings, func(x screen.Reading) bool { return x.ID == old }); at >= 0 {
				r = &rec.Readings[at]
			}
		}
	}
	return 1
}

// The marks of a cell.
const (
	markMissing = '.'
	markTaken   = 'x'
	markNotDone = 'n'
)

// mark says what is there of a cell in a round. Only measures are taken a second time, and only those
// that were taken the first.
func (s *dayState) mark(i int, c *screen.Cell, round int) byte {
	x := s.cells[i][cellKey{c.About, c.Side}]
	if c.About == screen.CheckInCell {
		if round == 2 {
			return markNotDone
		}
		if s.log.checked[s.view.Athletes[i].Athlete] != "" {
			return markTaken
		}
		return s.unlessSkipped(i, c)
	}
	isMeasure := s.p.Measure(c.About) != nil
	switch {
	case round == 2 && !isMeasure:
		return markNotDone
	case !isMeasure && (x == nil || !x.answered):
		return s.unlessSkipped(i, c)
	case x == nil:
		return markMissing
	case round == 1 && (len(x.first) > 0 || x.answered):
		return markTaken
	case round == 1 && (x.notDone[1] != "" || x.notDone[2] != "" && len(x.second) == 0):
		return markNotDone
	case round == 2 && len(x.second) > 0:
		return markTaken
	case round == 2 && (!isMeasure || x.notDone[2] != "" || len(x.first) == 0 && x.notDone[1] != ""):
		return markNotDone
	}
	return markMissing
}

// unlessSkipped is the mark of a check-in or an item that nobody took: missing, unless it is said why.
func (s *dayState) unlessSkipped(i int, c *screen.Cell) byte {
	if s.skipped(i, c) != "" {
		return markNotDone
	}
	return markMissing
}

func (s *dayState) skipped(i int, c *screen.Cell) screen.Reason {
	return s.log.skipped[skipKey{s.view.Athletes[i].Athlete, c.About}].reason
}

// holds are the names of the referral signs that stand, nil if there is none.
func (s *dayState) holds(i int) []string {
	var out []string
	if s.records[i] == nil {
		return nil
	}
	for _, x := range s.records[i].Symptoms {
		if def := s.p.Symptom(x.Symptom); x.Withdrawn == "" && def != nil && def.Referral && !slices.Contains(out, def.Name) {
			out = append(out, def.Name)
		}
	}
	return out
}

// helpers are those who entered something at a station, or at any, the last one first.
func (s *dayState) helpers(station string) []string {
	out := []string{}
	for i := len(s.log.rows) - 1; i >= 0; i-- {
		r := &s.log.rows[i]
		if r.Kind != screen.DayReleased && (station == "" || r.Station == station) && !slices.Contains(out, r.Examiner) {
			out = append(out, r.Examiner)
		}
		if len(out) == 12 {
			break
		}
	}
	return out
}

// lastAt is when the last entry of a station was made.
func (s *dayState) lastAt(station string) (last time.Time) {
	for i := range s.log.rows {
		if r := &s.log.rows[i]; r.Station == station && r.At.After(last) {
			last = r.At
		}
	}
	return last
}
