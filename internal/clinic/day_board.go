package clinic

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Board is the state of a screening day. Returns NotFound.
func (c *Clinic) Board(ctx context.Context, who Person, day string) (out Board, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Day(day), func(tx *store.Tx) error {
		s, err := c.dayState(tx, day)
		if err != nil {
			return err
		}
		if out.Seq, err = daySeq(tx, day); err != nil {
			return err
		}
		if out.Again, err = c.askAll(tx, s); err != nil {
			return err
		}
		out.Day, out.Team, out.Unlisted, out.Now = s.view.Day, s.view.Team, s.view.Unlisted, c.now()
		s.board(&out)
		return nil
	})
	return out, err
}

func (s *dayState) board(b *Board) {
	stations := s.view.Day.Stations
	cells := make([][]screen.Cell, len(stations))
	for k := range stations {
		cells[k] = s.p.Cells(&stations[k])
		b.Stations = append(b.Stations, BoardStation{Station: stations[k], Helpers: s.helpers(stations[k].Code), Last: s.lastAt(stations[k].Code)})
	}
	finished := make([][]time.Time, len(stations))
	for i := range s.view.Athletes {
		row := s.boardRow(i, cells, b, finished)
		if row.Hold {
			b.Holds = append(b.Holds, BoardHold{row.Athlete, row.Person.Name, row.Number, s.holds(i)})
		}
		if !row.Consent {
			b.Without = append(b.Without, BoardRef{row.Athlete, row.Person.Name, row.Number, s.ended[row.Athlete]})
		}
		if row.Complete {
			b.Complete++
		}
		b.Rows = append(b.Rows, row)
		b.Conflicts = append(b.Conflicts, s.conflicts(i)...)
	}
	for k := range b.Stations {
		st := &b.Stations[k]
		st.PerHour, st.End = pace(finished[k], st.Of-st.Through, b.Now)
	}
	b.Late, b.Changes = s.late(), s.changes()
}

func (s *dayState) boardRow(i int, cells [][]screen.Cell, b *Board, finished [][]time.Time) BoardRow {
	row := BoardRow{DayAthlete: s.view.Athletes[i], Hold: len(s.holds(i)) > 0, Consent: s.consent[s.view.Athletes[i].Athlete], Complete: true}
	row.CheckIn = !s.checks || s.log.checked[row.Athlete] != ""
	for k := range cells {
		cell := s.boardCell(i, cells[k])
		row.Cells = append(row.Cells, cell)
		through := cell.Missing == 0 && cell.SecondMissing == 0
		row.Complete = row.Complete && through
		st := &b.Stations[k]
		filled := cell.Taken + cell.NotDone + cell.Second
		if (row.Hold || !row.Consent) && !through { // nothing more is taken
			continue
		}
		st.Of++
		st.Cells += filled + cell.Missing + cell.SecondMissing
		st.Filled += filled
		if through {
			st.Through++
			if at := s.finishedAt(row.Athlete, st.Code); !at.IsZero() {
				finished[k] = append(finished[k], at)
			}
		}
	}
	return row
}

// finishedAt is when the last entry of an athlete at a station was made.
func (s *dayState) finishedAt(athlete, station string) (at time.Time) {
	if s.finish == nil {
		s.finish = map[[2]string]time.Time{}
		for i := range s.log.rows {
			r := &s.log.rows[i]
			if k := [2]string{r.Athlete, r.Station}; r.At.After(s.finish[k]) && r.Kind != screen.DayUndo && !s.log.undone[r.ID] {
				s.finish[k] = r.At
			}
		}
	}
	return s.finish[[2]string{athlete, station}]
}

func (s *dayState) boardCell(i int, cells []screen.Cell) (out BoardCell) {
	reasons := map[screen.Reason]int{}
	for k := range cells {
		c := &cells[k]
		switch s.mark(i, c, 1) {
		case markTaken:
			out.Taken++
		case markNotDone:
			out.NotDone++
			if x := s.cells[i][cellKey{c.About, c.Side}]; x != nil && s.p.Measure(c.About) != nil {
				reasons[firstReason(x)]++
			} else {
				reasons[s.skipped(i, c)]++
			}
		default:
			out.Missing++
			out.Names = append(out.Names, s.cellName(c))
		}
		if s.view.Athletes[i].Twice && s.p.Measure(c.About) != nil {
			switch s.mark(i, c, 2) {
			case markTaken:
				out.Second++
			case markMissing:
				out.SecondMissing++
			}
		}
	}
	if out.NotDone > 0 {
		var why []string
		for _, r := range screen.Reasons() {
			if reasons[r] > 0 {
				why = append(why, strings.ReplaceAll(string(r), "_", " "))
			}
		}
		out.Others = fmt.Sprintf("%d not done: %s", out.NotDone, strings.Join(why, ", "))
	}
	return out
}

func firstReason(x *cellState) screen.Reason {
	if x.notDone[1] != "" {
		return x.notDone[1]
	}
	return x.notDone[2]
}

// cellName is a cell in words.
func (s *dayState) cellName(c *screen.Cell) string {
	if m := s.p.Measure(c.About); m != nil {
		return sided(m.Name, c.Side)
	}
	if it := s.p.Item(c.About); it != nil {
		return it.Name
	}
	return "Check-in"
}

func sided(name string, side screen.Side) string {
	if side == screen.NoSide {
		return name
	}
	return name + ", " + string(side)
}

// conflicts are the cells that were measured by two helpers, or twice on two devices, without anybody
// having asked for it. All the readings are kept, and scored as those of two examiners.
func (s *dayState) conflicts(i int) (out []BoardConflict) {
	a := &s.view.Athletes[i]
	for k := range s.p.Measures {
		m := &s.p.Measures[k]
		for _, side := range []screen.Side{screen.Left, screen.Right, screen.NoSide} {
			x := s.cells[i][cellKey{m.ID, side}]
			if x == nil {
				continue
			}
			for _, list := range [][]*screen.Reading{x.first, x.second} {
				if found := s.unplanned(list); found != nil {
					out = append(out, BoardConflict{Athlete: a.Athlete, Name: a.Person.Name, Screen: a.Screen, Number: a.Number,
						Measure: m.Name, Side: side, Readings: s.boardReadings(m, found)})
				}
			}
		}
	}
	return out
}

// unplanned are the readings of a cell that nobody asked to be taken again, if they are of two helpers
// or devices.
func (s *dayState) unplanned(list []*screen.Reading) (out []*screen.Reading) {
	several := false
	for _, r := range list {
		if row := s.log.of(r.ID); row != nil && row.Again {
			continue
		}
		several = several || len(out) > 0 && (r.Examiner != out[0].Examiner || r.Device != out[0].Device)
		out = append(out, r)
	}
	if !several {
		return nil
	}
	return out
}

func (s *dayState) boardReadings(m *screen.Measure, list []*screen.Reading) (out []BoardReading) {
	for _, r := range list {
		words := make([]string, len(r.Trials))
		for i, t := range r.Trials {
			words[i] = m.Say(t)
		}
		x := BoardReading{Reading: r.ID, Examiner: r.Examiner, Device: r.Device, Trials: strings.Join(words, ", "), At: r.Entered}
		if row := s.log.of(r.ID); row != nil {
			x.At, x.Late = row.At, row.Late
		}
		out = append(out, x)
	}
	return out
}

// late says for whom entries came in after the day was closed.
func (s *dayState) late() (out []BoardLate) {
	at := map[string]int{}
	for i := range s.log.rows {
		r := &s.log.rows[i]
		if !r.Late || r.Kind == screen.DayReleased {
			continue
		}
		k, ok := at[r.Athlete]
		if !ok {
			k = len(out)
			at[r.Athlete] = k
			out = append(out, BoardLate{Athlete: r.Athlete})
			if a := s.athlete(r.Athlete); a != nil {
				out[k].Name, out[k].Number = a.Person.Name, a.Number
			}
		}
		out[k].N++
		out[k].Last = r.Received
		if !slices.Contains(out[k].Examiners, r.Examiner) {
			out[k].Examiners = append(out[k].Examiners, r.Examiner)
		}
	}
	return out
}

func (s *dayState) athlete(id string) *DayAthlete {
	for i := range s.view.Athletes {
		if s.view.Athletes[i].Athlete == id {
			return &s.view.Athletes[i]
		}
	}
	return nil
}

// changes says whose throwing hand was changed at check-in.
func (s *dayState) changes() (out []string) {
	for i := range s.log.rows {
		r := &s.log.rows[i]
		was, is, changed := strings.Cut(r.About, ">")
		a := s.athlete(r.Athlete)
		if r.Kind != screen.DayCheckIn || !changed || s.log.undone[r.ID] || a == nil {
			continue
		}
		out = append(out, fmt.Sprintf("%s throws with %s, says %s at check-in; on record was %s. It holds from today: look at earlier screens, and change the record if it was wrong from the start.",
			a.Person.Name, handWords(is), r.Examiner, handWords(was)))
	}
	return out
}

func handWords(h string) string {
	switch screen.Hand(h) {
	case screen.BothHands:
		return "both hands"
	case "":
		return "no hand"
	}
	return "the " + h + " hand"
}
