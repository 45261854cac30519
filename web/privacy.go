package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

var privacyPages = []page{&privacyPage{}, &textsPage{}, &retentionPage{}, &erasePage{}}

func (s *server) privacyRoutes(r *gin.RouterGroup) {
	s.page(r, "/privacy", s.privacy)
	s.form(r, "/privacy/texts", s.texts, s.addText)
	r.POST("/privacy/majority", s.sameOrigin, s.answer(s.setMajority))
	s.form(r, "/privacy/retention", s.retention, s.setRetention)
	s.form(r, "/athletes/:athlete/erase", s.erasing, s.erase)
	r.POST("/athletes/:athlete/hold", s.sameOrigin, s.answer(s.holdRetention))
	r.GET("/athletes/:athlete/held", s.held)
}

// privacyPage leads to everything about privacy that somebody may do.
type privacyPage struct {
	Head
	Teams     []teamRow
	Programme bool // retention and texts
}

func (*privacyPage) file() string { return "privacy.html" }

func (s *server) privacy(ctx *gin.Context) (answer, error) {
	who := s.person(ctx)
	p := &privacyPage{Head: Head{Title: "Privacy"}, Programme: who.May(access.Erase, &access.Subject{Every: true})}
	for at := (clinic.Page{Limit: 500}); ; {
		list, next, err := s.clinic.Teams(ctx.Request.Context(), who, at)
		if err != nil {
			return answer{}, err
		}
		for i := range list {
			if who.May(access.ManageConsent, &access.Subject{Teams: []string{list[i].ID}}) {
				p.Teams = append(p.Teams, teamRow{list[i].ID, list[i].Name, s.sportName(list[i].Sport)})
			}
		}
		if at.After = next; next == "" {
			break
		}
	}
	return shown(p), nil
}

// textsPage is the texts that people agree to, and the age from which they do so themselves.
type textsPage struct {
	Head
	Texts                  []textRow
	May                    bool // add a version, set the age
	ID                     string
	Purpose, Version, Body string // as typed
	Purposes               []labelled
	Majority               string
	Faults, AgeFaults      []screen.Fault
}

func (*textsPage) file() string { return "privacytexts.html" }

type textRow struct {
	Purpose, Version, Made, Body string
	Example                      bool
}

// Invalid is a field with what is wrong with it.
func (p *textsPage) Invalid(field string) fieldFault {
	return fieldFault{"text-" + field, faultAt(append(p.Faults, p.AgeFaults...), field)}
}

func (s *server) texts(ctx *gin.Context) (answer, error) {
	p, err := s.textsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) textsPage(ctx *gin.Context) (*textsPage, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	list, err := s.clinic.ConsentTexts(c, who)
	if err != nil {
		return nil, err
	}
	set, err := s.clinic.ConsentSettings(c, who)
	if err != nil {
		return nil, err
	}
	p := &textsPage{Head: Head{Title: "Texts of consent", Crumbs: []Crumb{{"Privacy", "/privacy"}}}, ID: s.clinic.NewID(), Purpose: string(screen.ForScreening),
		Purposes: consentForm{}.Purposes(), Majority: strconv.Itoa(set.Majority), May: who.May(access.Operate, &access.Subject{Every: true})}
	own := 0
	for _, t := range list {
		row := textRow{Purpose: upperFirst(t.Purpose.Words()), Version: t.Version, Body: t.Body, Example: t.Made.IsZero()}
		if !row.Example {
			row.Made = day(screen.DateOf(t.Made))
			own++
		}
		p.Texts = append(p.Texts, row)
	}
	if own == 0 {
		p.Needs = "There are only the examples that come with the program: have a text checked where you are, and add it."
	}
	return p, nil
}

func (s *server) addText(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	t := screen.ConsentText{ID: text("id"), Purpose: screen.Purpose(text("purpose")), Version: text("version"), Body: ctx.PostForm("body")}
	_, err := s.clinic.AddConsentText(ctx.Request.Context(), s.person(ctx), t)
	faults := faultsOf(err)
	if screen.IsCode(err, screen.Conflict) {
		faults = []screen.Fault{{Where: "version", Problem: "there is a text of this version already", Want: "a version of its own"}}
	}
	if err != nil && faults == nil {
		return answer{}, err
	}
	if faults == nil {
		return goOn("/privacy/texts"), nil
	}
	p, err := s.textsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Purpose, p.Version, p.Body, p.Faults = string(t.Purpose), t.Version, t.Body, faults
	return refused(p), nil
}

func (s *server) setMajority(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	typed := strings.TrimSpace(ctx.PostForm("majority"))
	age, _ := strconv.Atoi(typed) // what is no number is refused as the age 0
	err := s.clinic.SetConsentSettings(ctx.Request.Context(), s.person(ctx), clinic.ConsentSettings{Majority: age})
	faults := faultsOf(err)
	if err != nil && faults == nil {
		return answer{}, err
	}
	if faults == nil {
		return goOn("/privacy/texts"), nil
	}
	p, err := s.textsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Majority, p.AgeFaults = typed, faults
	return refused(p), nil
}

// held sends everything that is held about an athlete as a file.
func (s *server) held(ctx *gin.Context) {
	out, err := s.clinic.Held(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		s.fail(ctx, err)
		return
	}
	body, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		s.fail(ctx, fmt.Errorf("write what is held about an athlete: %w", err))
		return
	}
	ctx.Header("Cache-Control", "no-store")
	ctx.Header("Content-Disposition", `attachment; filename="evenhand-athlete.json"`)
	ctx.Data(http.StatusOK, "application/json", body)
}

// erasePage is where an athlete is erased.
type erasePage struct {
	Head
	Athlete      screen.Athlete
	Teams        []screen.Team
	Counts       []clinic.Counted
	Held         string // why the records are held; empty: they are not
	Confirm, Why string // as typed
	HoldWhy      string
	Faults       []screen.Fault
	Done         *clinic.Erased
	DoneCounts   []clinic.Counted
}

func (*erasePage) file() string { return "erase.html" }

// Invalid is a field with what is wrong with it.
func (p *erasePage) Invalid(field string) fieldFault {
	return fieldFault{"erase-" + field, faultAt(p.Faults, field)}
}

func (s *server) erasing(ctx *gin.Context) (answer, error) {
	p, err := s.erasePage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) erasePage(ctx *gin.Context) (*erasePage, error) {
	got, err := s.clinic.PlanErasure(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		return nil, err
	}
	p := &erasePage{Head: Head{Title: "Erase " + got.Athlete.Name, Crumbs: []Crumb{{"Privacy", "/privacy"}, {"Retention", "/privacy/retention"}},
		Needs: "This cannot be undone."}, Athlete: got.Athlete, Teams: got.Teams, Counts: got.Counts}
	if got.Hold != nil {
		p.Held, p.HoldWhy, p.Needs = got.Hold.Why, got.Hold.Why, "The records are held: they cannot be erased until the hold is ended."
	}
	return p, nil
}

func (s *server) erase(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	p, err := s.erasePage(ctx)
	if err != nil {
		return answer{}, err
	}
	p.Confirm, p.Why = ctx.PostForm("confirm"), strings.TrimSpace(ctx.PostForm("why"))
	done, err := s.clinic.EraseAthlete(ctx.Request.Context(), s.person(ctx), p.Athlete.ID, p.Confirm, p.Why)
	if p.Faults = faultsOf(err); p.Faults != nil {
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	out := &erasePage{Head: Head{Title: "Erased", Crumbs: p.Crumbs, Needs: "The athlete is erased."}, Done: &done, DoneCounts: erasedInWords(done.Counts)}
	return shown(out), nil
}

func (s *server) holdRetention(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	id := ctx.Param("athlete")
	err := s.clinic.HoldRetention(ctx.Request.Context(), s.person(ctx), id, ctx.PostForm("why"))
	if err != nil {
		return answer{}, err
	}
	return goOn("/athletes/" + url.PathEscape(id) + "/erase"), nil
}
