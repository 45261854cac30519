package web

import (
	"context"
	"errors"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// retestPages are the pages of this file and those beside it.
var retestPages = []page{&retestPage{}, &retestFilePage{}}

func (s *server) retestRoutes(r *gin.RouterGroup) {
	s.form(r, "/teams/:team/retest", s.retest, s.useRetest)
	s.form(r, "/teams/:team/retest/file", s.retestFileForm, s.retestFile)
}

// retestPage says how well a team measures: by its own records between two days, or by a kept study. It
// shows all measures, or one of them in full.
type retestPage struct {
	Head
	Team     screen.Team
	From, To string // as typed, or the days that were taken
	Days     []choice
	Notes    []string
	Kept     *keptView
	Query    string // of the page's own address, without the measure
	Study    *retestStudy
	Measure  *retestMeasure // only this one is shown
	Use      useView
}

func (*retestPage) file() string { return "retest.html" }

// keptView is a kept study.
type keptView struct{ ID, Name, Made, By, Days, Stale string }

func (s *server) retest(ctx *gin.Context) (answer, error) {
	p, err := s.retestPage(ctx, retestAsked{ctx.Query("study"), ctx.Query("from"), ctx.Query("to"), ctx.Query("measure")})
	if err != nil {
		return answer{}, err
	}
	if p.Use.told() {
		return refused(p), nil
	}
	return shown(p), nil
}

// retestAsked is what a page is asked to show.
type retestAsked struct{ study, from, to, measure string }

func (a *retestAsked) query() url.Values {
	q := url.Values{}
	for _, x := range []struct{ name, value string }{{"study", a.study}, {"from", a.from}, {"to", a.to}} {
		if x.value != "" {
			q.Set(x.name, x.value)
		}
	}
	return q
}

func (s *server) retestPage(ctx *gin.Context, asked retestAsked) (*retestPage, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	p := &retestPage{Head: Head{Title: "How well do we measure?"}, Query: asked.query().Encode(), From: asked.from, To: asked.to}
	t, err := s.clinic.Team(c, who, ctx.Param("team"))
	if err != nil {
		return nil, err
	}
	p.Team = t
	p.Crumbs = []Crumb{{"Teams", "/"}, {t.Name, "/teams/" + t.ID}}
	p.Use.Faults = map[string]string{}
	if asked.study != "" {
		err = s.keptRetest(c, who, p, asked.study)
	} else {
		err = s.ownRetest(c, who, p, screen.Date(asked.from), screen.Date(asked.to))
	}
	if faults := faultsOf(err); faults != nil {
		p.Use.tell("span", faults)
		err = nil
	}
	if err != nil {
		return nil, err
	}
	if err := p.choose(s, asked); err != nil {
		return nil, err
	}
	p.Use.ID = s.clinic.NewID()
	if err := s.errorsInUse(c, who, p); err != nil {
		return nil, err
	}
	p.needs()
	return p, nil
}

// ownRetest adds the study of the team's own records.
func (s *server) ownRetest(c context.Context, who clinic.Person, p *retestPage, from, to screen.Date) error {
	r, err := s.clinic.Retest(c, who, p.Team.ID, from, to)
	if faultsOf(err) != nil { // the days offered are those without any asked for
		if other, err := s.clinic.Retest(c, who, p.Team.ID, "", ""); err == nil {
			p.offer(other.Days, "")
		}
	}
	if err != nil {
		return err
	}
	p.From, p.To, p.Notes = string(r.From), string(r.To), r.Notes
	one := r.From
	if r.From != r.To {
		one = ""
	}
	p.offer(r.Days, one)
	if r.From != "" {
		p.Crumbs = append(p.Crumbs, Crumb{spanWords(r.From, r.To), ""})
	}
	if r.Study != nil {
		p.Study = s.retestStudy(r.Study)
	}
	return nil
}

func (p *retestPage) offer(days []clinic.RetestDay, chosen screen.Date) {
	for _, d := range days {
		text := day(d.On) + ", " + count(d.Athletes, "athlete", "athletes")
		p.Days = append(p.Days, choice{string(d.On), text, d.On == chosen})
	}
}

func spanWords(from, to screen.Date) string {
	if from == to {
		return day(from)
	}
	return day(from) + " to " + day(to)
}

// keptRetest adds a kept study.
func (s *server) keptRetest(c context.Context, who clinic.Person, p *retestPage, id string) error {
	k, err := s.clinic.StudyKept(c, who, id)
	if err != nil {
		return err
	}
	if k.Team != p.Team.ID {
		return &screen.Problem{Code: screen.NotFound, Text: "this team has no such retest study", Want: "choose one of the team's studies"}
	}
	p.Kept = &keptView{ID: k.ID, Name: k.Name, Made: day(screen.DateOf(k.Made.Local())), Days: "readings of a file", Stale: k.Stale}
	if k.From != "" {
		p.Kept.Days = "the team's records of " + spanWords(k.From, k.To)
	}
	p.Crumbs = append(p.Crumbs, Crumb{"study kept on " + p.Kept.Made, ""})
	p.Study = s.retestStudy(k.Study)
	return nil
}

// choose leaves one measure if one is asked for.
func (p *retestPage) choose(s *server, asked retestAsked) error {
	if p.Study == nil {
		return nil
	}
	base := "/teams/" + p.Team.ID + "/retest"
	q := asked.query()
	for i := range p.Study.Rows {
		r := &p.Study.Rows[i]
		q.Set("measure", r.ID)
		r.Href = base + "?" + q.Encode()
	}
	if asked.measure == "" {
		return nil
	}
	m := p.Study.find(asked.measure)
	if m == nil {
		return &screen.Problem{Code: screen.NotFound, Text: "the study has no such measure", Want: "choose one from the study's table"}
	}
	q.Del("measure")
	p.Crumbs = append(p.Crumbs, Crumb{"all measures", strings.TrimSuffix(base+"?"+q.Encode(), "?")})
	p.Measure = s.retestMeasure(m, func(kind string) string {
		return strings.TrimSuffix("/api/v1/teams/"+p.Team.ID+"/charts/"+kind+"/"+m.Measure+"?"+q.Encode(), "?")
	})
	p.Title, p.Charts = m.Name, true
	return nil
}

func (p *retestPage) needs() {
	switch {
	case p.Measure != nil:
		p.Needs = p.Measure.Statement
	case p.Use.told():
		p.Needs = "Nothing was changed: something has to be put right first."
	case p.Use.Stale != "":
		p.Needs = "The errors that are switched on do not fit the protocol any more, so the published ones are used. Keep the study anew and use that."
	case p.Study == nil:
		p.Needs = "Nobody was measured twice: the squad's own measurement error is not known."
	case len(p.Study.NotWorth) > 0:
		p.Needs = p.Study.Line + " " + count(len(p.Study.NotWorth), "measure is", "measures are") + " not worth taking as done now."
	default:
		p.Needs = p.Study.Line
	}
}

// useRetest keeps a study, or switches errors.
func (s *server) useRetest(ctx *gin.Context) (answer, error) {
	if err := readForm(ctx, maxFormBytes); err != nil {
		return answer{}, err
	}
	text := func(name string) string { return strings.TrimSpace(ctx.PostForm(name)) }
	f := useForm{Do: text("do"), ID: text("id"), Name: text("name"), Why: text("why")}
	asked := retestAsked{text("study"), text("from"), text("to"), ""}
	c, who, team := ctx.Request.Context(), s.person(ctx), ctx.Param("team")
	to, err := s.doRetest(c, who, team, &f, clinic.StudyToKeep{ID: f.ID, Name: f.Name, From: screen.Date(asked.from), To: screen.Date(asked.to)}, asked.study)
	if err == nil {
		return goOn(to), nil
	}
	faults := spoken(err)
	if faults == nil {
		return answer{}, err
	}
	p, err := s.retestPage(ctx, asked)
	if err != nil {
		return answer{}, err
	}
	p.Use.useForm = f
	p.Use.tell("use", faults)
	p.needs()
	return refused(p), nil
}

// doRetest does what a form asks for, and gives the address to go on to.
func (s *server) doRetest(c context.Context, who clinic.Person, team string, f *useForm, keep clinic.StudyToKeep, kept string) (to string, err error) {
	base := "/teams/" + team + "/retest"
	var out screen.KeptStudy
	switch f.Do {
	case "keep":
		out, err = s.clinic.KeepStudy(c, who, team, keep)
	case "use":
		out, err = s.clinic.KeepAndUse(c, who, team, keep, f.Why)
	case "switch":
		_, err = s.clinic.SwitchErrors(c, who, team, kept, f.Why)
		out.ID = kept
	case "published":
		_, err = s.clinic.SwitchErrors(c, who, team, "", f.Why)
	default:
		err = &screen.Problem{Code: screen.Invalid, Text: "the form does not say what to do", Want: "use the buttons of the page"}
	}
	if out.ID != "" {
		base += "?study=" + url.QueryEscape(out.ID)
	}
	return base + "#use", err
}

// spoken is what is wrong with a request in words; nil if it is an error of another kind.
func spoken(err error) []screen.Fault {
	if f := faultsOf(err); f != nil {
		return f
	}
	var p *screen.Problem
	if errors.As(err, &p) && p.Code == screen.Invalid {
		return []screen.Fault{{Problem: p.Text, Want: p.Want}}
	}
	return nil
}
