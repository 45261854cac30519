package office

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/descope/virtualwebauthn"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

const origin = "https://evenhand.test:8484"

// device is an authenticator in software, as a phone has one.
type device struct {
	rp   virtualwebauthn.RelyingParty
	auth virtualwebauthn.Authenticator
	key  virtualwebauthn.Credential
}

func newDevice(account string, verifies bool) *device {
	return &device{
		rp:   virtualwebauthn.RelyingParty{ID: "evenhand.test", Name: "evenhand", Origin: origin},
		auth: virtualwebauthn.NewAuthenticatorWithOptions(virtualwebauthn.AuthenticatorOptions{UserHandle: []byte(account), UserNotVerified: !verifies}),
		key:  newKey(),
	}
}

// newKey is a key on the curve P-256 whose coordinates both have 32 bytes. The library leaves leading
// zeros out, which RFC 9053 (section 7.1.1) does not allow and which is rightly refused: one key in 128.
func newKey() virtualwebauthn.Credential {
	const whole = 77 // bytes of a COSE key with two coordinates of 32
	for {
		if c := virtualwebauthn.NewCredential(virtualwebauthn.KeyTypeEC2); len(c.Key.AttestationData()) == whole {
			return c
		}
	}
}

// add makes the device's key a passkey of who.
func (d *device) add(t testing.TB, h *house, who access.Person) error {
	t.Helper()
	id, options, err := h.BeginPasskey(t.Context(), who, origin)
	ok(t, err)
	return h.FinishPasskey(t.Context(), who, origin, id, " phone ", []byte(d.create(t, options)))
}

func (d *device) create(t testing.TB, options []byte) string {
	t.Helper()
	o, err := virtualwebauthn.ParseAttestationOptions(string(options))
	ok(t, err)
	return virtualwebauthn.CreateAttestationResponse(d.rp, d.auth, d.key, *o)
}

// get answers a challenge. The counter goes up first, as a device's does.
func (d *device) get(t testing.TB, options []byte) []byte {
	t.Helper()
	o, err := virtualwebauthn.ParseAssertionOptions(string(options))
	ok(t, err)
	d.key.Counter++
	return []byte(virtualwebauthn.CreateAssertionResponse(d.rp, d.auth, d.key, *o))
}

// signIn signs in by the device.
func (d *device) signIn(t testing.TB, h *house) (SignedIn, error) {
	t.Helper()
	id, options, err := h.BeginPasskeySignIn(t.Context(), origin, "192.0.2.1")
	ok(t, err)
	return h.FinishPasskeySignIn(t.Context(), origin, id, d.get(t, options), "192.0.2.1", "browser")
}

func TestPasskey(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	h.totp(t, chief) // a passkey is both factors: no code is asked for
	d := newDevice(chief.ID, true)
	ok(t, d.add(t, h, chief))
	own, err := h.Own(t.Context(), chief)
	if err != nil || len(own.Passkeys) != 1 || own.Passkeys[0].Name != "phone" || own.Passkeys[0].Credential != nil {
		t.Fatalf("the passkeys are %+v (%v)", own.Passkeys, err)
	}
	if got, want := h.last(t), chief.ID+": own account done passkey "+own.Passkeys[0].ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	for range 2 {
		h.wait(time.Hour)
		in, err := d.signIn(t, h)
		ok(t, err)
		if who, err := h.BySession(t.Context(), in.Cookie); err != nil || who.ID != chief.ID || !samePerson(who, in.Person) {
			t.Errorf("signed in as %+v (%v)", who, err)
		}
	}
	if own, err = h.Own(t.Context(), chief); err != nil || own.Passkeys[0].Used != h.now() {
		t.Errorf("it was used at %v (%v)", own.Passkeys[0].Used, err)
	}
	ok(t, h.RemovePasskey(t.Context(), chief, own.Passkeys[0].ID))
	_, err = d.signIn(t, h)
	is(t, "removed", err, screen.Unknown, "this passkey does not let anybody in")
}

// TestPasskeyOptions asks for what makes a passkey both factors in one.
func TestPasskeyOptions(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	ok(t, newDevice(chief.ID, true).add(t, h, chief))
	_, create, e1 := h.BeginPasskey(t.Context(), chief, origin)
	_, get, e2 := h.BeginPasskeySignIn(t.Context(), origin, "192.0.2.1")
	ok(t, e1)
	ok(t, e2)
	var c, g struct {
		PublicKey struct {
			RP                     struct{ ID string }
			RPID                   string `json:"rpId"`
			Challenge, Attestation string
			UserVerification       string
			ExcludeCredentials     []any
			AllowCredentials       []any
			AuthenticatorSelection struct{ ResidentKey, UserVerification string }
		}
	}
	ok(t, json.Unmarshal(create, &c))
	ok(t, json.Unmarshal(get, &g))
	if p := c.PublicKey; p.RP.ID != "evenhand.test" || len(p.Challenge) < 43 || p.AuthenticatorSelection.ResidentKey != "required" ||
		p.AuthenticatorSelection.UserVerification != "required" || len(p.ExcludeCredentials) != 1 || p.Attestation != "none" {
		t.Errorf("create: %s", create)
	}
	if p := g.PublicKey; p.RPID != "evenhand.test" || p.UserVerification != "required" || len(p.AllowCredentials) != 0 || p.Challenge == c.PublicKey.Challenge {
		t.Errorf("get: %s", get)
	}
}

// TestPasskeySignInRefused: in the same words, whatever is wrong.
func TestPasskeySignInRefused(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	d := newDevice(chief.ID, true)
	ok(t, d.add(t, h, chief))
	begin := func() (string, []byte) {
		id, options, err := h.BeginPasskeySignIn(ctx, origin, "192.0.2.1")
		ok(t, err)
		return id, options
	}
	finish := func(origin, id string, response []byte) error {
		h.wait(10 * time.Second)
		_, err := h.FinishPasskeySignIn(ctx, origin, id, response, "192.0.2.1", "")
		return err
	}
	for name, c := range map[string]func() error{
		"unknown ceremony": func() error { _, o := begin(); return finish(origin, "x", d.get(t, o)) },
		"replayed": func() error {
			id, o := begin()
			r := d.get(t, o)
			ok(t, finish(origin, id, r))
			return finish(origin, id, r)
		},
		"another challenge": func() error { _, o := begin(); id, _ := begin(); return finish(origin, id, d.get(t, o)) },
		"too late": func() error {
			id, o := begin()
			h.wait(5*time.Minute - 10*time.Second)
			return finish(origin, id, d.get(t, o))
		},
		"not an answer": func() error { id, _ := begin(); return finish(origin, id, []byte("{}")) },
		"too long": func() error {
			id, o := begin()
			return finish(origin, id, append(d.get(t, o), make([]byte, mostResponse)...))
		},
		"another origin": func() error { id, o := begin(); return finish("https://other.test", id, d.get(t, o)) },
		"signed for another": func() error {
			id, o := begin()
			x := *d
			x.rp.ID, x.rp.Origin = "other.test", "https://other.test"
			return finish(origin, id, x.get(t, o))
		},
		"unknown key": func() error { id, o := begin(); return finish(origin, id, newDevice(chief.ID, true).get(t, o)) },
		"another's account": func() error {
			id, o := begin()
			x := *d
			x.auth.Options.UserHandle = []byte(coach.ID)
			return finish(origin, id, x.get(t, o))
		},
		"no account": func() error {
			id, o := begin()
			x := *d
			x.auth.Options.UserHandle = []byte("nobody")
			return finish(origin, id, x.get(t, o))
		},
		"owner was not verified": func() error {
			id, o := begin()
			x := *d
			x.auth.Options.UserNotVerified = true
			return finish(origin, id, x.get(t, o))
		},
	} {
		err := c()
		is(t, name, err, screen.Unknown, "this passkey does not let anybody in here; try again")
	}
	id, o := begin() // and at the last moment
	h.wait(5*time.Minute - 10*time.Second - time.Microsecond)
	ok(t, finish(origin, id, d.get(t, o)))
}

// TestPasskeyCounter refuses a key whose counter went back: somebody has a copy of it.
func TestPasskeyCounter(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	d := newDevice(chief.ID, true)
	ok(t, d.add(t, h, chief))
	d.key.Counter = 10
	_, err := d.signIn(t, h)
	ok(t, err)
	copied := *d
	copied.key.Counter = 5
	_, err = copied.signIn(t, h)
	is(t, "the copy", err, screen.Unknown, "this passkey does not let anybody in")
	if got, want := h.last(t), "unknown: sign in refused account "+chief.ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
	_, err = d.signIn(t, h)
	ok(t, err)
}

func TestPasskeyOfSomebodyNotLetIn(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	d := newDevice(coach.ID, true)
	ok(t, d.add(t, h, coach))
	if m, err := h.Member(t.Context(), chief, coach.ID); err != nil || !m.HasPasskeys {
		t.Errorf("%+v (%v)", m, err)
	}
	ok(t, h.Disable(t.Context(), chief, coach.ID, true))
	_, err := d.signIn(t, h)
	is(t, "not let in", err, screen.Unknown, "this passkey does not let anybody in")
}

func TestAddPasskeyRefused(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	d := newDevice(chief.ID, true)
	begin := func() (string, []byte) {
		id, options, err := h.BeginPasskey(ctx, chief, origin)
		ok(t, err)
		return id, options
	}
	id, o := begin()
	answer := []byte(d.create(t, o))
	faults(t, "no name", h.FinishPasskey(ctx, chief, origin, id, " ", answer), "name")
	ok(t, h.FinishPasskey(ctx, chief, origin, id, "phone", answer)) // the name did not use it up
	is(t, "replayed", h.FinishPasskey(ctx, chief, origin, id, "phone", answer), screen.Invalid, "could not be checked")
	is(t, "added again", d.add(t, h, chief), screen.Conflict, "yours already")
	is(t, "owner not verified", newDevice(chief.ID, false).add(t, h, chief), screen.Invalid, "could not be checked")
	id, o = begin()
	is(t, "somebody else", h.FinishPasskey(ctx, coach, origin, id, "phone", []byte(d.create(t, o))), screen.Invalid, "could not be checked")
	id, o = begin()
	is(t, "another origin", h.FinishPasskey(ctx, chief, "https://other.test", id, "phone", []byte(d.create(t, o))), screen.Invalid, "could not be checked")
	id, _ = begin()
	is(t, "not an answer", h.FinishPasskey(ctx, chief, origin, id, "phone", []byte("[")), screen.Invalid, "could not be checked")
	sign, o, err := h.BeginPasskeySignIn(ctx, origin, "192.0.2.1")
	ok(t, err)
	is(t, "a ceremony of another kind", h.FinishPasskey(ctx, chief, origin, sign, "phone", d.get(t, o)), screen.Invalid, "could not be checked")
	id, o = begin()
	h.wait(15 * time.Minute)
	is(t, "finished too late", h.FinishPasskey(ctx, chief, origin, id, "phone", []byte(newDevice(chief.ID, true).create(t, o))), screen.Invalid, "could not be checked")
	_, _, err = h.BeginPasskey(ctx, chief, origin)
	is(t, "not signed in recently", err, screen.Forbidden, "more than 15 minutes ago")
	in, err := h.SignIn(ctx, from("chief", good, ""))
	ok(t, err)
	ok(t, newDevice(chief.ID, true).add(t, h, in.Person))
}

func TestMostPasskeys(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	for range mostPasskeys {
		ok(t, newDevice(chief.ID, true).add(t, h, chief))
	}
	_, _, err := h.BeginPasskey(t.Context(), chief, origin)
	is(t, "one more", err, screen.Invalid, "you have 20 passkeys")
}

// TestOrigins says where passkeys work.
func TestOrigins(t *testing.T) {
	for o, words := range map[string]string{
		origin: "", "https://evenhand.local": "", "http://localhost:8484": "", "http://gym.localhost": "", "https://localhost": "",
		"https://192.0.2.1:8484": "not by an IP address", "http://127.0.0.1:8484": "not by an IP address", "https://[2001:db8::1]": "not by an IP address",
		"http://evenhand.test": "open it by https", "ftp://evenhand.test": "open it by https", "": "open the page anew", "evenhand.test": "open the page anew",
	} {
		_, err := party(o)
		if words == "" && err != nil {
			t.Errorf("%s: %v", o, err)
		}
		if words != "" {
			is(t, o, err, screen.Invalid, words)
		}
	}
}

// TestBeginsAreBounded by address, and those who add a passkey are not pushed out by strangers.
func TestBeginsAreBounded(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	d := newDevice(chief.ID, true)
	id, options, err := h.BeginPasskey(t.Context(), chief, origin)
	ok(t, err)
	for i := range mostKeys + 50 {
		if _, _, err := h.BeginPasskeySignIn(t.Context(), origin, fmt.Sprintf("10.0.%d.%d", i>>8, i&255)); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(h.signIns.list.at); n != mostKeys {
		t.Errorf("%d ceremonies are remembered", n)
	}
	ok(t, h.FinishPasskey(t.Context(), chief, origin, id, "phone", []byte(d.create(t, options))))
	got := 0
	for range 100 {
		_, _, err := h.BeginPasskeySignIn(t.Context(), origin, "192.0.2.5")
		if err == nil {
			got++
		} else if _, waits := Throttled(err); !waits || !strings.Contains(err.Error(), "too many attempts") {
			t.Fatal(err)
		}
	}
	if got != beginBurst {
		t.Errorf("%d were begun from one address", got)
	}
}
