package clinic

import (
	"context"
	"slices"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Station is all that a station needs to work, also without network. code is what its link ends in.
// Returns NotFound.
func (c *Clinic) Station(ctx context.Context, who Person, code string) (out StationSheet, err error) {
	err = c.read(ctx, who, access.Enter, gate.Station(code), func(tx *store.Tx) error {
		day, err := tx.DayByStation(code)
		if err != nil {
			return err
		}
		s, err := c.dayState(tx, day.ID)
		if err != nil {
			return err
		}
		at := slices.IndexFunc(s.view.Day.Stations, func(st screen.Station) bool { return st.Code == code })
		if at < 0 {
			return &screen.Problem{Code: screen.NotFound, Text: "the station is no longer part of the day", Want: "open another station; what is still on the device is taken all the same"}
		}
		if out.Seq, err = daySeq(tx, day.ID); err != nil {
			return err
		}
		c.fillSheet(&out, s, &s.view.Day.Stations[at])
		return nil
	})
	return out, err
}

// DayOfStation is the id of the day that a station belongs to. Returns NotFound.
func (c *Clinic) DayOfStation(ctx context.Context, who Person, code string) (day string, err error) {
	err = c.read(ctx, who, access.Enter, gate.Station(code), func(tx *store.Tx) error {
		d, err := tx.DayByStation(code)
		day = d.ID
		return err
	})
	return day, err
}

func (c *Clinic) fillSheet(out *StationSheet, s *dayState, st *screen.Station) {
	p, d := c.Protocol(), &s.view.Day
	out.Day = SheetDay{ID: d.ID, Team: s.view.Team.Name, On: d.On, SideOrder: d.SideOrder, Closed: !d.Closed.IsZero(), Demo: c.demo}
	out.Station, out.Cells, out.Now, out.Protocol, out.Sport = *st, p.Cells(st), c.now().UTC(), p.NameAndVersion(), s.view.Team.Sport
	out.Measures, out.Items, out.Symptoms, out.Helpers = []SheetMeasure{}, []SheetItem{}, []SheetSymptom{}, s.helpers("")
	for i := range st.Steps {
		switch step := &st.Steps[i]; step.Kind {
		case screen.StepMeasure:
			if m := p.Measure(step.Measure); m != nil {
				out.Measures = append(out.Measures, sheetMeasure(m, p.TrialsAt(step)))
			}
		case screen.StepChecklist:
			for j := range p.Checklist {
				x := &p.Checklist[j]
				out.Items = append(out.Items, SheetItem{x.ID, x.Phase, x.Name})
			}
		case screen.StepCheckIn:
			for _, x := range p.Symptoms {
				out.Symptoms = append(out.Symptoms, SheetSymptom{x.ID, x.Name, x.Referral})
			}
		}
	}
	out.Athletes = make([]StationAthlete, 0, len(s.view.Athletes))
	for i := range s.view.Athletes {
		out.Athletes = append(out.Athletes, s.sheetAthlete(i, out.Cells))
	}
}

func sheetMeasure(m *screen.Measure, trials int) SheetMeasure {
	return SheetMeasure{ID: m.ID, Name: m.Name, Unit: screen.UnitWords(m.Unit), Paired: m.Paired, Limb: m.Limb, Scale: m.Scale,
		Trials: trials, Most: m.Trials.Most, AgreeWithin: m.Trials.AgreeWithin, Step: m.Step, Plausible: m.Plausible, Typical: m.Typical,
		SwapMargin: m.SwapMargin(), Placing: m.Resolved.Placing, Cap: m.Cap, Timed: m.Unit == "s", Categories: m.Categories,
		Say: m.SayWords, How: m.How, Position: m.Position, Instrument: m.Instrument}
}

var (
	anArm = &screen.Measure{Limb: screen.Arm}
	aLeg  = &screen.Measure{Limb: screen.Leg}
)

func (s *dayState) sheetAthlete(i int, cells []screen.Cell) StationAthlete {
	a := &s.view.Athletes[i]
	role := func(m *screen.Measure) [2]string {
		return [2]string{m.Role(screen.Left, a.Hand, a.Throws), m.Role(screen.Right, a.Hand, a.Throws)}
	}
	out := StationAthlete{ID: a.Athlete, Number: a.Number, Code: a.Code, Name: a.Person.Name, Hand: a.Hand, Arm: role(anArm), Leg: role(aLeg),
		First: s.view.Day.SideOrder.FirstSide(a.Hand, a.Throws), Twice: a.Twice, Asked: !s.checks || s.log.checked[a.Athlete] != "", Consent: s.consent[a.Athlete], Hold: s.holds(i)}
	for from, to := range s.log.alias {
		if to == a.Athlete && from != to {
			out.KnownAs = append(out.KnownAs, from)
		}
	}
	slices.Sort(out.KnownAs)
	marks := make([]byte, len(cells))
	for k := range cells {
		marks[k] = s.mark(i, &cells[k], 1)
	}
	out.Done = string(marks)
	if a.Twice {
		for k := range cells {
			marks[k] = s.mark(i, &cells[k], 2)
		}
		out.Second = string(marks)
	}
	return out
}

// DaySeq grows with everything that changes about a day: its entries, its plan and its list.
func (c *Clinic) DaySeq(ctx context.Context, who Person, day string) (int, error) {
	return c.seq(ctx, who, access.SeeRecords, gate.Day(day))
}

// StationSeq is DaySeq for a station of the day.
func (c *Clinic) StationSeq(ctx context.Context, who Person, code string) (int, error) {
	return c.seq(ctx, who, access.Enter, gate.Station(code))
}

func (c *Clinic) seq(ctx context.Context, who Person, a access.Action, about gate.About) (seq int, err error) {
	var day string
	of := func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		subjects, err := about(tx, today)
		if len(subjects) > 0 {
			day = subjects[0].ID
		}
		return subjects, err
	}
	err = c.read(ctx, who, a, of, func(tx *store.Tx) error {
		seq, err = daySeq(tx, day)
		return err
	})
	return seq, err
}
