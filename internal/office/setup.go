package office

import (
	"context"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// How long links work.
const (
	setupLasts      = 24 * time.Hour // a new start makes a new one
	invitationLasts = 7 * 24 * time.Hour
	resetLasts      = 24 * time.Hour
)

// Started reports whether there is an account.
func (o *Office) Started(ctx context.Context) (there bool, err error) {
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) error {
		there, err = tx.AnyAccount()
		return err
	})
	return there, err
}

// Setup makes the one-time link for the first administrator if there is no account yet, and gives its
// secret; an earlier one that nobody used no longer works. needed is false if there is an account.
func (o *Office) Setup(ctx context.Context) (secret string, needed bool, err error) {
	if there, err := o.Started(ctx); err != nil || there {
		return "", false, err
	}
	err = o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		if there, err := tx.AnyAccount(); err != nil || there {
			return err // somebody was faster
		}
		if err := tx.RevokeLinks(access.LinkSetup, "", o.opt.Now()); err != nil {
			return err
		}
		l := access.Link{Kind: access.LinkSetup, Name: "first administrator"}
		if secret, err = o.addLink(tx, access.Local, &l, setupLasts); err != nil {
			return err
		}
		needed = true
		return o.gate.Enter(ctx, tx, access.Local, access.ManagePeople, access.Subject{Kind: "setup link", ID: l.ID, Every: true}, access.Done)
	})
	return secret, needed && err == nil, err
}

// addLink keeps a new link and gives its secret. Its id may be given before.
func (o *Office) addLink(tx *store.Tx, who access.Person, l *access.Link, lasts time.Duration) (secret string, err error) {
	if secret, err = access.NewSecret(o.opt.Random); err != nil {
		return "", err
	}
	l.Hash, _ = access.HashSecret(secret)
	if l.ID == "" {
		l.ID = o.opt.NewID()
	}
	l.By, l.Made = who.ID, o.opt.Now()
	l.Expires = l.Made.Add(lasts)
	return secret, tx.AddLink(l)
}

// openLink is the link of a secret if it still works. Returns NotFound in the same words for one that
// is unknown, of another kind, used, revoked or past.
func (o *Office) openLink(tx *store.Tx, secret string, kinds ...access.LinkKind) (access.Link, error) {
	hash, ok := access.HashSecret(secret)
	if !ok {
		return access.Link{}, errLink()
	}
	l, found, err := tx.Link(hash)
	if err != nil {
		return access.Link{}, err
	}
	ofKind := false
	for _, k := range kinds {
		ofKind = ofKind || l.Kind == k
	}
	family := l.Kind == access.LinkFamily // works more than once
	if !found || !ofKind || !l.Revoked.IsZero() || !o.opt.Now().Before(l.Expires) || !family && !l.Used.IsZero() {
		return access.Link{}, errLink()
	}
	if works, err := o.stillMeant(tx, &l); err != nil || !works {
		if err == nil {
			err = errLink()
		}
		return access.Link{}, err
	}
	return l, nil
}

// stillMeant reports whether what a link was made for still is so: a first administrator is wanted, who
// invited may still do so, the account is let in, the athlete is on record.
func (o *Office) stillMeant(tx *store.Tx, l *access.Link) (bool, error) {
	onlyIfMissing := func(err error) error {
		if screen.IsCode(err, screen.NotFound) {
			return nil
		}
		return err
	}
	switch l.Kind {
	case access.LinkSetup:
		there, err := tx.AnyAccount()
		return !there, err
	case access.LinkInvitation:
		return o.mayGive(tx, l.By, l.Grants)
	case access.LinkReset:
		a, err := tx.Account(l.Account)
		if err != nil || !a.Disabled.IsZero() {
			return false, onlyIfMissing(err)
		}
		grants, err := tx.Grants(l.Account)
		if err != nil {
			return false, err
		}
		return o.mayGive(tx, l.By, grants) // the account may have been given more since
	case access.LinkFamily:
		_, err := tx.Athlete(l.Athlete)
		return err == nil, onlyIfMissing(err)
	}
	return false, nil
}

// mayGive reports whether an account, or the command line, may give these roles now.
func (o *Office) mayGive(tx *store.Tx, by string, grants []access.Grant) (bool, error) {
	who := access.Local
	if by != access.Local.ID {
		a, err := tx.Account(by)
		if screen.IsCode(err, screen.NotFound) || err == nil && !a.Disabled.IsZero() {
			return false, nil
		}
		if err != nil {
			return false, err
		}
		has, err := tx.Grants(by)
		if err != nil {
			return false, err
		}
		who = personOf(&a, has)
	}
	for _, s := range concerned(grants) {
		if !who.May(access.ManagePeople, &s) {
			return false, nil
		}
	}
	return true, nil
}

var oneTime = []access.LinkKind{access.LinkSetup, access.LinkInvitation, access.LinkReset}

// OneTime is what a one-time link is for; its Hash is left out. Returns NotFound, in the same words, for
// one that is unknown, used, revoked or past, or Throttled.
func (o *Office) OneTime(ctx context.Context, secret, address string) (access.Link, error) {
	l, err := o.seekLink(ctx, secret, address, oneTime...)
	l.Hash = ""
	return l, err
}

// seekLink is the link of a secret from an address that does not try too many.
func (o *Office) seekLink(ctx context.Context, secret, address string, kinds ...access.LinkKind) (access.Link, error) {
	now := o.opt.Now()
	if err := o.addresses.check(address, now); err != nil {
		return access.Link{}, err
	}
	l, err := o.peek(ctx, secret, kinds...)
	if screen.IsCode(err, screen.NotFound) {
		o.addresses.failed(address, now)
	}
	return l, err
}

func (o *Office) peek(ctx context.Context, secret string, kinds ...access.LinkKind) (l access.Link, err error) {
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) error {
		l, err = o.openLink(tx, secret, kinds...)
		return err
	})
	return l, err
}

// TakeSetup makes the first administrator. Returns NotFound or Faults (login, name, password).
func (o *Office) TakeSetup(ctx context.Context, secret string, in NewAccount) (SignedIn, error) {
	return o.takeAccount(ctx, secret, access.LinkSetup, in, func(*access.Link) []access.Grant {
		grants := []access.Grant{{Role: access.Administrator}}
		if in.LooksAfter {
			grants = append(grants, access.Grant{Role: access.Clinician})
		}
		return grants
	})
}

// TakeInvitation makes an account with the grants of the invitation. Returns NotFound or Faults.
func (o *Office) TakeInvitation(ctx context.Context, secret string, in NewAccount) (SignedIn, error) {
	return o.takeAccount(ctx, secret, access.LinkInvitation, in, func(l *access.Link) []access.Grant { return l.Grants })
}

// takeAccount makes an account by a link, which is used up in the same transaction, and begins its
// first session. Nothing is hashed for somebody without a link that works.
func (o *Office) takeAccount(ctx context.Context, secret string, kind access.LinkKind, in NewAccount, grants func(*access.Link) []access.Grant) (out SignedIn, err error) {
	if _, err := o.peek(ctx, secret, kind); err != nil {
		return SignedIn{}, err
	}
	var f screen.Faults
	login := normalLogin(in.Login)
	checkLogin(&f, login)
	name := cleanName(&f, in.Name)
	checkPassword(&f, in.Password, login, name)
	if err := f.Err(); err != nil {
		return SignedIn{}, err
	}
	phc, err := o.hasher.hash(ctx, normalPassword(in.Password))
	if err != nil {
		return SignedIn{}, err
	}
	err = o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		l, err := o.openLink(tx, secret, kind)
		if err != nil {
			return err
		}
		if _, taken, err := tx.AccountByLogin(login); err != nil || taken {
			if err == nil {
				f.Add("login", "another one", "this login is taken")
				err = f.Err()
			}
			return err
		}
		a := access.Account{ID: o.opt.NewID(), Login: login, Name: name, Password: phc, Created: o.opt.Now()}
		if err := tx.PutAccount(&a); err != nil {
			return err
		}
		if err := tx.SetGrants(a.ID, grants(&l), l.By); err != nil {
			return err
		}
		if err := tx.UseLink(l.Hash, o.opt.Now()); err != nil {
			return err
		}
		who := personOf(&a, grants(&l))
		made := access.Subject{Kind: "account", ID: a.ID, Teams: teamsOf(who.Grants)}
		if err := o.gate.Enter(ctx, tx, who, access.OwnAccount, made, access.Done); err != nil {
			return err
		}
		out, err = o.begin(ctx, tx, &a, in.Device)
		return err
	})
	if err != nil {
		return SignedIn{}, err
	}
	return out, nil
}

// TakeReset sets a new password and ends all sessions of the account. Where the account has a second
// factor, which the link does not stand in for, no session begins: Cookie is empty, and the next step
// is to sign in. Returns NotFound or Faults.
func (o *Office) TakeReset(ctx context.Context, secret, password, device string) (out SignedIn, err error) {
	var a access.Account
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) error {
		l, err := o.openLink(tx, secret, access.LinkReset)
		if err != nil {
			return err
		}
		a, err = tx.Account(l.Account)
		return err
	})
	if err != nil {
		return SignedIn{}, err
	}
	var f screen.Faults
	if checkPassword(&f, password, a.Login, a.Name); f.Err() != nil {
		return SignedIn{}, f.Err()
	}
	phc, err := o.hasher.hash(ctx, normalPassword(password))
	if err != nil {
		return SignedIn{}, err
	}
	err = o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		l, err := o.openLink(tx, secret, access.LinkReset)
		if err != nil {
			return err
		}
		if a, err = tx.Account(l.Account); err != nil {
			return err
		}
		if err := o.setPassword(ctx, tx, &a, phc, &l); err != nil || a.TOTP != "" {
			return err
		}
		out, err = o.begin(ctx, tx, &a, device)
		return err
	})
	if err != nil {
		return SignedIn{}, err
	}
	o.tries.of(a.ID, a.Login).clear()
	return out, nil
}

// setPassword sets a password by a reset link, which is used up, and ends sessions and other reset links.
func (o *Office) setPassword(ctx context.Context, tx *store.Tx, a *access.Account, phc string, l *access.Link) error {
	now := o.opt.Now()
	a.Password = phc
	if err := tx.PutAccount(a); err != nil {
		return err
	}
	if err := tx.UseLink(l.Hash, now); err != nil {
		return err
	}
	if err := tx.RevokeLinks(access.LinkReset, a.ID, now); err != nil {
		return err
	}
	if err := tx.EndSessions(a.ID, ""); err != nil {
		return err
	}
	grants, err := tx.Grants(a.ID)
	if err != nil {
		return err
	}
	who := personOf(a, grants)
	return o.gate.Enter(ctx, tx, who, access.OwnAccount, ownSubject(&who, "password", a.ID), access.Done)
}
