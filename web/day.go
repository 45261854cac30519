package web

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// dayPages are the pages of this file and those beside it.
var dayPages = []page{&daysPage{}, &dayForm{}, &boardPage{}, &joinPage{}, &stationSheets{}, &athleteSheets{}}

// dayStyle is the style sheet of these pages.
const dayStyle = "day.css"

func (s *server) dayRoutes(r *gin.RouterGroup) {
	s.page(r, "/teams/:team/days", s.days)
	s.form(r, "/teams/:team/days/new", s.newDay, s.saveDay)
	s.form(r, "/days/:day/edit", s.editDay, s.saveDay)
	r.GET("/days/:day", s.boardOrPart)
	r.HEAD("/days/:day", s.boardOrPart)
	s.form(r, "/days/:day/close", s.toBoard, s.closeDay)
	s.form(r, "/days/:day/add", s.toBoard, s.addToDay)
	s.form(r, "/days/:day/walk-on", s.toBoard, s.walkOn)
	s.form(r, "/days/:day/release", s.toBoard, s.release)
	s.form(r, "/days/:day/join", s.joinDay, s.renewStation)
	s.page(r, "/days/:day/sheets/stations", s.stationSheets)
	s.page(r, "/days/:day/sheets/athletes", s.athleteSheets)
}

// daysPage lists the screening days of a team, the newest first.
type daysPage struct {
	Head
	Team screen.Team
	Days []dayRow
	Next string // address of the next part of the list
}

// dayRow is a screening day in a list.
type dayRow struct {
	ID, On, Kind string
	Stations     int
	State        string
}

func (*daysPage) file() string { return "days.html" }

const daysAtOnce = 50

func (s *server) days(ctx *gin.Context) (answer, error) {
	c, who, team := ctx.Request.Context(), s.person(ctx), ctx.Param("team")
	t, err := s.clinic.Team(c, who, team)
	if err != nil {
		return answer{}, err
	}
	list, next, err := s.clinic.Days(c, who, team, clinic.Page{After: ctx.Query("after"), Limit: daysAtOnce})
	if err != nil {
		return answer{}, err
	}
	p := &daysPage{Head: Head{Title: "Screening days"}, Team: t, Days: dayRows(list)}
	p.Crumbs = []Crumb{{"Teams", "/"}, {t.Name, "/teams/" + t.ID}}
	if len(list) == 0 && ctx.Query("after") == "" {
		p.Needs = "No screening day yet: set up the first one."
	}
	if next != "" {
		p.Next = "/teams/" + t.ID + "/days?after=" + next
	}
	return shown(p), nil
}

func dayRows(list []screen.Day) (out []dayRow) {
	for i := range list {
		d := &list[i]
		row := dayRow{ID: d.ID, On: day(d.On), Kind: occasionWords(d.Kind), Stations: len(d.Stations), State: "open"}
		if !d.Closed.IsZero() {
			row.State = "closed"
		}
		out = append(out, row)
	}
	return out
}

// occasionWords is the occasion of a whole day.
func occasionWords(k screen.Kind) string {
	if k == screen.Rehab {
		return "rehab"
	}
	return kindWords(k)
}

// sideOrders are the side orders as they are offered.
var sideOrders = []labelled{
	{Label: string(screen.ThrowingFirst), Value: "throwing side first"},
	{Label: string(screen.LeftFirst), Value: "left side first"},
	{Label: string(screen.RightFirst), Value: "right side first"},
}

func sideOrderWords(o screen.SideOrder) string {
	for _, x := range sideOrders {
		if x.Label == string(o) {
			return x.Value
		}
	}
	return string(o)
}

// stepWords lists what a station takes, in order.
func stepWords(p *screen.Protocol, st *screen.Station) (out []string) {
	for i := range st.Steps {
		out = append(out, stepName(p, &st.Steps[i]))
	}
	return out
}

func stepName(p *screen.Protocol, step *screen.Step) string {
	switch step.Kind {
	case screen.StepCheckIn:
		return "Symptoms, throwing in the last 48 hours, throwing hand"
	case screen.StepChecklist:
		return "Checklist of the throwing motion"
	}
	if m := p.Measure(step.Measure); m != nil {
		return m.Name
	}
	return step.Measure
}

// numbersOf counts what a step asks of one athlete: values, or answers.
func numbersOf(p *screen.Protocol, step *screen.Step) (values, answers int) {
	switch step.Kind {
	case screen.StepCheckIn:
		return 0, 0
	case screen.StepChecklist:
		return 0, len(p.Checklist)
	}
	m := p.Measure(step.Measure)
	if m == nil {
		return 0, 0
	}
	values = p.TrialsAt(step)
	if m.Paired {
		values *= 2
	}
	return values, 0
}

// grouped writes a count with a comma between thousands: 6,480.
func grouped(n int) string {
	text := strconv.Itoa(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

// trialsWords says how often a measure is taken: "2 trials on each side".
func trialsWords(n int, paired bool) string {
	out := count(n, "trial", "trials")
	if paired {
		out += " on each side"
	}
	return out
}

// toBoard answers for addresses that only take a form.
func (s *server) toBoard(ctx *gin.Context) (answer, error) {
	return goOn("/days/" + url.PathEscape(ctx.Param("day"))), nil
}

// shortHand is a throwing hand in a narrow column.
func shortHand(h screen.Hand) string {
	switch h {
	case screen.LeftHand, screen.RightHand, screen.BothHands:
		return string(h)
	}
	return "not known"
}

// shortLink is what is typed to reach a station, without the scheme.
func shortLink(base, code string) string {
	return strings.TrimPrefix(strings.TrimPrefix(fmt.Sprintf("%s/s/%s", base, code), "http://"), "https://")
}
