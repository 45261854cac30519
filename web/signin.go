package web

import (
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// signInPage asks who is there.
type signInPage struct {
	Head
	Login, Next string
	Wrong       string // why it did not work; empty: not tried yet
	Wait        string // how long to wait; empty: no need to
	Started     bool   // there is an account
}

func (*signInPage) file() string { return "signin.html" }

// signInRoutes are those of somebody who is not signed in.
func (s *server) signInRoutes(r *gin.RouterGroup) {
	s.form(r, "/sign-in", s.signInForm, s.signIn)
	r.POST("/sign-in/passkey/begin", s.beginPasskeySignIn)
	r.POST("/sign-in/passkey/finish", s.finishPasskeySignIn)
	r.POST("/sign-out", s.answer(s.signOut))
	s.form(r, "/setup/:secret", s.setupForm, s.takeSetup)
	s.form(r, "/invitation/:secret", s.invitationForm, s.takeInvitation)
	s.form(r, "/reset/:secret", s.resetForm, s.takeReset)
}

// nextPath is where somebody goes on to after signing in: a path of this server, or the start. Anything
// that a browser could read as another host is not one: "//host", "/\host", and both with the control
// characters in between that browsers leave out.
func nextPath(next string) string {
	const longest = 1024
	if len(next) > longest || !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") {
		return "/"
	}
	for i := range len(next) {
		if next[i] <= ' ' || next[i] == '\\' || next[i] == 0x7f {
			return "/"
		}
	}
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || strings.HasPrefix(u.Path, "//") || u.Path == "/sign-in" {
		return "/"
	}
	return next
}

func (s *server) signInForm(ctx *gin.Context) (answer, error) {
	next := nextPath(ctx.Query("next"))
	if who := s.person(ctx); who.Session != "" {
		return goOn(next), nil
	}
	p, err := s.signInPage(ctx, next)
	return shown(p), err
}

func (s *server) signInPage(ctx *gin.Context, next string) (*signInPage, error) {
	p := &signInPage{Head: Head{Title: "Sign in", Scripts: []string{"passkey.js"}}, Next: next}
	var err error
	p.Started, err = s.office.Started(ctx.Request.Context())
	if err == nil && !p.Started {
		p.Needs = "Nobody has an account here yet."
	}
	return p, err
}

// signIn begins a session. What was wrong is said in the same words whatever it was; the password is
// never sent back.
func (s *server) signIn(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	next := nextPath(ctx.PostForm("next"))
	in, err := s.office.SignIn(ctx.Request.Context(), office.Attempt{Login: ctx.PostForm("login"), Password: ctx.PostForm("password"),
		Code: ctx.PostForm("code"), Address: addressOf(ctx.Request), Device: deviceOf(ctx.Request)})
	if err == nil {
		setSession(ctx, in)
		return goOn(next), nil
	}
	wait, throttled := office.Throttled(err)
	if !throttled && !screen.IsCode(err, screen.Unknown) {
		return answer{}, err
	}
	p, failed := s.signInPage(ctx, next)
	if failed != nil {
		return answer{}, failed
	}
	p.Login = ctx.PostForm("login")
	status := http.StatusUnauthorized
	switch {
	case throttled:
		status, p.Wait = http.StatusTooManyRequests, waitWords(wait)
		retryAfter(ctx, wait)
	case office.NeedsCode(err):
		p.Wrong = "This account has a second factor: type the password again, and the code with it."
	default:
		p.Wrong = "That does not fit. Check the login, the password and, if you use a second factor, the code."
	}
	return answer{status: status, page: p}, nil
}

func (s *server) signOut(ctx *gin.Context) (answer, error) {
	if who := s.person(ctx); who.Session != "" {
		if err := s.office.SignOut(ctx.Request.Context(), who); err != nil {
			return answer{}, err
		}
	}
	clearSession(ctx)
	return goOn("/sign-in"), nil
}

func retryAfter(ctx *gin.Context, wait time.Duration) {
	ctx.Header("Retry-After", strconv.Itoa(int(math.Ceil(wait.Seconds()))))
}

// waitWords is a time to wait as it is said, rounded up.
func waitWords(d time.Duration) string {
	if n := int(math.Ceil(d.Seconds())); n <= 90 {
		return count(max(n, 1), "second", "seconds")
	}
	return count(int(math.Ceil(d.Minutes())), "minute", "minutes")
}

// systems and browsers by what tells them apart in the words that a browser says of itself; the first
// that fits counts, because most name several.
var systems = [][2]string{{"iPhone", "iPhone"}, {"iPad", "iPad"}, {"Android", "Android"}, {"CrOS", "ChromeOS"},
	{"Windows", "Windows"}, {"Mac OS X", "macOS"}, {"Linux", "Linux"}}

var browsers = [][2]string{{"Edg", "Edge"}, {"OPR/", "Opera"}, {"SamsungBrowser", "Samsung browser"}, {"Firefox", "Firefox"}, {"FxiOS", "Firefox"},
	{"CriOS", "Chrome"}, {"Chrome", "Chrome"}, {"Safari", "Safari"}}

// deviceOf is "browser on system" for the list of sessions, as far as the browser says so.
func deviceOf(r *http.Request) string {
	says := r.UserAgent()
	first := func(list [][2]string, unknown string) string {
		for _, x := range list {
			if strings.Contains(says, x[0]) {
				return x[1]
			}
		}
		return unknown
	}
	return first(browsers, "a browser") + " on " + first(systems, "an unknown system")
}

// errLink is the one page for every link that does not work, whatever the reason.
var errLink = &screen.Problem{Code: screen.NotFound, Text: "this link does not work: it was used already, its time is over, or it is not complete",
	Want: "ask whoever gave it to you for a new one"}

// linkError is what somebody is told whose link does not work.
func linkError(err error) error {
	if _, slow := office.Throttled(err); !slow && screen.IsCode(err, screen.NotFound) {
		return errLink
	}
	return err
}
