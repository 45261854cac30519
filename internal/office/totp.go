package office

import (
	"context"
	"crypto/subtle"
	"encoding/base32"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/pquerna/otp"
	"github.com/pquerna/otp/hotp"
	"github.com/pquerna/otp/totp"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const (
	totpPeriod  = 30 // seconds, RFC 6238
	totpSecret  = 20 // bytes, as RFC 4226 recommends
	totpDigits  = otp.DigitsSix
	totpAround  = 1 // steps before and after now that are accepted
	recoveries  = 10
	recoverySum = 15 // bytes: 120 bits, so that a plain hash of it may be kept (OWASP ASVS 5.0, 6.5.2)
)

var plain32 = base32.StdEncoding.WithPadding(base32.NoPadding)

// totpStep is the time step around now that a code is that of, after the last one that was used.
func totpStep(secret, code string, now time.Time, used int64) (step int64, ok bool) {
	at := now.Unix() / totpPeriod
	for s := max(at-totpAround, used+1, 0); s <= at+totpAround; s++ {
		want, err := hotp.GenerateCodeCustom(secret, uint64(s), hotp.ValidateOpts{Digits: totpDigits, Algorithm: otp.AlgorithmSHA1})
		if err == nil && subtle.ConstantTimeCompare([]byte(want), []byte(code)) == 1 {
			return s, true
		}
	}
	return 0, false
}

// plainCode is a code without what people put between its parts.
func plainCode(code string) string {
	if len(code) > 64 {
		return ""
	}
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(code))
}

// useCode reports whether a code is one of the second factor or a recovery code, and uses it up. The
// step is noted in a, which the caller keeps.
func (o *Office) useCode(tx *store.Tx, a *access.Account, code string) (bool, error) {
	code = plainCode(code)
	if step, ok := totpStep(a.TOTP, code, o.opt.Now(), a.TOTPUsed); ok {
		a.TOTPUsed = step
		return true, nil
	}
	return tx.UseRecovery(a.ID, access.HashText(code), o.opt.Now())
}

// TOTPOffer is a second factor that is not in use yet.
type TOTPOffer struct{ Secret, URL string }

// OfferTOTP makes a secret; nothing is kept until ConfirmTOTP.
func (o *Office) OfferTOTP(ctx context.Context, who access.Person) (TOTPOffer, error) {
	var a access.Account
	err := o.gate.Read(ctx, who, access.OwnAccount, own(who, "account", who.ID), func(tx *store.Tx) (err error) {
		a, err = tx.Account(who.ID)
		return err
	})
	if err != nil {
		return TOTPOffer{}, err
	}
	key, err := totp.Generate(totp.GenerateOpts{Issuer: program, AccountName: a.Login, Period: totpPeriod, SecretSize: totpSecret,
		Digits: totpDigits, Algorithm: otp.AlgorithmSHA1, Rand: o.opt.Random})
	if err != nil {
		return TOTPOffer{}, fmt.Errorf("make a second factor: %w", err)
	}
	return TOTPOffer{key.Secret(), key.URL()}, nil
}

// ConfirmTOTP takes a secret into use with a code of it and gives the recovery codes, which are shown
// once. A second factor that was in use is replaced. Returns Faults (secret, code, password).
func (o *Office) ConfirmTOTP(ctx context.Context, who access.Person, secret, code, password string) ([]string, error) {
	secret = plainCode(secret)
	if b, err := plain32.DecodeString(secret); err != nil || len(b) != totpSecret {
		return nil, screen.Faults{{Where: "secret", Problem: "this is not the secret that was offered", Want: "begin again"}}
	}
	a, err := o.confirm(ctx, &who, "password", password)
	if err != nil {
		return nil, err
	}
	step, ok := totpStep(secret, plainCode(code), o.opt.Now(), 0)
	if !ok {
		return nil, screen.Faults{{Where: "code", Problem: "this is not the code of this moment",
			Want: "the six digits that the app shows now; the clocks of phone and computer must be right"}}
	}
	codes, hashes, err := o.recoveryCodes()
	if err != nil {
		return nil, err
	}
	err = o.gate.Write(ctx, who, access.OwnAccount, own(who, "second factor", who.ID), func(tx *store.Tx) error {
		now, err := unchanged(tx, &a)
		if err != nil {
			return err
		}
		now.TOTP, now.TOTPUsed = secret, step
		if err := tx.PutAccount(&now); err != nil {
			return err
		}
		return tx.SetRecovery(who.ID, hashes)
	})
	if err != nil {
		return nil, err
	}
	return codes, nil
}

// recoveryCodes are new codes in groups of four, and the hashes of them without the hyphens.
func (o *Office) recoveryCodes() (codes, hashes []string, err error) {
	for range recoveries {
		b := make([]byte, recoverySum)
		if _, err := io.ReadFull(o.opt.Random, b); err != nil {
			return nil, nil, fmt.Errorf("no random numbers: %w", err)
		}
		code := plain32.EncodeToString(b)
		hashes = append(hashes, access.HashText(code))
		var groups []string
		for ; code != ""; code = code[4:] {
			groups = append(groups, code[:4])
		}
		codes = append(codes, strings.Join(groups, "-"))
	}
	return codes, hashes, nil
}

// RemoveTOTP takes the second factor away. Returns Faults (password).
func (o *Office) RemoveTOTP(ctx context.Context, who access.Person, password string) error {
	a, err := o.confirm(ctx, &who, "password", password)
	if err != nil {
		return err
	}
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "second factor", who.ID), func(tx *store.Tx) error {
		now, err := unchanged(tx, &a)
		if err != nil {
			return err
		}
		now.TOTP, now.TOTPUsed = "", 0
		if err := tx.PutAccount(&now); err != nil {
			return err
		}
		return tx.SetRecovery(who.ID, nil)
	})
}
