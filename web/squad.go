package web

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"slices"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// squadPages are the pages of this file and those beside it.
var squadPages = []page{&squadPage{}}

func (s *server) squadRoutes(r *gin.RouterGroup) {
	s.form(r, "/teams/:team/squad", s.squad, s.workOutSquad)
}

// squadPage shows what is usual in a squad: what scores rest on beside the protocol.
type squadPage struct {
	Head
	Team     screen.Team
	On       screen.Date // of the figures shown; empty: nothing is kept
	Made     string
	Days     []choice
	Old      bool // worked out by another version of the protocol
	Counted  int
	LeftOut  []labelled
	Groups   []squadGroup
	NotUsed  int
	Measures []choice
	Measure  string // in words
	Members  []squadMember
	Offered  []choice
	Faults   []screen.Fault
}

func (*squadPage) file() string { return "squad.html" }

// Fault is what is wrong with a field of the form.
func (p *squadPage) Fault(field string) string { return faultAt(p.Faults, field) }

// squadGroup is one measure in one group of athletes.
type squadGroup struct {
	Measure, Group, Count string
	Squad, Protocol, REML string
	Note, Use             string
	Used                  bool
}

type squadMember struct {
	ID, Name        string
	Plain, Estimate string
	Note            string
}

func (s *server) squad(ctx *gin.Context) (answer, error) {
	p, err := s.squadPage(ctx, screen.Date(ctx.Query("on")))
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

// workOutSquad takes the form: it works out what was usual on a date, or says why that cannot be.
func (s *server) workOutSquad(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	on, team := screen.Date(ctx.PostForm("on")), ctx.Param("team")
	_, err := s.clinic.WorkOutSquad(ctx.Request.Context(), s.person(ctx), team, on)
	if faults := faultsOf(err); faults != nil {
		p, err := s.squadPage(ctx, "")
		if err != nil {
			return answer{}, err
		}
		p.Faults = faults
		p.offer(on)
		return refused(p), nil
	}
	if err != nil {
		return answer{}, err
	}
	return goOn("/teams/" + team + "/squad?on=" + url.QueryEscape(string(on))), nil
}

// squadPage gathers the figures of one day, or of the newest one.
func (s *server) squadPage(ctx *gin.Context, on screen.Date) (*squadPage, error) {
	c, who, id := ctx.Request.Context(), s.person(ctx), ctx.Param("team")
	team, err := s.clinic.Team(c, who, id)
	if err != nil {
		return nil, err
	}
	p := &squadPage{Head: Head{Title: "What is usual in this squad"}, Team: team}
	p.Crumbs = []Crumb{{team.Name, "/teams/" + id}, {s.today(), ""}}
	kept, err := s.clinic.SquadPriors(c, who, id)
	if err != nil {
		return nil, err
	}
	dates, err := s.clinic.SquadDates(c, who, id)
	if err != nil {
		return nil, err
	}
	for _, d := range dates {
		p.Offered = append(p.Offered, choice{Value: string(d.On), Text: fmt.Sprintf("%s, %s", day(d.On), count(d.Athletes, "athlete", "athletes"))})
	}
	i := max(0, slices.IndexFunc(kept, func(k clinic.SquadPriorView) bool { return k.On == on }))
	if len(kept) == 0 {
		p.Needs = "Nothing is worked out yet: athletes are compared with what the protocol says of such athletes."
		return p, nil
	}
	for k := range kept {
		p.Days = append(p.Days, choice{string(kept[k].On), day(kept[k].On), k == i})
	}
	return p, s.showSquad(c, who, p, &kept[i], ctx.Query("measure"))
}

// offer puts the date that was asked for among those offered, as it was typed.
func (p *squadPage) offer(on screen.Date) {
	found := false
	for i := range p.Offered {
		p.Offered[i].Chosen = p.Offered[i].Value == string(on)
		found = found || p.Offered[i].Chosen
	}
	if !found {
		p.Offered = append(p.Offered, choice{string(on), day(on), true})
	}
}

func (s *server) showSquad(c context.Context, who clinic.Person, p *squadPage, v *clinic.SquadPriorView, measure string) error {
	prior := v.Prior
	p.On, p.Made, p.Old, p.Counted = v.On, day(screen.DateOf(v.Made)), !v.Current, prior.Athletes
	p.Needs = fmt.Sprintf("Figures of %s: %s counted", day(v.On), count(prior.Athletes, "athlete", "athletes"))
	if n := len(prior.LeftOut); n > 0 {
		p.Needs += fmt.Sprintf(", %d left out", n)
	}
	p.Needs += "."
	if p.Old {
		p.Needs += " They were made by another version of the protocol, and no score uses them: work them out again."
	}
	for _, x := range prior.LeftOut {
		a, err := s.clinic.Athlete(c, who, x.Athlete)
		if err != nil {
			return err
		}
		p.LeftOut = append(p.LeftOut, labelled{a.Name, upperFirst(x.Why), ""})
	}
	for i := range prior.Groups {
		g := s.squadGroup(&prior.Groups[i])
		if !g.Used {
			p.NotUsed++
		}
		p.Groups = append(p.Groups, g)
	}
	return s.squadMembers(c, who, p, prior, measure)
}

// squadGroup puts a group's figures into words, each in the unit in which its differences are shown.
func (s *server) squadGroup(g *score.GroupPrior) squadGroup {
	by, m := s.clinic.Scorer(), s.clinic.Protocol().Measure(g.Measure)
	out := squadGroup{Measure: g.Measure, Group: g.Group, Count: fmt.Sprint(g.N), Protocol: "nothing", Used: g.Used, Use: "used", Squad: "–", REML: "–"}
	if m != nil {
		out.Measure = m.Name
	}
	unit := by.ShownUnit(g.Measure)
	mean := func(x, se float64) string {
		v := by.Shown(g.Measure, score.Value{Value: x, SE: se})
		return give(v, unit)
	}
	spread := func(x float64) string {
		return tenth(by.Shown(g.Measure, score.Value{SE: x}).SE, unit)
	}
	if g.ProtocolSD > 0 {
		out.Protocol = tenth(by.Shown(g.Measure, score.Value{Value: g.ProtocolMean}).Value, unit) + ", spread\u00a0" + spread(g.ProtocolSD)
	}
	if g.Used {
		out.Squad = mean(g.Mean, g.MeanSD) + ", spread\u00a0" + spread(g.Spread)
	} else {
		out.Use, out.Note = "not used", upperFirst(g.Why)
	}
	if r := g.REML; r != nil {
		out.REML = mean(r.Mean, r.MeanSE) + ", spread\u00a0" + spread(r.Spread)
		if r.Note != "" {
			out.REML += ": " + r.Note
		}
	}
	return out
}

// give writes a value give or take 1.96 standard errors, on one line.
func give(v score.Value, unit string) string {
	return tenth(v.Value, unit) + "\u00a0±\u00a0" + tenth(1.96*v.SE, unit)
}

// tenth writes a value to a tenth of its unit.
func tenth(x float64, unit string) string {
	x = math.Round(10*x) / 10
	if x == 0 {
		x = 0 // no minus before a zero
	}
	return withUnit(fmt.Sprintf("%.1f", x), unit)
}

// squadMembers adds the athletes with their differences in the measure asked for; of the first one that
// is used if none is.
func (s *server) squadMembers(c context.Context, who clinic.Person, p *squadPage, prior *score.SquadPrior, asked string) error {
	measures := offeredMeasures(prior)
	if len(measures) == 0 {
		return nil
	}
	if !slices.Contains(measures, asked) {
		asked = measures[0]
	}
	for _, id := range measures {
		name := id
		if m := s.clinic.Protocol().Measure(id); m != nil {
			name = m.Name
		}
		p.Measures = append(p.Measures, choice{id, name, id == asked})
		if id == asked {
			p.Measure = name
		}
	}
	if s.clinic.Protocol().Measure(asked) == nil {
		return nil // of a protocol that is no longer in use
	}
	list, err := s.clinic.SquadMembers(c, who, p.Team.ID, prior.On, asked)
	if err != nil {
		return err
	}
	unit := s.clinic.Scorer().ShownUnit(asked)
	for i := range list {
		x := &list[i]
		m := squadMember{x.Athlete, x.Name, give(x.Plain, unit), give(x.Estimate, unit), ""}
		switch x.Prior {
		case "none":
			m.Estimate, m.Note = "–", "nothing is known of such athletes"
		case "protocol":
			m.Note = "drawn towards what the protocol says"
		}
		if x.Out != "" {
			m.Note = "not counted. " + upperFirst(x.Out)
		}
		p.Members = append(p.Members, m)
	}
	return nil
}

// offeredMeasures are the measures of a squad's figures, each once, those that are used first.
func offeredMeasures(prior *score.SquadPrior) (out []string) {
	for _, used := range []bool{true, false} {
		for i := range prior.Groups {
			if g := &prior.Groups[i]; g.Used == used && !slices.Contains(out, g.Measure) {
				out = append(out, g.Measure)
			}
		}
	}
	return out
}
