package clinic

import (
	"context"

	"evenhand/internal/access"
	"evenhand/internal/chart"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Assessment is a record with its score.
type Assessment struct {
	Record *screen.Record
	Report *score.Report
	Errors screen.ErrorSwitch // the squad's own errors in use; zero: the published ones
}

// Score scores one screen. Returns NotFound.
func (c *Clinic) Score(ctx context.Context, who Person, screenID string) (out Assessment, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Screen(screenID), func(tx *store.Tx) error {
		rec, by, err := c.recordToScore(tx, screenID)
		if err != nil {
			return err
		}
		out.Record = rec
		out.Report, out.Errors = by.Score(out.Record), by.Errors
		return nil
	})
	return out, err
}

// SquadRow is an athlete of a squad in triage, with name and report.
type SquadRow struct {
	score.Row
	Name   string        `json:"name"`
	On     screen.Date   `json:"on"`
	Report *score.Report `json:"-"`
}

// Squad is a team's triage.
type Squad struct {
	Team       screen.Team
	Rows       []SquadRow
	Unscreened []score.NamedAthlete
}

// Triage orders the members that a team has today by who needs attention, each by the newest screen.
// Returns NotFound.
func (c *Clinic) Triage(ctx context.Context, who Person, team string) (out Squad, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Team(team), func(tx *store.Tx) error {
		if out.Team, err = tx.Team(team); err != nil {
			return err
		}
		latest, err := tx.LatestScreens(team, c.Today())
		if err != nil {
			return err
		}
		by, err := c.scoring(tx, team)
		if err != nil {
			return err
		}
		return triageRows(tx, latest, &by, &out)
	})
	return out, err
}

// HeatRows is the squad in the order of triage, those not screened at the end.
func (s *Squad) HeatRows() []chart.HeatRow {
	rows := make([]chart.HeatRow, 0, len(s.Rows)+len(s.Unscreened))
	for i := range s.Rows {
		rows = append(rows, chart.HeatRow{Athlete: s.Rows[i].Athlete, Label: s.Rows[i].Name, Report: s.Rows[i].Report})
	}
	for _, a := range s.Unscreened {
		rows = append(rows, chart.HeatRow{Athlete: a.ID, Label: a.Name})
	}
	return rows
}

func triageRows(tx *store.Tx, latest []store.Latest, by *scoring, out *Squad) error {
	ids := make([]string, 0, len(latest))
	names := make(map[string]string, len(latest))
	out.Unscreened = []score.NamedAthlete{}
	for i := range latest {
		names[latest[i].Athlete] = latest[i].Name
		if latest[i].Screen == nil {
			out.Unscreened = append(out.Unscreened, score.NamedAthlete{ID: latest[i].Athlete, Name: latest[i].Name})
			continue
		}
		ids = append(ids, latest[i].Screen.ID)
	}
	records, err := tx.Records(ids)
	if err != nil {
		return err
	}
	reports := make([]*score.Report, len(records))
	byScreen := make(map[string]*score.Report, len(records))
	for i, rec := range records {
		reports[i] = by.Score(rec)
		byScreen[rec.Screen.ID] = reports[i]
	}
	rows := by.Triage(reports)
	out.Rows = make([]SquadRow, len(rows))
	for i, r := range rows {
		rep := byScreen[r.Screen]
		out.Rows[i] = SquadRow{Row: r, Name: names[r.Athlete], On: rep.On, Report: rep}
	}
	return nil
}

// Latest is the assessment of an athlete's newest screen; ok is false if there is none. Returns
// NotFound if there is no such athlete.
func (c *Clinic) Latest(ctx context.Context, who Person, athlete string) (out Assessment, ok bool, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Athlete(athlete), func(tx *store.Tx) error {
		if _, err := tx.Athlete(athlete); err != nil {
			return err
		}
		list, _, err := tx.AthleteScreens(athlete, Page{Limit: 1})
		if err != nil || len(list) == 0 {
			return err
		}
		rec, by, err := c.recordToScore(tx, list[0].ID)
		if err != nil {
			return err
		}
		out.Record = rec
		out.Report, out.Errors, ok = by.Score(out.Record), by.Errors, true
		return nil
	})
	return out, ok, err
}

// TeamsOf lists the teams that an athlete's screens name, each once.
func (c *Clinic) TeamsOf(ctx context.Context, who Person, athlete string) (out []screen.Team, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Athlete(athlete), func(tx *store.Tx) error {
		list, _, err := tx.AthleteScreens(athlete, Page{Limit: 200})
		if err != nil {
			return err
		}
		seen := map[string]bool{}
		for i := range list {
			if id := list[i].Team; !seen[id] {
				seen[id] = true
				t, err := tx.Team(id)
				if err != nil {
					return err
				}
				out = append(out, t)
			}
		}
		return nil
	})
	return out, err
}

// Sides is what a record says of each measure, and the published symmetry formulas where they make
// sense.
type Sides struct {
	Record  *screen.Record
	Pairs   []score.Pair
	Indices []score.Index
}

// Sides gives every measure of a screen with both sides. Returns NotFound.
func (c *Clinic) Sides(ctx context.Context, who Person, screenID string) (out Sides, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Screen(screenID), func(tx *store.Tx) error {
		rec, by, err := c.recordToScore(tx, screenID)
		if err != nil {
			return err
		}
		out.Record = rec
		opt := by.options(out.Record)
		out.Pairs, out.Indices = by.Pairs(out.Record, opt), by.Indices(out.Record, opt)
		return nil
	})
	return out, err
}
