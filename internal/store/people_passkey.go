package store

import (
	"time"

	"evenhand/internal/access"
)

const (
	keyCols     = "id, account_id, name, credential, created, used"
	qPasskeys   = "SELECT " + keyCols + " FROM passkeys WHERE account_id = ? ORDER BY created, id"
	qPasskeyUse = "UPDATE passkeys SET credential = ?, used = ? WHERE id = ?"
	qPasskey    = "SELECT " + keyCols + " FROM passkeys WHERE id = ?"
	qPasskeyEnd = "DELETE FROM passkeys WHERE id = ?"
)

var passkeyStatements = []string{qPasskeys, qPasskey, qPasskeyUse, qPasskeyEnd}

type passkeyRow struct {
	ID         string
	AccountID  string
	Name       string
	Credential []byte
	Created    int64
	Used       int64
}

// TableName is the table of passkeys.
func (passkeyRow) TableName() string { return "passkeys" }

func (r *passkeyRow) dest() []any {
	return []any{&r.ID, &r.AccountID, &r.Name, &r.Credential, &r.Created, &r.Used}
}

func (r *passkeyRow) passkey() access.Passkey {
	return access.Passkey{ID: r.ID, Account: r.AccountID, Name: r.Name, Credential: r.Credential,
		Created: instant(r.Created), Used: instant(r.Used)}
}

// Passkeys are those of an account, the oldest first.
func (tx *Tx) Passkeys(account string) ([]access.Passkey, error) {
	rows, err := all[passkeyRow](tx, qPasskeys, account)
	return convert(rows, (*passkeyRow).passkey), err
}

// AddPasskey keeps a passkey. Returns Conflict if its id is taken, Invalid if its account is not on
// record.
func (tx *Tx) AddPasskey(p *access.Passkey) (err error) {
	defer tx.fail(&err)
	r := passkeyRow{ID: p.ID, AccountID: p.Account, Name: p.Name, Credential: blob(p.Credential), Created: micros(p.Created), Used: micros(p.Used)}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return tx.refused(err, "passkey", ref{"account", qAccountExists, p.Account})
	}
	return nil
}

// UsePasskey notes when a passkey was used and what the standard's library now knows of it.
func (tx *Tx) UsePasskey(id string, credential []byte, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qPasskeyUse, blob(credential), micros(at), id)
}

// DropPasskey removes a passkey of an account. Returns NotFound if the account has none with that id.
func (tx *Tx) DropPasskey(account, id string) (err error) {
	defer tx.fail(&err)
	r, found, err := one[passkeyRow](tx, qPasskey, id)
	if err != nil {
		return err
	}
	if !found || r.AccountID != account {
		return notFound("passkey")
	}
	return tx.exec(qPasskeyEnd, id)
}
