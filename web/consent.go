package web

import (
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

var consentPages = []page{&consentsPage{}, &teamConsentsPage{}}

func (s *server) consentRoutes(r *gin.RouterGroup) {
	s.form(r, "/athletes/:athlete/consents", s.consents, s.recordConsent)
	r.POST("/athletes/:athlete/consents/:consent/withdraw", s.sameOrigin, s.answer(s.withdrawConsent))
	s.form(r, "/teams/:team/consents", s.teamConsents, s.recordTeamConsents)
	r.POST("/days/:day/consent", s.sameOrigin, s.answer(s.deskConsent))
}

// consentForm is what was typed of a consent on paper.
type consentForm struct {
	ID, On, Version, GivenBy, Giver string
	Chosen                          []string // purposes
	Texts                           []string // versions that can be chosen
	Faults                          []screen.Fault
}

// Purposes are those that can be ticked.
func (f consentForm) Purposes() []labelled {
	var out []labelled
	for _, p := range screen.Purposes() {
		out = append(out, labelled{Label: string(p), Value: upperFirst(p.Words())})
	}
	return out
}

// Ticked reports whether a purpose is chosen.
func (f consentForm) Ticked(p string) bool { return slices.Contains(f.Chosen, p) }

// Invalid is a field with what is wrong with it, for a template.
func (f consentForm) Invalid(field string) fieldFault {
	return fieldFault{"consent-" + field, faultAt(f.Faults, field)}
}

// take reads what was typed.
func (f *consentForm) take(ctx *gin.Context) clinic.ConsentToRecord {
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	f.ID, f.On, f.Version, f.GivenBy, f.Giver, f.Chosen = text("id"), text("on"), text("version"), text("given_by"), text("giver"), ctx.PostFormArray("purpose")
	in := clinic.ConsentToRecord{ID: f.ID, On: screen.Date(f.On), Version: f.Version, GivenBy: screen.Giver(f.GivenBy), Giver: f.Giver}
	for _, p := range f.Chosen {
		in.Purposes = append(in.Purposes, screen.Purpose(p))
	}
	return in
}

// versions are the labels of all texts, each once.
func (s *server) versions(ctx *gin.Context) (out []string, err error) {
	list, err := s.clinic.ConsentTexts(ctx.Request.Context(), s.person(ctx))
	for i := range list {
		if !slices.Contains(out, list[i].Version) {
			out = append(out, list[i].Version)
		}
	}
	return out, err
}

// consentsPage is the consents of one athlete.
type consentsPage struct {
	Head
	Athlete  screen.Athlete
	Majority int
	OfAge    bool
	Sections []consentSection
	Form     consentForm
	Today    string
	Export   bool // may make a copy of everything
	MayErase bool
}

func (*consentsPage) file() string { return "consents.html" }

// consentSection is one purpose.
type consentSection struct {
	Purpose, Now string
	Given, Renew bool
	All          []consentRow
}

type consentRow struct {
	ID, On, By, Version, Recorded string
	Withdrawn                     string // words; empty: holds
	From, Why                     string // as typed in the form that withdraws
	Faults                        []screen.Fault
}

// Invalid is a field of the form that withdraws, with what is wrong with it.
func (r consentRow) Invalid(field string) fieldFault {
	return fieldFault{field + "-" + r.ID, faultAt(r.Faults, field)}
}

func (s *server) consents(ctx *gin.Context) (answer, error) {
	p, err := s.consentsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) consentsPage(ctx *gin.Context) (*consentsPage, error) {
	got, err := s.clinic.Consents(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		return nil, err
	}
	a := got.Athlete
	p := &consentsPage{Head: Head{Title: "Consents of " + a.Name, Crumbs: []Crumb{{"Privacy", "/privacy"}, {a.Name, "/athletes/" + a.ID}}},
		Athlete: a, Majority: got.Majority, OfAge: got.OfAge, Today: string(s.clinic.Today())}
	for i := range got.Purposes {
		p.Sections = append(p.Sections, sectionOf(&got.Purposes[i], p.Today))
	}
	who := s.person(ctx)
	p.Export, p.MayErase = got.MayExport, who.May(access.Erase, &access.Subject{Every: true})
	p.Form = consentForm{ID: s.clinic.NewID(), On: p.Today, GivenBy: string(screen.ByGuardian), Chosen: []string{string(screen.ForScreening)}}
	if got.OfAge {
		p.Form.GivenBy = string(screen.ByAthlete)
	}
	switch first := &got.Purposes[0]; {
	case first.Now == nil:
		p.Needs = "No consent for screening: nothing measured is stored."
	case first.Renew:
		p.Needs = "The athlete is of age now, and a guardian gave the consent: ask the athlete."
	}
	p.Form.Texts, err = s.versions(ctx)
	return p, err
}

func sectionOf(x *clinic.PurposeConsents, today string) consentSection {
	out := consentSection{Purpose: upperFirst(x.Purpose.Words()), Now: "not given", Given: x.Now != nil, Renew: x.Renew}
	if x.Now != nil {
		out.Now = "given on " + day(x.Now.On) + " by " + giverWords(x.Now)
	} else if len(x.All) > 0 {
		out.Now = "withdrawn on " + day(x.All[0].WithdrawnOn)
	}
	for i := range x.All {
		c := &x.All[i]
		row := consentRow{ID: c.ID, On: day(c.On), By: giverWords(c), Version: c.Version, Recorded: day(screen.DateOf(c.Recorded)), From: today}
		if c.ByName != "" {
			row.Recorded += " by " + c.ByName
		}
		if c.WithdrawnOn != "" {
			row.Withdrawn = "withdrawn on " + day(c.WithdrawnOn) + ": " + c.Why
		}
		out.All = append(out.All, row)
	}
	return out
}

func giverWords(c *screen.Consent) string {
	who := "the athlete"
	if c.GivenBy == screen.ByGuardian {
		who = "a guardian"
	}
	if c.Giver != "" {
		who += ", " + c.Giver
	}
	return who
}

func (s *server) recordConsent(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	var f consentForm
	in := f.take(ctx)
	_, err := s.clinic.RecordConsent(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"), in)
	f.Faults = faultsOf(err)
	if err != nil && f.Faults == nil {
		return answer{}, err
	}
	if f.Faults == nil {
		return goOn("/athletes/" + url.PathEscape(ctx.Param("athlete")) + "/consents"), nil
	}
	p, err := s.consentsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	f.Texts = p.Form.Texts
	p.Form = f
	return refused(p), nil
}

func (s *server) withdrawConsent(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	p, err := s.consentsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	row := p.row(ctx.Param("consent"))
	if row == nil {
		return answer{}, &screen.Problem{Code: screen.NotFound, Text: "this athlete has no such consent", Want: "choose one of the athlete's consents"}
	}
	row.From, row.Why = strings.TrimSpace(ctx.PostForm("on")), strings.TrimSpace(ctx.PostForm("why"))
	_, err = s.clinic.WithdrawConsent(ctx.Request.Context(), s.person(ctx), row.ID, screen.Date(row.From), row.Why)
	if row.Faults = faultsOf(err); row.Faults != nil {
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/athletes/" + url.PathEscape(p.Athlete.ID) + "/consents"), nil
}

func (p *consentsPage) row(id string) *consentRow {
	for i := range p.Sections {
		for k := range p.Sections[i].All {
			if row := &p.Sections[i].All[k]; row.ID == id {
				return row
			}
		}
	}
	return nil
}
