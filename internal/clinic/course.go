package clinic

import (
	"context"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/score"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// CourseView is the course of an athlete with what else stands beside it. Without a screen the course
// has no visits and the team is empty.
type CourseView struct {
	Athlete screen.Athlete
	Team    screen.Team        // of the newest screen
	Errors  screen.ErrorSwitch // the squad's own errors that this team uses; zero: the published ones
	All     []screen.Event     // the oldest first, withdrawn ones included
	Hold    bool               // a referral sign or an injury, and no clearance since
	*score.Course
}

// Measure is the course by a rule, on a side if one is named; nil if there is none.
func (v *CourseView) Measure(rule string, side screen.Side) *score.MeasureCourse {
	for i := range v.Measures {
		m := &v.Measures[i]
		if m.Rule == rule && (side == "" || m.Side == "" || m.Side == screen.NoSide || m.Side == side) {
			return m
		}
	}
	return nil
}

// Course is what became of an athlete from visit to visit, whichever teams they were made for. Each
// visit is scored as its own team's screens are. Returns NotFound.
func (c *Clinic) Course(ctx context.Context, who Person, athlete string) (out CourseView, err error) {
	err = c.read(ctx, who, access.SeeRecords, gate.Athlete(athlete), func(tx *store.Tx) error {
		if out.Athlete, err = tx.Athlete(athlete); err != nil {
			return err
		}
		if out.All, err = tx.Events(athlete); err != nil {
			return err
		}
		ids, err := tx.AthleteScreenIDs(athlete)
		if err != nil {
			return err
		}
		records, err := tx.Records(ids)
		if err != nil {
			return err
		}
		newest, err := c.scorings(tx).course(athlete, records, out.All, &out.Course)
		if err != nil || newest == nil {
			return err
		}
		out.Errors, out.Hold = newest.by.Errors, onHold(out.Course)
		out.Team, err = tx.Team(newest.team)
		return err
	})
	return out, err
}

// courses are the courses of several athletes, those without a screen included. One who is asked for
// must be on record.
func (c *Clinic) courses(tx *store.Tx, athletes []string) (map[string]*score.Course, error) {
	events, err := tx.EventsOf(athletes)
	if err != nil {
		return nil, err
	}
	var all []string
	for _, a := range athletes {
		ids, err := tx.AthleteScreenIDs(a)
		if err != nil {
			return nil, err
		}
		all = append(all, ids...)
	}
	records, err := tx.Records(all)
	if err != nil {
		return nil, err
	}
	of := map[string][]*screen.Record{}
	for _, rec := range records {
		of[rec.Athlete.ID] = append(of[rec.Athlete.ID], rec)
	}
	out, by := make(map[string]*score.Course, len(athletes)), c.scorings(tx)
	for _, a := range athletes {
		var course *score.Course
		if _, err := by.course(a, of[a], events[a], &course); err != nil {
			return nil, err
		}
		out[a] = course
	}
	return out, nil
}

// scorings are those of the teams that come up in a transaction, each read once.
type scorings struct {
	c      *Clinic
	tx     *store.Tx
	byTeam map[string]*scoring
}

func (c *Clinic) scorings(tx *store.Tx) *scorings { return &scorings{c, tx, map[string]*scoring{}} }

func (s *scorings) of(team string) (*scoring, error) {
	if have := s.byTeam[team]; have != nil {
		return have, nil
	}
	read, err := s.c.scoring(s.tx, team)
	if err != nil {
		return nil, err
	}
	s.byTeam[team] = &read
	return &read, nil
}

// newestTeam is that of an athlete's newest screen, with what it is scored with.
type newestTeam struct {
	team string
	by   *scoring
}

// course works out the course of one athlete from all of the athlete's records. newest is nil if there
// is none.
func (s *scorings) course(athlete string, records []*screen.Record, events []screen.Event, out **score.Course) (newest *newestTeam, err error) {
	in := score.CourseInput{Events: events, Today: s.c.Today()}
	scorer := s.c.scorer
	for _, rec := range screen.Occasions(records) {
		by, err := s.of(rec.Screen.Team)
		if err != nil {
			return nil, err
		}
		in.Visits = append(in.Visits, score.Visited{Record: rec, Report: by.Score(rec)})
		newest, scorer = &newestTeam{rec.Screen.Team, by}, by.Scorer
	}
	*out = scorer.Course(in)
	(*out).Athlete = athlete // who was never screened, too
	return newest, nil
}
