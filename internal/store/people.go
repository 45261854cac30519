package store

import (
	"slices"
	"strings"
	"time"

	"evenhand/internal/access"
)

const (
	accountCols     = "id, login, name, password, totp, totp_used, created, disabled, revision"
	qAccount        = "SELECT " + accountCols + " FROM accounts WHERE id = ?"
	qAccountByLogin = "SELECT " + accountCols + " FROM accounts WHERE login = ?"
	qAccountsAfter  = "SELECT " + accountCols + " FROM accounts WHERE id > ? ORDER BY id LIMIT ?"
	qAccountExists  = "SELECT 1 FROM accounts WHERE id = ?"
	qAccountAny     = "SELECT 1 FROM accounts WHERE id > '' LIMIT 1"

	qGrants     = "SELECT account_id, team_id, role FROM grants WHERE account_id = ? ORDER BY team_id, role"
	qGrantsTeam = "SELECT account_id, team_id, role FROM grants WHERE team_id = ? ORDER BY account_id, role"
	qGrantAdd   = "INSERT INTO grants (account_id, team_id, role, made, by_id) VALUES (?, ?, ?, ?, ?)"
	qGrantDrop  = "DELETE FROM grants WHERE account_id = ? AND team_id = ? AND role = ?"

	qRecoveryOpen = "SELECT hash FROM recovery_codes WHERE account_id = ? AND used = 0"
	qRecoveryAdd  = "INSERT INTO recovery_codes (account_id, hash, used) VALUES (?, ?, 0)"
	qRecoveryUse  = "UPDATE recovery_codes SET used = ? WHERE account_id = ? AND hash = ? AND used = 0"
	qRecoveryDrop = "DELETE FROM recovery_codes WHERE account_id = ?"
)

// peopleStatements are those of accounts, grants, passkeys, sessions, links and tokens.
var peopleStatements = slices.Concat([]string{
	qAccount, qAccountByLogin, qAccountsAfter, qAccountExists, qAccountAny,
	qGrants, qGrantsTeam, qGrantAdd, qGrantDrop,
	qRecoveryOpen, qRecoveryAdd, qRecoveryUse, qRecoveryDrop,
}, passkeyStatements, sessionStatements, linkStatements, tokenStatements)

type accountRow struct {
	ID       string
	Login    string
	Name     string
	Password string
	TOTP     string `gorm:"column:totp"`
	TOTPUsed int64  `gorm:"column:totp_used"`
	Created  int64
	Disabled int64
	Revision int
}

// TableName is the table of accounts.
func (accountRow) TableName() string { return "accounts" }

func (r *accountRow) dest() []any {
	return []any{&r.ID, &r.Login, &r.Name, &r.Password, &r.TOTP, &r.TOTPUsed, &r.Created, &r.Disabled, &r.Revision}
}

func (r *accountRow) account() access.Account {
	return access.Account{ID: r.ID, Login: r.Login, Name: r.Name, Password: r.Password, TOTP: r.TOTP, TOTPUsed: r.TOTPUsed,
		Created: instant(r.Created), Disabled: instant(r.Disabled), Revision: r.Revision}
}

// Account is the account with the id given. Returns NotFound if there is none.
func (tx *Tx) Account(id string) (access.Account, error) {
	r, found, err := one[accountRow](tx, qAccount, id)
	if err == nil && !found {
		err = notFound("account")
	}
	return r.account(), err
}

// AccountByLogin is the account that signs in as login, and whether there is one.
func (tx *Tx) AccountByLogin(login string) (access.Account, bool, error) {
	r, found, err := one[accountRow](tx, qAccountByLogin, login)
	return r.account(), found, err
}

// AnyAccount reports whether there is an account.
func (tx *Tx) AnyAccount() (bool, error) {
	_, found, err := one[flagRow](tx, qAccountAny)
	return found, err
}

// accountBatch is how many accounts are read at once.
const accountBatch = 200

// Accounts are all accounts by name: those who work with one file, and so not many.
func (tx *Tx) Accounts() (out []access.Account, err error) {
	for after := ""; ; {
		rows, err := all[accountRow](tx, qAccountsAfter, after, accountBatch)
		if err != nil {
			return nil, err
		}
		out = append(out, convert(rows, (*accountRow).account)...)
		if len(rows) < accountBatch {
			break
		}
		after = rows[len(rows)-1].ID
	}
	slices.SortFunc(out, func(a, b access.Account) int {
		if c := strings.Compare(personKey(a.Name), personKey(b.Name)); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	})
	return out, nil
}

// PutAccount writes an account, new or over the one with its id, and sets its Revision, and Created
// where it is zero. Returns Conflict if another account has the login, Invalid for an id that cannot be
// kept.
func (tx *Tx) PutAccount(a *access.Account) (err error) {
	defer tx.fail(&err)
	if err := checkID("account", a.ID); err != nil {
		return err
	}
	old, found, err := one[accountRow](tx, qAccount, a.ID)
	if err != nil {
		return err
	}
	if a.Created.IsZero() {
		a.Created = instant(tx.now())
	}
	r := accountRow{ID: a.ID, Login: a.Login, Name: a.Name, Password: a.Password, TOTP: a.TOTP, TOTPUsed: a.TOTPUsed,
		Created: micros(a.Created), Disabled: micros(a.Disabled), Revision: old.Revision + 1}
	if err := tx.put(found, &r); err != nil {
		return tx.refused(err, "account")
	}
	*a = r.account()
	return nil
}

type grantRow struct{ Account, Team, Role string }

func (r *grantRow) dest() []any { return []any{&r.Account, &r.Team, &r.Role} }

func (r *grantRow) grant() access.Grant {
	return access.Grant{Team: r.Team, Role: access.Role(r.Role)}
}

// Grants are the roles of an account by team. None for an unknown account.
func (tx *Tx) Grants(account string) ([]access.Grant, error) {
	rows, err := all[grantRow](tx, qGrants, account)
	if len(rows) == 0 {
		return nil, err
	}
	return convert(rows, (*grantRow).grant), err
}

// AccountsIn are the ids of the accounts that have a role in a team, by id; "" asks for those with a
// role in every team.
func (tx *Tx) AccountsIn(team string) (out []string, err error) {
	err = each(tx, qGrantsTeam, func(r *grantRow) error { out = append(out, r.Account); return nil }, team)
	return slices.Compact(out), err
}

// Overseers are the ids of the accounts that are not disabled and administrator of every team.
func (tx *Tx) Overseers() (out []string, err error) {
	rows, err := all[grantRow](tx, qGrantsTeam, "")
	if err != nil {
		return nil, err
	}
	for _, r := range rows {
		if access.Role(r.Role) != access.Administrator {
			continue
		}
		a, err := tx.Account(r.Account)
		if err != nil {
			return nil, err
		}
		if a.Disabled.IsZero() {
			out = append(out, a.ID)
		}
	}
	return out, nil
}

// SetGrants gives an account these roles and no others. Those that it has stay as they were made.
// Returns Invalid if the account is not on record.
func (tx *Tx) SetGrants(account string, grants []access.Grant, by string) (err error) {
	defer tx.fail(&err)
	old, err := tx.Grants(account)
	if err != nil {
		return err
	}
	for _, g := range old {
		if slices.Contains(grants, g) {
			continue
		}
		if err := tx.exec(qGrantDrop, account, g.Team, string(g.Role)); err != nil {
			return err
		}
	}
	for i, g := range grants {
		if slices.Contains(old, g) || slices.Contains(grants[:i], g) {
			continue
		}
		if err := tx.exec(qGrantAdd, account, g.Team, string(g.Role), tx.now(), by); err != nil {
			return tx.refused(err, "role", ref{"account", qAccountExists, account})
		}
	}
	return nil
}

type hashRow struct{ Hash string }

func (r *hashRow) dest() []any { return []any{&r.Hash} }

// Recovery are the hashes of the recovery codes of an account that were not used.
func (tx *Tx) Recovery(account string) ([]string, error) {
	rows, err := all[hashRow](tx, qRecoveryOpen, account)
	return convert(rows, func(r *hashRow) string { return r.Hash }), err
}

// SetRecovery gives an account these recovery codes and no others; none takes all away.
func (tx *Tx) SetRecovery(account string, hashes []string) (err error) {
	defer tx.fail(&err)
	if err := tx.exec(qRecoveryDrop, account); err != nil {
		return err
	}
	for _, h := range hashes {
		if err := tx.exec(qRecoveryAdd, account, h); err != nil {
			return tx.refused(err, "recovery code", ref{"account", qAccountExists, account})
		}
	}
	return nil
}

// UseRecovery uses a recovery code up and reports whether there was such a one that nobody had used.
func (tx *Tx) UseRecovery(account, hash string, at time.Time) (used bool, err error) {
	defer tx.fail(&err)
	open, err := tx.Recovery(account)
	if err != nil || !slices.Contains(open, hash) {
		return false, err
	}
	return true, tx.exec(qRecoveryUse, micros(at), account, hash)
}
