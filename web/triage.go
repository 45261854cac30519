package web

import (
	"context"
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// triagePage is a squad in the order in which its athletes need attention.
type triagePage struct {
	Head
	Team       screen.Team
	Groups     []triageGroup
	Unscreened []score.NamedAthlete
	Seasons    []seasonRow
	Members    []memberRow
	More       bool // there are more members than are listed
	Heat       *chartView
	Days       []dayRow // the newest screening days
	MoreDays   bool
}

func (*triagePage) file() string { return "triage.html" }

type triageGroup struct {
	Title, Note string
	Rows        []triageRow
}

type triageRow struct {
	Rank                   int
	Athlete, Name, On, Why string
	Expected               string
}

type seasonRow struct {
	Name, From, To string
	Now            bool
}

type memberRow struct {
	ID, Name, Born, Hand string
}

// groupTitles are the groups of a triage in the order in which they stand.
var groupTitles = []struct{ group, title, note string }{
	{score.GroupReferral, "Referral sign", "Stop throwing and see a licensed clinician, whatever the rest of the screen says."},
	{score.GroupRanked, "By expected deficits", "The most deficits to be expected stand first. Links that were not measured count as much as the athlete's others do."},
	{score.GroupMeasureFirst, "Measure first", "Fewer than half of the core rules are measured: too little to be ranked."},
}

const (
	membersAtOnce = 500
	daysOnTeam    = 5 // screening days on the page of a team
)

func (s *server) triage(ctx *gin.Context) (answer, error) {
	c, who, id := ctx.Request.Context(), s.person(ctx), ctx.Param("team")
	if to := placeOf(who, id); to != "" {
		return goOn(to), nil
	}
	squad, err := s.clinic.Triage(c, who, id)
	if err != nil {
		return answer{}, err
	}
	p := &triagePage{Head: Head{Title: squad.Team.Name, Charts: len(squad.Rows) > 0}, Team: squad.Team, Unscreened: squad.Unscreened}
	p.Crumbs = []Crumb{{"Teams", "/"}, {s.today(), ""}}
	p.group(squad.Rows)
	p.Needs, p.Urgent = triageNeeds(&squad)
	if len(squad.Rows) > 0 {
		p.Heat = view("/api/v1/teams/"+id+"/charts/heat", chart.Heat(squad.HeatRows(), s.clinic.Protocol()))
		p.Heat.Fold = true
	}
	days, next, err := s.clinic.Days(c, who, id, clinic.Page{Limit: daysOnTeam})
	if err != nil {
		return answer{}, err
	}
	p.Days, p.MoreDays = dayRows(days), next != ""
	return shown(p), s.roster(c, who, p)
}

func (p *triagePage) group(rows []clinic.SquadRow) {
	for _, g := range groupTitles {
		out := triageGroup{Title: g.title, Note: g.note}
		for i := range rows {
			if r := &rows[i]; r.Group == g.group {
				out.Rows = append(out.Rows, triageRow{r.Rank, r.Athlete, r.Name, day(r.On), upperFirst(r.Why) + ".", expectedWords(r.Expected)})
			}
		}
		if len(out.Rows) > 0 {
			p.Groups = append(p.Groups, out)
		}
	}
}

// expectedWords says the expected number of deficits, which is rounded to halves.
func expectedWords(x float64) string {
	switch x {
	case 0:
		return "no deficit expected"
	case 0.5:
		return "½ deficit expected"
	case 1:
		return "1 deficit expected"
	}
	return strings.Replace(fmt.Sprintf("%g deficits expected", x), ".5", "½", 1)
}

// triageNeeds says in one line what a squad needs.
func triageNeeds(squad *clinic.Squad) (line string, urgent bool) {
	n := map[string]int{}
	for i := range squad.Rows {
		n[squad.Rows[i].Group]++
	}
	if len(squad.Rows)+len(squad.Unscreened) == 0 {
		return "This team has no athletes yet: add them, or import a roster.", false
	}
	var parts []string
	if k := n[score.GroupReferral]; k > 0 {
		parts = append(parts, count(k, "athlete", "athletes")+" to see a licensed clinician before throwing again.")
		urgent = true
	}
	if n[score.GroupRanked] > 0 {
		parts = append(parts, map[bool]string{true: "Then look at ", false: "Start with "}[urgent]+firstRanked(squad.Rows)+".")
	}
	if k := n[score.GroupMeasureFirst]; k > 0 {
		parts = append(parts, fmt.Sprintf("%d to measure first.", k))
	}
	if k := len(squad.Unscreened); k > 0 {
		parts = append(parts, fmt.Sprintf("%d not screened yet.", k))
	}
	return strings.Join(parts, " "), urgent
}

func firstRanked(rows []clinic.SquadRow) string {
	for i := range rows {
		if rows[i].Group == score.GroupRanked {
			return rows[i].Name
		}
	}
	return ""
}

// roster adds the seasons and the members.
func (s *server) roster(c context.Context, who clinic.Person, p *triagePage) error {
	seasons, err := s.clinic.Seasons(c, who, p.Team.ID)
	if err != nil {
		return err
	}
	today := s.clinic.Today()
	for _, x := range seasons {
		p.Seasons = append(p.Seasons, seasonRow{x.Name, day(x.From), day(x.To), x.From <= today && today <= x.To})
	}
	list, next, err := s.clinic.Athletes(c, who, p.Team.ID, clinic.Page{Limit: membersAtOnce})
	if err != nil {
		return err
	}
	p.More = next != ""
	for i := range list {
		a := &list[i]
		p.Members = append(p.Members, memberRow{a.ID, a.Name, day(a.Born), handWords(a.HandOn(today))})
	}
	return nil
}
