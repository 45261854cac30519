package office

import (
	"encoding/base32"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
	"github.com/pquerna/otp/totp"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// TestRFC6238 are the test vectors of RFC 6238, appendix B, for SHA-1: eight digits at a time, of the
// secret "12345678901234567890". Our six digits are the last six of them.
func TestRFC6238(t *testing.T) {
	secret := base32.StdEncoding.EncodeToString([]byte("12345678901234567890"))
	for unix, want := range map[int64]string{
		59: "94287082", 1111111109: "07081804", 1111111111: "14050471", 1234567890: "89005924", 2000000000: "69279037", 20000000000: "65353130",
	} {
		got, err := hotp.GenerateCodeCustom(secret, uint64(unix/30), hotp.ValidateOpts{Digits: otp.DigitsEight, Algorithm: otp.AlgorithmSHA1})
		if err != nil || got != want {
			t.Errorf("at %d: %s (%v), want %s", unix, got, err, want)
		}
		now := time.Unix(unix, 0)
		if step, ok := totpStep(secret, want[2:], now, 0); !ok || step != unix/30 {
			t.Errorf("at %d: %s is of step %d, %v", unix, want[2:], step, ok)
		}
		for _, bad := range []string{"", want, want[2:7], want[2:] + "0", "000000"} {
			if _, ok := totpStep(secret, bad, now, 0); ok {
				t.Errorf("at %d: %q was taken", unix, bad)
			}
		}
	}
}

// TestTOTPWindow accepts one step before and after now, and none that was used or is older.
func TestTOTPWindow(t *testing.T) {
	secret := base32.StdEncoding.EncodeToString([]byte("12345678901234567890"))
	const step = 37037037 // of 1111111111
	code := codeAt(t, secret, time.Unix(1111111111, 0))
	for _, c := range []struct {
		unix, used int64
		ok         bool
	}{
		{step*30 - 31, 0, false}, {step*30 - 30, 0, true}, {step * 30, 0, true}, {step*30 + 29, 0, true}, {step*30 + 59, 0, true}, {step*30 + 60, 0, false},
		{step * 30, step - 1, true}, {step * 30, step, false}, {step * 30, step + 1, false}, {0, 0, false},
	} {
		if got, ok := totpStep(secret, code, time.Unix(c.unix, 0), c.used); ok != c.ok || ok && got != step {
			t.Errorf("at %d with %d used: %d, %v, want %v", c.unix, c.used, got, ok, c.ok)
		}
	}
}

func codeAt(t testing.TB, secret string, at time.Time) string {
	t.Helper()
	code, err := totp.GenerateCode(secret, at)
	ok(t, err)
	return code
}

// totp sets a second factor up and gives its secret and the recovery codes.
func (h *house) totp(t testing.TB, who access.Person) (secret string, codes []string) {
	t.Helper()
	offer, err := h.OfferTOTP(t.Context(), who)
	ok(t, err)
	codes, err = h.ConfirmTOTP(t.Context(), who, offer.Secret, codeAt(t, offer.Secret, h.now()), good)
	ok(t, err)
	return offer.Secret, codes
}

func TestOfferTOTP(t *testing.T) {
	h := newHouse(t)
	chief := h.first(t)
	offer, err := h.OfferTOTP(t.Context(), chief)
	ok(t, err)
	u, err := url.Parse(offer.URL)
	ok(t, err)
	q := u.Query()
	if u.Scheme != "otpauth" || u.Host != "totp" || u.Path != "/evenhand:chief" || q.Get("issuer") != "evenhand" || q.Get("secret") != offer.Secret || q.Get("digits") != "6" || q.Get("period") != "30" || q.Get("algorithm") != "SHA1" {
		t.Errorf("the address is %s", offer.URL)
	}
	if b, err := plain32.DecodeString(offer.Secret); err != nil || len(b) != 20 {
		t.Errorf("the secret is %q (%v)", offer.Secret, err)
	}
	_, err = h.SignIn(t.Context(), from("chief", good, "")) // it is only an offer
	ok(t, err)
}

func TestConfirmTOTPRefused(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	offer, err := h.OfferTOTP(ctx, chief)
	ok(t, err)
	code := codeAt(t, offer.Secret, h.now())
	confirm := func(secret, code, password string) error {
		_, err := h.ConfirmTOTP(ctx, chief, secret, code, password)
		return err
	}
	faults(t, "another's secret", confirm("GEZDGNBV", code, good), "secret")
	faults(t, "no secret", confirm("", code, good), "secret")
	faults(t, "a wrong code", confirm(offer.Secret, "000000", good), "code")
	faults(t, "an old code", confirm(offer.Secret, codeAt(t, offer.Secret, h.now().Add(-time.Minute)), good), "code")
	faults(t, "a wrong password", confirm(offer.Secret, code, other), "password")
	ok(t, confirm(" "+strings.ToLower(offer.Secret), code[:3]+" "+code[3:], good)) // as people type it
	own, err := h.Own(ctx, chief)
	if err != nil || !own.HasTOTP || own.Recovery != 10 || own.Account.TOTP != "" || own.Account.Password != "" {
		t.Errorf("the own page shows %+v (%v)", own, err)
	}
	if got, want := h.last(t), chief.ID+": own account done second factor "+chief.ID; got != want {
		t.Errorf("the audit says %q, want %q", got, want)
	}
}

// TestSignInWithCode needs a code each time, each code once, and the right password first.
func TestSignInWithCode(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	secret, _ := h.totp(t, h.first(t))
	in := func(password, code string) error { _, err := h.SignIn(ctx, from("chief", password, code)); return err }
	code := codeAt(t, secret, h.now())
	is(t, "the code that it was set up with", in(good, code), screen.Unknown, "do not fit")
	h.wait(30 * time.Second)
	code = codeAt(t, secret, h.now())
	if err := in(good, ""); !NeedsCode(err) || !screen.IsCode(err, screen.Unknown) {
		t.Errorf("without a code: %v", err)
	}
	if err := in(other, ""); NeedsCode(err) {
		t.Error("a wrong password was told that a code is missing")
	}
	is(t, "a wrong password", in(other, code), screen.Unknown, "do not fit")
	ok(t, in(good, code)) // which a wrong password did not use up
	is(t, "replayed", in(good, code), screen.Unknown, "do not fit")
	h.wait(30 * time.Second)
	ok(t, in(good, codeAt(t, secret, h.now())))
	is(t, "the one before", in(good, code), screen.Unknown, "do not fit")
}

// TestRecovery lets in by each code once, however it is typed.
func TestRecovery(t *testing.T) {
	h := newHouse(t)
	ctx := t.Context()
	chief := h.first(t)
	coach := h.join(t, chief, "coach", role("T", access.Coach))
	_, codes := h.totp(t, chief)
	_, others := h.totp(t, coach)
	if len(codes) != 10 || len(codes[0]) != 29 || codes[0] == codes[1] {
		t.Fatalf("the codes are %v", codes)
	}
	in := func(code string) error { _, err := h.SignIn(ctx, from("chief", good, code)); return err }
	ok(t, in(codes[0]))
	is(t, "used again", in(codes[0]), screen.Unknown, "do not fit")
	is(t, "another's", in(others[0]), screen.Unknown, "do not fit")
	is(t, "cut off", in(codes[1][:28]), screen.Unknown, "do not fit")
	h.wait(time.Minute)
	ok(t, in(" "+strings.ToLower(strings.ReplaceAll(codes[1], "-", " "))))
	own, err := h.Own(ctx, chief)
	if err != nil || own.Recovery != 8 {
		t.Errorf("%d codes are left (%v)", own.Recovery, err)
	}
	faults(t, "removed with a wrong password", h.RemoveTOTP(ctx, chief, other), "password")
	ok(t, h.RemoveTOTP(ctx, chief, good))
	ok(t, in(""))
	if own, err = h.Own(ctx, chief); err != nil || own.HasTOTP || own.Recovery != 0 {
		t.Errorf("%+v (%v)", own, err)
	}
	_, again := h.totp(t, chief)
	is(t, "a code of the second factor before", in(codes[2]), screen.Unknown, "do not fit")
	ok(t, in(again[0]))
}

// TestCodesAreThrottled like passwords: somebody who knows the password gets no more tries than others.
func TestCodesAreThrottled(t *testing.T) {
	h := newHouse(t)
	h.totp(t, h.first(t))
	tried := 0
	for range 200 {
		a := from("chief", good, "000000")
		a.Address = ""
		_, err := h.SignIn(t.Context(), a)
		if _, waits := Throttled(err); !waits {
			tried++
		}
		_, err = h.SignIn(t.Context(), Attempt{Login: "chief", Password: good, Address: "192.0.2.9"}) // asks for the code, and resets nothing
		if _, waits := Throttled(err); !waits && !NeedsCode(err) {
			t.Fatal(err)
		}
		h.wait(10 * time.Second)
	}
	// 2,000 seconds: five at once, then after 1, 2, 4 … 512 and 900 s.
	if tried < 10 || tried > 16 {
		t.Errorf("%d codes were tried in 2,000 seconds", tried)
	}
}
