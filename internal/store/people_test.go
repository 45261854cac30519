package store

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// account is an account that the tests of what belongs to one use.
func account(id string) *access.Account {
	return &access.Account{ID: id, Login: "login-" + id, Name: "Name " + id, Password: "$hash"}
}

// office is a store with accounts A and B.
func office(t testing.TB) *Store {
	t.Helper()
	s := newStore(t)
	write(t, s, func(tx *Tx) error { return firstOf(tx.PutAccount(account("A")), tx.PutAccount(account("B"))) })
	return s
}

// TestPeopleRoundTrips writes each record of people with a value in every field, and reads it back by
// every way there is.
func TestPeopleRoundTrips(t *testing.T) {
	s := newStore(t)
	a, p, e, l, k := filled[access.Account](t), filled[access.Passkey](t), filled[access.Session](t), filled[access.Link](t), filled[access.Token](t)
	a.Revision = 1 // the store's own
	p.Account, e.Account, k.Account = a.ID, a.ID, a.ID
	open := l
	open.Hash, open.ID, open.Used, open.Revoked = "open", "open", time.Time{}, time.Time{}
	write(t, s, func(tx *Tx) error {
		put := a
		put.Revision = 0
		err := firstOf(tx.PutAccount(&put), tx.AddPasskey(&p), tx.AddSession(&e), tx.AddLink(&l), tx.AddLink(&open), tx.AddToken(&k))
		equal(t, "what the put gave back", put, a)
		return err
	})
	read(t, s, func(tx *Tx) error {
		for what, list := range map[string]func() (any, any, error){
			"account": func() (any, any, error) { x, err := tx.Account(a.ID); return x, a, err },
			"by login": func() (any, any, error) {
				x, found, err := tx.AccountByLogin(a.Login)
				return x, a, there(t, found, err)
			},
			"accounts":   func() (any, any, error) { x, err := tx.Accounts(); return x, []access.Account{a}, err },
			"passkeys":   func() (any, any, error) { x, err := tx.Passkeys(a.ID); return x, []access.Passkey{p}, err },
			"session":    func() (any, any, error) { x, found, err := tx.Session(e.Hash); return x, e, there(t, found, err) },
			"sessions":   func() (any, any, error) { x, err := tx.Sessions(a.ID); return x, []access.Session{e}, err },
			"link":       func() (any, any, error) { x, found, err := tx.Link(l.Hash); return x, l, there(t, found, err) },
			"link by id": func() (any, any, error) { x, found, err := tx.LinkByID(l.ID); return x, l, there(t, found, err) },
			"of athlete": func() (any, any, error) { x, err := tx.AthleteLinks(l.Athlete); return x, []access.Link{l, open}, err },
			"open at the end": func() (any, any, error) {
				x, err := tx.OpenLinks(l.Kind, open.Expires)
				return x, []access.Link(nil), err
			},
			"open before": func() (any, any, error) {
				x, err := tx.OpenLinks(l.Kind, open.Expires.Add(-time.Microsecond))
				return x, []access.Link{open}, err
			},
			"token":  func() (any, any, error) { x, found, err := tx.Token(k.Hash); return x, k, there(t, found, err) },
			"tokens": func() (any, any, error) { x, err := tx.Tokens(a.ID); return x, []access.Token{k}, err },
		} {
			got, want, err := list()
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
			equal(t, what, got, want)
		}
		return nil
	})
	checkIntegrity(t, s)
}

// there is an error if nothing was found.
func there(t *testing.T, found bool, err error) error {
	t.Helper()
	if err == nil && !found {
		t.Error("nothing was found")
	}
	return err
}

// TestLeastPeople have as little in them as can be kept. A token without scopes has an empty list of
// them: none would mean that it may do everything.
func TestLeastPeople(t *testing.T) {
	s := newStore(t)
	write(t, s, func(tx *Tx) error {
		return firstOf(tx.PutAccount(&access.Account{ID: "A"}), tx.AddPasskey(&access.Passkey{ID: "p", Account: "A"}),
			tx.AddSession(&access.Session{Hash: "h", Account: "A"}), tx.AddLink(&access.Link{Hash: "h"}), tx.AddToken(&access.Token{Hash: "h", Account: "A"}))
	})
	read(t, s, func(tx *Tx) error {
		a, e1 := tx.Account("A")
		p, e2 := tx.Passkeys("A")
		e, _, e3 := tx.Session("h")
		l, _, e4 := tx.Link("h")
		k, _, e5 := tx.Token("h")
		equal(t, "account", a, access.Account{ID: "A", Created: start, Revision: 1})
		equal(t, "passkeys", p, []access.Passkey{{ID: "p", Account: "A"}})
		equal(t, "session", e, access.Session{Hash: "h", Account: "A"})
		equal(t, "link", l, access.Link{Hash: "h"})
		equal(t, "token", k, access.Token{Hash: "h", Account: "A", Scopes: []access.Scope{}})
		return firstOf(e1, e2, e3, e4, e5)
	})
}

func TestPeopleRefused(t *testing.T) {
	s := office(t)
	write(t, s, func(tx *Tx) error {
		return firstOf(tx.AddSession(&access.Session{Hash: "h", ID: "i", Account: "A"}), tx.AddLink(&access.Link{Hash: "h", ID: "i"}),
			tx.AddToken(&access.Token{Hash: "h", ID: "i", Account: "A"}), tx.AddPasskey(&access.Passkey{ID: "i", Account: "A"}))
	})
	for name, c := range map[string]struct {
		code screen.Code
		fn   func(*Tx) error
	}{
		"login taken":       {screen.Conflict, func(tx *Tx) error { a := account("C"); a.Login = "login-A"; return tx.PutAccount(a) }},
		"login taken later": {screen.Conflict, func(tx *Tx) error { a := account("B"); a.Login = "login-A"; return tx.PutAccount(a) }},
		"account's id":      {screen.Invalid, func(tx *Tx) error { return tx.PutAccount(account("")) }},
		"session's hash":    {screen.Conflict, func(tx *Tx) error { return tx.AddSession(&access.Session{Hash: "h", ID: "j", Account: "B"}) }},
		"session's id":      {screen.Conflict, func(tx *Tx) error { return tx.AddSession(&access.Session{Hash: "g", ID: "i", Account: "B"}) }},
		"session's account": {screen.Invalid, func(tx *Tx) error { return tx.AddSession(&access.Session{Hash: "g", ID: "j", Account: "X"}) }},
		"link's hash":       {screen.Conflict, func(tx *Tx) error { return tx.AddLink(&access.Link{Hash: "h", ID: "j"}) }},
		"link's id":         {screen.Conflict, func(tx *Tx) error { return tx.AddLink(&access.Link{Hash: "g", ID: "i"}) }},
		"token's hash":      {screen.Conflict, func(tx *Tx) error { return tx.AddToken(&access.Token{Hash: "h", ID: "j", Account: "A"}) }},
		"token's account":   {screen.Invalid, func(tx *Tx) error { return tx.AddToken(&access.Token{Hash: "g", ID: "j", Account: "X"}) }},
		"passkey's id":      {screen.Conflict, func(tx *Tx) error { return tx.AddPasskey(&access.Passkey{ID: "i", Account: "B"}) }},
		"passkey's account": {screen.Invalid, func(tx *Tx) error { return tx.AddPasskey(&access.Passkey{ID: "j", Account: "X"}) }},
		"role's account": {screen.Invalid, func(tx *Tx) error {
			return tx.SetGrants("X", []access.Grant{{Role: access.Coach}}, "by")
		}},
		"recovery's account": {screen.Invalid, func(tx *Tx) error { return tx.SetRecovery("X", []string{"h"}) }},
		"another's passkey":  {screen.NotFound, func(tx *Tx) error { return tx.DropPasskey("B", "i") }},
		"no passkey":         {screen.NotFound, func(tx *Tx) error { return tx.DropPasskey("A", "x") }},
		"another's token":    {screen.NotFound, func(tx *Tx) error { return tx.RevokeToken("B", "i", start) }},
		"no account":         {screen.NotFound, func(tx *Tx) error { _, err := tx.Account("x"); return err }},
	} {
		t.Run(name, func(t *testing.T) { writeFails(t, s, c.code, c.fn) })
	}
	checkIntegrity(t, s)
}

// TestAccounts are many, by name whatever its case; one changes.
func TestAccounts(t *testing.T) {
	s := newStore(t)
	read(t, s, func(tx *Tx) error {
		some, err := tx.AnyAccount()
		if some {
			t.Error("there is an account in a new file")
		}
		return err
	})
	const n = 2*accountBatch + 1
	write(t, s, func(tx *Tx) error {
		for i := range n {
			a := account(fmt.Sprintf("%04d", i))
			a.Name = fmt.Sprintf("%s %04d", []string{"name", "Name"}[i%2], n-i)
			if err := tx.PutAccount(a); err != nil {
				return err
			}
		}
		a, err := tx.Account("0007")
		a.Name, a.Disabled = "a first one", start
		return firstOf(err, tx.PutAccount(&a))
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.Accounts()
		if len(list) != n || list[0].ID != "0007" || list[1].ID != fmt.Sprintf("%04d", n-1) || list[n-1].ID != "0000" {
			t.Errorf("%d accounts, the first two are %+v", len(list), list[:2])
		}
		if list[0].Revision != 2 || list[0].Disabled != start {
			t.Errorf("the changed account is %+v", list[0])
		}
		some, e2 := tx.AnyAccount()
		if _, found, e3 := tx.AccountByLogin("Login-0001"); found || e3 != nil {
			t.Errorf("a login in another case was found (%v)", e3)
		}
		return firstOf(err, e2, there(t, some, nil))
	})
}

// TestGrants gives and takes roles; those that stay keep who gave them.
func TestGrants(t *testing.T) {
	s := office(t)
	every, inT, inU := access.Grant{Role: access.Administrator}, access.Grant{Team: "T", Role: access.Coach}, access.Grant{Team: "U", Role: access.Coach}
	also := access.Grant{Team: "T", Role: access.Administrator}
	write(t, s, func(tx *Tx) error {
		return firstOf(tx.SetGrants("A", []access.Grant{inT, every, inT}, "first"), tx.SetGrants("A", []access.Grant{every, also, inU}, "second"),
			tx.SetGrants("B", []access.Grant{also, inT, {Role: access.Coach}}, "first"))
	})
	read(t, s, func(tx *Tx) error {
		a, e1 := tx.Grants("A")
		equal(t, "roles of A", a, []access.Grant{every, also, inU})
		none, e2 := tx.Grants("X")
		equal(t, "roles of nobody", none, []access.Grant(nil))
		in, e3 := tx.AccountsIn("T")
		equal(t, "accounts in T", in, []string{"A", "B"})
		all, e4 := tx.AccountsIn("")
		equal(t, "accounts for every team", all, []string{"A", "B"})
		over, e5 := tx.Overseers()
		equal(t, "administrators of every team", over, []string{"A"})
		return firstOf(e1, e2, e3, e4, e5)
	})
	by := map[string]int{}
	rows, err := s.read.sql.QueryContext(t.Context(), "SELECT by_id FROM grants WHERE account_id = 'A'")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var x string
		if err := rows.Scan(&x); err != nil {
			t.Fatal(err)
		}
		by[x]++
	}
	if rows.Err() != nil || by["first"] != 1 || by["second"] != 2 {
		t.Errorf("the roles were given by %v (%v)", by, rows.Err())
	}
	write(t, s, func(tx *Tx) error {
		a, err := tx.Account("A")
		a.Disabled = start
		return firstOf(err, tx.PutAccount(&a), tx.SetGrants("B", nil, "third"))
	})
	read(t, s, func(tx *Tx) error {
		over, e1 := tx.Overseers()
		b, e2 := tx.Grants("B")
		if len(over)+len(b) != 0 {
			t.Errorf("left are %v, %v", over, b)
		}
		return firstOf(e1, e2)
	})
}

// TestUsedUp uses codes and links, ends sessions and revokes tokens: each once, and no other one.
func TestUsedUp(t *testing.T) {
	s := office(t)
	later := start.Add(time.Hour)
	write(t, s, func(tx *Tx) error {
		err := firstOf(tx.SetRecovery("A", []string{"x", "y"}), tx.SetRecovery("B", []string{"x"}))
		for i, want := range []bool{true, false} {
			if used, e := tx.UseRecovery("A", "x", later); used != want || e != nil {
				t.Errorf("use %d of a code: %v (%v)", i, used, e)
			}
		}
		a, e1 := tx.Recovery("A")
		b, e2 := tx.Recovery("B")
		equal(t, "codes", [][]string{a, b}, [][]string{{"y"}, {"x"}})
		return firstOf(err, e1, e2, tx.SetRecovery("A", nil))
	})
	write(t, s, func(tx *Tx) error {
		for i, acc := range []string{"A", "A", "A", "B"} {
			at := start.Add(time.Duration(i) * time.Minute)
			id := fmt.Sprint(i)
			err := firstOf(tx.AddSession(&access.Session{Hash: id, ID: id, Account: acc, Created: at, Used: at, Expires: at.Add(time.Hour)}),
				tx.AddToken(&access.Token{Hash: id, ID: id, Account: acc, Created: at}),
				tx.AddLink(&access.Link{Hash: id, ID: id, Account: acc, Kind: access.LinkReset, Made: at, Expires: later}))
			if err != nil {
				return err
			}
		}
		return firstOf(tx.UseSession("0", later), tx.UseToken("0", later), tx.UseLink("0", later), tx.RevokeToken("A", "1", later),
			tx.RevokeLink("1", later), tx.RevokeLink("1", later.Add(time.Hour)))
	})
	write(t, s, func(tx *Tx) error {
		first, _, e1 := tx.Session("0")
		tokens, e2 := tx.Tokens("A")
		links, e3 := tx.OpenLinks(access.LinkReset, start)
		one, _, e4 := tx.LinkByID("1")
		if first.Used != later || tokens[2].Used != later || tokens[1].Revoked != later || one.Revoked != later || len(links) != 2 || links[0].ID != "3" {
			t.Errorf("session %+v, tokens %+v, links %+v, %+v", first, tokens, links, one)
		}
		return firstOf(e1, e2, e3, e4, tx.RevokeLinks(access.LinkReset, "A", later), tx.RevokeTokens("A", start), tx.EndSessions("A", "1"), tx.EndSession("none"))
	})
	write(t, s, func(tx *Tx) error {
		a, e1 := tx.Sessions("A")
		b, e2 := tx.Sessions("B")
		links, e3 := tx.OpenLinks(access.LinkReset, start)
		tokens, e4 := tx.Tokens("A")
		unrevoked := slices.ContainsFunc(tokens, func(t access.Token) bool { return t.Revoked.IsZero() })
		if len(a) != 1 || a[0].ID != "1" || len(b) != 1 || len(links) != 1 || links[0].Account != "B" || unrevoked || tokens[1].Revoked != later {
			t.Errorf("sessions %+v, %+v, links %+v, tokens %+v", a, b, links, tokens)
		}
		return firstOf(e1, e2, e3, e4, tx.SweepSessions(start.Add(time.Hour+time.Minute)))
	})
	read(t, s, func(tx *Tx) error {
		a, e1 := tx.Sessions("A")
		b, e2 := tx.Sessions("B")
		if len(a) != 0 || len(b) != 1 {
			t.Errorf("after the sweep: %+v, %+v", a, b)
		}
		return firstOf(e1, e2)
	})
}

// TestPasskeyUse notes what is new of a passkey, and removes it.
func TestPasskeyUse(t *testing.T) {
	s := office(t)
	write(t, s, func(tx *Tx) error {
		return firstOf(tx.AddPasskey(&access.Passkey{ID: "2", Account: "A", Created: start}), tx.AddPasskey(&access.Passkey{ID: "1", Account: "A", Created: start}),
			tx.UsePasskey("1", []byte("new"), start.Add(time.Hour)), tx.DropPasskey("A", "2"))
	})
	read(t, s, func(tx *Tx) error {
		list, err := tx.Passkeys("A")
		equal(t, "left", list, []access.Passkey{{ID: "1", Account: "A", Credential: []byte("new"), Created: start, Used: start.Add(time.Hour)}})
		return err
	})
}
