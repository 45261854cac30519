package store

import (
	"time"

	"evenhand/internal/access"
)

const (
	programCols  = "hash, id, account_id, name, scopes, team_id, created, expires, used, revoked"
	qProgram     = "SELECT " + programCols + " FROM tokens WHERE hash = ?"
	qProgramsOf  = "SELECT " + programCols + " FROM tokens WHERE account_id = ? ORDER BY created DESC, id DESC"
	qProgramUse  = "UPDATE tokens SET used = ? WHERE hash = ?"
	qProgramEnd  = "UPDATE tokens SET revoked = ? WHERE id = ? AND account_id = ? AND revoked = 0"
	qProgramsEnd = "UPDATE tokens SET revoked = ? WHERE account_id = ? AND revoked = 0"
)

var tokenStatements = []string{qProgram, qProgramsOf, qProgramUse, qProgramEnd, qProgramsEnd}

type tokenRow struct {
	Hash      string `gorm:"primaryKey"`
	ID        string `gorm:"column:id"`
	AccountID string
	Name      string
	Scopes    string
	TeamID    string
	Created   int64
	Expires   int64
	Used      int64
	Revoked   int64
}

// TableName is the table of tokens.
func (tokenRow) TableName() string { return "tokens" }

func (r *tokenRow) dest() []any {
	return []any{&r.Hash, &r.ID, &r.AccountID, &r.Name, &r.Scopes, &r.TeamID, &r.Created, &r.Expires, &r.Used, &r.Revoked}
}

// token is r as a token. Without scopes it has an empty list of them, never none: none would mean that
// it is not bounded.
func (r *tokenRow) token() (access.Token, error) {
	t := access.Token{Hash: r.Hash, ID: r.ID, Account: r.AccountID, Name: r.Name, Scopes: []access.Scope{}, Team: r.TeamID,
		Created: instant(r.Created), Expires: instant(r.Expires), Used: instant(r.Used), Revoked: instant(r.Revoked)}
	list, err := parseTextList(r.Scopes)
	for _, s := range list {
		t.Scopes = append(t.Scopes, access.Scope(s))
	}
	return t, err
}

// Token is the token with a secret's hash, and whether there is one, past ones included.
func (tx *Tx) Token(hash string) (access.Token, bool, error) {
	r, found, err := one[tokenRow](tx, qProgram, hash)
	if err != nil || !found {
		return access.Token{}, false, err
	}
	t, err := r.token()
	return t, err == nil, err
}

// Tokens are those of an account, the newest first, past ones included.
func (tx *Tx) Tokens(account string) (out []access.Token, err error) {
	err = each(tx, qProgramsOf, func(r *tokenRow) error {
		t, err := r.token()
		out = append(out, t)
		return err
	}, account)
	return out, err
}

// AddToken keeps a token. Returns Conflict if its hash or id is taken, Invalid if its account is not on
// record.
func (tx *Tx) AddToken(t *access.Token) (err error) {
	defer tx.fail(&err)
	scopes := make([]string, len(t.Scopes))
	for i, s := range t.Scopes {
		scopes[i] = string(s)
	}
	r := tokenRow{Hash: t.Hash, ID: t.ID, AccountID: t.Account, Name: t.Name, Scopes: textList(scopes), TeamID: t.Team,
		Created: micros(t.Created), Expires: micros(t.Expires), Used: micros(t.Used), Revoked: micros(t.Revoked)}
	if err := tx.gorm.Create(&r).Error; err != nil {
		return tx.refused(err, "token", ref{"account", qAccountExists, t.Account})
	}
	return nil
}

// UseToken notes when a token was used.
func (tx *Tx) UseToken(hash string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qProgramUse, micros(at), hash)
}

// RevokeToken ends a token of an account. Returns NotFound if the account has none with that id.
func (tx *Tx) RevokeToken(account, id string, at time.Time) (err error) {
	defer tx.fail(&err)
	list, err := tx.Tokens(account)
	if err != nil {
		return err
	}
	for i := range list {
		if list[i].ID == id {
			return tx.exec(qProgramEnd, micros(at), id, account)
		}
	}
	return notFound("token")
}

// RevokeTokens ends all tokens of an account.
func (tx *Tx) RevokeTokens(account string, at time.Time) (err error) {
	defer tx.fail(&err)
	return tx.exec(qProgramsEnd, micros(at), account)
}
