package office

import (
	"context"
	"errors"
	"io"
	"time"

	"evenhand/internal/access"
	"evenhand/internal/gate"
	"evenhand/internal/store"
)

// Options are the outside of an Office.
type Options struct {
	Now    func() time.Time
	NewID  func() string
	Random io.Reader // for secrets; crypto/rand.Reader but in tests
	Cost   Cost      // of hashing a password; zero: the program's own
}

// Cost is that of argon2id: passes, memory in KiB, threads.
type Cost struct {
	Time, Memory uint32
	Threads      uint8
}

// Office runs the use cases on one store.
type Office struct {
	gate *gate.Gate
	opt  Options
}

// New makes an Office.
func New(st *store.Store, opt Options) *Office { return &Office{gate: gate.New(st, opt.Now), opt: opt} }

var errNotYet = errors.New("office: not built yet")

// SignedIn is a session that has just begun. Cookie is its secret.
type SignedIn struct {
	Cookie  string
	Expires time.Time // absolute
	Person  access.Person
}

// NewAccount is what somebody says who makes an account by a link.
type NewAccount struct {
	Login, Name, Password string
	LooksAfter            bool // setup only: also clinician in every team
	Device                string
}

// Attempt is somebody who wants in. Address is the network address it came from, without port.
type Attempt struct {
	Login, Password, Code string
	Address, Device       string
}

// Setup makes the one-time link for the first administrator if there is no account yet, and gives its
// secret; an earlier one that nobody used no longer works. needed is false if there is an account.
func (o *Office) Setup(ctx context.Context) (secret string, needed bool, err error) {
	return "", false, errNotYet
}

// Started reports whether there is an account.
func (o *Office) Started(ctx context.Context) (bool, error) { return false, errNotYet }

// OneTime is what a one-time link is for. Returns NotFound, in the same words, for one that is unknown,
// used, revoked or past.
func (o *Office) OneTime(ctx context.Context, secret, address string) (access.Link, error) {
	return access.Link{}, errNotYet
}

// TakeSetup makes the first administrator. Returns NotFound or Faults (login, name, password).
func (o *Office) TakeSetup(ctx context.Context, secret string, in NewAccount) (SignedIn, error) {
	return SignedIn{}, errNotYet
}

// TakeInvitation makes an account with the grants of the invitation. Returns NotFound or Faults.
func (o *Office) TakeInvitation(ctx context.Context, secret string, in NewAccount) (SignedIn, error) {
	return SignedIn{}, errNotYet
}

// TakeReset sets a new password and ends all sessions of the account. Returns NotFound or Faults.
func (o *Office) TakeReset(ctx context.Context, secret, password, device string) (SignedIn, error) {
	return SignedIn{}, errNotYet
}

// SignIn begins a session. Returns Unknown, in the same words whatever is wrong, Unknown with
// NeedsCode if only the second factor is missing, or Throttled.
func (o *Office) SignIn(ctx context.Context, a Attempt) (SignedIn, error) {
	return SignedIn{}, errNotYet
}

// NeedsCode says of an error of SignIn that the code of the second factor is asked for.
func NeedsCode(err error) bool { return false }

// Throttled is how long somebody has to wait, if an error of SignIn, ByToken or OneTime says so.
func Throttled(err error) (wait time.Duration, ok bool) { return 0, false }

// BySession is who a session's cookie stands for, the zero Person if for nobody (any more).
func (o *Office) BySession(ctx context.Context, cookie string) (access.Person, error) {
	return access.Person{}, errNotYet
}

// ByToken is who a token of the API stands for. Returns Unknown or Throttled.
func (o *Office) ByToken(ctx context.Context, token, address string) (access.Person, error) {
	return access.Person{}, errNotYet
}

// ByFamilyLink is who a family's link stands for. Returns NotFound or Throttled.
func (o *Office) ByFamilyLink(ctx context.Context, secret, address string) (access.Person, error) {
	return access.Person{}, errNotYet
}

// SignOut ends the session that who acts by.
func (o *Office) SignOut(ctx context.Context, who access.Person) error { return errNotYet }

// SignOutEverywhere ends all sessions of who, but the one at hand if keep is true.
func (o *Office) SignOutEverywhere(ctx context.Context, who access.Person, keep bool) error {
	return errNotYet
}

// Own is what the page of one's own account shows.
type Own struct {
	Account  access.Account // without password and secret
	HasTOTP  bool
	Recovery int // codes that are left
	Passkeys []access.Passkey
	Sessions []access.Session // Hash left out
	Tokens   []access.Token   // Hash left out
	Grants   []access.Grant
}

// Own shows one's own account.
func (o *Office) Own(ctx context.Context, who access.Person) (Own, error) { return Own{}, errNotYet }

// ChangePassword sets a new password and ends the other sessions. Returns Faults (old, password).
func (o *Office) ChangePassword(ctx context.Context, who access.Person, old, password string) error {
	return errNotYet
}

// EndSession ends one of one's own sessions by its id.
func (o *Office) EndSession(ctx context.Context, who access.Person, id string) error {
	return errNotYet
}

// TOTPOffer is a second factor that is not in use yet.
type TOTPOffer struct{ Secret, URL string }

// OfferTOTP makes a secret; nothing is kept until ConfirmTOTP.
func (o *Office) OfferTOTP(ctx context.Context, who access.Person) (TOTPOffer, error) {
	return TOTPOffer{}, errNotYet
}

// ConfirmTOTP takes a secret into use with a code of it and gives the recovery codes, which are shown once.
func (o *Office) ConfirmTOTP(ctx context.Context, who access.Person, secret, code, password string) ([]string, error) {
	return nil, errNotYet
}

// RemoveTOTP takes the second factor away. Returns Faults (password).
func (o *Office) RemoveTOTP(ctx context.Context, who access.Person, password string) error {
	return errNotYet
}

// BeginPasskey gives the options of navigator.credentials.create as JSON and the id of the ceremony.
// origin is the page's, such as https://evenhand.local:8484.
func (o *Office) BeginPasskey(ctx context.Context, who access.Person, origin string) (ceremony string, options []byte, err error) {
	return "", nil, errNotYet
}

// FinishPasskey keeps the passkey that a browser made.
func (o *Office) FinishPasskey(ctx context.Context, who access.Person, origin, ceremony, name string, response []byte) error {
	return errNotYet
}

// RemovePasskey removes one of one's own passkeys.
func (o *Office) RemovePasskey(ctx context.Context, who access.Person, id string) error {
	return errNotYet
}

// BeginPasskeySignIn gives the options of navigator.credentials.get as JSON.
func (o *Office) BeginPasskeySignIn(ctx context.Context, origin, address string) (ceremony string, options []byte, err error) {
	return "", nil, errNotYet
}

// FinishPasskeySignIn begins a session by a passkey.
func (o *Office) FinishPasskeySignIn(ctx context.Context, origin, ceremony string, response []byte, address, device string) (SignedIn, error) {
	return SignedIn{}, errNotYet
}

// MakeToken makes a token of the API, which is shown once. Returns Faults (name, scopes, team, days).
func (o *Office) MakeToken(ctx context.Context, who access.Person, name string, scopes []access.Scope, team string, days int) (token string, err error) {
	return "", errNotYet
}

// RevokeToken revokes one of one's own tokens by its id.
func (o *Office) RevokeToken(ctx context.Context, who access.Person, id string) error {
	return errNotYet
}

// Member is an account as an administrator sees it: with the grants in the teams that he administers.
type Member struct {
	Account     access.Account // without password and secret
	Grants      []access.Grant
	HasTOTP     bool
	HasPasskeys bool
}

// People lists the accounts with a grant in the teams that who administers, by name, and the
// invitations that are open.
func (o *Office) People(ctx context.Context, who access.Person) ([]Member, []access.Link, error) {
	return nil, nil, errNotYet
}

// Member is one account. Returns NotFound.
func (o *Office) Member(ctx context.Context, who access.Person, id string) (Member, error) {
	return Member{}, errNotYet
}

// Invite makes an invitation and gives its secret, which is shown once. Returns Faults (name, grants).
func (o *Office) Invite(ctx context.Context, who access.Person, name string, grants []access.Grant) (secret string, err error) {
	return "", errNotYet
}

// SetGrants says what an account may do in the teams that who administers. Nobody can take the last
// programme-wide administrator away. Returns Faults, NotFound or Invalid.
func (o *Office) SetGrants(ctx context.Context, who access.Person, account string, grants []access.Grant) error {
	return errNotYet
}

// Disable lets an account in no more, or again; its sessions and tokens end.
func (o *Office) Disable(ctx context.Context, who access.Person, account string, disabled bool) error {
	return errNotYet
}

// ResetLink makes a one-time link by which somebody sets a new password; the second factor stays.
func (o *Office) ResetLink(ctx context.Context, who access.Person, account string) (secret string, err error) {
	return "", errNotYet
}

// RevokeLink revokes an invitation or a reset link by its id.
func (o *Office) RevokeLink(ctx context.Context, who access.Person, id string) error {
	return errNotYet
}

// MakeFamilyLink makes a link to one athlete's handout and targets; name says for whom it is.
func (o *Office) MakeFamilyLink(ctx context.Context, who access.Person, athlete, name string, days int) (secret string, err error) {
	return "", errNotYet
}

// FamilyLinks lists the links of an athlete, the newest first; Hash is left out.
func (o *Office) FamilyLinks(ctx context.Context, who access.Person, athlete string) ([]access.Link, error) {
	return nil, errNotYet
}

// RevokeFamilyLink revokes a family's link by its id.
func (o *Office) RevokeFamilyLink(ctx context.Context, who access.Person, athlete, id string) error {
	return errNotYet
}

// Audit is a page of entries, the newest first, from the one before the entry before on (0: the last
// one), and the mark of the next page (0: none). An administrator of some teams sees those of theirs.
func (o *Office) Audit(ctx context.Context, who access.Person, q store.AuditQuery, before int64, limit int) (list []access.Entry, next int64, err error) {
	return nil, 0, errNotYet
}

// EachAudit calls fn with every entry that q asks for, the newest first.
func (o *Office) EachAudit(ctx context.Context, who access.Person, q store.AuditQuery, fn func(*access.Entry) error) error {
	return errNotYet
}

// VerifyAudit checks the whole chain and gives its head, nil if it is empty. broken says what does not
// fit and where; err is another error.
func (o *Office) VerifyAudit(ctx context.Context, who access.Person) (head *access.Entry, broken, err error) {
	return nil, nil, errNotYet
}
