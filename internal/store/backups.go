package store

import (
	"encoding/json"
	"fmt"
	"time"
)

type backupRow struct {
	ID        string
	At        int64
	Name      string
	Bytes     int64
	Encrypted bool
	AuditSeq  int64
	AuditHash string
}

func (r *backupRow) dest() []any {
	return []any{&r.ID, &r.At, &r.Name, &r.Bytes, &r.Encrypted, &r.AuditSeq, &r.AuditHash}
}

func (r *backupRow) backup() Backup {
	return Backup{r.ID, instant(r.At), r.Name, r.Bytes, r.Encrypted, r.AuditSeq, r.AuditHash}
}

// mostBackups is how many backups are listed: those of three years, one a day.
const mostBackups = 1000

// Backups lists the backups that were made of this file, the newest first, at most 1,000.
func (tx *Tx) Backups() ([]Backup, error) {
	rows, err := all[backupRow](tx, qBackups, int64(1<<63-1), mostBackups)
	return convert(rows, (*backupRow).backup), err
}

// AddBackup puts on record that a backup was made.
func (tx *Tx) AddBackup(b *Backup) (err error) {
	defer tx.fail(&err)
	return tx.exec(qBackupAdd, b.ID, micros(b.At), b.Name, b.Bytes, b.Encrypted, b.AuditSeq, b.AuditHash)
}

// BackupPlan is the schedule of backups by which the file was last served, and how its last try failed.
// The zero BackupPlan is no schedule.
type BackupPlan struct {
	Every  time.Duration `json:"every"`
	Keep   int           `json:"keep"`
	Failed time.Time     `json:"failed,omitzero"` // zero: the last try went well
	Why    string        `json:"why,omitempty"`
}

type textRow struct{ Text string }

func (r *textRow) dest() []any { return []any{&r.Text} }

// BackupPlan is the schedule that is on record.
func (tx *Tx) BackupPlan() (p BackupPlan, err error) {
	r, found, err := one[textRow](tx, qBackupPlan)
	if err != nil || !found {
		return p, err
	}
	if err := json.Unmarshal([]byte(r.Text), &p); err != nil {
		return p, fmt.Errorf("store: the schedule of backups: %w", err)
	}
	return p, nil
}

// PutBackupPlan puts the schedule on record.
func (tx *Tx) PutBackupPlan(p BackupPlan) (err error) {
	defer tx.fail(&err)
	b, err := json.Marshal(p)
	if err != nil {
		return fmt.Errorf("store: the schedule of backups: %w", err)
	}
	return tx.exec(qBackupSet, string(b), tx.now(), "")
}

// count runs a statement that writes and says how many rows it wrote.
func (tx *Tx) count(query string, args ...any) (int64, error) {
	st, ok := tx.stmts[query]
	if !ok {
		return 0, fmt.Errorf("store: statement is not in the list: %s", query)
	}
	res, err := tx.sql.StmtContext(tx.ctx, st).ExecContext(tx.ctx, args...)
	if err != nil {
		return 0, fmt.Errorf("store: write: %w", err)
	}
	return res.RowsAffected()
}
