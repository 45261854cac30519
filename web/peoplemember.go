package web

import (
	"net/url"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
)

func (s *server) member(ctx *gin.Context) (answer, error) {
	p, err := s.memberPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Done = changedPeople[ctx.Query("done")]
	return shown(p), nil
}

func (s *server) memberPage(ctx *gin.Context) (*memberPage, error) {
	m, err := s.office.Member(ctx.Request.Context(), s.person(ctx), ctx.Param("account"))
	if err != nil {
		return nil, err
	}
	p := &memberPage{Head: Head{Title: m.Account.Name, Crumbs: []Crumb{{"People", "/people"}}}, Member: s.accountRow(ctx, &m),
		Made: utcDay(m.Account.Created), Said: sayRoles()}
	if p.Member.Disabled != "" {
		p.Needs = "This account is closed since " + p.Member.Disabled + "."
	}
	p.Grants, err = s.grantForm(ctx, m.Grants)
	return p, err
}

func memberURL(ctx *gin.Context) string { return "/people/" + url.PathEscape(ctx.Param("account")) }

func (s *server) setGrants(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	grants, faults := grantsOf(ctx)
	if askedForRows(ctx) {
		faults = nil
	} else if faults == nil {
		err := s.office.SetGrants(ctx.Request.Context(), s.person(ctx), ctx.Param("account"), grants)
		if err == nil {
			return goOn(memberURL(ctx) + "?done=roles"), nil
		}
		if faults = faultsOf(err); faults == nil {
			return answer{}, err
		}
	}
	p, err := s.memberPage(ctx)
	if err != nil {
		return answer{}, err
	}
	if p.Grants, err = s.grantForm(ctx, grants); err != nil {
		return answer{}, err
	}
	if faults == nil {
		return shown(p), nil
	}
	p.Grants.Faults, p.Needs = faults, "The roles were not changed."
	return refused(p), nil
}

// disable closes an account, or opens it again. Closing asks for a tick: it ends what somebody may be in
// the middle of.
func (s *server) disable(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	closing := ctx.PostForm("open") == ""
	if closing && ctx.PostForm("sure") == "" {
		p, err := s.memberPage(ctx)
		if err != nil {
			return answer{}, err
		}
		p.Sure, p.Needs = "Tick this to close the account.", "The account was not closed."
		return refused(p), nil
	}
	if err := s.office.Disable(ctx.Request.Context(), s.person(ctx), ctx.Param("account"), closing); err != nil {
		return answer{}, err
	}
	if closing {
		return goOn(memberURL(ctx) + "?done=disabled"), nil
	}
	return goOn(memberURL(ctx) + "?done=enabled"), nil
}

func (s *server) resetLink(ctx *gin.Context) (answer, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	m, err := s.office.Member(c, who, ctx.Param("account"))
	if err != nil {
		return answer{}, err
	}
	secret, err := s.office.ResetLink(c, who, m.Account.ID)
	if err != nil {
		return answer{}, err
	}
	return s.linkPage(ctx, &linkPage{Head: Head{Title: "A new password for " + m.Account.Name}, For: m.Account.Name, URL: "/reset/" + secret,
		Reset: true, Days: "for 24 hours", Back: memberURL(ctx)})
}

// rolesSaid is the table of what each role may do.
type rolesSaid struct {
	Roles []access.Role
	Rows  []rolesRow
}

type rolesRow struct {
	Words string
	May   []bool
}

// sayRoles puts the rules of access into a table.
func sayRoles() rolesSaid {
	out := rolesSaid{Roles: access.Roles}
	for _, a := range access.Actions() {
		row := rolesRow{Words: upperFirst(a.Words())}
		any := false
		for _, r := range out.Roles {
			row.May = append(row.May, r.May(a))
			any = any || r.May(a)
		}
		if any {
			out.Rows = append(out.Rows, row)
		}
	}
	return out
}
