package office

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

func TestToken(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	token, err := h.MakeToken(ctx, chief, " sheet ", []access.Scope{access.ScopeEnter, access.ScopeRead, access.ScopeRead}, "", 30)
	ok(t, err)
	if !strings.HasPrefix(token, "evh_") || len(token) != 47 {
		t.Errorf("the token is %q", token)
	}
	who, err := h.ByToken(ctx, token, "192.0.2.1")
	ok(t, err)
	if who.ID != chief.ID || who.Token == "" || who.Session != "" || !slices.Equal(who.Scopes, []access.Scope{access.ScopeRead, access.ScopeEnter}) || !slices.Equal(who.Grants, chief.Grants) {
		t.Errorf("it stands for %+v", who)
	}
	all := access.Subject{Every: true}
	if !who.May(access.SeeRecords, &all) || who.May(access.ManageRoster, &all) || who.May(access.ManagePeople, &all) || who.May(access.OwnAccount, &all) {
		t.Error("the token may do what its scopes do not hold, or not what they hold")
	}
	own, err := h.Own(ctx, chief)
	if err != nil || len(own.Tokens) != 1 || own.Tokens[0].Name != "sheet" || own.Tokens[0].Hash != "" || own.Tokens[0].Used != start || own.Tokens[0].Expires != start.Add(30*24*time.Hour) {
		t.Errorf("the tokens are %+v (%v)", own.Tokens, err)
	}
	for name, bad := range map[string]string{"none": "", "truncated": token[:46], "longer": token + "A", "without prefix": token[4:], "prefix": "evh_", "in capitals": strings.ToUpper(token), "id": "evh_" + who.Token} {
		_, err := h.ByToken(ctx, bad, "")
		is(t, name, err, screen.Unknown, "the token is not one that works")
	}
	is(t, "another's", h.RevokeToken(ctx, h.join(t, chief, "coach", role("T", access.Coach)), who.Token), screen.NotFound, "no such token")
	ok(t, h.RevokeToken(ctx, chief, who.Token))
	_, err = h.ByToken(ctx, token, "192.0.2.1")
	is(t, "revoked", err, screen.Unknown, "the token is not one that works")
	if got, want := h.last(t), "unknown: sign in refused token "+who.Token; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
}

// TestTokenTeam narrows a token to a team: a role for every team is one for that team alone.
func TestTokenTeam(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	token, err := h.MakeToken(ctx, chief, "T only", access.Scopes, "T", 1)
	ok(t, err)
	who, err := h.ByToken(ctx, token, "")
	if err != nil || !slices.Equal(who.Grants, []access.Grant{role("T", access.Administrator), role("T", access.Clinician)}) {
		t.Errorf("%+v (%v)", who, err)
	}
	if who.May(access.SeeRecords, &access.Subject{Every: true}) || who.May(access.SeeRecords, &access.Subject{Teams: []string{"U"}}) || !who.May(access.SeeRecords, &access.Subject{Teams: []string{"T"}}) {
		t.Error("the token goes beyond its team")
	}
	coach := h.join(t, chief, "coach", role("T", access.Coach), role("U", access.Coach))
	token, err = h.MakeToken(ctx, coach, "T only", access.Scopes, "T", 1)
	ok(t, err)
	if who, err = h.ByToken(ctx, token, ""); err != nil || !slices.Equal(who.Grants, []access.Grant{role("T", access.Coach)}) {
		t.Errorf("%+v (%v)", who, err)
	}
	ok(t, h.SetGrants(ctx, chief, coach.ID, []access.Grant{role("U", access.Coach)})) // the token goes with the role
	_, err = h.ByToken(ctx, token, "")
	is(t, "without a role in its team", err, screen.Unknown, "the token is not one that works")
}

func TestTokenExpires(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	token, err := h.MakeToken(t.Context(), chief, "a day", access.Scopes, "", 1)
	ok(t, err)
	h.wait(24*time.Hour - time.Microsecond)
	_, err = h.ByToken(t.Context(), token, "")
	ok(t, err)
	h.wait(time.Microsecond)
	_, err = h.ByToken(t.Context(), token, "")
	is(t, "at the end", err, screen.Unknown, "the token is not one that works")
}

func TestTokenRefused(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	for name, c := range map[string]struct {
		who    access.Person
		name   string
		scopes []access.Scope
		team   string
		days   int
		where  []string
	}{
		"nothing":        {chief, "", nil, "", 0, []string{"name", "scopes", "days"}},
		"unknown scope":  {chief, "n", []access.Scope{"all"}, "", 1, []string{"scopes"}},
		"too long":       {chief, "n", access.Scopes, "", 366, []string{"days"}},
		"negative":       {chief, "n", access.Scopes, "", -1, []string{"days"}},
		"no such team":   {chief, "n", access.Scopes, "X", 1, []string{"team"}},
		"another's team": {coach, "n", access.Scopes, "U", 1, []string{"team"}},
	} {
		_, err := h.MakeToken(ctx, c.who, c.name, c.scopes, c.team, c.days)
		faults(t, name, err, c.where...)
	}
	_, err := h.MakeToken(ctx, chief, "n", access.Scopes, "", 365)
	ok(t, err)
	h.wait(15*time.Minute - time.Microsecond)
	_, err = h.MakeToken(ctx, chief, "n", access.Scopes, "", 1)
	ok(t, err)
	h.wait(time.Microsecond)
	_, err = h.MakeToken(ctx, chief, "n", access.Scopes, "", 1)
	is(t, "not signed in recently", err, screen.Forbidden, "more than 15 minutes ago")
	in, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	for range mostTokens - 2 {
		_, err = h.MakeToken(ctx, in.Person, "n", access.Scopes, "", 1)
		ok(t, err)
	}
	_, err = h.MakeToken(ctx, in.Person, "n", access.Scopes, "", 1)
	is(t, "one more", err, screen.Invalid, "you have 50 tokens")
	h.wait(24 * time.Hour) // 49 of them are past
	in, err = h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	_, err = h.MakeToken(ctx, in.Person, "n", access.Scopes, "", 1)
	ok(t, err)
}

// TestTokensAreThrottled by what fails from an address; very many that are right at once are let through.
func TestTokensAreThrottled(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	token, err := h.MakeToken(ctx, h.first(t), "n", access.Scopes, "", 1)
	ok(t, err)
	var wg sync.WaitGroup
	for range 50 {
		wg.Go(func() {
			if _, err := h.ByToken(ctx, token, "192.0.2.1"); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	before := len(h.entries(t))
	for i := range 100 {
		_, err := h.ByToken(ctx, fmt.Sprintf("evh_%043d", i), "192.0.2.1")
		if _, waits := Throttled(err); waits != (i >= 10) {
			t.Fatalf("try %d: %v", i, err)
		}
	}
	if n := len(h.entries(t)) - before; n != 10 {
		t.Errorf("%d entries in the audit", n)
	}
	wait, waits := Throttled(func() error { _, err := h.ByToken(ctx, token, "192.0.2.1"); return err }())
	if !waits || wait != 10*time.Second {
		t.Errorf("the wait is %v, %v", wait, waits)
	}
	_, err = h.OneTime(ctx, strings.Repeat("A", 43), "192.0.2.1") // one count for all that fails
	if _, waits := Throttled(err); !waits {
		t.Error(err)
	}
	h.wait(10 * time.Second)
	_, err = h.ByToken(ctx, token, "192.0.2.1")
	ok(t, err)
}
