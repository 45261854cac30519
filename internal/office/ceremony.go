package office

import (
	"encoding/json"
	"net/netip"
	"net/url"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

// ceremonyLasts is how long somebody has between asking for a passkey and showing it.
const ceremonyLasts = 5 * time.Minute

// ceremony is what the standard calls the steps between a challenge and its answer.
type ceremony struct {
	account string // whose passkey is added; empty: somebody signs in
	origin  string
	data    webauthn.SessionData
	until   time.Time
}

// ceremonies are those that were begun and not finished.
type ceremonies struct{ list *bounded[ceremony] }

func newCeremonies() *ceremonies { return &ceremonies{newBounded[ceremony]()} }

func (c *ceremonies) put(id string, x ceremony) {
	c.list.with(id, func(v *ceremony) bool { *v = x; return true })
}

// take gives a ceremony out, once.
func (c *ceremonies) take(id string, now time.Time) (x ceremony, ok bool) {
	c.list.with(id, func(v *ceremony) bool { x = *v; return false })
	return x, now.Before(x.until)
}

// holder is an account as the library wants it.
type holder struct {
	account  access.Account
	passkeys []access.Passkey
	keys     []webauthn.Credential
}

func (h *holder) WebAuthnID() []byte                         { return []byte(h.account.ID) }
func (h *holder) WebAuthnName() string                       { return h.account.Login }
func (h *holder) WebAuthnDisplayName() string                { return h.account.Name }
func (h *holder) WebAuthnCredentials() []webauthn.Credential { return h.keys }

func holderOf(tx *store.Tx, account string) (*holder, error) {
	a, err := tx.Account(account)
	if err != nil {
		return nil, err
	}
	h := &holder{account: a}
	if h.passkeys, err = tx.Passkeys(account); err != nil {
		return nil, err
	}
	h.keys = make([]webauthn.Credential, len(h.passkeys))
	for i := range h.passkeys {
		if err := json.Unmarshal(h.passkeys[i].Credential, &h.keys[i]); err != nil {
			return nil, err
		}
	}
	return h, nil
}

// party is the relying party at an origin: the address that the browser shows. The standard asks for a
// name and for a secure connection; localhost counts as one.
func party(origin string) (*webauthn.WebAuthn, error) {
	u, err := url.Parse(origin)
	if err != nil || u.Hostname() == "" {
		return nil, &screen.Problem{Code: screen.Invalid, Text: "the address of the page is not known", Want: "open the page anew"}
	}
	host := strings.ToLower(u.Hostname())
	if _, err := netip.ParseAddr(host); err == nil {
		return nil, &screen.Problem{Code: screen.Invalid, Text: "a passkey belongs to a name, and this page was opened by a number",
			Want: "open evenhand by its name, such as https://evenhand.local or http://localhost, not by an IP address"}
	}
	local := host == "localhost" || strings.HasSuffix(host, ".localhost")
	if u.Scheme != "https" && (u.Scheme != "http" || !local) {
		return nil, &screen.Problem{Code: screen.Invalid, Text: "browsers keep passkeys only for pages that come by https",
			Want: "start evenhand with a certificate and open it by https"}
	}
	yes := true
	w, err := webauthn.New(&webauthn.Config{
		RPID: host, RPDisplayName: program, RPOrigins: []string{u.Scheme + "://" + u.Host},
		AttestationPreference: protocol.PreferNoAttestation, // which make it is does not matter, and says something about its owner
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			RequireResidentKey: &yes, ResidentKey: protocol.ResidentKeyRequirementRequired, // it names the account
			UserVerification: protocol.VerificationRequired, // by finger, face or PIN: two factors in one
		},
	})
	if err != nil {
		return nil, &screen.Problem{Code: screen.Invalid, Text: "passkeys do not work at the address of this page", Want: "open evenhand by a name, by https"}
	}
	return w, nil
}
