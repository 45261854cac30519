package web

import (
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// tokenForm asks for a new token of the API, as it was typed.
type tokenForm struct {
	Name, Team, Days string
	Scopes           []scopeChoice
	Teams            []labelled
	Faults           []screen.Fault
}

// Invalid is a field with what is wrong with it.
func (f tokenForm) Invalid(field string) fieldFault {
	return fieldFault{"token-" + field, faultAt(f.Faults, field)}
}

type scopeChoice struct {
	Scope  access.Scope
	Words  string
	Ticked bool
}

// scopeWords say what a token may do that has a scope.
var scopeWords = map[access.Scope]string{
	access.ScopeRead:   "Read: see what you may see, and export it",
	access.ScopeEnter:  "Enter: send readings, checklist answers and symptoms",
	access.ScopeManage: "Manage: change teams, athletes and screening days",
}

// tokenPage shows a token, once.
type tokenPage struct {
	Head
	Name, Token string
	May, Team   string
	Days        int
}

func (*tokenPage) file() string { return "accounttoken.html" }

const usualTokenDays = 90

func (s *server) newTokenForm(ctx *gin.Context, grants []access.Grant) (tokenForm, error) {
	f := tokenForm{Days: strconv.Itoa(usualTokenDays)}
	for _, x := range access.Scopes {
		f.Scopes = append(f.Scopes, scopeChoice{Scope: x, Words: scopeWords[x]})
	}
	teams, _, err := s.teamsOf(ctx, access.SeeTeam)
	f.Teams = append([]labelled{{Label: "", Value: "all that you have"}}, teams...)
	if len(grants) == 0 {
		f.Teams = f.Teams[:1]
	}
	return f, err
}

func pageAfter(after string) clinic.Page { return clinic.Page{After: after, Limit: teamsAtOnce} }

func (s *server) makeToken(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	name, team, typed := ctx.PostForm("name"), ctx.PostForm("team"), strings.TrimSpace(ctx.PostForm("days"))
	scopes := []access.Scope{} // nil would be no bound at all
	for _, x := range ctx.PostFormArray("scopes") {
		scopes = append(scopes, access.Scope(x))
	}
	days, err := strconv.Atoi(typed)
	if err != nil {
		days = 0 // which is not taken
	}
	token, err := s.office.MakeToken(ctx.Request.Context(), s.person(ctx), name, scopes, team, days)
	if faults := faultsOf(err); faults != nil {
		p, err := s.accountPage(ctx)
		if err != nil {
			return answer{}, err
		}
		f := &p.Token
		f.Name, f.Team, f.Days, f.Faults, p.Needs = name, team, typed, faults, "No token was made."
		for i := range f.Scopes {
			f.Scopes[i].Ticked = slices.Contains(scopes, f.Scopes[i].Scope)
		}
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	p := &tokenPage{Head: Head{Title: "A new token", Crumbs: []Crumb{{"Your account", "/account"}}}, Name: name, Token: token,
		May: scopesSaid(scopes), Days: days, Team: s.tokenTeam(ctx, s.person(ctx), team)}
	p.Needs = "Copy the token now: it is shown only once."
	return shown(p), nil
}

func (s *server) revokeToken(ctx *gin.Context) (answer, error) {
	if err := s.office.RevokeToken(ctx.Request.Context(), s.person(ctx), ctx.Param("token")); err != nil {
		return answer{}, err
	}
	return goOn("/account?done=token"), nil
}

func scopesSaid(scopes []access.Scope) string {
	words := make([]string, 0, len(scopes))
	for _, x := range scopes {
		words = append(words, string(x))
	}
	return listed(words)
}

func (s *server) tokenTeam(ctx *gin.Context, who access.Person, team string) string {
	if team == "" {
		return "all teams that you have"
	}
	return s.teamWords(ctx, who, team)
}

func (s *server) tokenRow(ctx *gin.Context, who access.Person, t *access.Token, today screen.Date) tokenRow {
	row := tokenRow{ID: t.ID, Name: t.Name, May: scopesSaid(t.Scopes), Team: s.tokenTeam(ctx, who, t.Team), Made: utcDay(t.Created),
		Used: moment(t.Used), Until: utcDay(t.Expires)}
	switch {
	case !t.Revoked.IsZero():
		row.Over = "revoked on " + utcDay(t.Revoked)
	case screen.DateOf(t.Expires) < today:
		row.Over = "past since " + utcDay(t.Expires)
	}
	return row
}
