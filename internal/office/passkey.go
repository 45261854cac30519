package office

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"evenhand/internal/access"
	"evenhand/internal/screen"
	"evenhand/internal/store"
)

const (
	mostPasskeys = 20      // of one account
	mostResponse = 1 << 16 // bytes of a browser's answer
)

func errCeremony() error {
	return &screen.Problem{Code: screen.Invalid, Text: "the passkey could not be checked", Want: "begin again, and finish within five minutes"}
}

// BeginPasskey gives the options of navigator.credentials.create as JSON and the id of the ceremony.
// origin is the page's, such as https://evenhand.local:8484. Returns Invalid where passkeys do not work,
// Forbidden if who signed in longer than 15 minutes ago.
func (o *Office) BeginPasskey(ctx context.Context, who access.Person, origin string) (ceremonyID string, options []byte, err error) {
	w, err := party(origin)
	if err != nil {
		return "", nil, err
	}
	var h *holder
	err = o.gate.Read(ctx, who, access.OwnAccount, own(who, "account", who.ID), func(tx *store.Tx) error {
		if h, err = holderOf(tx, who.ID); err != nil {
			return err
		}
		if len(h.keys) >= mostPasskeys {
			return &screen.Problem{Code: screen.Invalid, Text: fmt.Sprintf("you have %d passkeys", mostPasskeys), Want: "remove one that you no longer use"}
		}
		return o.signedInRecently(tx, &who)
	})
	if err != nil {
		return "", nil, err
	}
	create, data, err := w.BeginRegistration(h, webauthn.WithExclusions(webauthn.Credentials(h.keys).CredentialDescriptors()))
	if err != nil {
		return "", nil, fmt.Errorf("begin a passkey: %w", err)
	}
	return o.keep(o.adding, ceremony{account: who.ID, origin: origin, data: *data}, create)
}

// keep remembers a ceremony and gives its id and its options.
func (o *Office) keep(in *ceremonies, c ceremony, options any) (id string, text []byte, err error) {
	if text, err = json.Marshal(options); err != nil {
		return "", nil, fmt.Errorf("options of a passkey: %w", err)
	}
	if id, err = access.NewSecret(o.opt.Random); err != nil {
		return "", nil, err
	}
	c.until = o.opt.Now().Add(ceremonyLasts)
	in.put(id, c)
	return id, text, nil
}

// FinishPasskey keeps the passkey that a browser made. Returns Invalid or Faults (name).
func (o *Office) FinishPasskey(ctx context.Context, who access.Person, origin, ceremonyID, name string, response []byte) error {
	w, err := party(origin)
	if err != nil {
		return err
	}
	var f screen.Faults
	name = cleanName(&f, name)
	if err := f.Err(); err != nil {
		return err
	}
	c, ok := o.adding.take(ceremonyID, o.opt.Now())
	if !ok || c.account != who.ID || c.origin != origin || len(response) > mostResponse {
		return errCeremony()
	}
	parsed, err := protocol.ParseCredentialCreationResponseBytes(response)
	if err != nil {
		return errCeremony()
	}
	p := access.Passkey{ID: o.opt.NewID(), Account: who.ID, Name: name, Created: o.opt.Now()}
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "passkey", p.ID), func(tx *store.Tx) error {
		if err := o.signedInRecently(tx, &who); err != nil {
			return err
		}
		h, err := holderOf(tx, who.ID)
		if err != nil {
			return err
		}
		key, err := w.CreateCredential(h, c.data, parsed)
		if err != nil {
			return errCeremony()
		}
		for i := range h.keys {
			if bytes.Equal(h.keys[i].ID, key.ID) {
				return &screen.Problem{Code: screen.Conflict, Text: "this passkey is yours already", Want: "another one"}
			}
		}
		if p.Credential, err = json.Marshal(key); err != nil {
			return fmt.Errorf("passkey: %w", err)
		}
		return tx.AddPasskey(&p)
	})
}

// RemovePasskey removes one of one's own passkeys.
func (o *Office) RemovePasskey(ctx context.Context, who access.Person, id string) error {
	return o.gate.Write(ctx, who, access.OwnAccount, own(who, "passkey", id), func(tx *store.Tx) error {
		return tx.DropPasskey(who.ID, id)
	})
}

// BeginPasskeySignIn gives the options of navigator.credentials.get as JSON. Returns Invalid where
// passkeys do not work, or Throttled.
func (o *Office) BeginPasskeySignIn(_ context.Context, origin, address string) (ceremonyID string, options []byte, err error) {
	w, err := party(origin)
	if err != nil {
		return "", nil, err
	}
	if _, err := o.begins.enter(address, o.opt.Now()); err != nil {
		return "", nil, err
	}
	get, data, err := w.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return "", nil, fmt.Errorf("begin signing in by a passkey: %w", err)
	}
	return o.keep(o.signIns, ceremony{origin: origin, data: *data}, get)
}

// FinishPasskeySignIn begins a session by a passkey, which is both factors in one. Returns Unknown, in
// the same words whatever is wrong, or Throttled.
func (o *Office) FinishPasskeySignIn(ctx context.Context, origin, ceremonyID string, response []byte, address, device string) (out SignedIn, err error) {
	w, err := party(origin)
	if err != nil {
		return SignedIn{}, err
	}
	giveBack, err := o.addresses.enter(address, o.opt.Now())
	if err != nil {
		return SignedIn{}, err
	}
	out, err = o.byPasskey(ctx, w, origin, ceremonyID, response, device)
	if !errors.Is(err, errPasskey) {
		giveBack()
	}
	return out, err
}

func (o *Office) byPasskey(ctx context.Context, w *webauthn.WebAuthn, origin, ceremonyID string, response []byte, device string) (out SignedIn, err error) {
	c, ok := o.signIns.take(ceremonyID, o.opt.Now())
	if !ok || c.origin != origin || len(response) > mostResponse {
		return SignedIn{}, errPasskey
	}
	parsed, err := protocol.ParseCredentialRequestResponseBytes(response)
	if err != nil {
		return SignedIn{}, errPasskey
	}
	var no error
	err = o.gate.Store().Write(ctx, func(tx *store.Tx) error {
		h, fault := (*holder)(nil), error(nil)
		_, key, wrong := w.ValidatePasskeyLogin(func(_, handle []byte) (webauthn.User, error) {
			h, fault = holderOf(tx, string(handle))
			return h, fault
		}, c.data, parsed)
		if fault != nil && !screen.IsCode(fault, screen.NotFound) {
			return fault
		}
		account := ""
		if fault == nil && h != nil {
			account = h.account.ID
		}
		// A counter that went back: there are two of a key that there should be one of.
		if wrong != nil || !h.account.Disabled.IsZero() || key.Authenticator.CloneWarning {
			no = errPasskey
			return o.refused(ctx, tx, account)
		}
		text, err := json.Marshal(key)
		if err != nil {
			return fmt.Errorf("passkey: %w", err)
		}
		for i := range h.keys {
			if bytes.Equal(h.keys[i].ID, key.ID) {
				if err := tx.UsePasskey(h.passkeys[i].ID, text, o.opt.Now()); err != nil {
					return err
				}
			}
		}
		out, err = o.begin(ctx, tx, &h.account, device)
		return err
	})
	if err == nil {
		err = no
	}
	if err != nil {
		return SignedIn{}, err
	}
	return out, nil
}
