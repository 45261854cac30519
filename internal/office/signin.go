package office

import (
	"context"
	"errors"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// SignIn begins a session. Returns Unknown, in the same words whatever is wrong, Unknown with
// NeedsCode if only the second factor is missing, or Throttled.
//
// Somebody unknown is refused after the same work as somebody known.
func (o *Office) SignIn(ctx context.Context, a Attempt) (SignedIn, error) {
	now := o.opt.Now()
	giveBack, err := o.addresses.enter(a.Address, now)
	if err != nil {
		return SignedIn{}, err
	}
	login := normalLogin(a.Login)
	var acc access.Account
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) error {
		var err error
		acc, _, err = tx.AccountByLogin(login)
		return err
	})
	if err != nil {
		giveBack()
		return SignedIn{}, err
	}
	tries := o.tries.of(acc.ID, login)
	if err := tries.begin(now); err != nil {
		return SignedIn{}, err
	}
	out, err := o.tryIn(ctx, &acc, &a)
	_, busy := Throttled(err)
	if err == nil || busy || NeedsCode(err) { // who hangs up while we hash has had our work all the same
		giveBack()
	}
	switch {
	case err == nil:
		tries.clear()
	case !errors.Is(err, errWrong): // the code is missing, or nothing was said of the password
		tries.undo()
	}
	return out, err
}

// tryIn begins a session if the password is that of acc, which is zero for somebody unknown, and the
// second factor fits.
func (o *Office) tryIn(ctx context.Context, acc *access.Account, a *Attempt) (out SignedIn, err error) {
	password := normalPassword(a.Password)
	right, outdated, err := o.hasher.check(ctx, acc.Password, password)
	if err != nil {
		return SignedIn{}, err
	}
	renewed := ""
	if right && outdated {
		if renewed, err = o.hasher.hash(ctx, password); err != nil {
			return SignedIn{}, err
		}
	}
	var no error // what is refused is on record all the same: the transaction goes through
	err = o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		now, err := o.stillRight(tx, acc, right)
		if err != nil {
			return err
		}
		if now == nil {
			no = errWrong
			return o.refused(ctx, tx, acc.ID)
		}
		if now.TOTP != "" {
			if a.Code == "" {
				no = errNeedsCode
				return nil
			}
			fits, err := o.useCode(tx, now, a.Code)
			if err != nil {
				return err
			}
			if !fits {
				no = errWrong
				return o.refused(ctx, tx, acc.ID)
			}
		}
		if renewed != "" {
			now.Password = renewed
		}
		if now.Password != acc.Password || now.TOTPUsed != acc.TOTPUsed {
			if err := tx.PutAccount(now); err != nil {
				return err
			}
		}
		out, err = o.begin(ctx, tx, now, a.Device)
		return err
	})
	if err == nil {
		err = no
	}
	if err != nil {
		return SignedIn{}, err
	}
	return out, nil
}

// stillRight is the account as it is now, nil unless the password that was checked is still its own and
// it is let in.
func (o *Office) stillRight(tx *store.Tx, checked *access.Account, right bool) (*access.Account, error) {
	if !right {
		return nil, nil
	}
	now, err := tx.Account(checked.ID)
	if screen.IsCode(err, screen.NotFound) || err == nil && (now.Password != checked.Password || !now.Disabled.IsZero()) {
		return nil, nil
	}
	return &now, err
}

// refused notes that somebody was not let in: at which account, if there is one, and never what was
// typed, which may be a password in the wrong field.
func (o *Office) refused(ctx context.Context, tx *store.Tx, account string) error {
	s := access.Subject{Kind: "account", ID: account}
	if account != "" {
		grants, err := tx.Grants(account)
		if err != nil {
			return err
		}
		s.Teams = teamsOf(grants)
	}
	return o.gate.Enter(ctx, tx, access.Person{}, access.SignIn, s, access.Refused)
}
