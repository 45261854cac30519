package store

import "time"

const (
	backupCols  = "id, at, name, bytes, encrypted, audit_seq, audit_hash"
	qBackups    = "SELECT " + backupCols + " FROM backups WHERE at < ? ORDER BY at DESC, id DESC LIMIT ?"
	qBackupAdd  = "INSERT INTO backups (" + backupCols + ") VALUES (?, ?, ?, ?, ?, ?, ?)"
	qBackupPlan = "SELECT value FROM settings WHERE name = 'backups'"
	qBackupSet  = "INSERT INTO settings (name, value, changed, by_id) VALUES ('backups', ?, ?, ?)" +
		" ON CONFLICT (name) DO UPDATE SET value = excluded.value, changed = excluded.changed, by_id = excluded.by_id"
	// The conditions on keys only say where to look: every row meets them.
	qSessionsEnd = "DELETE FROM sessions WHERE hash > ''"
	qLinksEnd    = "UPDATE links SET revoked = ? WHERE hash > '' AND revoked = 0 AND (used = 0 OR kind = 'family')"
	qTokensEnd   = "UPDATE tokens SET revoked = ? WHERE hash > '' AND revoked = 0" //nolint:gosec // no token is in it
)

// keepingStatements are those of backups, and of what ends when one is restored.
var keepingStatements = []string{qBackups, qBackupAdd, qBackupPlan, qBackupSet, qSessionsEnd, qLinksEnd, qTokensEnd}

// Ended says how much a restored file no longer lets in.
type Ended struct{ Sessions, Links, Tokens int64 }

// EndAccess ends every session, link and token: one that was ended or used after a backup was made would
// otherwise work again once that backup is restored.
func (tx *Tx) EndAccess() (out Ended, err error) {
	defer tx.fail(&err)
	if out.Sessions, err = tx.count(qSessionsEnd); err != nil {
		return out, err
	}
	if out.Links, err = tx.count(qLinksEnd, tx.now()); err != nil {
		return out, err
	}
	out.Tokens, err = tx.count(qTokensEnd, tx.now())
	return out, err
}

// Mark is a place in the audit that was noted somewhere else: the number and the hash of an entry. From
// says where it was noted.
type Mark struct {
	Seq  int64
	Hash string
	From string
}

// Backup is a copy that was made: when, its name without a folder, its size, and the last entry of the
// audit that is in it.
type Backup struct {
	ID        string
	At        time.Time
	Name      string
	Bytes     int64
	Encrypted bool
	AuditSeq  int64
	AuditHash string
}

// Mark is the place in the audit that the backup knows of.
func (b *Backup) Mark() Mark { return Mark{b.AuditSeq, b.AuditHash, "the backup " + b.Name} }
