package web

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/chart"
	"evenhand/internal/clinic"
	"evenhand/internal/score"
	"evenhand/internal/screen"
)

// athletePage is an athlete with the findings of one screen.
type athletePage struct {
	Head
	Athlete  screen.Athlete
	Team     screen.Team // of the screen, or the one that the link came from
	Profile  []labelled
	Screen   *screen.Screen // nil: never screened
	Latest   bool           // the screen is the newest one
	Headline string
	Usual    string
	Ladder   *ladder
	Chain    *chartView
	findingLists
	Questions []questionView
	Noted     []notedView
	Symptoms  []symptomView
	NotDone   []labelled
	Missing   []string
	Checklist []checklistView
	Targets   []targetView
	Notes     []string
	Indices   []indexView
	History   []historyRow
	Links     bool // links for athletes and guardians can be made
}

func (*athletePage) file() string { return "athlete.html" }

type questionView struct{ Text, Reading string }

type notedView struct {
	Name, Value string
	Flagged     bool
}

type symptomView struct {
	Name, Side, Note, Withdrawn string
	Referral                    bool
}

type checklistView struct {
	Name, Phase, Answer string
	NotMet              bool
	Behind              []string
	For, Against, Also  []studyView
}

type historyRow struct {
	ID, On, Kind string
	Current      bool
}

const screensAtOnce = 100

func (s *server) athlete(ctx *gin.Context) (answer, error) {
	p, _, err := s.athletePage(ctx)
	if err != nil {
		return answer{}, err
	}
	return shown(p), nil
}

// athletePage gathers what the page and the print show. The report is nil if there is no screen.
func (s *server) athletePage(ctx *gin.Context) (*athletePage, *score.Report, error) {
	c, who := ctx.Request.Context(), s.person(ctx)
	a, err := s.clinic.Athlete(c, who, ctx.Param("athlete"))
	if err != nil {
		return nil, nil, err
	}
	p := &athletePage{Head: Head{Title: a.Name}, Athlete: a, Links: s.office != nil}
	list, _, err := s.clinic.Screens(c, who, "", a.ID, clinic.Page{Limit: screensAtOnce})
	if err != nil {
		return nil, nil, err
	}
	assessed, ok, err := s.assessment(c, who, &a, ctx.Query("screen"))
	if err != nil {
		return nil, nil, err
	}
	team := ctx.Query("team")
	if ok {
		p.Screen, team = &assessed.Record.Screen, assessed.Record.Screen.Team
	}
	if err := s.place(c, who, p, team); err != nil {
		return nil, nil, err
	}
	for i := range list {
		p.History = append(p.History, historyRow{list[i].ID, day(list[i].On), kindWords(list[i].Kind), ok && list[i].ID == p.Screen.ID})
	}
	p.Profile = s.profile(&a, p.Screen)
	if !ok {
		p.Needs = "Not screened yet: nothing can be said."
		return p, nil, nil
	}
	p.Latest = len(list) > 0 && list[0].ID == p.Screen.ID
	return p, assessed.Report, s.findScreen(c, who, p, &assessed)
}

// assessment is that of the screen asked for, or of the newest one; ok is false if there is none.
func (s *server) assessment(c context.Context, who clinic.Person, a *screen.Athlete, id string) (clinic.Assessment, bool, error) {
	if id == "" {
		return s.clinic.Latest(c, who, a.ID)
	}
	out, err := s.clinic.Score(c, who, id)
	if err == nil && out.Record.Screen.Athlete != a.ID {
		err = &screen.Problem{Code: screen.NotFound, Text: "this athlete has no such screen", Want: "choose one of the athlete's screens"}
	}
	return out, err == nil, err
}

// place says where the page stands: team, athlete, day.
func (s *server) place(c context.Context, who clinic.Person, p *athletePage, team string) error {
	if team != "" {
		t, err := s.clinic.Team(c, who, team)
		if err != nil {
			return err
		}
		p.Team = t
		p.Crumbs = append(p.Crumbs, Crumb{t.Name, "/teams/" + t.ID})
	}
	if team == "" {
		p.Crumbs = append(p.Crumbs, Crumb{"Teams", "/"})
	}
	if p.Screen != nil {
		p.Crumbs = append(p.Crumbs, Crumb{"screen of " + day(p.Screen.On) + ", " + kindWords(p.Screen.Kind), ""})
	}
	return nil
}

// profile says who the athlete is, on the day of the screen or today.
func (s *server) profile(a *screen.Athlete, on *screen.Screen) []labelled {
	date, when := s.clinic.Today(), "today"
	if on != nil {
		date, when = on.On, "on the day"
	}
	out := []labelled{
		{"Age " + when, strconv.Itoa(int(a.Born.YearsTo(date))) + " years", "born " + day(a.Born)},
		{"Throws", upperFirst(strings.TrimPrefix(handWords(a.HandOn(date)), "throws ")), ""},
		{"Sport", s.sportName(a.Sport), strings.Join(a.Positions, ", ")},
		{"Level", upperFirst(string(a.Level)), string(a.Sex)},
	}
	if a.HeightCM > 0 || a.MassKG > 0 {
		var body []string
		if a.HeightCM > 0 {
			body = append(body, fmt.Sprintf("%g cm", a.HeightCM))
		}
		if a.MassKG > 0 {
			body = append(body, fmt.Sprintf("%g kg", a.MassKG))
		}
		out = append(out, labelled{"Height, mass", strings.Join(body, ", "), ""})
	}
	return out
}

// findScreen adds what the screen shows.
func (s *server) findScreen(c context.Context, who clinic.Person, p *athletePage, a *clinic.Assessment) error {
	rep, rec := a.Report, a.Record
	p.Charts, p.Headline, p.Usual, p.Notes = true, score.Headline(rep), score.Usual(rep), rep.Notes
	p.Notes = slices.Concat(p.Notes, errorsNote(&a.Errors))
	p.Needs = p.Headline
	if len(rep.Referral) > 0 {
		var names []string
		for _, id := range rep.Referral {
			if x := s.clinic.Protocol().Symptom(id); x != nil {
				names = append(names, lowerFirst(x.Name))
			}
		}
		p.Needs, p.Urgent = "Referral sign: "+strings.Join(names, "; ")+". Stop throwing and see a licensed clinician.", true
	}
	p.Ladder = ladderOf(rep, s.clinic.Protocol())
	p.Chain = view("/api/v1/screens/"+url.PathEscape(rep.Screen)+"/charts/chain", chart.Chain(rep, s.clinic.Protocol()))
	p.findingLists = s.findings(rep)
	for _, f := range p.Deficits { // those of unsettled findings stand beside them
		if f.Target != nil {
			p.Targets = append(p.Targets, *f.Target)
		}
	}
	s.noted(p, rep, rec)
	if err := s.indices(c, who, p, rep.Screen); err != nil {
		return err
	}
	s.checklist(p, rec)
	questions, err := s.clinic.Questions(c, who, rec)
	for _, q := range questions {
		p.Questions = append(p.Questions, questionView{q.Text, q.Reading})
	}
	return err
}

// noted adds what carries no probability: ratings, symptoms, and what was not measured.
func (s *server) noted(p *athletePage, rep *score.Report, rec *screen.Record) {
	for i := range rep.Noted {
		if n := &rep.Noted[i]; n.Kind == "rating" {
			m := s.clinic.Protocol().Measure(n.ID)
			name := n.Name
			if n.Side == string(screen.Left) || n.Side == string(screen.Right) {
				name += ", " + sideWords(rep.Hand, rep.Sides, m, screen.Side(n.Side))
			}
			p.Noted = append(p.Noted, notedView{name, n.Value, n.Flagged})
		}
	}
	for i := range rec.Symptoms {
		x := &rec.Symptoms[i]
		v := symptomView{Name: x.Symptom, Note: x.Note, Withdrawn: x.Withdrawn}
		if def := s.clinic.Protocol().Symptom(x.Symptom); def != nil {
			v.Name, v.Referral = def.Name, def.Referral
		}
		if x.Side == screen.Left || x.Side == screen.Right {
			v.Side = string(x.Side)
		}
		p.Symptoms = append(p.Symptoms, v)
	}
	for _, x := range rec.NotDone {
		name := x.Measure
		if m := s.clinic.Protocol().Measure(x.Measure); m != nil {
			name = m.Name
		}
		if x.Side != screen.NoSide && x.Side != "" {
			name += ", " + string(x.Side)
		}
		p.NotDone = append(p.NotDone, labelled{name, strings.ReplaceAll(string(x.Reason), "_", " "), ""})
	}
	for i := range rep.Links {
		for _, id := range rep.Links[i].Missing {
			if r := s.clinic.Protocol().Rule(id); r != nil {
				p.Missing = append(p.Missing, rep.Links[i].Name+": "+lowerFirst(r.Name))
			}
		}
	}
}

// checklist adds the last answer to each item of the throwing motion, with what was found of the
// measures that may lie behind an item that is not met.
func (s *server) checklist(p *athletePage, rec *screen.Record) {
	if len(rec.Checklist) == 0 {
		return
	}
	last := map[string]screen.Answer{}
	for _, x := range rec.Checklist {
		last[x.Item] = x.Answer
	}
	protocol := s.clinic.Protocol()
	for i := range protocol.Checklist {
		item := &protocol.Checklist[i]
		v := checklistView{Name: item.Name, Phase: strings.ReplaceAll(item.Phase, "_", " "), Answer: "not looked at"}
		if x, ok := last[item.ID]; ok {
			v.Answer, v.NotMet = strings.ReplaceAll(string(x), "_", " "), x == screen.NotMet
		}
		if v.NotMet {
			for _, id := range item.Behind {
				if m := protocol.Measure(id); m != nil {
					v.Behind = append(v.Behind, lowerFirst(m.Name))
				}
			}
		}
		var f findingView
		f.studies(item.Studies, protocol)
		v.For, v.Against, v.Also = f.For, f.Against, f.Also
		p.Checklist = append(p.Checklist, v)
	}
}
