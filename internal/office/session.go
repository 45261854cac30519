package office

import (
	"context"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const (
	// A screening day, with setting up and putting away, is less than twelve hours: nobody is signed out
	// in its middle, and nobody is still signed in the next morning.
	sessionLasts = 12 * time.Hour
	// A laptop that was left is signed out. Stations do not depend on it: they have links of their own.
	sessionIdle = 2 * time.Hour
	// How exactly it is known when a session or a token was used: a write for each request would slow
	// down everybody else's.
	usedEvery = time.Minute
	// recent is how long after signing in something may be added that lets somebody in: a passkey, a token.
	recent = 15 * time.Minute
)

func alive(s *access.Session, now time.Time) bool {
	return now.Before(s.Expires) && now.Before(s.Used.Add(sessionIdle))
}

// personOf is who acts by an account.
func personOf(a *access.Account, grants []access.Grant) access.Person {
	return access.Person{ID: a.ID, Name: a.Name, Grants: grants}
}

// begin makes a session of an account, with a secret of its own whatever the browser sent, and removes
// those that are past.
func (o *Office) begin(ctx context.Context, tx *store.Tx, a *access.Account, device string) (SignedIn, error) {
	now := o.opt.Now()
	if err := tx.SweepSessions(now); err != nil {
		return SignedIn{}, err
	}
	secret, err := access.NewSecret(o.opt.Random)
	if err != nil {
		return SignedIn{}, err
	}
	hash, _ := access.HashSecret(secret)
	grants, err := tx.Grants(a.ID)
	if err != nil {
		return SignedIn{}, err
	}
	s := access.Session{Hash: hash, ID: o.opt.NewID(), Account: a.ID, Device: cleanDevice(device), Created: now, Used: now, Expires: now.Add(sessionLasts)}
	if err := tx.AddSession(&s); err != nil {
		return SignedIn{}, err
	}
	who := personOf(a, grants)
	who.Session = s.ID
	subject := access.Subject{Kind: "account", ID: a.ID, Teams: teamsOf(grants)}
	return SignedIn{secret, s.Expires, who}, o.gate.Enter(ctx, tx, who, access.SignIn, subject, access.Done)
}

// teamsOf are the teams that roles are in, each once.
func teamsOf(grants []access.Grant) (out []string) {
	seen := map[string]bool{"": true}
	for _, g := range grants {
		if !seen[g.Team] {
			seen[g.Team] = true
			out = append(out, g.Team)
		}
	}
	return out
}

// BySession is who a session's cookie stands for, the zero Person if for nobody (any more).
func (o *Office) BySession(ctx context.Context, cookie string) (who access.Person, err error) {
	hash, ok := access.HashSecret(cookie)
	if !ok {
		return access.Person{}, nil
	}
	now := o.opt.Now()
	var s access.Session
	past := false
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) (err error) {
		var found bool
		if s, found, err = tx.Session(hash); err != nil || !found {
			return err
		}
		if past = !alive(&s, now); past {
			return nil
		}
		a, err := tx.Account(s.Account)
		if err != nil || !a.Disabled.IsZero() {
			return err
		}
		grants, err := tx.Grants(a.ID)
		who = personOf(&a, grants)
		who.Session = s.ID
		return err
	})
	switch {
	case err != nil:
		return access.Person{}, err
	case past:
		return access.Person{}, o.gate.Store().Write(ctx, func(tx *store.Tx) error { return tx.EndSession(hash) })
	case who.ID != "" && now.Sub(s.Used) >= usedEvery:
		err = o.gate.Store().Write(ctx, func(tx *store.Tx) error { return tx.UseSession(hash, now) })
	}
	return who, err
}

// SignOut ends the session that who acts by.
func (o *Office) SignOut(ctx context.Context, who access.Person) error {
	if who.Session == "" {
		return nil
	}
	return o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		if err := endOne(tx, who.ID, who.Session); err != nil {
			if screen.IsCode(err, screen.NotFound) {
				return nil // ended elsewhere meanwhile
			}
			return err
		}
		return o.gate.Enter(ctx, tx, who, access.OwnAccount, ownSubject(&who, "session", who.Session), access.Done)
	})
}

// endOne ends one session of an account by its id.
func endOne(tx *store.Tx, account, id string) error {
	list, err := tx.Sessions(account)
	if err != nil {
		return err
	}
	for i := range list {
		if list[i].ID == id {
			return tx.EndSession(list[i].Hash)
		}
	}
	return notFound("session")
}

// SignOutEverywhere ends all sessions of who, but the one at hand if keep is true.
func (o *Office) SignOutEverywhere(ctx context.Context, who access.Person, keep bool) error {
	kept := ""
	if keep {
		kept = who.Session
	}
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "sessions", who.ID), func(tx *store.Tx) error {
		return tx.EndSessions(who.ID, kept)
	})
}

// EndSession ends one of one's own sessions by its id.
func (o *Office) EndSession(ctx context.Context, who access.Person, id string) error {
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "session", id), func(tx *store.Tx) error {
		return endOne(tx, who.ID, id)
	})
}

// signedInRecently refuses somebody whose session is not fresh: what lets somebody in must not be added
// at a screen that was left. A session that ended meanwhile is not fresh either.
func (o *Office) signedInRecently(tx *store.Tx, who *access.Person) error {
	list, err := tx.Sessions(who.ID)
	if err != nil {
		return err
	}
	for i := range list {
		if s := &list[i]; s.ID == who.Session && o.opt.Now().Sub(s.Created) < recent {
			return nil
		}
	}
	return &screen.Problem{Code: screen.Forbidden, Text: "you signed in more than 15 minutes ago",
		Want: "sign out, sign in again, then do this within 15 minutes"}
}
