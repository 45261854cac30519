package web

import (
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"evenhand/internal/clinic"
	"evenhand/internal/screen"
)

// visitPages are the pages of this file.
var visitPages = []page{&visitPage{}}

func (s *server) visitRoutes(r *gin.RouterGroup) {
	s.form(r, "/athletes/:athlete/visit", s.newVisit, s.saveVisit)
}

// visitPage is the form on which one visit of one athlete is entered. All fields hold what was typed.
type visitPage struct {
	Head
	Athlete                         screen.Athlete
	ID                              string // of the visit: the form sent twice is one
	On, Kind, Team, Examiner        string
	Threw, Note, SymptomSide        string
	Today                           string
	Kinds, Teams, ThrewWords, Sides []labelled
	Symptoms                        []visitSymptom
	Measures                        []*visitMeasure
	Others                          []visitGroup // what can be added
	Told                            []toldFault
	OnRecord                        bool   // the visit is on record already
	Readings                        string // where its readings are, if it is this athlete's
	Differs                         bool   // what was sent is not what is on record

	hand   screen.Hand
	named  bool // one arm throws
	plan   *clinic.VisitPlan
	faults map[string]string // by the field's name
}

func (*visitPage) file() string { return "visit.html" }

// Fault says what is wrong with a field; its Text is empty if nothing is.
func (p *visitPage) Fault(field string) fieldFault { return fieldFault{field, p.faults[field]} }

// Ticked reports whether a symptom is ticked.
func (p *visitPage) Ticked() bool {
	return slices.ContainsFunc(p.Symptoms, func(x visitSymptom) bool { return x.Ticked })
}

// Send is where the form goes: the address has the id, so that going back does not make another visit.
func (p *visitPage) Send() string { return visitURL(p.Athlete.ID, p.ID) }

func visitURL(athlete, id string) string {
	return "/athletes/" + url.PathEscape(athlete) + "/visit?visit=" + url.QueryEscape(id)
}

// visitMeasure is a measure with a field for each trial on each side.
type visitMeasure struct {
	ID, Name, Unit string
	Trials         int
	More           bool // one more trial can be taken
	Options        []labelled
	Words          []labelled // for either side of zero, where the measure has them
	Sides          []visitSide
	How, Last      []labelled

	m *screen.Measure
}

// Mode is what keyboard a phone shows.
func (m *visitMeasure) Mode() string {
	if m.m.Scale == screen.Count {
		return "numeric"
	}
	return "decimal"
}

type visitSide struct {
	Side   screen.Side
	Name   string
	Fields []*visitField
}

// visitField is one trial. Word says on which side of zero it lies.
type visitField struct {
	Name, Label, Value string
	WordName, Word     string
}

type visitGroup struct {
	Name string
	Rows []labelled
}

type visitSymptom struct {
	ID, Name         string
	Referral, Ticked bool
}

func (s *server) newVisit(ctx *gin.Context) (answer, error) {
	id := ctx.Query("visit")
	if id == "" {
		q := ctx.Request.URL.Query()
		q.Set("visit", s.clinic.NewID())
		return goOn("/athletes/" + url.PathEscape(ctx.Param("athlete")) + "/visit?" + q.Encode()), nil
	}
	p, err := s.visitPage(ctx, id)
	if err != nil {
		return answer{}, err
	}
	p.On, p.Kind = p.Today, string(p.plan.Kind)
	if len(p.Teams) > 0 {
		p.Team = p.Teams[0].Label
	}
	s.visitFields(p, ctx.QueryArray("measure"), ctx.Query("all") == "1", func(string) string { return "" })
	return s.formOrKept(ctx, p)
}

// visitPage is the page with all that is not typed into it.
func (s *server) visitPage(ctx *gin.Context, id string) (*visitPage, error) {
	plan, err := s.clinic.PlanVisit(ctx.Request.Context(), s.person(ctx), ctx.Param("athlete"))
	if err != nil {
		return nil, err
	}
	p := &visitPage{Head: Head{Title: "Enter a visit", Styles: []string{dayStyle}}, Athlete: plan.Athlete, ID: id,
		Today: string(s.clinic.Today()), plan: &plan, faults: map[string]string{},
		ThrewWords: []labelled{{Label: "", Value: "not asked"}, {Label: "no", Value: "no"}, {Label: "yes", Value: "yes"}}}
	for _, k := range []screen.Kind{screen.Rehab, screen.InSeason, screen.Preseason} {
		p.Kinds = append(p.Kinds, labelled{Label: string(k), Value: upperFirst(kindWords(k))})
	}
	for i := range plan.Teams {
		p.Teams = append(p.Teams, labelled{Label: plan.Teams[i].ID, Value: plan.Teams[i].Name})
	}
	for _, referral := range []bool{true, false} {
		for _, x := range s.clinic.Protocol().Symptoms {
			if x.Referral == referral {
				p.Symptoms = append(p.Symptoms, visitSymptom{ID: x.ID, Name: x.Name, Referral: referral})
			}
		}
	}
	p.Crumbs = []Crumb{{"Teams", "/"}}
	if len(plan.Teams) > 0 {
		p.Crumbs = []Crumb{{plan.Teams[0].Name, "/teams/" + plan.Teams[0].ID}}
	}
	p.Crumbs = append(p.Crumbs, Crumb{plan.Athlete.Name, "/athletes/" + plan.Athlete.ID}, Crumb{"course", "/athletes/" + plan.Athlete.ID + "/course"})
	p.needs()
	return p, nil
}

// needs says what the visit is for, in one line.
func (p *visitPage) needs() {
	due, proposed := p.plan.Due, "the first measure below is proposed."
	if n := len(p.plan.Takings); n > 1 {
		proposed = "the first " + strconv.Itoa(n) + " measures below are proposed."
	}
	switch {
	case len(p.Teams) == 0:
		p.Needs = "The athlete belongs to no team. Let the athlete join one first: a visit is scored as those of its team are."
	case p.plan.Hold:
		p.Needs = "On hold: a licensed clinician says when throwing may go on. A visit can be entered all the same."
	case len(p.plan.Visits) == 0:
		p.Needs = "Not screened yet. Choose what was measured."
	case due == nil:
		p.Needs = "Nothing is due. Choose what was measured."
	case due.Overdue:
		p.Needs = "Due since " + day(due.On) + ": " + proposed
	default:
		p.Needs = "Due on " + day(due.On) + ": " + proposed
	}
}

// kept says of a visit that it is on record, instead of the form.
func (p *visitPage) kept(rec *screen.Record) {
	p.OnRecord, p.Needs = true, "This address belongs to another visit."
	if rec.Screen.Athlete == p.Athlete.ID {
		p.Readings = "/screens/" + rec.Screen.ID
		p.Needs = "The visit of " + day(rec.Screen.On) + " is on record: " + count(len(rec.Current()), "reading", "readings") + "."
	}
}

// visitFields makes the fields of what is shown: what the course asks for, then what was chosen, then
// what else holds a value; typed gives what stands in a field.
func (s *server) visitFields(p *visitPage, chosen []string, all bool, typed func(string) string) {
	protocol, on := s.clinic.Protocol(), screen.Date(p.On)
	if !on.Valid() {
		on = s.clinic.Today()
	}
	subject := protocol.SubjectOn(&p.Athlete, on)
	p.hand = p.Athlete.HandOn(on)
	p.named = subject.Throws && (p.hand == screen.LeftHand || p.hand == screen.RightHand)
	p.Sides = []labelled{{Label: "", Value: "no side in particular"}}
	for _, side := range sidesInOrder(&screen.Measure{Paired: true}, p.hand, p.named) {
		p.Sides = append(p.Sides, labelled{Label: string(side), Value: sideWords(p.hand, p.named, nil, side)})
	}
	trials := map[string]int{}
	for _, t := range p.plan.Takings {
		trials[t.Measure] = t.Trials
	}
	var added []*visitMeasure
	for i := range protocol.Links {
		group := visitGroup{Name: protocol.Links[i].Name}
		for k := range protocol.Measures {
			m := &protocol.Measures[k]
			if m.Link != protocol.Links[i].ID || m.Derived != nil {
				continue
			}
			switch {
			case trials[m.ID] > 0:
				p.Measures = append(p.Measures, p.measure(m, trials[m.ID], typed))
			case all || slices.Contains(chosen, m.ID) || filled(m, typed) > 0:
				added = append(added, p.measure(m, m.Trials.Planned, typed))
			default:
				group.Rows = append(group.Rows, labelled{Label: m.ID, Value: m.Name, Note: unitNote(m)})
			}
		}
		if len(group.Rows) > 0 {
			p.Others = append(p.Others, group)
		}
	}
	p.Measures = append(p.Measures, added...)
}

func (p *visitPage) measure(m *screen.Measure, trials int, typed func(string) string) *visitMeasure {
	out := &visitMeasure{ID: m.ID, Name: m.Name, Unit: screen.UnitWords(m.Unit), m: m}
	if n, err := strconv.Atoi(typed("trials-" + m.ID)); err == nil {
		trials = max(n, trials)
	}
	if typed("more") == m.ID {
		trials++
	}
	out.Trials = min(max(1, trials, filled(m, typed)), m.Trials.Most)
	out.More = out.Trials < m.Trials.Most
	if m.Scale == screen.Category {
		for i, c := range m.Categories {
			out.Options = append(out.Options, labelled{Label: strconv.Itoa(i), Value: c})
		}
	}
	if w := m.SayWords; w != nil {
		out.Words = []labelled{{Label: "negative", Value: w.Negative}, {Label: "zero", Value: w.Zero}, {Label: "positive", Value: w.Positive}}
	}
	for _, x := range []labelled{{Label: "Position", Value: m.Position}, {Label: "Instrument", Value: m.Instrument}, {Label: "How", Value: m.How}} {
		if x.Value != "" {
			out.How = append(out.How, labelled{Label: x.Label, Value: upperFirst(x.Value)})
		}
	}
	for _, side := range sidesInOrder(m, p.hand, p.named) {
		words := upperFirst(sideWords(p.hand, p.named, m, side))
		if side == screen.NoSide {
			words = ""
		}
		at := visitSide{Side: side, Name: words}
		for k := range out.Trials {
			name := fieldName(m, side, k+1)
			at.Fields = append(at.Fields, &visitField{Name: name, Label: "Trial " + strconv.Itoa(k+1), Value: typed(name),
				WordName: "word-" + name, Word: typed("word-" + name)})
		}
		out.Sides = append(out.Sides, at)
		if last, ok := p.plan.Last[clinic.VisitCell{Measure: m.ID, Side: side}]; ok {
			out.Last = append(out.Last, labelled{Label: words, Value: lastWords(last.Readings, m), Note: day(last.On)})
		}
	}
	return out
}

// filled is the number of the last trial in which something stands, on either side; 0 if nothing does.
func filled(m *screen.Measure, typed func(string) string) int {
	for k := m.Trials.Most; k > 0; k-- {
		for _, side := range sidesInOrder(m, "", false) {
			if name := fieldName(m, side, k); typed(name) != "" || typed("word-"+name) != "" {
				return k
			}
		}
	}
	return 0
}

func fieldName(m *screen.Measure, side screen.Side, trial int) string {
	return m.ID + "-" + string(side) + "-" + strconv.Itoa(trial)
}

// sidesInOrder puts the throwing side and the lead leg first; where sides are only compared, right.
func sidesInOrder(m *screen.Measure, hand screen.Hand, named bool) []screen.Side {
	if !m.Paired {
		return []screen.Side{screen.NoSide}
	}
	first := screen.Right
	if named {
		first = screen.Side(hand)
		if m.Limb == screen.Leg {
			first = first.Other()
		}
	}
	return []screen.Side{first, first.Other()}
}

// lastWords are readings as they were called out.
func lastWords(readings []screen.Reading, m *screen.Measure) string {
	var out []string
	for i := range readings {
		for _, x := range readings[i].Trials {
			if m.Scale == screen.Category && x >= 0 && int(x) < len(m.Categories) {
				out = append(out, m.Categories[int(x)])
				continue
			}
			out = append(out, m.Say(x))
		}
	}
	return strings.Join(out, ", ")
}
