package office

import (
	"context"
	"errors"
	"slices"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const (
	mostTokenDays = 365
	mostTokens    = 50 // of one account that work at the same time
	day           = 24 * time.Hour
)

// MakeToken makes a token of the API, which is shown once. Returns Faults (name, scopes, team, days), or
// Forbidden if who signed in longer than 15 minutes ago.
func (o *Office) MakeToken(ctx context.Context, who access.Person, name string, scopes []access.Scope, team string, days int) (token string, err error) {
	now := o.opt.Now()
	var f screen.Faults
	t := access.Token{ID: o.opt.NewID(), Account: who.ID, Name: cleanName(&f, name), Team: team, Created: now, Expires: now.Add(time.Duration(days) * day)}
	t.Scopes = checkScopes(&f, scopes)
	if days < 1 || days > mostTokenDays {
		f.Add("days", "1 to 365", "a token cannot last %d days", days)
	}
	if token, err = access.NewToken(o.opt.Random); err != nil {
		return "", err
	}
	t.Hash, _ = access.HashToken(token)
	err = o.gate.Write(ctx, who, access.OwnAccount, own(who, "token", t.ID), func(tx *store.Tx) error {
		grants, err := tx.Grants(who.ID)
		if err != nil {
			return err
		}
		if len(narrowed(grants, team)) == 0 {
			f.Add("team", "one of your teams, or none for all of them", "you have no role in this team")
		} else if team != "" {
			if _, err := tx.Team(team); err != nil && !screen.IsCode(err, screen.NotFound) {
				return err
			} else if err != nil {
				f.Add("team", "one of your teams, or none for all of them", "you have no role in this team")
			}
		}
		if err := f.Err(); err != nil {
			return err
		}
		if err := o.roomForToken(tx, who.ID); err != nil {
			return err
		}
		if err := o.signedInRecently(tx, &who); err != nil {
			return err
		}
		return tx.AddToken(&t)
	})
	if err != nil {
		return "", err
	}
	return token, nil
}

// checkScopes are the scopes, each once, in the order of access.Scopes.
func checkScopes(f *screen.Faults, scopes []access.Scope) (out []access.Scope) {
	for _, s := range scopes {
		if !slices.Contains(access.Scopes, s) {
			f.Add("scopes", "read, enter or manage", "there is no scope of this name")
		}
	}
	for _, s := range access.Scopes {
		if slices.Contains(scopes, s) {
			out = append(out, s)
		}
	}
	if len(scopes) == 0 {
		f.Add("scopes", "at least one of read, enter and manage", "no scope was chosen")
	}
	return out
}

func (o *Office) roomForToken(tx *store.Tx, account string) error {
	list, err := tx.Tokens(account)
	n := 0
	for i := range list {
		if o.tokenWorks(&list[i]) {
			n++
		}
	}
	if err == nil && n >= mostTokens {
		err = &screen.Problem{Code: screen.Invalid, Text: "you have 50 tokens that work", Want: "revoke one that is not used any more"}
	}
	return err
}

func (o *Office) tokenWorks(t *access.Token) bool {
	return t.Revoked.IsZero() && o.opt.Now().Before(t.Expires)
}

// narrowed are the roles that hold in a team, as roles in that team alone; for no team all of them.
func narrowed(grants []access.Grant, team string) (out []access.Grant) {
	if team == "" {
		return grants
	}
	for _, g := range grants {
		if g.Team == "" || g.Team == team {
			if in := (access.Grant{Team: team, Role: g.Role}); !slices.Contains(out, in) {
				out = append(out, in)
			}
		}
	}
	return out
}

// RevokeToken revokes one of one's own tokens by its id.
func (o *Office) RevokeToken(ctx context.Context, who access.Person, id string) error {
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "token", id), func(tx *store.Tx) error {
		return tx.RevokeToken(who.ID, id, o.opt.Now())
	})
}

// ByToken is who a token of the API stands for. Returns Unknown or Throttled.
func (o *Office) ByToken(ctx context.Context, token, address string) (who access.Person, err error) {
	now := o.opt.Now()
	if err := o.addresses.check(address, now); err != nil {
		return access.Person{}, err
	}
	var t access.Token
	err = o.gate.Store().Read(ctx, func(tx *store.Tx) error {
		who, t, err = o.tokenPerson(tx, token)
		return err
	})
	switch {
	case errors.Is(err, errToken):
		o.addresses.failed(address, now)
		note := o.gate.Store().Write(ctx, func(tx *store.Tx) error {
			return o.gate.Enter(ctx, tx, access.Person{}, access.SignIn, access.Subject{Kind: "token", ID: t.ID}, access.Refused)
		})
		return access.Person{}, errors.Join(err, note)
	case err == nil && now.Sub(t.Used) >= usedEvery:
		err = o.gate.Store().Write(ctx, func(tx *store.Tx) error { return tx.UseToken(t.Hash, now) })
	}
	if err != nil {
		return access.Person{}, err
	}
	return who, nil
}

// tokenPerson is who a token stands for; the token is also given where it is known and does not work.
func (o *Office) tokenPerson(tx *store.Tx, token string) (access.Person, access.Token, error) {
	hash, ok := access.HashToken(token)
	if !ok {
		return access.Person{}, access.Token{}, errToken
	}
	t, found, err := tx.Token(hash)
	if err != nil {
		return access.Person{}, t, err
	}
	if !found || !o.tokenWorks(&t) {
		return access.Person{}, t, errToken
	}
	a, err := tx.Account(t.Account)
	if err != nil {
		return access.Person{}, t, err
	}
	grants, err := tx.Grants(a.ID)
	if err != nil {
		return access.Person{}, t, err
	}
	grants = narrowed(grants, t.Team)
	if !a.Disabled.IsZero() || len(grants) == 0 {
		return access.Person{}, t, errToken
	}
	who := personOf(&a, grants)
	who.Scopes, who.Token = t.Scopes, t.ID
	return who, t, nil
}
