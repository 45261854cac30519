package clinic

import (
	"context"
	"fmt"
	"io"

	"evenhand/internal/access"
	"evenhand/internal/exchange"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
	"evenhand/internal/study"
)

// Retest is what repeated readings of a team say of its measurement error.
type Retest struct {
	Team  screen.Team
	From  screen.Date // the days that were looked at; empty: no day has repeats
	To    screen.Date
	Days  []RetestDay  // newest first
	Study *study.Study // nil: nobody was measured twice on these days
	Notes []string     // what to know about the days chosen
}

// RetestDay is a screening day on which a side was read more than once.
type RetestDay struct {
	On       screen.Date `json:"on"`
	Athletes int         `json:"athletes" doc:"with a side that was read more than once"`
	Sides    int         `json:"sides" doc:"sides read more than once, each measure by itself"`
}

const (
	retestScreens = 600 // newest screens of a team that are searched for days with repeats
	retestDays    = 12  // days offered
	retestSpan    = 14  // days beyond which a true change is likely to pass for error

	// Each examiner has a mean of its own in the model: with hundreds of names, which are then no names
	// of persons, it would take minutes.
	retestExaminers = 50
)

// Retest is the study of a team's repeated readings from one day to another, both included; of one day
// if only one is given, of the newest day on which somebody was measured twice if none is. Only screens
// of the team count. Returns NotFound or Faults.
func (c *Clinic) Retest(ctx context.Context, who Person, team string, from, to screen.Date) (out Retest, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		out, err = c.retest(tx, team, from, to)
		return err
	})
	return out, err
}

func (c *Clinic) retest(tx *store.Tx, team string, from, to screen.Date) (out Retest, err error) {
	if out.Team, err = tx.Team(team); err != nil {
		return out, err
	}
	if out.Days, err = daysWithRepeats(tx, team); err != nil {
		return out, err
	}
	readings, from, to, err := retestReadings(tx, team, from, to, out.Days)
	if err != nil {
		return out, err
	}
	out.From, out.To = from, to
	if len(readings) > 0 {
		out.Study = study.New(c.Protocol(), readings)
	}
	if from != "" && from.AddDays(retestSpan) < to {
		out.Notes = append(out.Notes, fmt.Sprintf("The days lie more than %d days apart: what truly changed between them passes for error here.", retestSpan))
	}
	return out, nil
}

// RetestReadings are the readings that such a study is made of, for a file. Returns NotFound, Faults,
// or Invalid if there are none.
func (c *Clinic) RetestReadings(ctx context.Context, who Person, team string, from, to screen.Date) (out []study.Reading, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if _, err := tx.Team(team); err != nil {
			return err
		}
		var days []RetestDay
		if from == "" && to == "" {
			if days, err = daysWithRepeats(tx, team); err != nil {
				return err
			}
		}
		out, _, _, err = retestReadings(tx, team, from, to, days)
		if err == nil && len(out) == 0 {
			err = noRepeats()
		}
		return err
	})
	return out, err
}

func noRepeats() error {
	return invalid("measure every fifth athlete twice on a screening day, or give days on which that was done", "nobody was measured twice on these days")
}

// retestReadings are those of the athletes who were measured twice from one day to another, in the order
// of days and entries. Without days it is the newest of those given.
func retestReadings(tx *store.Tx, team string, from, to screen.Date, days []RetestDay) ([]study.Reading, screen.Date, screen.Date, error) {
	switch {
	case from == "" && to == "" && len(days) == 0:
		return nil, "", "", nil
	case from == "" && to == "":
		from, to = days[0].On, days[0].On
	case from == "":
		from = to
	case to == "":
		to = from
	}
	var f screen.Faults
	if checkSpan(from, to, true, &f); len(f) > 0 {
		return nil, from, to, f
	}
	ids, err := tx.TeamScreensBetween(team, from, to)
	if err != nil {
		return nil, from, to, err
	}
	if len(ids) > retestScreens {
		return nil, from, to, tooMuchForRetest(fmt.Sprintf("there are %d screens between these days", len(ids)), fmt.Sprintf("days with %d at most", retestScreens))
	}
	records, err := tx.Records(ids)
	if err != nil {
		return nil, from, to, err
	}
	readings := ofRepeated(study.FromRecords(records))
	if n := len(readings); n > exchange.MaxRetestReadings {
		return nil, from, to, tooMuchForRetest(fmt.Sprintf("the athletes who were measured twice between these days have %d readings", n), fmt.Sprintf("days with %d at most", exchange.MaxRetestReadings))
	}
	if n := examinersOf(readings); n > retestExaminers {
		return nil, from, to, tooMuchForRetest(fmt.Sprintf("%d examiners read between these days", n), fmt.Sprintf("days with %d at most, each under one name", retestExaminers))
	}
	return readings, from, to, nil
}

// examinersOf counts the names under which was read.
func examinersOf(readings []study.Reading) int {
	names := map[string]bool{}
	for i := range readings {
		names[readings[i].Examiner] = true
	}
	return len(names)
}

func tooMuchForRetest(text, want string) error {
	var f screen.Faults
	f.Add("to", want, "%s", text)
	return f
}

// retestCell is a measure of an athlete on one side.
type retestCell struct {
	athlete, measure string
	side             screen.Side
}

func cellOf(r *study.Reading) retestCell { return retestCell{r.Athlete, r.Measure, r.Side} }

// ofRepeated leaves the readings of athletes with a side that was read more than once.
func ofRepeated(readings []study.Reading) []study.Reading {
	seen, repeated := map[retestCell]bool{}, map[string]bool{}
	for i := range readings {
		cell := cellOf(&readings[i])
		repeated[cell.athlete] = repeated[cell.athlete] || seen[cell]
		seen[cell] = true
	}
	var out []study.Reading
	for i := range readings {
		if repeated[readings[i].Athlete] {
			out = append(out, readings[i])
		}
	}
	return out
}

// daysWithRepeats finds the newest days on which an athlete of the team had a side read more than once,
// among the newest screens.
func daysWithRepeats(tx *store.Tx, team string) (out []RetestDay, err error) {
	p := Page{Limit: 200}
	var day []study.Reading
	for looked := 0; looked < retestScreens && len(out) < retestDays; looked += p.Limit {
		list, next, err := tx.TeamScreens(team, p)
		if err != nil {
			return nil, err
		}
		ids := make([]string, len(list))
		for i := range list {
			ids[i] = list[i].ID
		}
		records, err := tx.Records(ids)
		if err != nil {
			return nil, err
		}
		for _, r := range study.FromRecords(records) {
			if len(day) > 0 && day[0].Occasion != r.Occasion {
				out, day = withDay(out, day), day[:0]
			}
			day = append(day, r)
		}
		if p.After = next; next == "" {
			break
		}
	}
	out = withDay(out, day)
	return out[:min(len(out), retestDays)], nil
}

// withDay appends the day of the readings if somebody was measured twice.
func withDay(days []RetestDay, readings []study.Reading) []RetestDay {
	times, athletes := map[retestCell]int{}, map[string]bool{}
	sides := 0
	for i := range readings {
		cell := cellOf(&readings[i])
		if times[cell]++; times[cell] == 2 {
			sides++
			athletes[cell.athlete] = true
		}
	}
	if sides == 0 {
		return days
	}
	return append(days, RetestDay{On: readings[0].Occasion, Athletes: len(athletes), Sides: sides})
}

// FileStudy is a study of readings that came from a file.
type FileStudy struct {
	Study    *study.Study
	Readings []study.Reading
	Notes    []string // what was taken for granted in reading
}

// RetestOfFile reads a file of repeated readings (see exchange.ReadRetest) and works out their study.
// Nothing is stored. Returns NotFound, Faults with their places in the file, or Invalid if no side was
// read twice.
func (c *Clinic) RetestOfFile(ctx context.Context, who Person, team string, r io.Reader, maxBytes int64) (out FileStudy, err error) {
	err = c.read(ctx, who, access.ManageMethod, gate.Team(team), func(tx *store.Tx) error {
		_, err := tx.Team(team)
		return err
	})
	if err != nil {
		return out, err
	}
	if out.Readings, out.Notes, err = exchange.ReadRetest(r, c.Protocol(), exchange.Options{Today: c.Today(), MaxBytes: maxBytes}); err != nil {
		return out, err
	}
	out.Study, err = c.studyOf(out.Readings)
	return out, err
}

// studyOf is the study of readings that are not on record.
func (c *Clinic) studyOf(readings []study.Reading) (*study.Study, error) {
	if len(ofRepeated(readings)) == 0 {
		return nil, invalid("at least two rows of the same athlete, measure and side", "no side was read twice")
	}
	if n := examinersOf(readings); n > retestExaminers {
		return nil, invalid(fmt.Sprintf("at most %d, each under one name all through", retestExaminers), "%d examiners are named", n)
	}
	return study.New(c.Protocol(), readings), nil
}
