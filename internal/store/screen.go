package store

import (
	"database/sql"

	"evenhand/internal/screen"
)

const (
	screenCols = "id, athlete_id, team_id, on_day, kind, examiner, protocol, threw, note, revision, changed"
	screenOf   = "s.id, s.athlete_id, s.team_id, s.on_day, s.kind, s.examiner, s.protocol, s.threw, s.note," +
		" s.revision, s.changed"
	qTeamScreens = "SELECT " + screenCols + " FROM screens WHERE team_id = ? AND (on_day, id) < (?, ?)" +
		" ORDER BY on_day DESC, id DESC LIMIT ?"
	qAthleteScreens = "SELECT " + screenCols + " FROM screens WHERE athlete_id = ? AND (on_day, id) < (?, ?)" +
		" ORDER BY on_day DESC, id DESC LIMIT ?"
	qScreen       = "SELECT " + screenCols + " FROM screens WHERE id = ?"
	qScreenExists = "SELECT 1 FROM screens WHERE id = ?"
	qScreenBump   = "UPDATE screens SET revision = revision + 1, changed = ? WHERE id = ?"
	qScreensIn    = "SELECT " + screenOf + " FROM json_each(?) j CROSS JOIN screens s ON s.id = j.value"
	qBaseline     = "SELECT " + screenCols + " FROM screens s WHERE athlete_id = ? AND kind = 'preseason' AND on_day <= ?" +
		" AND NOT EXISTS (SELECT 1 FROM symptoms y WHERE y.screen_id = s.id AND y.withdrawn = '')" +
		" ORDER BY on_day DESC, id DESC LIMIT 1"
	qRevision    = "SELECT s.revision, a.revision FROM screens s CROSS JOIN athletes a ON a.id = s.athlete_id WHERE s.id = ?"
	qRevisionsIn = "SELECT s.id, s.revision, a.revision FROM json_each(?) j CROSS JOIN screens s ON s.id = j.value" +
		" CROSS JOIN athletes a ON a.id = s.athlete_id"
)

type screenRow struct {
	ID        string
	AthleteID string
	TeamID    string
	On        string `gorm:"column:on_day"`
	Kind      string
	Examiner  string
	Protocol  string
	Threw     sql.NullBool
	Note      string
	Revision  int
	Changed   int64
}

// TableName is the table of screens.
func (screenRow) TableName() string { return "screens" }

func (r *screenRow) dest() []any {
	return []any{&r.ID, &r.AthleteID, &r.TeamID, &r.On, &r.Kind, &r.Examiner, &r.Protocol, &r.Threw, &r.Note,
		&r.Revision, &r.Changed}
}

func (r *screenRow) key() [2]string { return [2]string{r.On, r.ID} }

func screenRowOf(s *screen.Screen) screenRow {
	r := screenRow{ID: s.ID, AthleteID: s.Athlete, TeamID: s.Team, On: string(s.On), Kind: string(s.Kind),
		Examiner: s.Examiner, Protocol: s.Protocol, Note: s.Note, Revision: s.Revision, Changed: micros(s.Changed)}
	if s.ThrewIn48h != nil {
		r.Threw = sql.NullBool{Bool: *s.ThrewIn48h, Valid: true}
	}
	return r
}

func (r *screenRow) screen() screen.Screen {
	s := screen.Screen{ID: r.ID, Athlete: r.AthleteID, Team: r.TeamID, On: screen.Date(r.On), Kind: screen.Kind(r.Kind),
		Examiner: r.Examiner, Protocol: r.Protocol, Note: r.Note, Revision: r.Revision, Changed: instant(r.Changed)}
	if r.Threw.Valid {
		threw := r.Threw.Bool
		s.ThrewIn48h = &threw
	}
	return s
}

// content is r without what the server sets.
func (r screenRow) content() screenRow {
	r.Revision, r.Changed = 0, 0
	return r
}

// revisionRow is what a record was made from: it is up to date while both revisions hold.
type revisionRow struct {
	ID              string
	Screen, Athlete int
}

func (r *revisionRow) dest() []any { return []any{&r.ID, &r.Screen, &r.Athlete} }

type revisionPair struct{ Screen, Athlete int }

func (r *revisionPair) dest() []any { return []any{&r.Screen, &r.Athlete} }

// TeamScreens is a page of a team's screens, newest first, and the mark of the next page ("" after
// the last one). Returns Invalid if p's mark is not one of ours.
func (tx *Tx) TeamScreens(team string, p Page) ([]screen.Screen, string, error) {
	rows, next, err := pageOf(tx, qTeamScreens, p, afterAll, (*screenRow).key, team)
	return convert(rows, (*screenRow).screen), next, err
}

// AthleteScreens is a page of an athlete's screens in any team, newest first, and the mark of the
// next page ("" after the last one). Returns Invalid if p's mark is not one of ours.
func (tx *Tx) AthleteScreens(athlete string, p Page) ([]screen.Screen, string, error) {
	rows, next, err := pageOf(tx, qAthleteScreens, p, afterAll, (*screenRow).key, athlete)
	return convert(rows, (*screenRow).screen), next, err
}

// Screen is the screen with the id given, without what was entered at it. Returns NotFound if there
// is none.
func (tx *Tx) Screen(id string) (screen.Screen, error) {
	r, found, err := one[screenRow](tx, qScreen, id)
	if err == nil && !found {
		err = notFound("screen")
	}
	return r.screen(), err
}

// ScreenRevision is the revision of a screen, which changes with everything that is entered at it,
// and that of its athlete. Returns NotFound if there is no such screen.
func (tx *Tx) ScreenRevision(id string) (ofScreen, ofAthlete int, err error) {
	r, found, err := one[revisionPair](tx, qRevision, id)
	if err == nil && !found {
		err = notFound("screen")
	}
	return r.Screen, r.Athlete, err
}

// Baseline is the athlete's last preseason screen on or before the day given at which no symptom was
// entered (or each was withdrawn), and whether there is one.
func (tx *Tx) Baseline(athlete string, before screen.Date) (screen.Screen, bool, error) {
	r, found, err := one[screenRow](tx, qBaseline, athlete, string(before))
	return r.screen(), found, err
}

// PutScreen writes a screen: a new one if ifRevision is 0, otherwise over the one that is at that
// revision. It sets s's Revision and Changed to what is on file, and reports whether anything was
// written: a screen that says the same already is left alone, whatever its revision. Returns
// Conflict, NotFound, Stale, or Invalid if the athlete or the team is not on record, or if a screen
// is to change its athlete or team, to whom its readings belong.
func (tx *Tx) PutScreen(s *screen.Screen, ifRevision int) (wrote bool, err error) {
	defer tx.fail(&err)
	if err := checkID("screen", s.ID); err != nil {
		return false, err
	}
	old, found, err := one[screenRow](tx, qScreen, s.ID)
	if err != nil {
		return false, err
	}
	r := screenRowOf(s)
	wrote, err = decide("screen", found, old.content() == r.content(), old.Revision, ifRevision)
	if err != nil {
		return false, err
	}
	if !wrote {
		*s = old.screen()
		return false, nil
	}
	if found && (old.AthleteID != r.AthleteID || old.TeamID != r.TeamID) {
		return false, &screen.Problem{Code: screen.Invalid,
			Text: "a screen keeps its athlete and its team", Want: "enter a new screen"}
	}
	r.Revision, r.Changed = old.Revision+1, tx.now()
	if err := tx.put(found, &r); err != nil {
		return false, tx.refused(err, "screen",
			ref{"athlete", qAthleteExists, s.Athlete}, ref{"team", qTeamExists, s.Team})
	}
	*s = r.screen()
	return true, nil
}
