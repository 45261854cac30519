package web

import (
	"fmt"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/access"
	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// coachPages are the pages of coaches and helpers.
var coachPages = []page{&coachPage{}, &stationsPage{}}

func (s *server) coachRoutes(r *gin.RouterGroup) {
	s.page(r, "/teams/:team/coach", s.coach)
	s.page(r, "/stations", s.openStations)
}

// coachPage says to a coach who may throw today and what to work on; nothing that was measured.
type coachPage struct {
	Head
	Groups []coachGroup
	Drills []clinic.FocusGroup
}

func (*coachPage) file() string { return "coach.html" }

// coachGroup are the athletes of one status.
type coachGroup struct {
	Status      clinic.ReadyStatus
	Title, Note string
	Rows        []coachRow
}

type coachRow struct {
	Name   string
	Who    string // position and throwing hand
	Limits string
	Words  string // more about the status, if the group's title does not say it
	Focus  []clinic.ReadyFocus
}

var coachGroups = []struct {
	status             clinic.ReadyStatus
	title, note, short string
}{
	{clinic.ReadyHold, "Hold: waiting for clearance", "No throwing until a licensed clinician says so. The trainer knows more.", "on hold"},
	{clinic.ReadyLimits, "May throw with limits", "The limits are those of the clinician.", "with limits"},
	{clinic.ReadyThrow, "May throw", "Nothing on record says otherwise. Whoever feels pain stops and sees the trainer.", "may throw"},
	{clinic.ReadyAsk, "Ask the trainer", "", "to ask the trainer about"},
}

func (s *server) coach(ctx *gin.Context) (answer, error) {
	ready, err := s.clinic.Readiness(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return answer{}, err
	}
	p := &coachPage{Head: Head{Title: "Who may throw today", Crumbs: []Crumb{{"Teams", "/"}, {ready.Team.Name, ""}, {day(ready.Today), ""}}}, Drills: ready.Groups}
	var parts []string
	for _, x := range coachGroups {
		g := coachGroup{Status: x.status, Title: x.title, Note: x.note}
		for i := range ready.Rows {
			if r := &ready.Rows[i]; r.Status == x.status {
				g.Rows = append(g.Rows, coachRowOf(r))
			}
		}
		if len(g.Rows) > 0 {
			p.Groups = append(p.Groups, g)
			parts = append(parts, fmt.Sprintf("%d %s", len(g.Rows), x.short))
		}
	}
	p.Needs = strings.Join(parts, ", ") + "."
	if len(parts) == 0 {
		p.Needs = "This team has no athletes today."
	}
	return shown(p), nil
}

func coachRowOf(r *clinic.ReadyRow) coachRow {
	who := append([]string{}, r.Positions...)
	switch r.Throws {
	case screen.LeftHand, screen.RightHand:
		who = append(who, "throws "+string(r.Throws))
	case screen.BothHands:
		who = append(who, handWords(r.Throws))
	}
	out := coachRow{Name: r.Name, Who: strings.Join(who, ", "), Limits: r.Limits, Focus: r.Focus}
	if r.Status == clinic.ReadyAsk && r.Athlete != "" {
		out.Words = r.Words
	}
	return out
}

// placeOf is where somebody goes who opens a team but may not see its records: a coach to the page of
// coaches, a helper to the stations, an administrator to the consents. It is empty for everybody else.
func placeOf(who clinic.Person, team string) string {
	of := access.Subject{Teams: []string{team}}
	switch {
	case who.May(access.SeeRecords, &of):
		return ""
	case who.May(access.SeeReadiness, &of):
		return "/teams/" + url.PathEscape(team) + "/coach"
	case who.May(access.Enter, &of):
		return "/stations"
	case who.May(access.ManageConsent, &of):
		return "/teams/" + url.PathEscape(team) + "/consents"
	}
	return ""
}
