package web

import (
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/screen"
)

// familyDays is how long a link works if nothing else is typed.
const familyDays = 30

// familyLinksPage is where the trainer makes and takes back the links of one athlete.
type familyLinksPage struct {
	Head
	Athlete screen.Athlete
	Links   []familyLink
	For     string // as it was typed
	Days    string
	Faults  []screen.Fault
	Made    *madeLink // just now; shown this once
	Alone   bool      // no other device can reach the address
}

func (*familyLinksPage) file() string { return "familylinks.html" }

// Invalid is a field with what is wrong with it, for a template.
func (p *familyLinksPage) Invalid(field string) fieldFault {
	return fieldFault{"link-" + field, faultAt(p.Faults, field)}
}

// madeLink is a new link with the secret in it, which is not kept.
type madeLink struct {
	For, URL string
	QR       qrView
}

type familyLink struct {
	ID, For, Made, State, Opened string
	Works                        bool
}

func familyLinkOf(l *access.Link, now time.Time) familyLink {
	on := func(t time.Time) string { return day(screen.DateOf(t.In(now.Location()))) }
	out := familyLink{ID: l.ID, For: l.Name, Made: on(l.Made), Opened: "not opened yet"}
	if !l.Used.IsZero() {
		out.Opened = "opened last on " + on(l.Used)
	}
	switch {
	case !l.Revoked.IsZero():
		out.State = "taken back on " + on(l.Revoked)
	case !now.Before(l.Expires):
		out.State = "ended on " + on(l.Expires)
	default:
		out.State, out.Works = "works until "+on(l.Expires), true
	}
	return out
}

func (s *server) familyLinks(ctx *gin.Context) (answer, error) {
	p, err := s.familyLinksPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) familyLinksPage(ctx *gin.Context) (*familyLinksPage, error) {
	c, who, id := ctx.Request.Context(), s.person(ctx), ctx.Param("athlete")
	a, err := s.clinic.Athlete(c, who, id)
	if err != nil {
		return nil, err
	}
	list, err := s.office.FamilyLinks(c, who, id)
	if err != nil {
		return nil, err
	}
	p := &familyLinksPage{Head: Head{Title: "Links for " + a.Name, Crumbs: []Crumb{{"Teams", "/"}, {a.Name, "/athletes/" + a.ID}}},
		Athlete: a, Days: strconv.Itoa(familyDays)}
	works := 0
	for i := range list {
		x := familyLinkOf(&list[i], s.clinic.Now())
		if x.Works {
			works++
		}
		p.Links = append(p.Links, x)
	}
	p.Needs = "No link works at present."
	if works > 0 {
		p.Needs = count(works, "link works", "links work") + " at present."
	}
	return p, nil
}

// makeFamilyLink makes a link and shows it this once.
func (s *server) makeFamilyLink(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	name, typed := strings.TrimSpace(ctx.PostForm("name")), strings.TrimSpace(ctx.PostForm("days"))
	secret, err := s.newFamilyLink(ctx, name, typed)
	faults := faultsOf(err)
	if err != nil && faults == nil {
		return answer{}, err
	}
	p, err := s.familyLinksPage(ctx)
	if err != nil {
		return answer{}, err
	}
	if faults != nil {
		p.For, p.Days, p.Faults = name, typed, faults
		return refused(p), nil
	}
	base := s.baseOf(ctx.Request)
	p.Alone, p.Made = loopback(base), &madeLink{For: name, URL: base + "/f/" + secret}
	if p.Made.QR, err = qrOf(p.Made.URL, "QR code of the link for "+name); err != nil {
		return answer{}, err
	}
	p.Needs = "The link is shown this once. Print it or hand it over now."
	return shown(p), nil
}

// newFamilyLink makes a link for the days that were typed.
func (s *server) newFamilyLink(ctx *gin.Context, name, typed string) (secret string, err error) {
	days, err := strconv.Atoi(typed)
	if err != nil || days == 0 {
		return "", screen.Faults{{Where: "days", Problem: strconv.Quote(typed) + " is not a number of days", Want: "1 to 180"}}
	}
	return s.office.MakeFamilyLink(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"), name, days)
}

func (s *server) revokeFamilyLink(ctx *gin.Context) (answer, error) {
	id := ctx.Param("athlete")
	if err := s.office.RevokeFamilyLink(ctx.Request.Context(), s.person(ctx), id, ctx.Param("link")); err != nil {
		return answer{}, err
	}
	return goOn("/athletes/" + url.PathEscape(id) + "/links"), nil
}
