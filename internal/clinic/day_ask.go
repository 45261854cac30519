package clinic

import (
	"context"
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// What is worth measuring again is asked of a station only if the athlete is likely to be still there:
// after a small batch about few athletes. The board asks about everybody.
const (
	askEntries  = 40
	askAthletes = 3
)

// settles is the chance from which another placing is worth the time: the score's own advice begins
// there.
const settles = 0.4

// askNow asks about what a station just sent.
func (c *Clinic) askNow(ctx context.Context, who Person, day, code string, entries []StationEntry) ([]DayQuestion, error) {
	about := map[string][]string{} // athlete -> measures just read
	for i := range entries {
		if e := &entries[i]; e.Kind == screen.DayReading {
			about[e.Athlete] = append(about[e.Athlete], e.About)
		}
	}
	out := []DayQuestion{}
	if len(about) == 0 || len(about) > askAthletes || len(entries) > askEntries {
		return out, nil
	}
	err := c.read(ctx, who, access.Enter, gate.Station(code), func(tx *store.Tx) error {
		return c.logs.read(tx, day, func(l *dayLog) (err error) {
			s := &dayState{p: c.Protocol(), log: l}
			if s.view, err = c.viewOf(tx, day, func(id string) bool { return s.asked(about, id) != nil }); err != nil {
				return err
			}
			if err := s.read(tx); err != nil {
				return err
			}
			all, err := c.ask(tx, s)
			for _, q := range all {
				if q.Station == code && slices.Contains(s.asked(about, q.Athlete), q.Measure) && (q.Kind == unsettledKind || q.fromLast) {
					out = append(out, q.DayQuestion)
				}
			}
			return err
		})
	})
	return out, err
}

// asked are the measures of an athlete in about, also under the id that a device made.
func (s *dayState) asked(about map[string][]string, athlete string) []string {
	if m, ok := about[athlete]; ok {
		return m
	}
	for from, to := range s.log.alias {
		if m, ok := about[from]; ok && to == athlete {
			return m
		}
	}
	return nil
}

// askAll asks about everybody in view.
func (c *Clinic) askAll(tx *store.Tx, s *dayState) ([]DayQuestion, error) {
	all, err := c.ask(tx, s)
	out := make([]DayQuestion, len(all))
	for i := range all {
		out[i] = all[i].DayQuestion
	}
	return out, err
}

const unsettledKind = "unsettled"

// asking is a question, and whether it comes of the screen before: a station has asked the others
// itself, while the values were typed.
type asking struct {
	DayQuestion
	fromLast bool
}

func (c *Clinic) ask(tx *store.Tx, s *dayState) (out []asking, err error) {
	by, err := c.scoring(tx, s.view.Day.Team)
	if err != nil {
		return nil, err
	}
	stationOf := map[string]string{}
	for i := range s.view.Day.Stations {
		st := &s.view.Day.Stations[i]
		for _, cell := range c.Protocol().Cells(st) {
			stationOf[cell.About] = st.Code
		}
	}
	for i := range s.view.Athletes {
		a, rec := &s.view.Athletes[i], s.records[i]
		if rec == nil || len(rec.Readings) == 0 || len(s.holds(i)) > 0 {
			continue
		}
		last, err := c.before(tx, rec)
		if err != nil {
			return nil, err
		}
		list := append(s.odd(i, rec, last), s.unsettled(i, by.Score(rec))...)
		for _, q := range list {
			q.Athlete, q.Name, q.Number, q.Screen, q.Station = a.Athlete, a.Person.Name, a.Number, rec.Screen.ID, stationOf[q.Measure]
			out = append(out, q)
		}
	}
	return out, nil
}

// odd are the questions about values that are unlikely to be what was meant, but for trials that were
// apart and to which another one was added.
func (s *dayState) odd(i int, rec, last *screen.Record) (out []asking) {
	alone := s.p.Questions(rec, nil)
	for _, q := range s.p.Questions(rec, last) {
		x := s.cells[i][cellKey{q.Measure, q.Side}]
		if q.Kind == "trials_apart" && (s.addedTo(rec, q.Reading) || x != nil && s.again(x)) {
			continue
		}
		out = append(out, asking{DayQuestion{Kind: q.Kind, Measure: q.Measure, Side: q.Side, Reading: q.Reading, Text: q.Text}, !slices.Contains(alone, q)})
	}
	return out
}

// addedTo reports whether a reading has more trials than are planned.
func (s *dayState) addedTo(rec *screen.Record, reading string) bool {
	for i := range rec.Readings {
		if r := &rec.Readings[i]; r.ID == reading {
			m := s.p.Measure(r.Measure)
			return m != nil && len(r.Trials) > max(m.Trials.Planned, s.planned(r.Measure))
		}
	}
	return false
}

// planned is how many trials the day asks for.
func (s *dayState) planned(measure string) int {
	for i := range s.view.Day.Stations {
		for k := range s.view.Day.Stations[i].Steps {
			if st := &s.view.Day.Stations[i].Steps[k]; st.Measure == measure {
				return s.p.TrialsAt(st)
			}
		}
	}
	return 0
}

// again reports whether a cell was measured again after a question.
func (s *dayState) again(x *cellState) bool {
	return slices.ContainsFunc(slices.Concat(x.first, x.second), func(r *screen.Reading) bool {
		row := s.log.of(r.ID)
		return row != nil && row.Again
	})
}

// counts are the rules whose verdict matters: those counted, and the conditions of those that ask for
// several and are themselves unsettled.
func counts(rep *score.Report) map[string]bool {
	out := map[string]bool{}
	for k := range rep.Findings {
		f := &rep.Findings[k]
		if !f.Counted {
			continue
		}
		out[f.Rule] = true
		for _, part := range f.Parts {
			out[part] = out[part] || f.Verdict == score.Unsettled
		}
	}
	return out
}

// unsettled are the findings that count, that one more placing may well settle, and that were not yet
// measured again.
func (s *dayState) unsettled(i int, rep *score.Report) (out []asking) {
	counted := counts(rep)
	for k := range rep.Findings {
		f := &rep.Findings[k]
		m, rule := s.p.Measure(f.Measure), s.p.Rule(f.Rule)
		if f.Verdict != score.Unsettled || !counted[f.Rule] || f.Chance == nil || f.Chance.NewPlacing < settles ||
			m == nil || m.Derived != nil || rule == nil || rule.OnDeficit != "" {
			continue
		}
		sides := []screen.Side{screen.Left, screen.Right}
		side := screen.NoSide
		if f.Side == screen.Left || f.Side == screen.Right {
			sides, side = []screen.Side{f.Side}, f.Side
		}
		if !s.once(i, m.ID, sides) || slices.ContainsFunc(out, func(q asking) bool { return q.Measure == m.ID }) {
			continue
		}
		where := "both sides"
		if side != screen.NoSide {
			where = "the " + string(side) + " side"
		}
		out = append(out, asking{DayQuestion: DayQuestion{Kind: unsettledKind, Measure: m.ID, Side: side,
			Text: m.Name + ": the error of the measurement leaves it open. Placed anew and measured once more, " + where + ", it settles in about " + score.OutOf100(f.Chance.NewPlacing) + "."}})
	}
	return out
}

// once reports whether each of the sides was read, and no side more than once.
func (s *dayState) once(i int, measure string, sides []screen.Side) bool {
	for _, side := range sides {
		x := s.cells[i][cellKey{measure, side}]
		if x == nil || len(x.first) != 1 || len(x.second) > 0 {
			return false
		}
	}
	return true
}
