package office

import (
	"context"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// ownSubject is something of who's own account.
func ownSubject(who *access.Person, kind, id string) access.Subject {
	return access.Subject{Kind: kind, ID: id, Teams: teamsOf(who.Grants)}
}

// own is about something of who's own account: for a program, for somebody who came by a link and for
// an account without a role there is none.
func own(who access.Person, kind, id string) gate.About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		s := ownSubject(&who, kind, id)
		if who.ID == "" || !who.Local && len(who.Grants) == 0 {
			return []access.Subject{s}, gate.Deny(&who)
		}
		return []access.Subject{s}, nil
	}
}

// Own is what the page of one's own account shows.
type Own struct {
	Account  access.Account // without password and secret
	HasTOTP  bool
	Recovery int // codes that are left
	Passkeys []access.Passkey
	Sessions []access.Session // Hash left out
	Tokens   []access.Token   // Hash left out
	Grants   []access.Grant
}

// Own shows one's own account.
func (o *Office) Own(ctx context.Context, who access.Person) (out Own, err error) {
	err = o.gate.Read(ctx, who, access.OwnAccount, own(who, "account", who.ID), func(tx *store.Tx) error {
		a, err := tx.Account(who.ID)
		if err != nil {
			return err
		}
		out = Own{Account: withoutSecrets(a), HasTOTP: a.TOTP != ""}
		codes, err := tx.Recovery(who.ID)
		if err != nil {
			return err
		}
		out.Recovery = len(codes)
		if out.Passkeys, err = tx.Passkeys(who.ID); err != nil {
			return err
		}
		for i := range out.Passkeys {
			out.Passkeys[i].Credential = nil
		}
		if out.Sessions, err = o.sessionsOf(tx, who.ID); err != nil {
			return err
		}
		if out.Tokens, err = tx.Tokens(who.ID); err != nil {
			return err
		}
		for i := range out.Tokens {
			out.Tokens[i].Hash = ""
		}
		out.Grants, err = tx.Grants(who.ID)
		return err
	})
	return out, err
}

// sessionsOf are the sessions of an account that work.
func (o *Office) sessionsOf(tx *store.Tx, account string) (out []access.Session, err error) {
	list, err := tx.Sessions(account)
	for i := range list {
		if alive(&list[i], o.opt.Now()) {
			list[i].Hash = ""
			out = append(out, list[i])
		}
	}
	return out, err
}

func withoutSecrets(a access.Account) access.Account {
	a.Password, a.TOTP, a.TOTPUsed = "", "", 0
	return a
}

// confirm checks the password of somebody who is signed in. A wrong one counts as a failed attempt at
// the account. Returns Faults at where, Throttled, or NotFound for somebody who has no account.
func (o *Office) confirm(ctx context.Context, who *access.Person, where, password string) (a access.Account, err error) {
	err = o.gate.Read(ctx, *who, access.OwnAccount, own(*who, "account", who.ID), func(tx *store.Tx) error {
		a, err = tx.Account(who.ID)
		return err
	})
	if err != nil {
		return a, err
	}
	tries := o.tries.of(a.ID, a.Login)
	if err := tries.begin(o.opt.Now()); err != nil {
		return a, err
	}
	right, _, err := o.hasher.check(ctx, a.Password, normalPassword(password))
	if err != nil {
		tries.undo()
		return a, err
	}
	if !right {
		return a, screen.Faults{{Where: where, Problem: "this is not your password", Want: "the password that you sign in with"}}
	}
	tries.clear()
	return a, nil
}

// unchanged is an account as it is now, if its password still is the one that was checked.
func unchanged(tx *store.Tx, checked *access.Account) (access.Account, error) {
	now, err := tx.Account(checked.ID)
	if err == nil && now.Password != checked.Password {
		err = &screen.Problem{Code: screen.Stale, Text: "your password was changed meanwhile", Want: "sign in again"}
	}
	return now, err
}

// ChangePassword sets a new password and ends the other sessions. Returns Faults (old, password).
func (o *Office) ChangePassword(ctx context.Context, who access.Person, old, password string) error {
	a, err := o.confirm(ctx, &who, "old", old)
	if err != nil {
		return err
	}
	var f screen.Faults
	checkPassword(&f, password, a.Login, a.Name)
	if err := f.Err(); err != nil {
		return err
	}
	phc, err := o.hasher.hash(ctx, normalPassword(password))
	if err != nil {
		return err
	}
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "password", who.ID), func(tx *store.Tx) error {
		now, err := unchanged(tx, &a)
		if err != nil {
			return err
		}
		now.Password = phc
		if err := tx.PutAccount(&now); err != nil {
			return err
		}
		if err := tx.RevokeLinks(access.LinkReset, who.ID, o.opt.Now()); err != nil {
			return err
		}
		return tx.EndSessions(who.ID, who.Session)
	})
}
