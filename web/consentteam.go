package web

import (
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// teamConsentsPage says who of a team has which consent, and records one on paper for many at once.
type teamConsentsPage struct {
	Head
	Team    screen.Team
	Members []teamConsentRow
	Form    consentForm
	Ticks   []string // athletes that were ticked
}

func (*teamConsentsPage) file() string { return "consentsteam.html" }

type teamConsentRow struct {
	ID, Name, Born string
	OfAge          bool
	Cells          []consentCell
}

type consentCell struct {
	Label, Text string
	Given       bool
}

// Ticked reports whether an athlete was ticked.
func (p *teamConsentsPage) Ticked(id string) bool { return slices.Contains(p.Ticks, id) }

func (s *server) teamConsents(ctx *gin.Context) (answer, error) {
	p, err := s.teamConsentsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

func (s *server) teamConsentsPage(ctx *gin.Context) (*teamConsentsPage, error) {
	got, err := s.clinic.TeamConsents(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return nil, err
	}
	p := &teamConsentsPage{Head: Head{Title: "Consents of " + got.Team.Name, Crumbs: []Crumb{{"Privacy", "/privacy"}, {got.Team.Name, "/teams/" + got.Team.ID}}}, Team: got.Team}
	for i := range got.Members {
		p.Members = append(p.Members, teamConsentOf(&got.Members[i]))
	}
	p.Needs = "Every member has a consent for screening."
	if n := got.Without(screen.ForScreening); n > 0 {
		p.Needs = count(n, "member has", "members have") + " no consent for screening: nothing measured of them is stored."
	}
	if len(got.Members) == 0 {
		p.Needs = "Nobody is a member of this team yet."
	}
	p.Form = consentForm{On: string(s.clinic.Today()), GivenBy: string(screen.ByGuardian), Chosen: []string{string(screen.ForScreening)}, Texts: got.Texts}
	return p, nil
}

func teamConsentOf(m *clinic.MemberConsents) teamConsentRow {
	row := teamConsentRow{ID: m.Athlete.ID, Name: m.Athlete.Name, Born: day(m.Athlete.Born), OfAge: m.OfAge}
	for i, purpose := range screen.Purposes() {
		c := consentCell{Label: [...]string{"Screening", "Pictures", "Coach"}[i], Text: "none"} // short: it stands beside the cell on a phone
		if now := m.Now[purpose]; now != nil {
			c.Text, c.Given = day(now.On), true
		} else if ended := m.Ended[purpose]; ended != "" {
			c.Text = "withdrawn " + day(ended)
		}
		row.Cells = append(row.Cells, c)
	}
	return row
}

func (s *server) recordTeamConsents(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	var f consentForm
	in := f.take(ctx)
	ticks := ctx.PostFormArray("athlete")
	_, err := s.clinic.RecordTeamConsents(ctx.Request.Context(), s.person(ctx), ctx.Param("team"), ticks, in)
	f.Faults = faultsOf(err)
	if err != nil && f.Faults == nil {
		return answer{}, err
	}
	if f.Faults == nil {
		return goOn("/teams/" + url.PathEscape(ctx.Param("team")) + "/consents"), nil
	}
	p, err := s.teamConsentsPage(ctx)
	if err != nil {
		return answer{}, err
	}
	f.Texts = p.Form.Texts
	p.Form, p.Ticks = f, ticks
	return refused(p), nil
}

// deskConsent records that a consent on paper was seen at the desk of a screening day.
func (s *server) deskConsent(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	day := ctx.Param("day")
	if err := s.clinic.ConsentAtDesk(ctx.Request.Context(), s.person(ctx), day, strings.TrimSpace(ctx.PostForm("athlete"))); err != nil {
		return answer{}, err
	}
	return goOn("/days/" + url.PathEscape(day)), nil
}
