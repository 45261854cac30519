package store

import (
	"bytes"

	"evenhand/internal/screen"
)

const (
	keptPriorHead = "p.id, p.team_id, p.on_day, p.protocol, p.hash, p.made, p.by_id"
	// Whether there is a newer one of the same day is one look-up in the index by team, day and time.
	qKeptPriors = "SELECT " + keptPriorHead + ", NULL FROM squad_priors p WHERE p.team_id = ? AND NOT EXISTS (SELECT 1" +
		" FROM squad_priors x WHERE x.team_id = p.team_id AND x.on_day = p.on_day AND (x.made, x.id) > (p.made, p.id))" +
		" ORDER BY p.on_day DESC"
	qKeptPrior = "SELECT " + keptPriorHead + ", p.body FROM squad_priors p WHERE p.id = ?"
)

type keptPriorRow struct {
	ID       string
	TeamID   string
	On       string `gorm:"column:on_day"`
	Protocol string
	Hash     string
	Made     int64
	By       string `gorm:"column:by_id"`
	Body     []byte
}

// TableName is the table of what was usual in a team.
func (keptPriorRow) TableName() string { return "squad_priors" }

func (r *keptPriorRow) dest() []any {
	return []any{&r.ID, &r.TeamID, &r.On, &r.Protocol, &r.Hash, &r.Made, &r.By, &r.Body}
}

func keptPriorRowOf(p *screen.KeptPrior, now int64) keptPriorRow {
	r := keptPriorRow{ID: p.ID, TeamID: p.Team, On: string(p.On), Protocol: p.Protocol, Hash: p.Hash, Made: micros(p.Made),
		By: p.By, Body: blob(p.Body)}
	if r.Made == 0 {
		r.Made = now
	}
	return r
}

// blob is b as it is written: nil would be NULL.
func blob(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

func (r *keptPriorRow) prior() screen.KeptPrior {
	return screen.KeptPrior{ID: r.ID, Team: r.TeamID, On: screen.Date(r.On), Protocol: r.Protocol, Hash: r.Hash,
		Made: instant(r.Made), By: r.By, Body: r.Body}
}

// same reports whether both say the same, whenever they were made.
func (r *keptPriorRow) same(o *keptPriorRow) bool {
	return r.ID == o.ID && r.TeamID == o.TeamID && r.On == o.On && r.Protocol == o.Protocol && r.Hash == o.Hash &&
		r.By == o.By && bytes.Equal(r.Body, o.Body)
}

// KeptPriors are what was usual in a team on each of its days, as it was worked out last, the newest
// day first, without their bodies: every score of the team asks. None for an unknown team.
func (tx *Tx) KeptPriors(team string) ([]screen.KeptPrior, error) {
	rows, err := all[keptPriorRow](tx, qKeptPriors, team)
	return convert(rows, (*keptPriorRow).prior), err
}

// KeptPrior is what was usual in a team by id, with its body. Returns NotFound.
func (tx *Tx) KeptPrior(id string) (screen.KeptPrior, error) {
	r, found, err := one[keptPriorRow](tx, qKeptPrior, id)
	if err == nil && !found {
		err = notFound("record of what is usual in a team")
	}
	return r.prior(), err
}

// PutKeptPrior keeps what was usual in a team on a day and reports whether it was new; one that is on
// file with the same content is left alone. Of two on the same day the one made later counts. Made is
// set to now where it is zero. Returns Conflict if the id is taken by another one, Invalid for an id
// that cannot be kept or a team that is not on record.
func (tx *Tx) PutKeptPrior(p screen.KeptPrior) (added bool, err error) {
	defer tx.fail(&err)
	const kind = "record of what is usual in a team"
	if err := checkID(kind, p.ID); err != nil {
		return false, err
	}
	r := keptPriorRowOf(&p, tx.now())
	old, found, err := one[keptPriorRow](tx, qKeptPrior, p.ID)
	if err != nil {
		return false, err
	}
	if found {
		return false, takenUnless(old.same(&r), kind)
	}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return false, tx.refused(err, kind, ref{"team", qTeamExists, p.Team})
	}
	return true, nil
}
