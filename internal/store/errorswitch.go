package store

import (
	"database/sql"

	"evenhand/internal/screen"
)

const (
	switchCols  = "id, team_id, study_id, at, by_name, why"
	qSwitches   = "SELECT " + switchCols + " FROM error_switches WHERE team_id = ? ORDER BY at DESC, id DESC LIMIT ?"
	qSwitchLast = "SELECT " + switchCols + " FROM error_switches WHERE team_id = ? ORDER BY at DESC, id DESC LIMIT 1"
	qSwitch     = "SELECT " + switchCols + " FROM error_switches WHERE id = ?"
)

// mostSwitches is how many switches of a team ErrorSwitches gives.
const mostSwitches = 200

type switchRow struct {
	ID      string
	TeamID  string
	StudyID sql.NullString
	At      int64
	By      string `gorm:"column:by_name"`
	Why     string
}

// TableName is the table of switches between errors.
func (switchRow) TableName() string { return "error_switches" }

func (r *switchRow) dest() []any {
	return []any{&r.ID, &r.TeamID, &r.StudyID, &r.At, &r.By, &r.Why}
}

// content is r without the moment, which the server may set.
func (r switchRow) content() switchRow {
	r.At = 0
	return r
}

func switchRowOf(s *screen.ErrorSwitch, now int64) switchRow {
	r := switchRow{ID: s.ID, TeamID: s.Team, StudyID: maybe(s.Study), At: micros(s.At), By: s.By, Why: s.Why}
	if r.At == 0 {
		r.At = now
	}
	return r
}

func (r *switchRow) errorSwitch() screen.ErrorSwitch {
	return screen.ErrorSwitch{ID: r.ID, Team: r.TeamID, Study: r.StudyID.String, At: instant(r.At), By: r.By, Why: r.Why}
}

// ErrorSwitches are the switches between errors of a team, the newest first, 200 at most. None for an
// unknown team.
func (tx *Tx) ErrorSwitches(team string) ([]screen.ErrorSwitch, error) {
	rows, err := all[switchRow](tx, qSwitches, team, mostSwitches)
	return convert(rows, (*switchRow).errorSwitch), err
}

// ErrorInUse is the newest switch of a team, and whether there is one; without one the team is scored
// with the published errors.
func (tx *Tx) ErrorInUse(team string) (screen.ErrorSwitch, bool, error) {
	r, found, err := one[switchRow](tx, qSwitchLast, team)
	return r.errorSwitch(), found, err
}

// PutErrorSwitch keeps a switch to the errors of a study, or to the published ones if it names none,
// and reports whether it was new; one that is on file with the same content is left alone. At is set to
// now where it is zero. Returns Conflict if the id is taken by another switch, Invalid for an id that
// cannot be kept, a team that is not on record or a study that is not one of the team's.
func (tx *Tx) PutErrorSwitch(s screen.ErrorSwitch) (added bool, err error) {
	defer tx.fail(&err)
	const kind = "switch of errors"
	if err := checkID(kind, s.ID); err != nil {
		return false, err
	}
	r := switchRowOf(&s, tx.now())
	old, found, err := one[switchRow](tx, qSwitch, s.ID)
	if err != nil {
		return false, err
	}
	if found {
		return false, takenUnless(old.content() == r.content(), kind)
	}
	if err := tx.studyOf(s.Study, s.Team); err != nil {
		return false, err
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return false, tx.refused(err, kind, ref{"team", qTeamExists, s.Team})
	}
	return true, nil
}

// studyOf refuses a study that is not one of the team's; none is no study.
func (tx *Tx) studyOf(study, team string) error {
	if study == "" {
		return nil
	}
	_, found, err := one[flagRow](tx, qStudyOf, study, team)
	if err == nil && !found {
		err = &screen.Problem{Code: screen.Invalid,
			Text: "the study whose errors are to be used is not one of the team's", Want: "a study of the team, or none"}
	}
	return err
}
