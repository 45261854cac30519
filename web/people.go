package web

import (
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// peoplePage lists the accounts and the invitations that are open, and invites.
type peoplePage struct {
	Head
	People []accountRow
	Open   []invitationRow
	Invite grantForm
	For    string // name of whom is invited, as typed
	Said   rolesSaid
	Done   string
}

func (*peoplePage) file() string { return "people.html" }

type accountRow struct {
	ID, Login, Name string
	Roles           []string
	Second          string // how the account is opened besides the password
	Disabled        string // since when; empty: it works
	Self            bool
}

type invitationRow struct {
	ID, Name, Made, Until string
	Roles                 []string
}

// grantForm is a list of roles in teams as it is typed: a row for each role, and some that are empty.
type grantForm struct {
	Rows   []grantRow
	Teams  []labelled
	Roles  []labelled
	Faults []screen.Fault
}

// Invalid is a field with what is wrong with it.
func (f grantForm) Invalid(field string) fieldFault {
	return fieldFault{field, faultAt(f.Faults, field)}
}

type grantRow struct {
	N          int
	Team, Role string
}

const (
	everyTeam  = "every" // stands for every team in a form, where the empty team means that none was chosen
	emptyRows  = 2       // below the roles that there are
	mostGrants = 200     // rows of a form that are read
)

// memberPage is one account, to an administrator.
type memberPage struct {
	Head
	Member accountRow
	Made   string
	Grants grantForm
	Said   rolesSaid
	Sure   string // what is wrong with letting the account in no more
	Done   string
}

func (*memberPage) file() string { return "peoplemember.html" }

// linkPage shows a link that lets somebody in, once.
type linkPage struct {
	Head
	For, URL string
	QR       qrView
	Reset    bool
	Roles    []string
	Days     string // how long it works
	Alone    bool   // no other device can reach the address
	Back     string
}

func (*linkPage) file() string { return "peoplelink.html" }

func (s *server) peopleRoutes(r *gin.RouterGroup) {
	s.page(r, "/people", s.people)
	s.page(r, "/people/:account", s.member)
	r.POST("/people", s.answer(s.invite))
	r.POST("/people/:account", s.answer(s.setGrants))
	r.POST("/people/:account/disable", s.answer(s.disable))
	r.POST("/people/:account/reset", s.answer(s.resetLink))
	r.POST("/invitations/:link/revoke", s.answer(s.revokeInvitation))
}

var changedPeople = map[string]string{
	"roles": "The roles are saved.", "disabled": "The account is closed: nobody gets in by it any more.",
	"enabled": "The account works again.", "revoked": "The link does not work any more.",
}

func (s *server) people(ctx *gin.Context) (answer, error) {
	p, err := s.peoplePage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Done = changedPeople[ctx.Query("done")]
	return shown(p), nil
}

func (s *server) peoplePage(ctx *gin.Context) (*peoplePage, error) {
	who := s.person(ctx)
	members, links, err := s.office.People(ctx.Request.Context(), who)
	if err != nil {
		return nil, err
	}
	p := &peoplePage{Head: Head{Title: "People"}, Said: sayRoles()}
	alone := 0
	for i := range members {
		row := s.accountRow(ctx, &members[i])
		p.People = append(p.People, row)
		if row.Second == passwordAlone && row.Disabled == "" {
			alone++
		}
	}
	if alone > 0 {
		p.Needs = count(alone, "account is", "accounts are") + " opened by a password alone."
	}
	for i := range links {
		if links[i].Kind == access.LinkInvitation {
			l := &links[i]
			p.Open = append(p.Open, invitationRow{l.ID, l.Name, moment(l.Made), moment(l.Expires), s.roleWords(ctx, who, l.Grants)})
		}
	}
	p.Invite, err = s.grantForm(ctx, nil)
	return p, err
}

const passwordAlone = "password alone"

func (s *server) accountRow(ctx *gin.Context, m *office.Member) accountRow {
	who := s.person(ctx)
	row := accountRow{ID: m.Account.ID, Login: m.Account.Login, Name: m.Account.Name, Roles: s.roleWords(ctx, who, m.Grants),
		Self: m.Account.ID == who.ID, Second: passwordAlone}
	switch {
	case m.HasTOTP && m.HasPasskeys:
		row.Second = "second factor and passkey"
	case m.HasTOTP:
		row.Second = "second factor"
	case m.HasPasskeys:
		row.Second = "passkey, or password alone"
	}
	if !m.Account.Disabled.IsZero() {
		row.Disabled = moment(m.Account.Disabled)
	}
	return row
}

// grantForm has a row for each role, and some more.
func (s *server) grantForm(ctx *gin.Context, grants []access.Grant) (grantForm, error) {
	f := grantForm{Roles: []labelled{{Label: "", Value: "no role"}}}
	for _, r := range access.Roles {
		f.Roles = append(f.Roles, labelled{Label: string(r), Value: string(r)})
	}
	teams, every, err := s.teamsOf(ctx, access.ManagePeople)
	f.Teams = []labelled{{Label: "", Value: "choose a team"}} // nobody is let into every team by oversight
	if every {
		f.Teams = append(f.Teams, labelled{Label: everyTeam, Value: "every team, also those to come"})
	}
	f.Teams = append(f.Teams, teams...)
	for i := range len(grants) + emptyRows {
		row := grantRow{N: i + 1}
		if i < len(grants) {
			row.Team, row.Role = grants[i].Team, string(grants[i].Role)
			if row.Team == "" {
				row.Team = everyTeam
			}
		}
		f.Rows = append(f.Rows, row)
	}
	return f, err
}

// grantsOf reads the rows of a form; those without a role are left out. A role without a team is a fault:
// the empty team of a grant would be every team.
func grantsOf(ctx *gin.Context) (out []access.Grant, faults []screen.Fault) {
	teams, roles := ctx.PostFormArray("team"), ctx.PostFormArray("role")
	for i := range min(len(teams), len(roles), mostGrants) {
		g := access.Grant{Team: teams[i], Role: access.Role(roles[i])}
		switch {
		case roles[i] == "":
			continue
		case g.Team == "":
			faults = append(faults, screen.Fault{Where: "grants", Problem: "the role of " + roles[i] + " has no team", Want: "choose a team, or every team"})
			continue
		case g.Team == everyTeam:
			g.Team = ""
		}
		if !slices.Contains(out, g) {
			out = append(out, g)
		}
	}
	return out, faults
}

// askedForRows reports whether only more rows were asked for.
func askedForRows(ctx *gin.Context) bool { return ctx.PostForm("more") != "" }

func (s *server) invite(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	name := strings.TrimSpace(ctx.PostForm("name"))
	grants, faults := grantsOf(ctx)
	if askedForRows(ctx) {
		faults = nil
	} else if faults == nil {
		secret, err := s.office.Invite(ctx.Request.Context(), s.person(ctx), name, grants)
		if err == nil {
			return s.linkPage(ctx, &linkPage{Head: Head{Title: "Invitation of " + name}, For: name, Roles: s.roleWords(ctx, s.person(ctx), grants),
				URL: "/invitation/" + secret, Days: "for 7 days", Back: "/people"})
		}
		if faults = faultsOf(err); faults == nil {
			return answer{}, err
		}
	}
	p, err := s.peoplePage(ctx)
	if err != nil {
		return answer{}, err
	}
	if p.Invite, err = s.grantForm(ctx, grants); err != nil {
		return answer{}, err
	}
	p.For, p.Invite.Faults = name, faults
	if faults == nil {
		return shown(p), nil
	}
	p.Needs = "Nobody was invited."
	return refused(p), nil
}

// linkPage shows a link by the address at which other devices reach this server.
func (s *server) linkPage(ctx *gin.Context, p *linkPage) (answer, error) {
	base := s.baseOf(ctx.Request)
	p.Crumbs, p.Alone, p.URL = []Crumb{{"People", "/people"}}, loopback(base), base+p.URL
	p.Needs = "Give this link to " + p.For + " now: it is shown only once."
	var err error
	p.QR, err = qrOf(p.URL, "QR code of the link")
	return shown(p), err
}

func (s *server) revokeInvitation(ctx *gin.Context) (answer, error) {
	if err := s.office.RevokeLink(ctx.Request.Context(), s.person(ctx), ctx.Param("link")); err != nil {
		return answer{}, err
	}
	return goOn("/people?done=revoked"), nil
}
