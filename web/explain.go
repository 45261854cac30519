package web

import (
	"net/url"

	"github.com/gin-gonic/gin"

	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// explainPages are the pages of this file and those beside it.
var explainPages = []page{&explainPage{}}

func (s *server) explainRoutes(r *gin.RouterGroup) {
	s.page(r, "/screens/:screen/findings/:rule", s.explain)
}

// explainPage is the arithmetic of one finding, step by step.
type explainPage struct {
	Head
	*score.Explanation
	Steps []stepView
	Parts []partView
	Back  string // address of the finding
	Who   string
	On    string
}

func (*explainPage) file() string { return "explain.html" }

type stepView struct {
	Number int
	score.Step
}

// partView is a condition of a rule of two, with the address of its own page.
type partView struct {
	score.Part
	Address string
}

func (s *server) explain(ctx *gin.Context) (answer, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	got, err := s.clinic.Explain(c, who, ctx.Param("screen"), ctx.Param("rule"), screen.Side(ctx.Query("side")))
	if err != nil {
		return answer{}, err
	}
	rec, e := got.Record, got.Explanation
	team, err := s.clinic.Team(c, who, rec.Screen.Team)
	if err != nil {
		return answer{}, err
	}
	p := &explainPage{Head: Head{Title: "How this was worked out", Needs: e.Sentence}, Explanation: e, Who: rec.Athlete.Name, On: day(rec.Screen.On),
		Back: athleteURL(rec) + "#" + anchor(e.Rule, e.Side)}
	p.Crumbs = []Crumb{{team.Name, "/teams/" + team.ID}, {rec.Athlete.Name, athleteURL(rec)}, {"screen of " + day(rec.Screen.On), "/screens/" + rec.Screen.ID}}
	for i := range e.Steps {
		p.Steps = append(p.Steps, stepView{i + 1, e.Steps[i]})
	}
	for _, x := range e.Parts {
		p.Parts = append(p.Parts, partView{x, workedURL(rec.Screen.ID, x.Rule, "")})
	}
	return shown(p), nil
}

// workedURL is the address of the page that says how a finding was worked out.
func workedURL(screenID, rule string, side screen.Side) string {
	address := "/screens/" + url.PathEscape(screenID) + "/findings/" + url.PathEscape(rule)
	if side == screen.Left || side == screen.Right {
		address += "?side=" + string(side)
	}
	return address
}

// anchor is the place of a finding on the athlete's page.
func anchor(rule string, side screen.Side) string {
	if side == screen.Left || side == screen.Right {
		return "finding-" + rule + "-" + string(side)
	}
	return "finding-" + rule
}
