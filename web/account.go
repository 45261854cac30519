package web

import (
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// accountPages are those of accounts: one's own, those of others, and what was done with them.
var accountPages = []page{
	&signInPage{}, &oneTimePage{}, &accountPage{}, &factorPage{}, &codesPage{}, &tokenPage{},
	&peoplePage{}, &memberPage{}, &linkPage{}, &auditPage{}, &demoRolesPage{},
}

func (s *server) accountRoutes(r *gin.RouterGroup) {
	s.page(r, "/account", s.account)
	s.form(r, "/account/second-factor", s.factorForm, s.takeFactor)
	for path, take := range map[string]handler{
		"/account/password": s.changePassword, "/account/second-factor/remove": s.removeFactor,
		"/account/passkeys/:passkey/remove": s.removePasskey, "/account/sessions/:session/end": s.endSession,
		"/account/sign-out-everywhere": s.signOutEverywhere, "/account/tokens": s.makeToken, "/account/tokens/:token/revoke": s.revokeToken,
	} {
		r.POST(path, s.answer(take))
	}
	r.POST("/account/passkeys/begin", s.beginPasskey)
	r.POST("/account/passkeys/finish", s.finishPasskey)
	s.signInRoutes(r)
	s.peopleRoutes(r)
	s.auditRoutes(r)
	s.demoRoleRoutes(r)
}

// greet fills in what the head of a page says of who looks at it, and where they can go.
func (s *server) greet(ctx *gin.Context, h *Head) {
	who := s.person(ctx)
	h.SignedIn, h.Guest = who.Session != "", s.office != nil && who.Anonymous()
	if h.SignedIn {
		h.Who = who.Name
	}
	if s.visits(ctx) {
		h.Visitor = demoRoleWords(&who)
	}
	if who.ID == "" {
		return // the holder of a link has no other place to go to
	}
	h.Places = []Crumb{{"Teams", "/"}, {"Protocol", "/protocol"}}
	if s.office == nil {
		return
	}
	for _, x := range []struct {
		a  access.Action
		to Crumb
	}{{access.ManageConsent, Crumb{"Privacy", "/privacy"}}, {access.ManagePeople, Crumb{"People", "/people"}}, {access.SeeAudit, Crumb{"Audit", "/audit"}}} {
		if teams, every := who.In(x.a); every || len(teams) > 0 {
			h.Places = append(h.Places, x.to)
		}
	}
}

// accountPage is one's own account.
type accountPage struct {
	Head
	Login, Name string
	Roles       []string
	HasTOTP     bool
	Recovery    int
	Passkeys    []passkeyRow
	Sessions    []sessionRow
	Tokens      []tokenRow
	Token       tokenForm
	Done        string // what was just changed, in a sentence
	Least       int    // characters of a password

	PasswordFaults, FactorFaults []screen.Fault
}

func (*accountPage) file() string { return "account.html" }

// Password is a field of the form of a new password with what is wrong with it, Factor one of the form
// that removes the second factor.
func (p *accountPage) Password(field string) fieldFault {
	return fieldFault{"password-" + field, faultAt(p.PasswordFaults, field)}
}

// Factor is a field of the form that removes the second factor, with what is wrong with it.
func (p *accountPage) Factor(field string) fieldFault {
	return fieldFault{"factor-" + field, faultAt(p.FactorFaults, field)}
}

type passkeyRow struct{ ID, Name, Made, Used string }

type sessionRow struct {
	ID, Device, Since, Used, Until string
	This                           bool
}

type tokenRow struct {
	ID, Name, May, Team, Made, Used, Until string
	Over                                   string // why it does not work any more; empty: it works
}

// changed are the sentences that the page opens with after a change, by what the address says.
var changed = map[string]string{
	"password": "The new password holds. All other places where you were signed in are signed out.",
	"factor":   "The second factor is removed.",
	"passkey":  "The passkey is kept.",
	"removed":  "The passkey is removed.",
	"session":  "That place is signed out.",
	"others":   "All other places are signed out.",
	"token":    "The token does not work any more.",
}

func (s *server) account(ctx *gin.Context) (answer, error) {
	p, err := s.accountPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Done = changed[ctx.Query("done")]
	return shown(p), nil
}

func (s *server) accountPage(ctx *gin.Context) (*accountPage, error) {
	who := s.person(ctx)
	own, err := s.office.Own(ctx.Request.Context(), who)
	if err != nil {
		return nil, err
	}
	p := &accountPage{Head: Head{Title: "Your account", Scripts: []string{"passkey.js"}}, Login: own.Account.Login, Name: own.Account.Name,
		Roles: s.roleWords(ctx, who, own.Grants), HasTOTP: own.HasTOTP, Recovery: own.Recovery, Least: office.MinPassword}
	if !own.HasTOTP && len(own.Passkeys) == 0 {
		p.Needs = "A password alone opens this account: set up a second factor or a passkey."
	}
	for i := range own.Passkeys {
		k := &own.Passkeys[i]
		p.Passkeys = append(p.Passkeys, passkeyRow{k.ID, k.Name, moment(k.Created), moment(k.Used)})
	}
	for i := range own.Sessions {
		x := &own.Sessions[i]
		p.Sessions = append(p.Sessions, sessionRow{ID: x.ID, Device: x.Device, Since: moment(x.Created), Used: moment(x.Used),
			Until: moment(x.Expires), This: x.ID == who.Session})
	}
	now := s.clinic.Today()
	for i := range own.Tokens {
		p.Tokens = append(p.Tokens, s.tokenRow(ctx, who, &own.Tokens[i], now))
	}
	p.Token, err = s.newTokenForm(ctx, own.Grants)
	return p, err
}

func (s *server) changePassword(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	faults := notTheSame(ctx)
	if faults == nil {
		err := s.office.ChangePassword(ctx.Request.Context(), s.person(ctx), ctx.PostForm("old"), ctx.PostForm("password"))
		if err == nil {
			return goOn("/account?done=password"), nil
		}
		if faults = faultsOf(err); faults == nil {
			return answer{}, err
		}
	}
	p, err := s.accountPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.PasswordFaults, p.Needs = faults, "The password was not changed."
	return refused(p), nil
}

func (s *server) endSession(ctx *gin.Context) (answer, error) {
	who, id := s.person(ctx), ctx.Param("session")
	if err := s.office.EndSession(ctx.Request.Context(), who, id); err != nil {
		return answer{}, err
	}
	if id == who.Session {
		clearSession(ctx)
		return goOn("/sign-in"), nil
	}
	return goOn("/account?done=session"), nil
}

func (s *server) signOutEverywhere(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	keep := ctx.PostForm("keep") != ""
	if err := s.office.SignOutEverywhere(ctx.Request.Context(), s.person(ctx), keep); err != nil {
		return answer{}, err
	}
	if keep {
		return goOn("/account?done=others"), nil
	}
	clearSession(ctx)
	return goOn("/sign-in"), nil
}

// moment is a time as it is shown: in UTC, as the protocol of a visit is; "" for none.
func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2 Jan 2006 15:04") + " UTC"
}

// utcDay is the day of a time, in UTC.
func utcDay(t time.Time) string { return t.UTC().Format("2 Jan 2006") }

// roleWords are roles as they are said, one a team: "clinician and trainer in Varsity".
func (s *server) roleWords(ctx *gin.Context, who access.Person, grants []access.Grant) (out []string) {
	var teams []string
	by := map[string][]string{}
	for _, g := range grants {
		if by[g.Team] == nil {
			teams = append(teams, g.Team)
		}
		by[g.Team] = append(by[g.Team], string(g.Role))
	}
	slices.Sort(teams) // every team stands first
	for _, t := range teams {
		out = append(out, upperFirst(listed(by[t]))+" in "+s.teamWords(ctx, who, t))
	}
	return out
}

// listed is "a", "a and b", "a, b and c".
func listed(words []string) string {
	out := ""
	for i, w := range words {
		switch {
		case i == 0:
		case i == len(words)-1:
			out += " and "
		default:
			out += ", "
		}
		out += w
	}
	return out
}

// teamWords is the name of a team; its id if who cannot see it, or if it is gone.
func (s *server) teamWords(ctx *gin.Context, who access.Person, id string) string {
	if id == "" {
		return "every team"
	}
	t, err := s.clinic.Team(ctx.Request.Context(), who, id)
	if err != nil {
		return "the team " + strconv.Quote(id)
	}
	return t.Name
}

// teamsOf are the teams in which somebody may do something, as choices; every says that for all teams
// together is one of them.
func (s *server) teamsOf(ctx *gin.Context, a access.Action) (out []labelled, every bool, err error) {
	who := s.person(ctx)
	_, every = who.In(a)
	for after := ""; ; {
		list, next, err := s.clinic.Teams(ctx.Request.Context(), who, pageAfter(after))
		if err != nil {
			return nil, false, err
		}
		for i := range list {
			if who.May(a, &access.Subject{Teams: []string{list[i].ID}}) {
				out = append(out, labelled{Label: list[i].ID, Value: list[i].Name})
			}
		}
		if after = next; next == "" {
			return out, every, nil
		}
	}
}
