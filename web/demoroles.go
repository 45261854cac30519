package web

import (
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// demoRolesPage lets a visitor of the demo see it as each role does.
type demoRolesPage struct {
	Head
	Choices []demoRole
}

func (*demoRolesPage) file() string { return "demoroles.html" }

type demoRole struct {
	Role   access.Role
	Words  string
	Chosen bool
}

// demoRoleCookie holds the role that a visitor of a demo chose. It is read only in a demo that no other
// machine can reach.
const demoRoleCookie = "evenhand-demo-role"

// demoWords say what a role is there for.
var demoWords = map[access.Role]string{
	access.Administrator: "looks after accounts, consents and the audit; sees no health record",
	access.Clinician:     "sees and records everything, and alone clears an athlete to throw",
	access.Trainer:       "sees and records everything but clearances",
	access.Coach:         "sees who may throw, limits, and what to work on",
	access.Helper:        "enters readings at a station, nothing else",
}

// demoEverything is the visitor who chose nothing.
var demoEverything = access.Person{ID: "demo", Name: "Demo visitor",
	Grants: []access.Grant{{Role: access.Administrator}, {Role: access.Clinician}}}

// DemoVisitor is who somebody acts as who looks at the demo without an account: whom they chose to be,
// or administrator and clinician.
func DemoVisitor(r *http.Request) access.Person {
	c, err := r.Cookie(demoRoleCookie)
	if err != nil || !slices.Contains(access.Roles, access.Role(c.Value)) {
		return demoEverything
	}
	role := access.Role(c.Value)
	return access.Person{ID: "demo-" + c.Value, Name: "Demo " + c.Value, Grants: []access.Grant{{Role: role}}}
}

// demoRoleWords is who a visitor sees the demo as: "coach".
func demoRoleWords(p *access.Person) string {
	words := make([]string, 0, len(p.Grants))
	for _, g := range p.Grants {
		words = append(words, string(g.Role))
	}
	return listed(words)
}

func (s *server) demoRoleRoutes(r *gin.RouterGroup) {
	s.form(r, "/demo/roles", s.demoRoles, s.chooseDemoRole)
}

// visits reports whether a request comes from a visitor of a demo, who has no account.
func (s *server) visits(ctx *gin.Context) bool {
	who := s.person(ctx)
	return s.demo && who.Session == "" && who.Token == "" && strings.HasPrefix(who.ID, demoEverything.ID)
}

var errNoDemo = &screen.Problem{Code: screen.NotFound, Text: "there is no page at this address", Want: "start from the list of teams"}

func (s *server) demoRoles(ctx *gin.Context) (answer, error) {
	if !s.visits(ctx) {
		return answer{}, errNoDemo
	}
	p := &demoRolesPage{Head: Head{Title: "See the demo as"}}
	now := DemoVisitor(ctx.Request)
	for _, r := range access.Roles {
		p.Choices = append(p.Choices, demoRole{r, demoWords[r], now.ID == "demo-"+string(r)})
	}
	return shown(p), nil
}

// chooseDemoRole keeps the choice until the browser is closed.
func (s *server) chooseDemoRole(ctx *gin.Context) (answer, error) {
	if !s.visits(ctx) {
		return answer{}, errNoDemo
	}
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	//nolint:gosec // Secure wherever the request came by TLS; it is read in a demo on its own machine only
	c := &http.Cookie{Name: demoRoleCookie, Value: ctx.PostForm("role"), Path: "/", HttpOnly: true, Secure: ctx.Request.TLS != nil, SameSite: http.SameSiteLaxMode}
	if !slices.Contains(access.Roles, access.Role(c.Value)) {
		c.Value, c.MaxAge = "", -1
	}
	http.SetCookie(ctx.Writer, c)
	return goOn("/"), nil
}
