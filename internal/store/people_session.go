package store

import (
	"time"

	"evenhand/internal/access"
)

const (
	sessionCols   = "hash, id, account_id, device, created, used, expires"
	qSession      = "SELECT " + sessionCols + " FROM sessions WHERE hash = ?"
	qSessionsOf   = "SELECT " + sessionCols + " FROM sessions WHERE account_id = ? ORDER BY created DESC, id DESC"
	qSessionUse   = "UPDATE sessions SET used = ? WHERE hash = ?"
	qSessionEnd   = "DELETE FROM sessions WHERE hash = ?"
	qSessionSweep = "DELETE FROM sessions WHERE expires <= ?"
)

var sessionStatements = []string{qSession, qSessionsOf, qSessionUse, qSessionEnd, qSessionSweep}

type sessionRow struct {
	Hash      string `gorm:"primaryKey"`
	ID        string `gorm:"column:id"`
	AccountID string
	Device    string
	Created   int64
	Used      int64
	Expires   int64
}

// TableName is the table of sessions.
func (sessionRow) TableName() string { return "sessions" }

func (r *sessionRow) dest() []any {
	return []any{&r.Hash, &r.ID, &r.AccountID, &r.Device, &r.Created, &r.Used, &r.Expires}
}

func (r *sessionRow) session() access.Session {
	return access.Session{Hash: r.Hash, ID: r.ID, Account: r.AccountID, Device: r.Device,
		Created: instant(r.Created), Used: instant(r.Used), Expires: instant(r.Expires)}
}

// Session is the session with a secret's hash, and whether there is one, past ones included.
func (tx *Tx) Session(hash string) (access.Session, bool, error) {
	r, found, err := one[sessionRow](tx, qSession, hash)
	return r.session(), found, err
}

// Sessions are those of an account, the newest first, past ones included.
func (tx *Tx) Sessions(account string) ([]access.Session, error) {
	rows, err := all[sessionRow](tx, qSessionsOf, account)
	return convert(rows, (*sessionRow).session), err
}

// AddSession keeps a session. Returns Conflict if its hash or id is taken, Invalid if its account is
// not on record.
func (tx *Tx) AddSession(s *access.Session) (err error) {
	defer tx.fail(&err)
	r := sessionRow{Hash: s.Hash, ID: s.ID, AccountID: s.Account, Device: s.Device, Created: micros(s.Created), Used: micros(s.Used), Expires: micros(s.Expires)}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return tx.refused(err, "session", ref{"account", qAccountExists, s.Account})
	}
	return nil
}

// UseSession notes when a session was used.
func (tx *Tx) UseSession(hash string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qSessionUse, micros(at), hash)
}

// EndSession removes a session; one that is not there is none the worse.
func (tx *Tx) EndSession(hash string) (err error) {
	defer tx.fail(&err)
	return tx.exec(qSessionEnd, hash)
}

// EndSessions removes all sessions of an account but the one with the id keep.
func (tx *Tx) EndSessions(account, keep string) (err error) {
	defer tx.fail(&err)
	list, err := tx.Sessions(account)
	if err != nil {
		return err
	}
	for i := range list {
		if list[i].ID == keep {
			continue
		}
		if err := tx.exec(qSessionEnd, list[i].Hash); err != nil {
			return err
		}
	}
	return nil
}

// SweepSessions removes every session that is past.
func (tx *Tx) SweepSessions(now time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qSessionSweep, micros(now))
}
