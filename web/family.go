package web

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// familyPages are the page behind an athlete's or guardian's link, and the one on which links are made.
var familyPages = []page{&familyPage{}, &familyGonePage{}, &familyLinksPage{}}

func (s *server) familyRoutes(r *gin.RouterGroup) {
	s.page(r, familyRoute, s.family)
	if s.office == nil {
		return
	}
	s.form(r, "/athletes/:athlete/links", s.familyLinks, s.makeFamilyLink)
	r.POST("/athletes/:athlete/links/:link/revoke", s.sameOrigin, s.answer(s.revokeFamilyLink))
}

// familyPage is what an athlete or a guardian sees by a link.
type familyPage struct {
	Head
	clinic.FamilyPage
	Sheet  *handoutSheet // nil: no handout yet
	Asof   string
	Next   string
	Cannot bool // neither targets nor a date: a licensed clinician comes first
}

func (*familyPage) file() string { return "family.html" }

// familyGonePage stands where a link leads nowhere any more.
type familyGonePage struct{ Head }

func (*familyGonePage) file() string { return "familygone.html" }

func (s *server) family(ctx *gin.Context) (answer, error) {
	ctx.Header("X-Robots-Tag", "noindex")
	who := s.person(ctx)
	if who.Athlete == "" { // the door found nobody behind the secret
		return answer{status: http.StatusNotFound, page: &familyGonePage{Head{Title: "This link does not work", Bare: true,
			Needs: "It may have ended or been taken back. Ask the athletic trainer for a new one."}}}, nil
	}
	got, err := s.clinic.FamilyPage(ctx.Request.Context(), who, who.Athlete)
	if err != nil {
		return answer{}, err
	}
	p := &familyPage{Head: Head{Title: got.Name, Styles: []string{"handout.css"}, Bare: true}, FamilyPage: got, Cannot: got.Hold}
	if got.Handout == nil {
		p.Needs = "There is no handout yet. It will be here when the trainer has made it."
		return shown(p), nil
	}
	h := clinic.AthleteHandout{Handout: got.Handout.Handout, Text: got.Handout.Text}
	h.Person.Name, h.Number = got.Name, 1
	sheet := s.sheet(&h)
	p.Sheet, p.Asof, p.Next = &sheet, day(got.Asof), nextWords(got.Next)
	if p.Urgent = got.Hold; got.Hold {
		p.Needs = "Do not throw until a licensed clinician says that you may."
	}
	return shown(p), nil
}

// nextWords says when to measure again.
func nextWords(n *clinic.FamilyNext) string {
	switch {
	case n == nil:
		return "The trainer says when."
	case n.Overdue:
		return "It was due on " + longDay(n.On) + ". Ask the trainer for a day."
	}
	return "Around " + longDay(n.On) + ", unless the trainer says otherwise."
}

func longDay(d screen.Date) string { return d.Time().Format("2 January 2006") }
