package access

import "time"

// Account is somebody who signs in. Login is what they type, in lower case; Password is a PHC string
// of argon2id, empty until it is set. TOTP is the second factor's secret in base32, empty: none;
// TOTPUsed is the last time step that was accepted, which is not accepted again. Disabled is zero while
// the account works.
type Account struct {
	ID       string
	Login    string
	Name     string
	Password string
	TOTP     string
	TOTPUsed int64
	Created  time.Time
	Disabled time.Time
	Revision int
}

// Passkey is a credential of the open standard WebAuthn. Credential is the library's JSON of it.
type Passkey struct {
	ID         string
	Account    string
	Name       string
	Credential []byte
	Created    time.Time
	Used       time.Time
}

// Session is a browser that is signed in. Hash is of the cookie's value, which is not kept.
type Session struct {
	Hash    string
	ID      string
	Account string
	Device  string // "browser on system", as far as it says so itself
	Created time.Time
	Used    time.Time
	Expires time.Time
}

// LinkKind says what a link is for.
type LinkKind string

// The kinds of link.
const (
	LinkSetup      LinkKind = "setup"      // makes the first administrator
	LinkInvitation LinkKind = "invitation" // makes an account with Grants
	LinkReset      LinkKind = "reset"      // sets a new password for Account
	LinkFamily     LinkKind = "family"     // opens one athlete's handout
)

// Link lets somebody in who has no account or no password. All but those of a family work once. Hash
// is of the secret in the address, which is not kept.
type Link struct {
	Hash    string
	ID      string
	Kind    LinkKind
	Account string
	Athlete string
	Name    string // of whom it is for
	Grants  []Grant
	Made    time.Time
	By      string
	Expires time.Time
	Used    time.Time
	Revoked time.Time
}

// Token lets a program in, as Account, within Scopes and Team (empty: all teams of the account).
type Token struct {
	Hash    string
	ID      string
	Account string
	Name    string
	Scopes  []Scope
	Team    string
	Created time.Time
	Expires time.Time
	Used    time.Time
	Revoked time.Time
}
