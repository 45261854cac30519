package office

import (
	"errors"
	"fmt"
	"time"

	"evenhand/internal/screen"
)

// refusal is a problem of somebody who wants in, and what else the page has to know of it.
type refusal struct {
	problem   *screen.Problem
	needsCode bool
	wait      time.Duration
}

func (r *refusal) Error() string { return r.problem.Error() }
func (r *refusal) Unwrap() error { return r.problem }

// errWrong says the same whatever is wrong: who has an account here is nobody's business.
var errWrong = &refusal{problem: &screen.Problem{Code: screen.Unknown,
	Text: "these do not fit together", Want: "check the login, the password and the code of the second factor, if you have one"}}

// errNeedsCode comes only after the right password.
var errNeedsCode = &refusal{needsCode: true, problem: &screen.Problem{Code: screen.Unknown,
	Text: "the code of the second factor is missing", Want: "enter the six digits that your app shows, or a recovery code"}}

// errPasskey says the same whatever is wrong with a passkey.
var errPasskey = &refusal{problem: &screen.Problem{Code: screen.Unknown,
	Text: "this passkey does not let anybody in here", Want: "try again, or sign in with login and password"}}

var errToken = &refusal{problem: &screen.Problem{Code: screen.Unknown,
	Text: "the token is not one that works", Want: "make a new one on the page of your account"}}

// tooMany is the error of somebody who has to wait.
func tooMany(wait time.Duration) error {
	return &refusal{wait: wait, problem: &screen.Problem{Code: screen.Unknown,
		Text: "there were too many attempts", Want: "wait " + waitWords(wait) + ", then try again"}}
}

// waitWords is a time to wait, rounded up to whole seconds or minutes.
func waitWords(d time.Duration) string {
	n, unit := int((d+time.Second-1)/time.Second), "second"
	if n > 90 {
		n, unit = int((d+time.Minute-1)/time.Minute), "minute"
	}
	if n != 1 {
		unit += "s"
	}
	return fmt.Sprintf("%d %s", n, unit)
}

// NeedsCode says of an error of SignIn that the code of the second factor is asked for.
func NeedsCode(err error) bool {
	var r *refusal
	return errors.As(err, &r) && r.needsCode
}

// Throttled is how long somebody has to wait, if an error of SignIn, ByToken or OneTime says so.
func Throttled(err error) (wait time.Duration, ok bool) {
	var r *refusal
	if errors.As(err, &r) && r.wait > 0 {
		return r.wait, true
	}
	return 0, false
}

// errLink says the same of every link that does not work.
func errLink() error {
	return &screen.Problem{Code: screen.NotFound, Text: "this link does not work, or does not work any more",
		Want: "ask whoever gave it to you for a new one"}
}

func notFound(kind string) error {
	return &screen.Problem{Code: screen.NotFound, Text: "there is no such " + kind}
}
