package web

import (
	"net/url"

	"github.com/gin-gonic/gin"

	"evenhand/internal/chart"
	"evenhand/internal/screen"
)

// distributionPage shows one measure of a whole squad, with one athlete marked.
type distributionPage struct {
	Head
	Team     screen.Team
	Choices  []choice
	Athletes []choice
	Chart    *chartView
}

func (*distributionPage) file() string { return "distribution.html" }

type choice struct {
	Value, Text string
	Chosen      bool
}

func (s *server) distribution(ctx *gin.Context) (answer, error) {
	id, athlete := ctx.Param("team"), ctx.Query("athlete")
	squad, err := s.clinic.Triage(ctx.Request.Context(), s.person(ctx), id)
	if err != nil {
		return answer{}, err
	}
	p := &distributionPage{Head: Head{Title: "One measure in the squad"}, Team: squad.Team}
	p.Crumbs = []Crumb{{squad.Team.Name, "/teams/" + id}, {s.today(), ""}}
	rows := squad.HeatRows()
	marked := ""
	for _, r := range rows {
		p.Athletes = append(p.Athletes, choice{r.Athlete, r.Label, r.Athlete == athlete})
		if r.Athlete == athlete {
			marked = r.Label
		}
	}
	rule := s.chooseMeasure(p, rows, ctx.Query("measure"))
	if rule == nil {
		p.Needs = "No measure of this squad can be shown yet."
		return shown(p), nil
	}
	m := s.clinic.Protocol().Measure(rule.Measure)
	c := chart.Distribution(m, chart.SquadValues(rows, rule.ID), athlete)
	q := url.Values{"measure": {rule.ID}}
	if marked != "" {
		q.Set("athlete", athlete)
	}
	p.Chart, p.Charts, p.Title = view("/api/v1/teams/"+id+"/charts/distribution?"+q.Encode(), c), true, rule.Name+" in the squad"
	p.Chart.Said = true
	p.Needs = c.Summary
	return shown(p), nil
}

// chooseMeasure offers the rules that somebody of the squad has a value for, and gives the one asked
// for, by its id or that of its measure; the first one if none is asked for, nil if there is none.
func (s *server) chooseMeasure(p *distributionPage, rows []chart.HeatRow, asked string) (chosen *screen.Rule) {
	protocol := s.clinic.Protocol()
	has := map[string]bool{}
	for _, r := range rows {
		if r.Report == nil {
			continue
		}
		for i := range r.Report.Findings {
			has[r.Report.Findings[i].Rule] = true
		}
	}
	var offered []*screen.Rule
	for i := range protocol.Rules {
		r := &protocol.Rules[i]
		if protocol.Measure(r.Measure) != nil && has[r.ID] && r.Kind != screen.AllOf {
			offered = append(offered, r)
		}
	}
	for _, byMeasure := range []bool{false, true} {
		for _, r := range offered {
			if chosen == nil && (asked == "" || asked == r.ID || byMeasure && asked == r.Measure) {
				chosen = r
			}
		}
	}
	for _, r := range offered {
		p.Choices = append(p.Choices, choice{r.ID, r.Name, r == chosen})
	}
	return chosen
}
