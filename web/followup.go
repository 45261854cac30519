package web

import (
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// followPages are the pages of this file and those beside it.
var followPages = []page{&followPage{}}

func (s *server) followRoutes(r *gin.RouterGroup) {
	s.page(r, "/teams/:team/follow-up", s.followUp)
}

// followPage is a team by what its athletes wait for.
type followPage struct {
	Head
	Team     screen.Team
	Groups   []followGroup
	Calendar string // address of the feed
}

func (*followPage) file() string { return "followup.html" }

type followGroup struct {
	Title, Note string
	Fold        bool
	Rows        []followRow
}

type followRow struct {
	Athlete, Name, Due, Take string
	Lines                    []followLine
	More                     int // measures beyond those that are listed
}

type followLine struct{ Name, Text, URL string }

// followTitles are the groups in the order in which they stand.
var followTitles = []struct {
	group       clinic.FollowGroup
	title, note string
	fold        bool
}{
	{clinic.FollowHold, "On hold", "A referral sign or an injury without a clearance since. A licensed clinician says when to go on; no date is proposed here.", false},
	{clinic.FollowOverdue, "Overdue", "The day of the re-screen has gone by.", false},
	{clinic.FollowDue, "Due within a week", "", false},
	{clinic.FollowConfirm, "Target met once: confirm", "One visit in six says so by chance. A second look on another day decides.", false},
	{clinic.FollowFlat, "No improvement that can be told from error, or worse", "Look at what was done, and how it was measured, before measuring again.", false},
	{clinic.FollowWaiting, "Due later", "", false},
	{clinic.FollowFirst, "Not screened yet", "", false},
	{clinic.FollowNone, "Nothing to follow", "No deficit and nothing unsettled in a measure that is followed.", true},
}

// followShown is how many measures of an athlete stand on the list; the rest is on the course.
const followShown = 4

func (s *server) followUp(ctx *gin.Context) (answer, error) {
	list, err := s.clinic.FollowUp(ctx.Request.Context(), s.person(ctx), ctx.Param("team"))
	if err != nil {
		return answer{}, err
	}
	p := &followPage{Head: Head{Title: "Follow-up"}, Team: list.Team, Calendar: "/api/v1/teams/" + list.Team.ID + "/follow-up.ics"}
	p.Crumbs = []Crumb{{"Teams", "/"}, {list.Team.Name, "/teams/" + list.Team.ID}, {s.today(), ""}}
	for _, g := range followTitles {
		out := followGroup{Title: g.title, Note: g.note, Fold: g.fold}
		for i := range list.Rows {
			if r := &list.Rows[i]; r.Group == g.group {
				out.Rows = append(out.Rows, s.followRowOf(r))
			}
		}
		if len(out.Rows) > 0 {
			p.Groups = append(p.Groups, out)
		}
	}
	p.Needs, p.Urgent = followNeeds(list.Rows)
	return shown(p), nil
}

func (s *server) followRowOf(r *clinic.FollowRow) followRow {
	out := followRow{Athlete: r.Athlete, Name: r.Name}
	if r.Due != nil {
		out.Due = day(r.Due.On)
		out.Take = takeWords(s.clinic.Takings(r.Due))
	}
	for i := range r.Lines {
		l := &r.Lines[i]
		if len(out.Lines) == followShown {
			out.More = len(r.Lines) - followShown
			break
		}
		url := "/athletes/" + r.Athlete + "/course?rule=" + l.Rule
		if l.Side == screen.Left || l.Side == screen.Right {
			url += "&side=" + string(l.Side)
		}
		out.Lines = append(out.Lines, followLine{l.Name, sentenceOf(l.Text), url})
	}
	return out
}

// takeWords lists what to measure, those with as many trials together.
func takeWords(list []clinic.Taking) string {
	var parts []string
	names := map[int][]string{}
	var order []int
	for _, x := range list {
		if names[x.Trials] == nil {
			order = append(order, x.Trials)
		}
		names[x.Trials] = append(names[x.Trials], lowerFirst(x.Name))
	}
	for _, n := range order {
		parts = append(parts, strings.Join(names[n], ", ")+" ("+count(n, "trial", "trials")+" a side)")
	}
	return strings.Join(parts, "; ")
}

// followNeeds says in one line what the list asks for.
func followNeeds(rows []clinic.FollowRow) (line string, urgent bool) {
	n := map[clinic.FollowGroup]int{}
	confirm := 0
	for i := range rows {
		n[rows[i].Group]++
		for k := range rows[i].Lines {
			if rows[i].Lines[k].State == score.StateConfirm {
				confirm++
				break
			}
		}
	}
	var parts []string
	add := func(k int, text string) {
		if k > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", k, text))
		}
	}
	add(n[clinic.FollowHold], "on hold until a licensed clinician clears them")
	add(n[clinic.FollowOverdue], "overdue")
	add(n[clinic.FollowDue], "due within a week")
	add(confirm, "with a target to confirm")
	add(n[clinic.FollowFlat], "without an improvement that can be told from error")
	switch {
	case len(rows) == 0:
		return "This team has no athletes yet.", false
	case len(parts) == 0:
		return "Nobody is due within a week.", false
	}
	return upperFirst(strings.Join(parts, ", ")) + ".", n[clinic.FollowHold] > 0
}
