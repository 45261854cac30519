package office

import (
	"context"
	"slices"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// Member is an account as an administrator sees it: with the grants in the teams that he administers.
type Member struct {
	Account     access.Account // without password and secret
	Grants      []access.Grant
	HasTOTP     bool
	HasPasskeys bool
}

// concerned are the subjects that roles are about: each team once, or all teams together.
func concerned(grants []access.Grant) (out []access.Subject) {
	if slices.ContainsFunc(grants, func(g access.Grant) bool { return g.Team == "" }) {
		out = append(out, access.Subject{Kind: "programme", Every: true})
	}
	for _, t := range teamsOf(grants) {
		out = append(out, access.Subject{Kind: "team", ID: t, Teams: []string{t}})
	}
	return out
}

// within is about something of all the teams that roles are in: the first team in which who may not do
// it is what he is told of, and if he may in all, the audit names the thing.
func within(who access.Person, a access.Action, kind, id string, grants []access.Grant) gate.About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		thing := access.Subject{Kind: kind, ID: id}
		for _, s := range concerned(grants) {
			if !who.May(a, &s) {
				return []access.Subject{s}, nil
			}
			thing.Teams = append(thing.Teams, s.Teams...)
			thing.Every = thing.Every || s.Every
		}
		return []access.Subject{thing}, nil
	}
}

// anywhere is about what who administers, whichever teams these are.
func anywhere(who access.Person, a access.Action, kind string) gate.About {
	return func(*store.Tx, screen.Date) ([]access.Subject, error) {
		teams, every := who.In(a)
		return []access.Subject{{Kind: kind, Teams: teams, Every: every || len(teams) == 0}}, nil
	}
}

// of is about an account: known to the people of the teams that it has a role in.
func of(id string) gate.About {
	return func(tx *store.Tx, _ screen.Date) ([]access.Subject, error) {
		s := access.Subject{Kind: "account", ID: id}
		if _, err := tx.Account(id); err != nil {
			return []access.Subject{s}, err
		}
		grants, err := tx.Grants(id)
		s.Teams = teamsOf(grants)
		return []access.Subject{s}, err
	}
}

// administers reports whether who may give and take a role.
func administers(who *access.Person, g access.Grant) bool {
	return who.May(access.ManagePeople, &access.Subject{Teams: []string{g.Team}, Every: g.Team == ""})
}

// People lists the accounts with a grant in the teams that who administers, by name, and the
// invitations that are open.
func (o *Office) People(ctx context.Context, who access.Person) (members []Member, open []access.Link, err error) {
	err = o.gate.Read(ctx, who, access.ManagePeople, anywhere(who, access.ManagePeople, "people"), func(tx *store.Tx) error {
		_, every := who.In(access.ManagePeople)
		list, err := tx.Accounts()
		if err != nil {
			return err
		}
		for i := range list {
			m, err := memberOf(tx, &who, &list[i])
			if err != nil {
				return err
			}
			if every || len(m.Grants) > 0 {
				members = append(members, m)
			}
		}
		links, err := tx.OpenLinks(access.LinkInvitation, o.opt.Now())
		for _, l := range links {
			if !slices.ContainsFunc(l.Grants, func(g access.Grant) bool { return !administers(&who, g) }) {
				l.Hash = ""
				open = append(open, l)
			}
		}
		return err
	})
	return members, open, err
}

func memberOf(tx *store.Tx, who *access.Person, a *access.Account) (Member, error) {
	m := Member{Account: withoutSecrets(*a), HasTOTP: a.TOTP != ""}
	keys, err := tx.Passkeys(a.ID)
	if err != nil {
		return m, err
	}
	m.HasPasskeys = len(keys) > 0
	grants, err := tx.Grants(a.ID)
	for _, g := range grants {
		if administers(who, g) {
			m.Grants = append(m.Grants, g)
		}
	}
	return m, err
}

// Member is one account. Returns NotFound.
func (o *Office) Member(ctx context.Context, who access.Person, id string) (m Member, err error) {
	err = o.gate.Read(ctx, who, access.ManagePeople, of(id), func(tx *store.Tx) error {
		a, err := tx.Account(id)
		if err != nil {
			return err
		}
		m, err = memberOf(tx, &who, &a)
		return err
	})
	return m, err
}

// mostGrants is how many roles one account may have.
const mostGrants = 200

// checkGrants adds what is wrong with roles: of no account's kind, twice, in a team that is not on
// record.
func checkGrants(tx *store.Tx, f *screen.Faults, grants []access.Grant) error {
	if len(grants) > mostGrants {
		f.Add("grants", "at most 200", "there are %d roles", len(grants))
		return nil
	}
	for i, g := range grants {
		switch {
		case !slices.Contains(access.Roles, g.Role):
			f.Add("grants", "administrator, clinician, trainer, coach or helper", "there is no role of this name")
		case slices.Contains(grants[:i], g):
			f.Add("grants", "each role once in a team", "the role %s is given twice in one team", g.Role)
		case g.Team != "":
			_, err := tx.Team(g.Team)
			if screen.IsCode(err, screen.NotFound) {
				f.Add("grants", "a team that is on record, or every team", "there is no such team")
			} else if err != nil {
				return err
			}
		}
	}
	return nil
}

// Invite makes an invitation and gives its secret, which is shown once. Returns Faults (name, grants).
func (o *Office) Invite(ctx context.Context, who access.Person, name string, grants []access.Grant) (secret string, err error) {
	var f screen.Faults
	name = cleanName(&f, name)
	if len(grants) == 0 {
		f.Add("grants", "a team, or every team, and a role", "no role was chosen")
	}
	l := access.Link{ID: o.opt.NewID(), Kind: access.LinkInvitation, Name: name, Grants: slices.Clone(grants)}
	about := within(who, access.ManagePeople, "invitation", l.ID, grants)
	if len(grants) == 0 {
		about = anywhere(who, access.ManagePeople, "invitation")
	}
	err = o.gate.Write(ctx, who, access.ManagePeople, about, func(tx *store.Tx) error {
		if err := checkGrants(tx, &f, grants); err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		secret, err = o.addLink(tx, who, &l, invitationLasts)
		return err
	})
	if err != nil {
		return "", err
	}
	return secret, nil
}

// SetGrants says what an account may do in the teams that who administers; what it may do elsewhere
// stays. Nobody can take the last programme-wide administrator away. Returns Faults, NotFound or Invalid.
func (o *Office) SetGrants(ctx context.Context, who access.Person, account string, grants []access.Grant) error {
	about := func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		known, err := of(account)(tx, today)
		if err != nil || !who.May(access.ManagePeople, &known[0]) {
			return known, err
		}
		old, err := tx.Grants(account)
		if err != nil {
			return known, err
		}
		s, err := within(who, access.ManagePeople, "account", account, changed(&who, old, grants))(tx, today)
		if len(s) > 0 && s[0].Kind == "account" {
			s[0].Teams = append(s[0].Teams, known[0].Teams...)
		}
		return s, err
	}
	return o.gate.Write(ctx, who, access.ManagePeople, about, func(tx *store.Tx) error {
		var f screen.Faults
		if err := checkGrants(tx, &f, grants); err != nil {
			return err
		}
		if err := f.Err(); err != nil {
			return err
		}
		old, err := tx.Grants(account)
		if err != nil {
			return err
		}
		next := slices.Clone(grants)
		for _, g := range old {
			if !administers(&who, g) && !slices.Contains(next, g) {
				next = append(next, g)
			}
		}
		if err := tx.SetGrants(account, next, who.ID); err != nil {
			return err
		}
		return someoneOversees(tx)
	})
}

// changed are the roles that come, and those that go of the ones that who administers.
func changed(who *access.Person, old, next []access.Grant) (out []access.Grant) {
	for _, g := range next {
		if !slices.Contains(old, g) {
			out = append(out, g)
		}
	}
	for _, g := range old {
		if !slices.Contains(next, g) && administers(who, g) {
			out = append(out, g)
		}
	}
	return out
}

// someoneOversees refuses a change after which nobody would be administrator of every team.
func someoneOversees(tx *store.Tx) error {
	left, err := tx.Overseers()
	if err == nil && len(left) == 0 {
		err = &screen.Problem{Code: screen.Invalid, Text: "nobody would be left who is administrator of every team",
			Want: "make somebody else administrator of every team first"}
	}
	return err
}

// whole is about an account all of whose roles who must administer: to let it in no more, or to give it
// a new password, is to have a say in all that it may do.
func whole(who access.Person, account string) gate.About {
	return func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		s, err := of(account)(tx, today)
		if err != nil || !who.May(access.ManagePeople, &s[0]) {
			return s, err
		}
		grants, err := tx.Grants(account)
		s[0].Every = slices.ContainsFunc(grants, func(g access.Grant) bool { return !administers(&who, g) })
		return s, err
	}
}

// elsewhere is what an administrator of some teams is told of an account that has roles in others.
func elsewhere(err error, who *access.Person) error {
	if screen.IsCode(err, screen.Forbidden) && len(who.Grants) > 0 {
		if teams, every := who.In(access.ManagePeople); !every && len(teams) > 0 {
			return &screen.Problem{Code: screen.Forbidden, Text: "this account has roles outside the teams that you administer",
				Want: "take its roles in your teams away, or ask an administrator of every team"}
		}
	}
	return err
}

// notOneself refuses what would leave somebody without a way back, or would let a screen that was left
// be used to take an account over.
func notOneself(who *access.Person, account, want string) error {
	if who.ID == account {
		return &screen.Problem{Code: screen.Invalid, Text: "this is your own account", Want: want}
	}
	return nil
}

// Disable lets an account in no more, or again; its sessions and tokens end. Returns NotFound, Invalid,
// or Forbidden for an account with roles elsewhere.
func (o *Office) Disable(ctx context.Context, who access.Person, account string, disabled bool) error {
	err := o.gate.Write(ctx, who, access.ManagePeople, whole(who, account), func(tx *store.Tx) error {
		if err := notOneself(&who, account, "ask another administrator"); err != nil {
			return err
		}
		a, err := tx.Account(account)
		if err != nil {
			return err
		}
		now := o.opt.Now()
		switch {
		case !disabled:
			a.Disabled = time.Time{}
		case a.Disabled.IsZero():
			a.Disabled = now
		}
		if err := tx.PutAccount(&a); err != nil {
			return err
		}
		if err := tx.EndSessions(account, ""); err != nil {
			return err
		}
		if err := tx.RevokeTokens(account, now); err != nil {
			return err
		}
		if err := tx.RevokeLinks(access.LinkReset, account, now); err != nil {
			return err
		}
		return someoneOversees(tx)
	})
	return elsewhere(err, &who)
}

// ResetLink makes a one-time link by which somebody sets a new password; the second factor stays. An
// earlier one no longer works. Returns NotFound, Invalid, or Forbidden for an account with roles
// elsewhere.
func (o *Office) ResetLink(ctx context.Context, who access.Person, account string) (secret string, err error) {
	err = o.gate.Write(ctx, who, access.ManagePeople, whole(who, account), func(tx *store.Tx) error {
		if err := notOneself(&who, account, "change your password on the page of your account"); err != nil {
			return err
		}
		a, err := tx.Account(account)
		if err != nil {
			return err
		}
		if !a.Disabled.IsZero() {
			return &screen.Problem{Code: screen.Invalid, Text: "this account is not let in", Want: "let it in again first"}
		}
		if err := tx.RevokeLinks(access.LinkReset, account, o.opt.Now()); err != nil {
			return err
		}
		l := access.Link{Kind: access.LinkReset, Account: account, Name: a.Name}
		secret, err = o.addLink(tx, who, &l, resetLasts)
		return err
	})
	if err != nil {
		return "", elsewhere(err, &who)
	}
	return secret, nil
}

// RevokeLink revokes an invitation or a reset link by its id. Returns NotFound.
func (o *Office) RevokeLink(ctx context.Context, who access.Person, id string) error {
	about := func(tx *store.Tx, today screen.Date) ([]access.Subject, error) {
		l, found, err := tx.LinkByID(id)
		s := []access.Subject{{Kind: "link", ID: id}}
		switch {
		case err != nil:
			return s, err
		case found && l.Kind == access.LinkInvitation:
			if s, err = within(who, access.ManagePeople, "link", id, l.Grants)(tx, today); s[0].Kind != "link" {
				return s, notFound("link") // that somebody was invited elsewhere is nobody's business
			}
			return s, err
		case found && l.Kind == access.LinkReset:
			if s, err = whole(who, l.Account)(tx, today); err == nil {
				s[0].Kind, s[0].ID = "link", id
			}
			return s, err
		}
		return s, notFound("link")
	}
	return o.gate.Write(ctx, who, access.ManagePeople, about, func(tx *store.Tx) error {
		l, _, err := tx.LinkByID(id)
		if err != nil {
			return err
		}
		return tx.RevokeLink(l.Hash, o.opt.Now())
	})
}
