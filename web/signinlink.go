package web

import (
	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/office"
	"evenhand/internal/screen"
)

// oneTimePage is a form that a link opens: an account is made, or a password is set anew.
type oneTimePage struct {
	Head
	Kind       access.LinkKind
	Action     string // address of the form
	For        string // name in the link
	Roles      []string
	LooksAfter bool
	Login      string
	Name       string
	Least      int // characters of a password
	Faults     []screen.Fault
}

func (*oneTimePage) file() string { return "signinlink.html" }

// Invalid is a field with what is wrong with it.
func (p *oneTimePage) Invalid(field string) fieldFault {
	return fieldFault{field, faultAt(p.Faults, field)}
}

var oneTimeTitles = map[access.LinkKind]string{
	access.LinkSetup: "Set up the first account", access.LinkInvitation: "Make your account", access.LinkReset: "Set a new password"}

func (s *server) setupForm(ctx *gin.Context) (answer, error) {
	return s.oneTimeForm(ctx, access.LinkSetup)
}

func (s *server) invitationForm(ctx *gin.Context) (answer, error) {
	return s.oneTimeForm(ctx, access.LinkInvitation)
}

func (s *server) resetForm(ctx *gin.Context) (answer, error) {
	return s.oneTimeForm(ctx, access.LinkReset)
}

// oneTimeForm shows the form without using the link up: a mail program that looks at links must not.
func (s *server) oneTimeForm(ctx *gin.Context, kind access.LinkKind) (answer, error) {
	p, err := s.oneTimePage(ctx, kind)
	if err != nil {
		return answer{}, err
	}
	p.LooksAfter = true
	if kind == access.LinkInvitation {
		p.Name = p.For
	}
	return shown(p), nil
}

func (s *server) oneTimePage(ctx *gin.Context, kind access.LinkKind) (*oneTimePage, error) {
	link, err := s.office.OneTime(ctx.Request.Context(), ctx.Param("secret"), addressOf(ctx.Request))
	if err != nil {
		return nil, linkError(err)
	}
	if link.Kind != kind {
		return nil, errLink
	}
	guest := access.Person{ID: link.ID, Grants: link.Grants} // may know the names of the teams that it leads to
	return &oneTimePage{Head: Head{Title: oneTimeTitles[kind]}, Kind: kind, Least: office.MinPassword, Action: ctx.Request.URL.EscapedPath(),
		For: link.Name, Roles: s.roleWords(ctx, guest, link.Grants)}, nil
}

func (s *server) takeSetup(ctx *gin.Context) (answer, error) {
	return s.takeOneTime(ctx, access.LinkSetup, func(secret string, in office.NewAccount) (office.SignedIn, error) {
		return s.office.TakeSetup(ctx.Request.Context(), secret, in)
	})
}

func (s *server) takeInvitation(ctx *gin.Context) (answer, error) {
	return s.takeOneTime(ctx, access.LinkInvitation, func(secret string, in office.NewAccount) (office.SignedIn, error) {
		return s.office.TakeInvitation(ctx.Request.Context(), secret, in)
	})
}

func (s *server) takeReset(ctx *gin.Context) (answer, error) {
	return s.takeOneTime(ctx, access.LinkReset, func(secret string, in office.NewAccount) (office.SignedIn, error) {
		return s.office.TakeReset(ctx.Request.Context(), secret, in.Password, in.Device)
	})
}

// takeOneTime takes the form. Passwords are typed twice, because nobody sees what they type; neither is
// sent back.
func (s *server) takeOneTime(ctx *gin.Context, kind access.LinkKind, take func(string, office.NewAccount) (office.SignedIn, error)) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	in := office.NewAccount{Login: ctx.PostForm("login"), Name: ctx.PostForm("name"), Password: ctx.PostForm("password"),
		LooksAfter: ctx.PostForm("looks_after") != "", Device: deviceOf(ctx.Request)}
	faults := notTheSame(ctx)
	if faults == nil {
		signed, err := take(ctx.Param("secret"), in)
		if err == nil {
			setSession(ctx, signed)
			return goOn("/"), nil
		}
		if faults = faultsOf(err); faults == nil {
			return answer{}, linkError(err)
		}
	}
	p, err := s.oneTimePage(ctx, kind)
	if err != nil {
		return answer{}, err
	}
	p.Login, p.Name, p.LooksAfter, p.Faults = in.Login, in.Name, in.LooksAfter, faults
	return refused(p), nil
}

// notTheSame says that the two fields of a new password differ; nil if they do not.
func notTheSame(ctx *gin.Context) []screen.Fault {
	if ctx.PostForm("password") == ctx.PostForm("again") {
		return nil
	}
	return []screen.Fault{{Where: "again", Problem: "the two passwords are not the same", Want: "the same one twice"}}
}
