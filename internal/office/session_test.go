package office

import (
	"strings"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// sessions is how many sessions an account has on file, past ones included.
func (h *house) sessions(t *testing.T, account string) (n int) {
	t.Helper()
	h.write(t, func(tx *store.Tx) error {
		list, err := tx.Sessions(account)
		n = len(list)
		return err
	})
	return n
}

// TestSessionEnds at the very moment: two hours after it was used last, twelve after it began, used or not.
func TestSessionEnds(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	known := func(cookie string) bool {
		who, err := h.BySession(ctx, cookie)
		ok(t, err)
		return who.ID == chief.ID
	}
	h.wait(13 * time.Hour) // the one of the setup is past
	idle, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	if n := h.sessions(t, chief.ID); n != 1 {
		t.Errorf("%d sessions: the one that is past was not swept", n)
	}
	h.wait(2*time.Hour - time.Microsecond)
	if !known(idle.Cookie) { // and used
		t.Error("signed out before two hours")
	}
	h.wait(2 * time.Hour)
	if known(idle.Cookie) {
		t.Error("still signed in after two idle hours")
	}
	if n := h.sessions(t, chief.ID); n != 0 {
		t.Errorf("%d sessions: the one that was met past its end is on file", n)
	}
	used, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	for range 11 {
		h.wait(time.Hour)
		if !known(used.Cookie) {
			t.Fatal("signed out while in use")
		}
	}
	h.wait(time.Hour - time.Microsecond)
	if !known(used.Cookie) || used.Expires != h.now().Add(time.Microsecond) {
		t.Errorf("signed out before twelve hours; it says %v", used.Expires)
	}
	h.wait(time.Microsecond)
	if known(used.Cookie) {
		t.Error("still signed in after twelve hours")
	}
}

// TestSessionUse is written once a minute at most.
func TestSessionUse(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	in, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	for _, c := range []struct{ wait, want time.Duration }{{59 * time.Second, 0}, {time.Second, time.Minute}, {59 * time.Second, time.Minute}, {time.Second, 2 * time.Minute}} {
		h.wait(c.wait)
		_, err := h.BySession(ctx, in.Cookie)
		ok(t, err)
		own, err := h.Own(ctx, chief)
		ok(t, err)
		if used := own.Sessions[0].Used; own.Sessions[0].ID != in.Person.Session || used != start.Add(c.want) {
			t.Errorf("at %v it was used at %v, want %v", h.now(), used, start.Add(c.want))
		}
	}
}

// TestNobodysCookie stands for nobody, and signing in takes none over: each session has a secret of its
// own making.
func TestNobodysCookie(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	h.first(t)
	a, e1 := h.SignIn(ctx, from("chief", good, ""))
	b, e2 := h.SignIn(ctx, from("chief", good, ""))
	ok(t, e1)
	ok(t, e2)
	if a.Cookie == b.Cookie || a.Person.Session == b.Person.Session {
		t.Error("two sessions with one secret")
	}
	chosen := strings.Repeat("A", 43) // what somebody else may have put into the browser before
	for name, cookie := range map[string]string{"none": "", "truncated": a.Cookie[:42], "longer": a.Cookie + "A", "changed": "B" + a.Cookie[1:] + "", "chosen": chosen,
		"hash": access.HashText(a.Cookie), "session's id": a.Person.Session, "token": "evh_" + a.Cookie} {
		if cookie == a.Cookie {
			continue
		}
		who, err := h.BySession(ctx, cookie)
		if !who.Anonymous() || err != nil {
			t.Errorf("%s: %+v (%v)", name, who, err)
		}
	}
	if who, err := h.BySession(ctx, a.Cookie); who.Anonymous() || err != nil {
		t.Errorf("the right one: %+v (%v)", who, err)
	}
}

func TestSignOut(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	var in []SignedIn
	for range 4 {
		s, err := h.SignIn(ctx, from("chief", good, ""))
		ok(t, err)
		in = append(in, s)
	}
	who := in[0].Person
	left := func(want string) {
		t.Helper()
		got := ""
		for i := range in {
			p, err := h.BySession(ctx, in[i].Cookie)
			ok(t, err)
			if !p.Anonymous() {
				got += string(rune('0' + i))
			}
		}
		if got != want {
			t.Errorf("signed in are %q, want %q", got, want)
		}
	}
	ok(t, h.SignOut(ctx, in[1].Person))
	if got, want := h.last(t), chief.ID+": own account done session "+in[1].Person.Session; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	left("023")
	ok(t, h.SignOut(ctx, in[1].Person))    // again
	ok(t, h.SignOut(ctx, access.Person{})) // nobody
	ok(t, h.EndSession(ctx, who, in[2].Person.Session))
	left("03")
	is(t, "another's session", h.EndSession(ctx, coach, in[3].Person.Session), screen.NotFound, "no such session")
	is(t, "no session", h.EndSession(ctx, who, "x"), screen.NotFound, "no such session")
	left("03")
	ok(t, h.SignOutEverywhere(ctx, who, true))
	left("0")
	ok(t, h.SignOutEverywhere(ctx, who, false))
	left("")
	if n := h.sessions(t, coach.ID); n != 1 {
		t.Errorf("the coach has %d sessions", n)
	}
}

// TestChangePassword asks for the old one, ends the other sessions and the reset links.
func TestChangePassword(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	a, e1 := h.SignIn(ctx, from("coach", good, ""))
	b, e2 := h.SignIn(ctx, from("coach", good, ""))
	link, e3 := h.ResetLink(ctx, chief, coach.ID)
	for _, err := range []error{e1, e2, e3} {
		ok(t, err)
	}
	faults(t, "a wrong old one", h.ChangePassword(ctx, a.Person, other, other), "old")
	faults(t, "a bad new one", h.ChangePassword(ctx, a.Person, good, "coach"), "password")
	ok(t, h.ChangePassword(ctx, a.Person, good, other))
	if got, want := h.last(t), coach.ID+": own account done password "+coach.ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	w, e1 := h.BySession(ctx, a.Cookie)
	x, e2 := h.BySession(ctx, b.Cookie)
	if w.ID != coach.ID || !x.Anonymous() || e1 != nil || e2 != nil {
		t.Errorf("signed in are %+v, %+v (%v, %v)", w, x, e1, e2)
	}
	_, err := h.OneTime(ctx, link, "192.0.2.1")
	is(t, "a reset link from before", err, screen.NotFound, "does not work")
	_, err = h.SignIn(ctx, from("coach", good, ""))
	is(t, "the old password", err, screen.Unknown, "do not fit")
	for range 4 { // a screen that was left is no place to guess the password at
		faults(t, "guessed", h.ChangePassword(ctx, a.Person, good, other), "old")
	}
	if _, waits := Throttled(h.ChangePassword(ctx, a.Person, other, good)); !waits {
		t.Error("the old password can be guessed without end")
	}
}

// TestOwnIsForOneself: nobody else's, not by a link or a token, and not without a role.
func TestOwnIsForOneself(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	ok(t, h.SetGrants(ctx, chief, coach.ID, nil))
	coach.Grants = nil
	token := chief
	token.Token, token.Scopes = "x", access.Scopes
	for name, c := range map[string]struct {
		who  access.Person
		code screen.Code
	}{
		"nobody": {access.Person{}, screen.Unknown}, "family": {access.Person{Athlete: "A", Link: "x"}, screen.Forbidden}, "station": {access.Person{Station: "code", Link: "x"}, screen.Forbidden},
		"token": {token, screen.Forbidden}, "without a role": {coach, screen.Forbidden}, "command line": {access.Local, screen.NotFound},
		"demo visitor": {access.Person{ID: "demo", Grants: []access.Grant{role("", access.Coach)}}, screen.NotFound},
	} {
		_, e1 := h.Own(ctx, c.who)
		_, e2 := h.OfferTOTP(ctx, c.who)
		_, e3 := h.ConfirmTOTP(ctx, c.who, strings.Repeat("A", 32), "000000", good)
		_, _, e4 := h.BeginPasskey(ctx, c.who, "https://evenhand.test")
		_, e5 := h.MakeToken(ctx, c.who, "name", access.Scopes, "", 1)
		for i, err := range []error{e1, e2, e3, e4, h.ChangePassword(ctx, c.who, good, other), h.RemoveTOTP(ctx, c.who, good), h.RemovePasskey(ctx, c.who, "x"), h.RevokeToken(ctx, c.who, "x"), h.EndSession(ctx, c.who, "x")} {
			if !screen.IsCode(err, c.code) {
				t.Errorf("%s, %d: %v, want %s", name, i, err, c.code)
			}
		}
		if c.code == screen.NotFound { // no account, and so no role that a token could have
			faults(t, name, e5, "team")
		} else {
			is(t, name, e5, c.code, "")
		}
	}
}

// TestSessionOfSomebodyNotLetIn stands for nobody, also if it was left on file.
func TestSessionOfSomebodyNotLetIn(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	in, e1 := h.SignIn(ctx, from("chief", good, ""))
	token, e2 := h.MakeToken(ctx, chief, "n", access.Scopes, "", 1)
	link, e3 := h.ResetLink(ctx, access.Local, chief.ID)
	for _, err := range []error{e1, e2, e3} {
		ok(t, err)
	}
	h.write(t, func(tx *store.Tx) error {
		a, err := tx.Account(chief.ID)
		ok(t, err)
		a.Disabled = start
		return tx.PutAccount(&a)
	})
	if who, err := h.BySession(ctx, in.Cookie); !who.Anonymous() || err != nil {
		t.Errorf("the session stands for %+v (%v)", who, err)
	}
	_, err := h.ByToken(ctx, token, "")
	is(t, "the token", err, screen.Unknown, "the token is not one that works")
	_, err = h.OneTime(ctx, link, "")
	is(t, "the link", err, screen.NotFound, "this link does not work")
}
