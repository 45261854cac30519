package store

import (
	"bytes"

	"evenhand/internal/screen"
)

const (
	studyHead = "id, team_id, name, from_day, to_day, protocol, hash, made, by_id"
	qStudies  = "SELECT " + studyHead + ", NULL, NULL FROM studies WHERE team_id = ? ORDER BY made DESC, id DESC"
	qStudy    = "SELECT " + studyHead + ", body, data FROM studies WHERE id = ?"
	qStudyOf  = "SELECT 1 FROM studies WHERE id = ? AND team_id = ?"
)

type studyRow struct {
	ID       string
	TeamID   string
	Name     string
	From     string `gorm:"column:from_day"`
	To       string `gorm:"column:to_day"`
	Protocol string
	Hash     string
	Made     int64
	By       string `gorm:"column:by_id"`
	Body     []byte
	Data     []byte
}

// TableName is the table of retest studies.
func (studyRow) TableName() string { return "studies" }

func (r *studyRow) dest() []any {
	return []any{&r.ID, &r.TeamID, &r.Name, &r.From, &r.To, &r.Protocol, &r.Hash, &r.Made, &r.By, &r.Body, &r.Data}
}

func studyRowOf(s *screen.KeptStudy, now int64) studyRow {
	r := studyRow{ID: s.ID, TeamID: s.Team, Name: s.Name, From: string(s.From), To: string(s.To), Protocol: s.Protocol,
		Hash: s.Hash, Made: micros(s.Made), By: s.By, Body: blob(s.Body), Data: blob(s.Data)}
	if r.Made == 0 {
		r.Made = now
	}
	return r
}

func (r *studyRow) study() screen.KeptStudy {
	return screen.KeptStudy{ID: r.ID, Team: r.TeamID, Name: r.Name, From: screen.Date(r.From), To: screen.Date(r.To),
		Protocol: r.Protocol, Hash: r.Hash, Made: instant(r.Made), By: r.By, Body: r.Body, Data: r.Data}
}

// same reports whether both say the same, whenever they were made.
func (r *studyRow) same(o *studyRow) bool {
	return r.ID == o.ID && r.TeamID == o.TeamID && r.Name == o.Name && r.From == o.From && r.To == o.To &&
		r.Protocol == o.Protocol && r.Hash == o.Hash && r.By == o.By && bytes.Equal(r.Body, o.Body) && bytes.Equal(r.Data, o.Data)
}

// Studies are a team's retest studies, the newest first, without Body and Data. None for an unknown
// team.
func (tx *Tx) Studies(team string) ([]screen.KeptStudy, error) {
	rows, err := all[studyRow](tx, qStudies, team)
	return convert(rows, (*studyRow).study), err
}

// Study is the retest study with the id given, with Body and Data. Returns NotFound if there is none.
func (tx *Tx) Study(id string) (screen.KeptStudy, error) {
	r, found, err := one[studyRow](tx, qStudy, id)
	if err == nil && !found {
		err = notFound("retest study")
	}
	return r.study(), err
}

// PutStudy keeps a retest study and reports whether it was new; one that is on file with the same
// content is left alone. Made is set to now where it is zero. Returns Conflict if the id is taken by
// another study, Invalid for an id that cannot be kept or a team that is not on record.
func (tx *Tx) PutStudy(s screen.KeptStudy) (added bool, err error) {
	defer tx.fail(&err)
	if err := checkID("retest study", s.ID); err != nil {
		return false, err
	}
	r := studyRowOf(&s, tx.now())
	old, found, err := one[studyRow](tx, qStudy, s.ID)
	if err != nil {
		return false, err
	}
	if found {
		return false, takenUnless(old.same(&r), "retest study")
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return false, tx.refused(err, "retest study", ref{"team", qTeamExists, s.Team})
	}
	return true, nil
}
